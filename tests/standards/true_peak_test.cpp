// True peak against Tech 3341, against the example filter of BS.1770-5, and against libebur128.
#include <doctest/doctest.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>

#include "check/test_signals.h"
#include "signals.h"
#include "standards/reading.h"
#include "standards/reference_meter.h"

using namespace sendworthy;
using sendworthy::test::measured;

namespace {

// ITU-R BS.1770-5, Annex 2: order 48, 4-phase, FIR interpolating filter; one row per tap.
constexpr double kExampleFilter[12][4] = {{0.0017089843750, -0.0291748046875, -0.0189208984375, -0.0083007812500},
                                          {0.0109863281250, 0.0292968750000, 0.0330810546875, 0.0148925781250},
                                          {-0.0196533203125, -0.0517578125000, -0.0582275390625, -0.0266113281250},
                                          {0.0332031250000, 0.0891113281250, 0.1015625000000, 0.0476074218750},
                                          {-0.0594482421875, -0.1665039062500, -0.2003173828125, -0.1022949218750},
                                          {0.1373291015625, 0.4650878906250, 0.7797851562500, 0.9721679687500},
                                          {0.9721679687500, 0.7797851562500, 0.4650878906250, 0.1373291015625},
                                          {-0.1022949218750, -0.2003173828125, -0.1665039062500, -0.0594482421875},
                                          {0.0476074218750, 0.1015625000000, 0.0891113281250, 0.0332031250000},
                                          {-0.0266113281250, -0.0582275390625, -0.0517578125000, -0.0196533203125},
                                          {0.0148925781250, 0.0330810546875, 0.0292968750000, 0.0109863281250},
                                          {-0.0083007812500, -0.0189208984375, -0.0291748046875, 0.0017089843750}};

double example_filter_peak_db(const test::Samples& samples) {
  double peak = 0;
  for (std::int64_t n = 0; n < test::length(samples) + 12; ++n) {
    for (int phase = 0; phase < 4; ++phase) {
      double value = 0;
      for (int tap = 0; tap < 12; ++tap) {
        const auto k = n - tap;
        if (k >= 0 && k < test::length(samples))
          value += kExampleFilter[tap][phase] * samples[static_cast<std::size_t>(k)];
      }
      peak = std::max(peak, std::abs(value));
    }
  }
  return test::to_db(peak);
}

test::Samples left_of(const signals::Signal& signal) {
  std::vector<double> stereo(static_cast<std::size_t>(2 * signal.frames));
  signal.fill(0, signal.frames, stereo.data());
  test::Samples left(static_cast<std::size_t>(signal.frames));
  for (std::size_t n = 0; n < left.size(); ++n) left[n] = stereo[2 * n];
  return left;
}

double true_peak_dbtp(int rate, const test::Samples& samples) {
  return measured(test::real_source(rate, {samples}))("true_peak");
}

// Attachment 1 to Annex 2: the most that n-fold oversampling can read low.
double worst_under_read_db(int n, double f_norm) { return -test::to_db(std::cos(std::numbers::pi * f_norm / n)); }

}  // namespace

TEST_SUITE_BEGIN("standards/true-peak");

TEST_CASE("Tech 3341 cases 15 to 23 read their true peak at every rate") {
  // EBU Tech 3341 (2023), Table 1: -6.0 (15-18), +3.0 (19), 0.0 (20-23) dBTP, +0.2/-0.4.
  for (const int rate : {44100, 48000, 96000}) {
    for (int number = 15; number <= 23; ++number) {
      CAPTURE(rate);
      CAPTURE(number);
      const double expected_dbtp = number <= 18 ? -6 : number == 19 ? 3 : 0;
      const double read_dbtp = measured(signals::tech_3341_true_peak(number, rate))("true_peak");
      CHECK(read_dbtp <= expected_dbtp + 0.2);
      CHECK(read_dbtp >= expected_dbtp - 0.4);
    }
  }
}

TEST_CASE("sines read their amplitude, whatever their phase against the samples") {
  // Ideal interpolation of cases 15 to 19: the amplitudes themselves, 0.50 and 1.41.
  const double expected_dbtp[] = {-6.021, -6.021, -6.021, -6.021, 2.984};
  for (int number = 15; number <= 19; ++number) {
    CAPTURE(number);
    CHECK(std::abs(measured(signals::tech_3341_true_peak(number, 48000))("true_peak") - expected_dbtp[number - 15]) <=
          0.05);
  }
}

