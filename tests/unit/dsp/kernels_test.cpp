// The vector kernels against plain loops, under every instruction set this machine and this build have: a fault in a
// narrow one would else be seen on somebody else's machine first.
#include <doctest/doctest.h>
#include <hwy/highway.h>

#include <algorithm>
#include <cmath>
#include <limits>
#include <numeric>
#include <vector>

#include "dsp/biquad.h"
#include "dsp/low_band.h"
#include "dsp/pair_cascade.h"
#include "dsp/planar.h"
#include "dsp/true_peak.h"
#include "dsp/weighting_bank.h"
#include "signals.h"

using namespace sendworthy;
using namespace sendworthy::dsp;

namespace {

struct OnlyTarget {
  explicit OnlyTarget(std::int64_t target) { hwy::SetSupportedTargetsForTest(target); }
  ~OnlyTarget() { hwy::SetSupportedTargetsForTest(0); }
};

template <class Check>
void on_every_target(Check check) {
  const auto targets = hwy::SupportedAndGeneratedTargets();
  REQUIRE(!targets.empty());
  for (const auto target : targets) {
    const OnlyTarget only(target);
    CAPTURE(hwy::TargetName(target));
    check();
  }
}

std::vector<float> floats(const test::Samples& samples) { return {samples.begin(), samples.end()}; }

}  // namespace

