// True peak against waveforms that are known between the samples too: sums of sines, evaluated at any time.
#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <numbers>
#include <vector>

#include "dsp/true_peak.h"
#include "signals.h"

using namespace sendworthy;

namespace {

double db(double linear) { return 20 * std::log10(linear); }

struct Tone {
  double frequency, amplitude, phase;  // frequency relative to the rate
};

double waveform(const std::vector<Tone>& tones, double frame) {
  double sum = 0;
  for (const auto& t : tones) sum += t.amplitude * std::sin(2 * std::numbers::pi * t.frequency * frame + t.phase);
  return sum;
}

/// The waveform at every 32nd of a frame.
struct Fine {
  static constexpr std::int64_t kSteps = 32;
  std::vector<double> magnitude;
  Fine(const std::vector<Tone>& tones, std::int64_t frames) {
    for (std::int64_t i = 0; i <= frames * kSteps; ++i)
      magnitude.push_back(std::abs(waveform(tones, static_cast<double>(i) / kSteps)));
  }
  [[nodiscard]] double highest(std::int64_t from_frame, std::int64_t to_frame) const {
    return *std::max_element(magnitude.begin() + from_frame * kSteps, magnitude.begin() + to_frame * kSteps + 1);
  }
};

std::vector<float> sampled(const std::vector<Tone>& tones, int frames) {
  std::vector<float> x(static_cast<std::size_t>(frames));
  for (int n = 0; n < frames; ++n) x[static_cast<std::size_t>(n)] = static_cast<float>(waveform(tones, n));
  return x;
}

float whole(const std::vector<float>& x) {
  dsp::TruePeakMeter meter;
  meter.feed(x.data(), static_cast<int>(x.size()));
  meter.flush();
  return meter.close(static_cast<std::int64_t>(x.size())).value;
}

std::vector<float> floats(const test::Samples& samples) { return {samples.begin(), samples.end()}; }

}  // namespace

