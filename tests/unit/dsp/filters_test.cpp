#include <algorithm>
#include <cmath>
#include <vector>

#include <doctest/doctest.h>

#include "dsp/biquad.h"
#include "dsp/pair_cascade.h"
#include "dsp/low_band.h"
#include "dsp/weighting_bank.h"
#include "signals.h"

using namespace sendworthy;
using namespace sendworthy::dsp;

namespace {

double db(double linear) { return 20 * std::log10(linear); }

std::vector<float> floats(const test::Samples& samples) { return {samples.begin(), samples.end()}; }

}  // namespace

TEST_SUITE("dsp/filters") {
  TEST_CASE("K-weighting at 48 kHz is the standard's table and its gains are those of the formula") {
    // ITU-R BS.1770-5 Annex 1, Tables 1 and 2; gains computed from them.
    const auto k = k_weighting(48000);
    CHECK(k[0].b0 == 1.53512485958697);
    CHECK(k[1].a2 == 0.99007225036621);
    for (const auto& [hz, gain] : {std::pair{38.0, -6.003}, {100.0, -1.134}, {997.0, 0.691}, {1000.0, 0.698},
                                   {2000.0, 3.071}, {10000.0, 4.042}})
      CHECK(db(magnitude(k, hz, 48000)) - gain == doctest::Approx(0).scale(1).epsilon(0.005));
  }

  TEST_CASE("K-weighting keeps its response at other rates") {
    // BS.1770-5: "the same frequency response"; 0.03 dB from 20 Hz to 20 kHz is asked of ourselves.
    for (const double rate : {44100.0, 88200.0, 96000.0, 192000.0, 384000.0}) {
      for (double hz = 20; hz < 20000; hz *= 1.1) {
        const double difference = db(magnitude(k_weighting(rate), hz, rate)) - db(magnitude(k_weighting(48000), hz, 48000));
        CHECK(std::abs(difference) < 0.03);
      }
    }
  }

  TEST_CASE("K-weighting at low rates: 1 kHz stays, the rest bends no more than is said") {
    // Measured against the 48 kHz filters; no document sets a bound below 44.1 kHz.
    for (const auto& [rate, bound] : {std::pair{8000.0, 0.45}, {11025.0, 0.25}, {22050.0, 0.05}, {32000.0, 0.02}}) {
      const auto& rate_here = rate;
      CAPTURE(rate_here);
      const auto off = [rate = rate](double hz) {
        return std::abs(db(magnitude(k_weighting(rate), hz, rate)) - db(magnitude(k_weighting(48000), hz, 48000)));
      };
      CHECK(off(1000) < 0.002);
      for (double hz = 20; hz < 0.45 * rate; hz *= 1.05) CHECK(off(hz) < bound);
    }
  }

  TEST_CASE("A-weighting: the formula meets the standard's table, the filter the formula") {
    // IEC 61672-1 Table 3 at exact mid frequencies.
    for (const auto& [hz, gain] : {std::pair{31.623, -39.4}, {100.0, -19.1}, {1000.0, 0.0}, {2511.9, 1.3}, {10000.0, -2.5},
                                   {19952.6, -9.3}})
      CHECK(std::abs(a_weighting_db(hz) - gain) < 0.05);
    for (const double rate : {8000.0, 32000.0, 44100.0, 48000.0, 96000.0, 192000.0}) {
      for (double hz = 20; hz < std::min(20000.0, 0.45 * rate); hz *= 1.1)
        CHECK(std::abs(db(magnitude(a_weighting(rate), hz, rate)) - a_weighting_db(hz)) < 0.2);
    }
  }

  TEST_CASE("Butterworth filters are 3.01 dB down at their edge, flat on one side and steep on the other") {
    const auto low = butterworth_low_pass(8, 120, 3000);
    CHECK(db(magnitude(low, 120, 3000)) == doctest::Approx(-3.0103).epsilon(0.0001));
    CHECK(std::abs(db(magnitude(low, 60, 3000))) < 0.001);
    CHECK(db(magnitude(low, 240, 3000)) < -48);
    const auto high = butterworth_high_pass(2, 10, 3000);
    CHECK(db(magnitude(high, 10, 3000)) == doctest::Approx(-3.0103).epsilon(0.0001));
    CHECK(db(magnitude(high, 1, 3000)) < -39);
  }

  TEST_CASE("the bank equals plain cascades, however the stream is split") {
    const auto left = floats(test::noise(1, 0.5, 20000)), right = floats(test::noise(2, 0.5, 20000));
    const auto k = k_weighting(44100);
    const auto a = a_weighting(44100);
    PairCascade by_k({k.begin(), k.end()}), by_a({a.begin(), a.end()});
    double k0 = 0, k01 = 0, a0 = 0;
    for (std::size_t n = 0; n < left.size(); ++n) {
      const auto both = by_k.process(left[n], right[n]);
      const double l = both[0], r = both[1];
      const double w = by_a.process(left[n], right[n])[0];
      k0 += l * l, k01 += l * r, a0 += w * w;
    }
    for (const int step : {1, 37, 480, 20000}) {
      WeightingBank bank(44100);
      WeightingBank::Sums sums;
      for (int at = 0; at < 20000; at += step) {
        const auto part = bank.process(left.data() + at, right.data() + at, std::min(step, 20000 - at));
        sums.k0 += part.k0, sums.k01 += part.k01, sums.a0 += part.a0;
      }
      CHECK(sums.k0 == doctest::Approx(k0).epsilon(1e-9));
      CHECK(sums.k01 == doctest::Approx(k01).epsilon(1e-6));
      CHECK(sums.a0 == doctest::Approx(a0).epsilon(1e-9));
    }
  }

  TEST_CASE("the low band passes what it should, lets nothing fold back, and tells its delay") {
    for (const int rate : {8000, 11025, 22050, 44100, 48000, 96000, 192000, 384000}) {
      LowBandChain chain(rate);
      CAPTURE(rate);
      CHECK(chain.low_rate_hz() >= 2500);
      CHECK(chain.low_rate_hz() <= 6000);
      const auto gain = [&](double hz) {
        LowBandChain fresh(rate);
        std::vector<float> middle, low;
        fresh.process(floats(test::sine(rate, hz, 1.0, rate)), middle, low);
        double square = 0;
        const std::size_t skip = low.size() / 2;
        for (std::size_t n = skip; n < low.size(); ++n) square += static_cast<double>(low[n]) * low[n];
        return 10 * std::log10(2 * square / static_cast<double>(low.size() - skip) + 1e-30);
      };
      CHECK(std::abs(gain(100)) < 0.01);
      CHECK(std::abs(gain(500)) < 0.01);
      // What would land on 100 Hz after decimation.
      if (chain.low_factor() > 1) CHECK(gain(chain.low_rate_hz() - 100) < -90);
      // A step arrives when low_delay_frames() says.
      std::vector<float> middle, low;
      test::Samples step = test::silence(rate);
      std::fill(step.begin() + rate / 2, step.end(), 1.0);
      chain.process(floats(step), middle, low);
      std::size_t at = 0;
      while (at < low.size() && low[at] < 0.5f) ++at;
      const double input = static_cast<double>(at) * chain.low_factor() - chain.low_delay_frames();
      CHECK(std::abs(input - rate / 2) <= chain.low_factor() + 1);
    }
  }

  TEST_CASE("decimation does not depend on how the stream is split") {
    const auto x = floats(test::noise(3, 1, 30000));
    std::vector<float> middle, low, whole_low;
    LowBandChain(48000).process(x, middle, whole_low);
    LowBandChain split(48000);
    std::vector<float> joined;
    test::Random random(9);
    for (std::size_t at = 0; at < x.size();) {
      const auto count = std::min<std::size_t>(x.size() - at, static_cast<std::size_t>(1 + random.below(700)));
      split.process({x.data() + at, count}, middle, low);
      joined.insert(joined.end(), low.begin(), low.end());
      at += count;
    }
    REQUIRE(joined.size() == whole_low.size());
    for (std::size_t n = 0; n < joined.size(); ++n) CHECK(joined[n] == doctest::Approx(whole_low[n]).epsilon(1e-5).scale(0.01));
  }

  TEST_CASE("coincidence of signs counts as a plain loop does") {
    constexpr int kWords = 19, kRange = 128;
    test::Random random(4);
    std::vector<std::uint64_t> left(kWords), valid(kWords), right(kWords + 2 * kRange / 64);
    for (auto* words : {&left, &valid, &right})
      for (auto& word : *words) word = random.bits();
    std::vector<std::uint64_t> equal(2 * kRange, 0), plain(2 * kRange, 0);
    sign_coincidence(left.data(), right.data(), valid.data(), kWords, kRange, equal.data());
    const auto bit = [](const std::vector<std::uint64_t>& words, int at) {
      return words[static_cast<std::size_t>(at / 64)] >> (at % 64) & 1;
    };
    for (int k = 0; k < 2 * kRange; ++k) {
      for (int n = 0; n < 64 * kWords; ++n)
        plain[static_cast<std::size_t>(k)] += bit(valid, n) && bit(left, n) == bit(right, n + k);
    }
    CHECK(equal == plain);
  }
}
