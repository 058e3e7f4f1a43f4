// The published signals themselves, judged by libebur128 alone: if it reads what the documents print, the signals are
// the documents' signals. Expectations and tolerances: EBU Tech 3341 (2023) and Tech 3342 (2023), Table 1 each;
// ITU-R BS.1770-5, Annex 1.
#include "signals.h"

#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <numbers>

#include "check/test_signals.h"
#include "standards/reference_meter.h"

using namespace sendworthy;
using sendworthy::test::reference_reading;

namespace {

test::ReferenceReading read(const signals::Signal& signal, int modes, double hop_s = 0.1) {
  const auto source = signals::play(signal);
  return reference_reading(*source, modes, std::llround(hop_s * signal.format.sample_rate));
}
constexpr int kIntegrated = EBUR128_MODE_I, kMomentary = EBUR128_MODE_M, kShortTerm = EBUR128_MODE_S;
constexpr int kRange = EBUR128_MODE_LRA, kTruePeak = EBUR128_MODE_TRUE_PEAK;

constexpr int kRates[] = {44100, 48000, 96000};

std::vector<double> all_frames(const signals::Signal& signal) {
  std::vector<double> samples(static_cast<std::size_t>(signal.frames * signal.format.channels));
  signal.fill(0, signal.frames, samples.data());
  return samples;
}

// Highest absolute value of the waveform between the samples around `centre`, by plain sinc interpolation over 400
// samples, 32 points each: the definition, slowly.
double waveform_peak(const std::vector<double>& stereo, std::int64_t centre) {
  double peak = 0;
  for (auto n = centre - 60; n < centre + 60; ++n) {
    for (int step = 0; step < 32; ++step) {
      const double t = static_cast<double>(n) + step / 32.0;
      double value = 0;
      for (auto k = n - 200; k <= n + 200; ++k) {
        const double x = std::numbers::pi * (t - static_cast<double>(k));
        const double window = 0.5 + 0.5 * std::cos(x / 201);
        value += stereo[static_cast<std::size_t>(2 * k)] * (x == 0 ? 1 : std::sin(x) / x) * window;
      }
      peak = std::max(peak, std::abs(value));
    }
  }
  return peak;
}

}  // namespace

TEST_SUITE_BEGIN("standards/signals");

TEST_CASE("a signal is the same however it is cut into blocks") {
  const auto signal = signals::tech_3341(9, 44100);
  const auto whole = all_frames(signal);
  auto source = signals::play(signal);
  std::vector<double> pieces, block(2 * 1009);
  for (const std::int64_t size : {1, 37, 1009}) {
    pieces.clear();
    source = signals::play(signal);
    while (const auto frames = source->read_reals(block.data(), size))
      pieces.insert(pieces.end(), block.begin(), block.begin() + 2 * frames);
    CHECK(pieces == whole);
  }
}

TEST_CASE("stretches are as long and as loud as the table says, at every rate") {
  for (const int rate : kRates) {
    CAPTURE(rate);
    const double lengths_s[] = {20, 20, 80, 100, 60.1, 20, 0, 0, 15, 0, 120, 10, 0, 16};
    for (const int number : {1, 2, 3, 4, 5, 6, 9, 11, 12, 14}) {
      CAPTURE(number);
      CHECK(signals::tech_3341(number, rate).frames == std::llround(lengths_s[number - 1] * rate));
    }
    for (const int number : {10, 13}) {
      const auto segments = signals::tech_3341_segments(number, rate);
      REQUIRE(segments.size() == 20);
      for (int i = 0; i < 20; ++i) {
        const double expected_s = number == 10 ? 4 + 0.15 * i : 1.4 + 0.02 * i;
        CHECK(segments[static_cast<std::size_t>(i)].frames == std::llround(expected_s * rate));
      }
    }
  }
  // The peak of a stretch: 1 kHz at 48 kHz meets its crest at every twelfth frame.
  const auto samples = all_frames(signals::tech_3341(3, 48000));
  const auto peak_in = [&](double from_s, double to_s) {
    double peak = 0;
    for (auto n = std::llround(from_s * 48000); n < std::llround(to_s * 48000); ++n)
      peak = std::max(peak, std::abs(samples[static_cast<std::size_t>(2 * n)]));
    return 20 * std::log10(peak);
  };
  CHECK(std::abs(peak_in(0, 10) + 36) < 1e-9);
  CHECK(std::abs(peak_in(10, 70) + 23) < 1e-9);
  CHECK(std::abs(peak_in(70, 80) + 36) < 1e-9);
}

TEST_CASE("Tech 3341 cases 1 to 6 read their loudness on libebur128") {
  const double expected_lufs[] = {-23, -33, -23, -23, -23, -23};
  for (int number = 1; number <= 6; ++number) {
    CAPTURE(number);
    const auto reading = read(signals::tech_3341(number, 48000), kIntegrated | kShortTerm);
    CHECK(std::abs(reading.integrated_lufs - expected_lufs[number - 1]) <= 0.1);
    if (number <= 2) {
      CHECK(std::abs(reading.max_momentary_lufs - expected_lufs[number - 1]) <= 0.1);
      CHECK(std::abs(reading.max_short_term_lufs - expected_lufs[number - 1]) <= 0.1);
    }
  }
}

