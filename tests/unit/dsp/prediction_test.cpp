// The look at kinks and Burg's linear prediction, on every instruction set of this processor.
#include "dsp/prediction.h"

#include <doctest/doctest.h>
#include <hwy/highway.h>

#include <algorithm>
#include <cmath>
#include <numbers>
#include <vector>

#include "dsp/planar.h"
#include "signals.h"

using namespace sendworthy;
using namespace sendworthy::dsp;

namespace {

template <class Check>
void on_every_target(Check check) {
  for (const auto target : hwy::SupportedAndGeneratedTargets()) {
    hwy::SetSupportedTargetsForTest(target);
    CAPTURE(hwy::TargetName(target));
    check();
    hwy::SetSupportedTargetsForTest(0);
  }
}

std::vector<float> floats(const test::Samples& samples) { return {samples.begin(), samples.end()}; }

}  // namespace

TEST_SUITE("dsp/prediction") {
  TEST_CASE("kinks equal a plain loop, at every length and place") {
    const auto a = floats(test::noise(61, 1, 400));
    on_every_target([&] {
      for (int count = 1; count <= 130; ++count) {
        for (int offset = 2; offset < 10; ++offset) {
          const float* x = a.data() + offset;
          float kinks[3] = {};
          sub_kinks(x, count, kinks);
          for (int s = 0; s * kSubBlock < count; ++s) {
            float top = 0;
            for (int n = s * kSubBlock; n < std::min(count, (s + 1) * kSubBlock); ++n)
              top = std::max(top, std::abs(x[n - 2] + x[n + 2] - 4 * (x[n - 1] + x[n + 1]) + 6 * x[n]));
            REQUIRE(kinks[s] == doctest::Approx(top).epsilon(1e-5));
          }
        }
      }
    });
  }

  // A cubic has no fourth difference; a step of 1 shows as 3, a lone sample as 6.
  TEST_CASE("smooth sound vanishes among kinks, a step and a lone sample do not") {
    std::vector<float> x(70);
    for (int n = 0; n < 70; ++n) x[static_cast<std::size_t>(n)] = static_cast<float>(n * n * n - 40 * n * n);
    float kink = 1;
    sub_kinks(x.data() + 2, 64, &kink);
    CHECK(kink == 0);
    std::fill(x.begin(), x.end(), 0.0f);
    std::fill(x.begin() + 30, x.end(), 1.0f);
    sub_kinks(x.data() + 2, 64, &kink);
    CHECK(kink == 3);
    std::fill(x.begin() + 31, x.end(), 0.0f);
    sub_kinks(x.data() + 2, 64, &kink);
    CHECK(kink == 6);
  }

  // Two sines need four taps; what is left is rounding.
  TEST_CASE("sines are predicted, and the sample that is off is missed by what it is off") {
    auto x = floats(test::sum(test::sine(48000, 997, 0.5, 500), test::sine(48000, 6007, 0.2, 500)));
    x[450] += 0.01f;
    on_every_target([&] {
      for (const int count : {128, 384, 401}) {
        float taps[kPredictionOrder + 1];
        burg(x.data(), count, taps);
        CHECK(taps[0] == 1);
        std::vector<float> misses(x.size());
        prediction_misses(x.data(), 451, taps, misses.data());
        const auto own = misses.begin() + (450 - kPredictionOrder);
        CHECK(*std::max_element(misses.begin(), own) < 1e-4f);
        CHECK(*own == doctest::Approx(0.01).epsilon(0.02));
      }
    });
  }

  // x[n] = 1.6 x[n−1] − 0.8 x[n−2] + noise: the filter is 1, −1.6, 0.8 and nothing, to what 1000 samples tell.
  TEST_CASE("the filter of a known process is found, and noise is not predicted") {
    const auto noise = test::noise(62, 0.1, 1000);
    std::vector<float> x(1000);
    for (std::size_t n = 2; n < x.size(); ++n) x[n] = static_cast<float>(1.6 * x[n - 1] - 0.8 * x[n - 2] + noise[n]);
    on_every_target([&] {
      float taps[kPredictionOrder + 1];
      burg(x.data(), 1000, taps);
      CHECK(taps[1] == doctest::Approx(-1.6).epsilon(0.06));
      CHECK(taps[2] == doctest::Approx(0.8).epsilon(0.2));
      CHECK(std::abs(taps[9]) < 0.15f);
    });
  }

  TEST_CASE("misses equal a plain loop, and silence is no trouble") {
    const auto a = floats(test::noise(63, 1, 200));
    float taps[kPredictionOrder + 1];
    burg(a.data(), 100, taps);
    on_every_target([&] {
      for (int count = kPredictionOrder; count <= 150; ++count) {
        std::vector<float> misses(static_cast<std::size_t>(count), 7.0f);
        prediction_misses(a.data(), count, taps, misses.data());
        for (int n = kPredictionOrder; n < count; ++n) {
          double sum = 0;
          for (int i = 0; i <= kPredictionOrder; ++i)
            sum += static_cast<double>(taps[i]) * static_cast<double>(a[static_cast<std::size_t>(n - i)]);
          REQUIRE(misses[static_cast<std::size_t>(n - kPredictionOrder)] ==
                  doctest::Approx(std::abs(sum)).epsilon(1e-3));
        }
        for (int n = count - kPredictionOrder; n < count; ++n) REQUIRE(misses[static_cast<std::size_t>(n)] == 7.0f);
      }
      const std::vector<float> silence(200, 0.0f);
      float none[kPredictionOrder + 1];
      burg(silence.data(), 200, none);
      for (int i = 1; i <= kPredictionOrder; ++i) REQUIRE(none[i] == 0);
    });
  }
}
