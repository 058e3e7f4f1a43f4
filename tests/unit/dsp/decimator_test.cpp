// The slow copy of the low end: what it keeps, what it must not let through, and when its samples are.
#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <numbers>
#include <vector>

#include "dsp/low_band.h"
#include "signals.h"

using namespace sendworthy;
using namespace sendworthy::dsp;

namespace {

// The taps, read off from outside: an impulse at each phase gives every factor-th of them.
std::vector<double> taps_of(const Decimator& decimator) {
  const auto count = static_cast<std::size_t>(2 * decimator.delay_frames() + 1.5);
  const auto factor = static_cast<std::size_t>(decimator.factor());
  std::vector<double> taps(count, 0);
  for (std::size_t phase = 0; phase < factor; ++phase) {
    Decimator fresh = decimator;
    std::vector<float> in(2 * count + factor, 0.0f), out;
    in[phase] = 1;
    fresh.process(in, out);
    // Output m weighs input m·factor − j with tap j (they are symmetric, so the order does not matter).
    for (std::size_t m = 0; m < out.size(); ++m) {
      if (m * factor >= phase && m * factor - phase < count) taps[m * factor - phase] = static_cast<double>(out[m]);
    }
  }
  return taps;
}

double gain_db(const std::vector<double>& taps, double hz, double rate) {
  double re = 0, im = 0;
  for (std::size_t i = 0; i < taps.size(); ++i) {
    const double angle = 2 * std::numbers::pi * hz / rate * static_cast<double>(i);
    re += taps[i] * std::cos(angle), im += taps[i] * std::sin(angle);
  }
  return 10 * std::log10(re * re + im * im + 1e-30);
}

}  // namespace

TEST_SUITE("dsp/decimator") {
  TEST_CASE("flat in the pass band, 100 dB down in the stop band, symmetric") {
    struct Row {
      double rate;
      int factor;
      double pass_hz, stop_hz;
    };
    for (const auto& [rate, factor, pass_hz, stop_hz] :
         {Row{48000, 4, 1000, 11000}, Row{44100, 4, 1000, 10025}, Row{384000, 4, 1000, 95000},
          Row{12000, 4, 1000, 2000}, Row{11025, 3, 1000, 2675}, Row{8000, 2, 1000, 3000}, Row{24000, 8, 1000, 2000}}) {
      const auto& rate_here = rate;
      CAPTURE(rate_here);
      const auto& factor_here = factor;
      CAPTURE(factor_here);
      const auto taps = taps_of(Decimator(rate, factor, pass_hz, stop_hz));
      for (std::size_t i = 0; i < taps.size(); ++i) REQUIRE(std::abs(taps[i] - taps[taps.size() - 1 - i]) < 1e-9);
      for (double hz = 0; hz <= pass_hz; hz += pass_hz / 40) REQUIRE(std::abs(gain_db(taps, hz, rate)) < 0.001);
      for (double hz = stop_hz; hz <= rate / 2; hz += (rate / 2 - stop_hz) / 400)
        REQUIRE(gain_db(taps, hz, rate) < -99.5);
    }
  }

  TEST_CASE("nothing from above lands in the low end, at any rate") {
    for (const int rate : {8000, 11025, 22050, 32000, 44100, 48000, 88200, 96000, 192000, 384000}) {
      CAPTURE(rate);
      const LowBandChain chain(rate);
      // Tones that fold onto 30 … 480 Hz, around every multiple of the slow rate below half the file's own.
      for (int image = 1; image * chain.low_rate_hz() < rate / 2.0; image = image < 3 ? image + 1 : 2 * image) {
        for (const double onto_hz : {-480.0, -30.0, 30.0, 480.0}) {
          const double hz = image * chain.low_rate_hz() + onto_hz;
          if (hz >= rate / 2.0) continue;
          LowBandChain fresh(rate);
          std::vector<float> middle, low;
          const auto tone = test::sine(rate, hz, 1.0, rate / 4);
          fresh.process(std::vector<float>(tone.begin(), tone.end()), middle, low);
          float peak = 0;
          for (std::size_t n = low.size() / 2; n < low.size(); ++n) peak = std::max(peak, std::abs(low[n]));
          CAPTURE(hz);
          CHECK(20 * std::log10(peak + 1e-30) < -95);
        }
      }
    }
  }

  TEST_CASE("output stands for the time it says, to a small part of a sample") {
    for (const int rate : {8000, 44100, 48000, 192000}) {
      CAPTURE(rate);
      LowBandChain chain(rate);
      const auto tone = test::sine(rate, 200, 1.0, rate / 2);
      std::vector<float> middle, low;
      chain.process(std::vector<float>(tone.begin(), tone.end()), middle, low);
      REQUIRE(!low.empty());
      for (std::size_t m = low.size() / 2; m < low.size(); ++m) {
        const double frame = static_cast<double>(m) * chain.low_factor() - chain.low_delay_frames();
        REQUIRE(std::abs(low[m] - std::sin(2 * std::numbers::pi * 200 * frame / rate)) < 0.001);
      }
    }
  }

  TEST_CASE("every split gives the same samples to the bit") {
    const auto noise = test::noise(51, 1, 12000);
    const std::vector<float> x(noise.begin(), noise.end());
    for (const int rate : {8000, 11025, 48000, 192000}) {
      CAPTURE(rate);
      std::vector<float> whole_middle, whole_low, middle, low;
      LowBandChain(rate).process(x, whole_middle, whole_low);
      for (const std::size_t portion : {1u, 3u, 64u, 441u, 4095u}) {
        LowBandChain chain(rate);
        std::vector<float> joined_middle, joined_low;
        for (std::size_t at = 0; at < x.size(); at += portion) {
          chain.process({x.data() + at, std::min(portion, x.size() - at)}, middle, low);
          joined_middle.insert(joined_middle.end(), middle.begin(), middle.end());
          joined_low.insert(joined_low.end(), low.begin(), low.end());
        }
        CHECK(joined_middle == whole_middle);
        CHECK(joined_low == whole_low);
      }
    }
  }
}