TEST_CASE("Tech 3341 cases 9 and 12 hold short-term and momentary loudness constant on libebur128") {
  const auto short_term = read(signals::tech_3341(9, 48000), kShortTerm);
  CHECK(std::abs(short_term.max_short_term_lufs + 23) <= 0.1);
  CHECK(std::abs(short_term.min_short_term_lufs_after_3_s + 23) <= 0.1);
  const auto momentary = read(signals::tech_3341(12, 48000), kMomentary, 0.01);
  CHECK(std::abs(momentary.max_momentary_lufs + 23) <= 0.1);
  CHECK(std::abs(momentary.min_momentary_lufs_after_1_s + 23) <= 0.1);
}

TEST_CASE("Tech 3341 cases 10 and 13 read -23 in every segment, case 13 not on a 100 ms grid") {
  for (const auto& segment : signals::tech_3341_segments(10, 48000))
    CHECK(std::abs(read(segment, kShortTerm, 0.05).max_short_term_lufs + 23) <= 0.1);
  double lowest_lufs = 0;
  for (const auto& segment : signals::tech_3341_segments(13, 48000)) {
    CHECK(std::abs(read(segment, kMomentary, 0.01).max_momentary_lufs + 23) <= 0.1);
    lowest_lufs = std::min(lowest_lufs, read(segment, kMomentary, 0.1).max_momentary_lufs);
  }
  // Computed from the filters of BS.1770-5: down to -23.45 on a grid that misses the tone by 50 ms.
  CHECK(std::abs(lowest_lufs + 23.45) < 0.01);
}

TEST_CASE("Tech 3341 cases 15 to 19 have the true peak of the table, well above their samples") {
  const double expected_dbtp[] = {-6, -6, -6, -6, 3};
  // Sample peaks by arithmetic: amplitude times the largest |sin| the phase meets.
  const double expected_dbfs[] = {-6.02, -9.03, -7.27, -6.71, -0.03};
  for (const int rate : kRates) {
    for (int number = 15; number <= 19; ++number) {
      CAPTURE(rate);
      CAPTURE(number);
      const auto reading = read(signals::tech_3341_true_peak(number, rate), kTruePeak);
      CHECK(reading.true_peak_dbtp <= expected_dbtp[number - 15] + 0.2);
      CHECK(reading.true_peak_dbtp >= expected_dbtp[number - 15] - 0.4);
      CHECK(std::abs(reading.sample_peak_dbfs - expected_dbfs[number - 15]) < 0.01);
    }
  }
}

TEST_CASE("Tech 3341 cases 20 to 23 are one waveform at four offsets, with its top at 0 dBTP") {
  for (const int rate : kRates) {
    double lowest_sample_peak_dbfs = 0;
    for (int number = 20; number <= 23; ++number) {
      CAPTURE(rate);
      CAPTURE(number);
      const auto signal = signals::tech_3341_true_peak(number, rate);
      const auto reading = read(signal, kTruePeak);
      CHECK(reading.true_peak_dbtp <= 0.2);
      // At 96 kHz libebur128 oversamples twice only and may read up to 0.5 dB low.
      CHECK(reading.true_peak_dbtp >= (rate == 96000 ? -0.5 : -0.4));
      lowest_sample_peak_dbfs = std::min(lowest_sample_peak_dbfs, reading.sample_peak_dbfs);
      // By plain sinc interpolation: the same top whatever the offset. -0.09 dB is what the low-pass leaves.
      const double peak_db = 20 * std::log10(waveform_peak(all_frames(signal), signal.frames / 2));
      CHECK(std::abs(peak_db + 0.089) < 0.005);
    }
    CHECK(lowest_sample_peak_dbfs < -2);  // one of the offsets hides the top from a sample-peak meter
  }
}

TEST_CASE("Tech 3342 cases 1 to 4 read their loudness range on libebur128") {
  const double expected_lu[] = {10, 5, 20, 15};
  for (int number = 1; number <= 4; ++number) {
    CAPTURE(number);
    CHECK(std::abs(read(signals::tech_3342(number, 48000), kRange).loudness_range_lu - expected_lu[number - 1]) <= 1);
  }
}

TEST_CASE("the tones of BS.1770 and of Tech 3341 clause 2.9 read their level on libebur128") {
  // -3.01 LKFS in one of L, R, C; 0.00 in both L and R, by the sum of two equal powers.
  CHECK(std::abs(read(signals::calibration_tone(48000, 1, 0), kIntegrated).integrated_lufs + 3.01) < 0.005);
  CHECK(std::abs(read(signals::calibration_tone(48000, 2, 0), kIntegrated).integrated_lufs + 3.01) < 0.005);
  CHECK(std::abs(read(signals::calibration_tone(48000, 2, 1), kIntegrated).integrated_lufs + 3.01) < 0.005);
  CHECK(std::abs(read(signals::calibration_tone(48000, 5, 2), kIntegrated).integrated_lufs + 3.01) < 0.005);
  CHECK(std::abs(read(signals::calibration_tone(48000, 2, -1), kIntegrated).integrated_lufs) < 0.005);
  CHECK(std::abs(read(signals::tech_3341_alignment_tone(48000), kIntegrated).integrated_lufs + 18) <= 0.1);
}

TEST_CASE("the absolute gate tone tells a gate from none") {
  CHECK(std::abs(read(signals::absolute_gate_tone(48000), kIntegrated).integrated_lufs + 23.03) <= 0.1);
}

TEST_SUITE_END();
