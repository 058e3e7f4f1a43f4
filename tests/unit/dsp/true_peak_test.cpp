#include <algorithm>
#include <cmath>
#include <vector>

#include <doctest/doctest.h>
#include <soxr.h>

#include "dsp/true_peak.h"
#include "signals.h"

using namespace sendworthy;

namespace {

std::vector<float> floats(const test::Samples& samples) { return {samples.begin(), samples.end()}; }

// The whole signal through the meter in segments of `segment` frames, fed `step` at a time.
float metered(const std::vector<float>& x, int segment = 4800, int step = 1000) {
  dsp::TruePeakMeter meter;
  float peak = 0;
  std::int64_t closed = 0;
  const auto frames = static_cast<std::int64_t>(x.size());
  for (std::int64_t at = 0; at < frames; at += step) {
    meter.feed(x.data() + at, static_cast<int>(std::min<std::int64_t>(step, frames - at)));
    for (; closed + segment <= meter.closable(); closed += segment) peak = std::max(peak, meter.close(closed + segment).value);
  }
  meter.flush();
  while (closed < frames) {
    closed = std::min(closed + segment, frames);
    peak = std::max(peak, meter.close(closed).value);
  }
  return peak;
}

double db(double linear) { return 20 * std::log10(linear); }

// Peak of the signal resampled 64 times by libsoxr at its highest quality, silence around it.
double by_resampling(const std::vector<float>& x) {
  std::vector<float> padded(512, 0.0f);
  padded.insert(padded.end(), x.begin(), x.end());
  padded.insert(padded.end(), 512, 0.0f);
  std::vector<float> out(64 * padded.size() + 4096);
  const auto quality = soxr_quality_spec(SOXR_VHQ, 0);
  const auto types = soxr_io_spec(SOXR_FLOAT32_I, SOXR_FLOAT32_I);
  std::size_t used = 0, made = 0;
  const auto* error = soxr_oneshot(1, 64, 1, padded.data(), padded.size(), &used, out.data(), out.size(), &made, &types,
                                   &quality, nullptr);
  REQUIRE(error == nullptr);
  float peak = 0;
  for (std::size_t n = 0; n < made; ++n) peak = std::max(peak, std::abs(out[n]));
  return peak;
}

}  // namespace

TEST_SUITE("dsp/true peak") {
  TEST_CASE("any sine up to 0.45 fs reads within 0.05 dB at any phase") {
    for (const double f : {0.01, 0.05, 0.1, 0.2, 0.25, 1.0 / 3, 0.35, 0.4, 0.43, 0.45}) {
      for (int p = 0; p < 16; ++p) {
        const auto x = floats(test::faded(test::sine(1000, 1000 * f, 0.5, 2400, p * 0.3927), 400));
        CAPTURE(f);
        CAPTURE(p);
        CHECK(std::abs(db(metered(x)) - db(0.5)) < 0.05);
      }
    }
  }

  TEST_CASE("random multitones agree with resampling 64 times, and are not read high either") {
    test::Random random(21);
    for (int round = 0; round < 25; ++round) {
      test::Samples x = test::silence(3000);
      for (int tone = 0; tone < 8; ++tone)
        x = test::sum(x, test::sine(48000, random.between(50, 0.44 * 48000), random.between(0.01, 0.2), 3000, random.between(0, 6)));
      const auto signal = floats(test::faded(x, 500));
      CAPTURE(round);
      CHECK(std::abs(db(metered(signal)) - db(by_resampling(signal))) < 0.05);
    }
  }

  TEST_CASE("pruning loses nothing against the plain way") {
    test::Random random(22);
    for (int round = 0; round < 12; ++round) {
      auto x = test::noise(100 + static_cast<std::uint64_t>(round), 1.0, 3000);
      double low = 0;
      const double smooth = random.between(0.02, 1), drive = random.between(0.5, 20);
      for (auto& v : x) {
        low += smooth * (v - low);
        v = std::clamp(drive * low, -0.97, 0.97);
      }
      const auto signal = floats(x);
      CAPTURE(round);
      // Square-topped noise reaches up to fs/2, beyond what the short screen promises, hence not closer than 0.05 dB.
      CHECK(std::abs(db(metered(signal)) - db(dsp::true_peak_unpruned(signal.data(), 3000))) < (smooth < 0.4 ? 0.01 : 0.05));
    }
  }

  TEST_CASE("where segments and feeds begin and end does not matter") {
    auto x = test::noise(23, 0.8, 6000);
    for (std::size_t n = 1; n < x.size(); ++n) x[n] = 0.7 * x[n - 1] + 0.3 * x[n];
    const auto signal = floats(x);
    const float whole = metered(signal, 6000, 6000);
    for (const int segment : {64, 441, 4800})
      for (const int step : {1, 37, 512}) CHECK(std::abs(db(metered(signal, segment, step)) - db(whole)) < 0.01);
  }

  TEST_CASE("peaks in the first and the last samples are seen, and none is below the samples") {
    // A meter that does not flush reads the end 3 dB low.
    auto tail = test::silence(2000);
    const auto tone = test::sine(4, 1, 0.7071, 20, 0.7854);  // fs/4, samples at ±0.5
    std::copy(tone.begin(), tone.end(), tail.end() - 20);
    CHECK(db(metered(floats(tail))) > db(0.5) + 1.5);
    auto head = test::silence(2000);
    std::copy(tone.begin(), tone.end(), head.begin());
    CHECK(db(metered(floats(head))) > db(0.5) + 1.5);
    CHECK(metered(floats(test::impulse(100, 0, 0.9))) >= 0.9f);
    CHECK(metered(floats(test::impulse(100, 99, 0.9))) >= 0.9f);
    CHECK(metered({1.0f}) >= 1.0f);
    CHECK(metered(floats(test::constant(0.25, 5000))) >= 0.25f);
    CHECK(metered(floats(test::silence(5000))) == 0.0f);
  }
}