TEST_SUITE("dsp/kernels") {
  TEST_CASE("codes split into rows at every length, channel count and alignment, and nothing beyond is written") {
    on_every_target([] {
      test::Random random(31);
      for (const int channels : {1, 2, 3, 6, 8}) {
        for (int frames = 1; frames <= 130; ++frames) {
          const int offset = frames % 5;
          std::vector<std::int32_t> codes(static_cast<std::size_t>(frames * channels + offset));
          for (auto& code : codes) code = static_cast<std::int32_t>(static_cast<std::uint32_t>(random.bits()));
          codes.back() = frames % 2 == 0 ? INT32_MIN : INT32_MAX;
          const std::int64_t stride = frames + 3;
          std::vector<float> rows(static_cast<std::size_t>(stride * channels + offset), 7.0f);
          std::uint32_t any = 0;
          for (std::size_t i = static_cast<std::size_t>(offset); i < codes.size(); ++i)
            any |= static_cast<std::uint32_t>(codes[i]);
          REQUIRE(split_codes(codes.data() + offset, frames, channels, rows.data() + offset, stride) == any);
          for (int c = 0; c < channels; ++c) {
            const float* row = rows.data() + offset + c * stride;
            for (int n = 0; n < frames; ++n)
              REQUIRE(row[n] ==
                      static_cast<float>(codes[static_cast<std::size_t>(offset + n * channels + c)]) / 2147483648.0f);
            for (int n = frames; n < stride; ++n) REQUIRE(row[n] == 7.0f);
          }
        }
      }
    });
  }

  TEST_CASE("reals split into rows, with every broken number counted wherever it stands") {
    const double nan = std::nan(""), infinity = std::numeric_limits<double>::infinity();
    for (const int channels : {1, 2, 3, 8}) {
      for (int frames = 1; frames <= 40; ++frames) {
        auto reals = test::noise(static_cast<std::uint64_t>(frames), 1.5, frames * channels);
        for (std::size_t at = 0; at < reals.size(); ++at) {
          auto broken = reals;
          broken[at] = at % 3 == 0 ? nan : at % 3 == 1 ? infinity : -infinity;
          const std::int64_t stride = frames + 1;
          std::vector<float> rows(static_cast<std::size_t>(stride * channels), 7.0f);
          REQUIRE(split_reals(broken.data(), frames, channels, rows.data(), stride).not_finite == 1);
          for (std::size_t i = 0; i < reals.size(); ++i) {
            const auto n = static_cast<std::int64_t>(i) / channels, c = static_cast<std::int64_t>(i) % channels;
            REQUIRE(rows[static_cast<std::size_t>(c * stride + n)] == (i == at ? 0.0f : static_cast<float>(reals[i])));
          }
        }
      }
    }
  }

  TEST_CASE("sums, extremes, bends and lags equal plain loops") {
    const auto a = floats(test::noise(32, 1, 400)), b = floats(test::noise(33, 1, 400));
    on_every_target([&] {
      for (int count = 1; count <= 130; ++count) {
        for (int offset = 1; offset < 9; ++offset) {
          const float *x = a.data() + offset, *y = b.data() + 2 * offset;
          double sum = 0, square = 0, right = 0, right_square = 0, product = 0, lag = static_cast<double>(x[0]) * x[-1];
          float peak = 0, right_peak = 0;
          for (int n = 0; n < count; ++n) {
            const double l = x[n], r = y[n];
            sum += l, square += l * l, right += r, right_square += r * r, product += l * r;
            peak = std::max(peak, std::abs(x[n])), right_peak = std::max(right_peak, std::abs(y[n]));
            if (n > 0) lag += l * x[n - 1];
          }
          const auto row = row_sums(x, count);
          const auto pair = pair_sums(x, y, count);
          REQUIRE(std::abs(row.sum - sum) < 1e-12);
          REQUIRE(std::abs(row.square - square) < 1e-12);
          REQUIRE(row.peak == peak);
          REQUIRE(std::abs(pair.left - sum) < 1e-12);
          REQUIRE(std::abs(pair.right - right) < 1e-12);
          REQUIRE(std::abs(pair.left_square - square) < 1e-12);
          REQUIRE(std::abs(pair.right_square - right_square) < 1e-12);
          REQUIRE(std::abs(pair.product - product) < 1e-12);
          REQUIRE(pair.left_peak == peak);
          REQUIRE(pair.right_peak == right_peak);
          REQUIRE(std::abs(lag_one_sum(x, count, x[-1]) - lag) < 1e-12);
          float high[3] = {}, low[3] = {}, bend[3] = {}, squares[3] = {};
          sub_extremes(x, count, high, low, squares);
          sub_bends(x, count, bend);
          for (int s = 0; s * kSubBlock < count; ++s) {
            const int from = s * kSubBlock, to = std::min(count, from + kSubBlock);
            REQUIRE(high[s] == *std::max_element(x + from, x + to));
            REQUIRE(low[s] == *std::min_element(x + from, x + to));
            REQUIRE(squares[s] == doctest::Approx(std::inner_product(x + from, x + to, x + from, 0.0)).epsilon(1e-6));
            float top = 0;
            for (int n = from; n < to; ++n) top = std::max(top, std::abs((x[n - 1] + x[n + 1]) - 2 * x[n]));
            REQUIRE(bend[s] == doctest::Approx(top).epsilon(1e-6));
          }
        }
      }
    });
  }

  TEST_CASE("an extreme is found at any place of a sub-block") {
    on_every_target([] {
      for (int count = 1; count <= 130; ++count) {
        for (int at = 0; at < count; ++at) {
          std::vector<float> x(static_cast<std::size_t>(count + 2), 0.25f);
          x[static_cast<std::size_t>(at + 1)] = 0.75f;
          float high[3], low[3], bend[3];
          sub_extremes(x.data() + 1, count, high, low);
          REQUIRE(high[at / kSubBlock] == 0.75f);
          REQUIRE(row_sums(x.data() + 1, count).peak == 0.75);
          sub_bends(x.data() + 1, count, bend);
          REQUIRE(bend[at / kSubBlock] == 1.0f);
          x[static_cast<std::size_t>(at + 1)] = -0.75f;
          sub_extremes(x.data() + 1, count, high, low);
          REQUIRE(low[at / kSubBlock] == -0.75f);
        }
      }
    });
  }

  TEST_CASE("products at a lag equal a plain loop at every lag") {
    const auto a = floats(test::noise(34, 1, 500)), b = floats(test::noise(35, 1, 500));
    on_every_target([&] {
      for (const int frames : {1, 7, 8, 15, 16, 17, 31, 33, 64, 257}) {
        for (const int first : {-9, 0, 4}) {
          constexpr int kLags = 11;
          std::vector<double> sums(kLags, 1.0);  // added to, not replaced
          lagged_products(a.data() + 50, b.data() + 50, frames, first, kLags, sums.data());
          for (int k = 0; k < kLags; ++k) {
            double plain = 1;
            for (int n = 50; n < 50 + frames; ++n)
              plain += static_cast<double>(a[static_cast<std::size_t>(n)]) * static_cast<double>(b[static_cast<std::size_t>(n + first + k)]);
            REQUIRE(std::abs(sums[static_cast<std::size_t>(k)] - plain) < 1e-4);
          }
        }
      }
    });
  }

  TEST_CASE("first differences, their signs, and mid and side equal a plain loop") {
    auto x = floats(test::noise(37, 1, 64 * 5 + 1));
    for (std::size_t n = 40; n < x.size(); n += 7) x[n] = x[n - 1];
    on_every_target([&] {
      for (const int frames : {1, 2, 15, 16, 17, 33, 320}) {
        std::vector<float> out(static_cast<std::size_t>(frames));
        first_differences(x.data() + 1, frames, x[0], out.data());
        for (std::size_t n = 0; n < out.size(); ++n) REQUIRE(out[n] == x[n + 1] - x[n]);
      }
      for (const int frames : {1, 15, 16, 17, 100}) {
        std::vector<float> mid(static_cast<std::size_t>(frames)), side(mid);
        mid_side(x.data(), x.data() + 100, frames, mid.data(), side.data());
        for (std::size_t n = 0; n < mid.size(); ++n) {
          REQUIRE(mid[n] == 0.5f * (x[n] + x[n + 100]));
          REQUIRE(side[n] == 0.5f * (x[n] - x[n + 100]));
        }
      }
      for (int words = 1; words <= 5; ++words) {
        std::vector<std::uint64_t> rising(static_cast<std::size_t>(words)), moving(rising);
        signs_of_differences(x.data() + 1, words, rising.data(), moving.data());
        for (std::size_t n = 0; n < 64 * static_cast<std::size_t>(words); ++n) {
          REQUIRE((rising[n / 64] >> n % 64 & 1) == (x[n + 1] > x[n] ? 1 : 0));
          REQUIRE((moving[n / 64] >> n % 64 & 1) == (x[n + 1] != x[n] ? 1 : 0));
        }
      }
    });
  }

  TEST_CASE("coincidence of signs equals a plain count at every number of words") {
    on_every_target([] {
      for (int words = 1; words <= 20; ++words) {
        for (const int range : {64, 192}) {
          test::Random random(static_cast<std::uint64_t>(36 + words));
          std::vector<std::uint64_t> left(static_cast<std::size_t>(words)), valid(left),
              right(static_cast<std::size_t>(words + 2 * range / 64));
          for (auto* list : {&left, &valid, &right})
            for (auto& word : *list) word = random.bits();
          std::vector<std::uint64_t> equal(static_cast<std::size_t>(2 * range), 3);
          sign_coincidence(left.data(), right.data(), valid.data(), words, range, equal.data());
          const auto bit = [](const std::vector<std::uint64_t>& list, int at) {
            return (list[static_cast<std::size_t>(at / 64)] >> (at % 64)) & 1;
          };
          for (int k = 0; k < 2 * range; ++k) {
            std::uint64_t plain = 3;
            for (int n = 0; n < 64 * words; ++n) plain += bit(valid, n) != 0 && bit(left, n) == bit(right, n + k);
            REQUIRE(equal[static_cast<std::size_t>(k)] == plain);
          }
        }
      }
    });
  }

  TEST_CASE("the weighting bank equals plain cascades at every length of call") {
    const auto left = floats(test::noise(37, 0.5, 9000)), right = floats(test::noise(38, 0.5, 9000));
    on_every_target([&] {
      for (const int rate : {8000, 11025, 44100, 48000, 192000, 384000}) {
        const auto k = k_weighting(rate);
        const auto a = a_weighting(rate);
        PairCascade by_k({k.begin(), k.end()}), by_a({a.begin(), a.end()});
        WeightingBank bank(rate);
        int at = 0;
        for (int count = 1; at + count <= 9000; ++count) {
          WeightingBank::Sums plain;
          for (int n = at; n < at + count; ++n) {
            const auto i = static_cast<std::size_t>(n);
            const auto k2 = by_k.process(left[i], right[i]), a2 = by_a.process(left[i], right[i]);
            plain.k0 += k2[0] * k2[0], plain.k1 += k2[1] * k2[1], plain.k01 += k2[0] * k2[1];
            plain.a0 += a2[0] * a2[0], plain.a1 += a2[1] * a2[1];
          }
          const auto sums = bank.process(left.data() + at, right.data() + at, count);
          const double scale = plain.k0 + plain.k1 + 1e-9;
          REQUIRE(std::abs(sums.k0 - plain.k0) < 1e-8 * scale);
          REQUIRE(std::abs(sums.k1 - plain.k1) < 1e-8 * scale);
          REQUIRE(std::abs(sums.k01 - plain.k01) < 1e-8 * scale);
          REQUIRE(std::abs(sums.a0 - plain.a0) < 1e-8 * scale);
          REQUIRE(std::abs(sums.a1 - plain.a1) < 1e-8 * scale);
          at += count;
        }
      }
    });
  }

  TEST_CASE("sums of a cascade equal those of its samples, however the stream is split") {
    const auto left = floats(test::noise(41, 0.5, 5000)), right = floats(test::noise(42, 0.5, 5000));
    auto five = butterworth_high_pass(2, 10, 3000);
    for (const auto& section : butterworth_low_pass(8, 120, 3000)) five.push_back(section);
    on_every_target([&] {
      for (const std::size_t sections : {std::size_t{2}, std::size_t{5}}) {
        const std::vector<Biquad> some(five.begin(), five.begin() + static_cast<std::ptrdiff_t>(sections));
        PairCascade plain(some), summed(some);
        int at = 0;
        for (int count = 1; at + count <= 5000; count += 7) {
          PairCascade::Sums expected;
          for (int n = at; n < at + count; ++n) {
            const auto y = plain.process(left[static_cast<std::size_t>(n)], right[static_cast<std::size_t>(n)]);
            expected.first += y[0] * y[0], expected.second += y[1] * y[1], expected.product += y[0] * y[1];
          }
          const auto sums = summed.sums(left.data() + at, right.data() + at, count);
          const double scale = expected.first + expected.second + 1e-12;
          REQUIRE(std::abs(sums.first - expected.first) < 1e-9 * scale);
          REQUIRE(std::abs(sums.second - expected.second) < 1e-9 * scale);
          REQUIRE(std::abs(sums.product - expected.product) < 1e-9 * scale);
          at += count;
        }
        // What goes on sample by sample afterwards goes on from there.
        CHECK(summed.process(0.25, -0.5)[1] == doctest::Approx(plain.process(0.25, -0.5)[1]).epsilon(1e-9));
      }
    });
  }

  TEST_CASE("after sound has died away the filters come to rest") {
    // Denormal numbers would make silence the slowest part of a song.
    WeightingBank bank(48000);
    const auto noise = floats(test::noise(39, 0.5, 4800));
    const std::vector<float> none(4800, 0.0f);
    (void)bank.process(noise.data(), noise.data(), 4800);
    WeightingBank::Sums sums;
    for (int i = 0; i < 100; ++i) {
      sums = bank.process(none.data(), none.data(), 4800);
      bank.flush_denormals();
    }
    CHECK(sums.k0 == 0);
    CHECK(sums.a1 == 0);
    PairCascade cascade(butterworth_low_pass(8, 120, 3000));
    (void)cascade.process(1.0, -1.0);
    double last = 1;
    for (int n = 1; n < 40000; ++n) {
      last = cascade.process(0, 0)[1];
      CHECK(std::fpclassify(last) != FP_SUBNORMAL);
      if (n % 1000 == 0) cascade.flush_denormals();
    }
    CHECK(std::abs(last) < 1e-25);
  }

  TEST_CASE("decimation and true peak read the same under every instruction set") {
    auto x = test::noise(40, 0.9, 20000);
    for (std::size_t n = 1; n < x.size(); ++n) x[n] = 0.6 * x[n - 1] + 0.4 * x[n];
    const auto signal = floats(x);
    const float plain_peak = true_peak_unpruned(signal.data(), 20000);
    std::vector<float> first, middle, low;
    on_every_target([&] {
      LowBandChain(48000).process(signal, middle, low);
      if (first.empty()) first = low;
      REQUIRE(low.size() == first.size());
      for (std::size_t n = 0; n < low.size(); ++n) REQUIRE(std::abs(low[n] - first[n]) < 1e-6f);
      TruePeakMeter meter;
      meter.feed(signal.data(), 20000);
      meter.flush();
      CHECK(std::abs(20 * std::log10(meter.close(20000).value / plain_peak)) < 0.01);
    });
  }
}