TEST_SUITE("dsp/true peak") {
  TEST_CASE("every hundredth of the rate up to 0.45 reads within 0.05 dB, at phases that miss the samples most") {
    for (int percent = 1; percent <= 45; ++percent) {
      for (int p = 0; p < 12; ++p) {
        const auto tone = test::faded(test::sine(100, percent, 0.8, 1500, 0.05 + p * std::numbers::pi / 12), 300);
        CAPTURE(percent);
        CAPTURE(p);
        REQUIRE(std::abs(db(whole(floats(tone))) - db(0.8)) < 0.05);
      }
    }
  }

  TEST_CASE("a peak that is known already only costs less: what lies above it reads the same") {
    auto x = test::noise(91, 0.9, 96000);
    for (std::size_t n = 1; n < x.size(); ++n) x[n] = 0.7 * x[n - 1] + 0.3 * x[n] * (n / 4800 % 3 == 0 ? 1.0 : 0.6);
    const auto signal = floats(x);
    dsp::TruePeakMeter plain, told;
    plain.feed(signal.data(), 96000), told.feed(signal.data(), 96000);
    plain.flush(), told.flush();
    int above = 0, below = 0;
    const float known = 0.5f * whole(signal);
    for (std::int64_t end = 4800; end <= 96000; end += 4800) {
      const auto peak = plain.close(end), other = told.close(end, known);
      CAPTURE(end);
      if (peak.value > known) {
        ++above;
        CHECK(other.value == peak.value);
        CHECK(other.frame == peak.frame);
      } else {
        ++below;
        CHECK(other.value <= known);
      }
    }
    CHECK(above >= 5);
    CHECK(below >= 5);
  }

  TEST_CASE("each segment reads its own stretch: not less than is in it, not more than is around it") {
    test::Random random(61);
    for (int round = 0; round < 8; ++round) {
      std::vector<Tone> tones;
      for (int i = 0; i < 6; ++i)
        tones.push_back({random.between(0.002, 0.42), random.between(0.02, 0.25), random.between(0, 6)});
      constexpr int kFrames = 8000;
      const auto x = sampled(tones, kFrames);
      const Fine fine(tones, kFrames);
      for (const int segment : {70, 441, 480, 1000}) {
        dsp::TruePeakMeter meter;
        meter.feed(x.data(), kFrames);
        for (std::int64_t end = segment; end <= meter.closable(); end += segment) {
          const auto peak = meter.close(end);
          const auto begin = end - segment;
          if (begin < 100) continue;  // the start of the tones is no sum of sines
          CAPTURE(round);
          CAPTURE(segment);
          CAPTURE(end);
          REQUIRE(db(peak.value) > db(fine.highest(begin, end - 1)) - 0.05);
          REQUIRE(db(peak.value) < db(fine.highest(begin - 1, end + 1)) + 0.05);
          // The place named is where the waveform is that high.
          REQUIRE(peak.frame >= begin);
          REQUIRE(peak.frame <= end);
          REQUIRE(db(fine.highest(peak.frame - 1, peak.frame + 1)) > db(peak.value) - 0.05);
        }
      }
    }
  }

  TEST_CASE("impulses, steps, constants and clipped noise read as the plain way does, wherever they stand") {
    const auto same = [](const test::Samples& samples, double within) {
      const auto x = floats(samples);
      const float plain = dsp::true_peak_unpruned(x.data(), static_cast<std::int64_t>(x.size()));
      CHECK(std::abs(db(whole(x)) - db(plain)) < within);
    };
    for (const int at : {0, 1, 31, 63, 64, 65, 127, 128, 500, 934, 935, 936, 998, 999}) {
      CAPTURE(at);
      same(test::impulse(1000, at, 0.9), 0.01);
      test::Samples step = test::silence(1000), plateau = test::silence(1000);
      std::fill(step.begin() + at, step.end(), 0.7);
      same(step, 0.01);
      std::fill(plateau.begin(), plateau.begin() + at + 1, -0.7);
      same(plateau, 0.01);
      // Two of one sign side by side: the waveform's top lies between them.
      auto pair = test::impulse(1000, at, 0.6);
      if (at + 1 < 1000) pair[static_cast<std::size_t>(at + 1)] = 0.6;
      same(pair, 0.05);
    }
    same(test::constant(0.5, 3000), 0.01);
    for (std::uint64_t seed = 0; seed < 6; ++seed) {
      auto x = test::noise(70 + seed, 1.0, 4000);
      double a = 0, b = 0;
      for (auto& v : x) {
        a += 0.3 * (v - a), b += 0.3 * (a - b);
        v = std::clamp(6 * b, -0.9, 0.9);
      }
      same(x, 0.01);
    }
  }

  TEST_CASE("the waveform's top before the first sample and after the last one is seen") {
    // Samples of alternating sign swing highest half a sample outside, where all the sincs add up; inside they cancel.
    test::Samples falling;
    for (int n = 0; n < 40; ++n) falling.push_back((n % 2 == 0 ? 0.5 : -0.5) * (1 - n / 60.0));
    const test::Samples rising(falling.rbegin(), falling.rend());
    const double plain = dsp::true_peak_unpruned(floats(falling).data(), 40);
    CHECK(plain > 0.65);
    const auto rest = test::silence(2000);
    for (const auto& x : {falling, rising, test::concatenated({falling, rest}), test::concatenated({rest, rising})})
      CHECK(std::abs(db(whole(floats(x))) - db(plain)) < 0.1);
  }

  TEST_CASE("a level twice as high reads twice as high, and polarity and direction do not matter") {
    auto x = test::noise(80, 0.4, 3000);
    for (std::size_t n = 1; n < x.size(); ++n) x[n] = 0.5 * x[n - 1] + 0.5 * x[n];
    const double plain = db(whole(floats(x)));
    CHECK(db(whole(floats(test::scaled(x, 2)))) - plain == doctest::Approx(6.0206).epsilon(1e-4));
    CHECK(std::abs(db(whole(floats(test::scaled(x, -1)))) - plain) < 1e-5);
    CHECK(std::abs(db(whole(floats({x.rbegin(), x.rend()}))) - plain) < 0.01);
  }
}