TEST_CASE("all four offsets of one waveform read the same") {
  double lowest = 10, highest = -10;
  for (int number = 20; number <= 23; ++number) {
    const double read_dbtp = measured(signals::tech_3341_true_peak(number, 48000))("true_peak");
    lowest = std::min(lowest, read_dbtp);
    highest = std::max(highest, read_dbtp);
  }
  CHECK(highest - lowest <= 0.05);
}

TEST_CASE("the example filter of BS.1770-5 is copied rightly and reads case 17 low") {
  // Guards computed from the table: phases mirror each other, DC gains, coefficients in 1/8192.
  double dc[4] = {};
  for (int tap = 0; tap < 12; ++tap) {
    CHECK(kExampleFilter[tap][3] == kExampleFilter[11 - tap][0]);
    CHECK(kExampleFilter[tap][2] == kExampleFilter[11 - tap][1]);
    for (int phase = 0; phase < 4; ++phase) {
      CHECK(std::nearbyint(kExampleFilter[tap][phase] * 8192) == kExampleFilter[tap][phase] * 8192);
      dc[phase] += kExampleFilter[tap][phase];
    }
  }
  CHECK(std::abs(dc[0] - 1.00158691) < 1e-8);
  CHECK(std::abs(dc[3] - 1.00158691) < 1e-8);
  CHECK(std::abs(dc[1] - 0.97302246) < 1e-8);
  CHECK(std::abs(dc[2] - 0.97302246) < 1e-8);
  const auto case_17 = left_of(signals::tech_3341_true_peak(17, 48000));
  CHECK(std::abs(example_filter_peak_db(case_17) + 6.314) < 0.005);
  CHECK(true_peak_dbtp(48000, case_17) > example_filter_peak_db(case_17) + 0.25);
}

TEST_CASE("the worst-case under-read of the attachment, and no sine read lower than a 32-fold meter may") {
  // ITU-R BS.1770-5, Attachment 1 to Annex 2.
  CHECK(std::abs(worst_under_read_db(4, 0.45) - 0.554) < 0.0005);
  CHECK(std::abs(worst_under_read_db(4, 0.5) - 0.688) < 0.0005);
  CHECK(std::abs(worst_under_read_db(8, 0.45) - 0.136) < 0.0005);
  CHECK(std::abs(worst_under_read_db(8, 0.5) - 0.169) < 0.0005);
  test::Random random(11);
  for (const int rate : {44100, 48000, 96000, 192000}) {
    for (int i = 0; i < 12; ++i) {
      const double f_norm = i == 0 ? 0.45 : random.between(0.01, 0.45);
      const double phase = random.between(0, 6.28);
      CAPTURE(rate);
      CAPTURE(f_norm);
      CAPTURE(phase);
      const auto tone = test::faded(test::sine(rate, f_norm * rate, 0.5, rate / 5, phase), rate / 20);
      const double read_dbtp = true_peak_dbtp(rate, tone);
      CHECK(std::abs(read_dbtp + 6.0206) <= 0.05);
    }
  }
}

TEST_CASE("the true peak is never below the sample peak") {
  for (std::uint64_t seed = 1; seed <= 6; ++seed) {
    CAPTURE(seed);
    test::Random random(seed);
    auto samples = test::noise(seed, random.between(0.01, 1.5), 20000 + random.below(999));
    // A spike on the very first, the very last, or any sample.
    const auto at = seed == 1 ? 0 : seed == 2 ? test::length(samples) - 1 : random.below(test::length(samples));
    samples[static_cast<std::size_t>(at)] = 2;
    const auto reading = measured(test::real_source(48000, {samples}));
    CHECK(reading("true_peak") >= reading("sample_peak"));
    CHECK(reading("true_peak") >= test::to_db(2) - 1e-6);
  }
}

TEST_CASE("noise reads no lower than on libebur128") {
  for (std::uint64_t seed = 1; seed <= 4; ++seed) {
    CAPTURE(seed);
    const auto samples = test::noise(seed, 0.5, 48000);
    const auto source = test::real_source(48000, {samples});
    const auto second = test::reference_reading(*source, EBUR128_MODE_TRUE_PEAK, 4800);
    CHECK(true_peak_dbtp(48000, samples) >= second.true_peak_dbtp - 0.1);
  }
}

TEST_SUITE_END();
