#include "dsp/planar.h"

#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <cstring>
#include <limits>
#include <vector>

#include "signals.h"

using namespace sendworthy;
using namespace sendworthy::dsp;

TEST_SUITE("dsp/planar") {
  TEST_CASE("sums, extremes and bends equal plain loops at every length around the vector size and any alignment") {
    const auto noise = test::noise(5, 1, 400), other = test::noise(6, 1, 400);
    const std::vector<float> a(noise.begin(), noise.end()), b(other.begin(), other.end());
    for (int count = 1; count <= 131; ++count) {
      for (int offset = 1; offset < 5; ++offset) {
        const float* x = a.data() + offset;
        const float* y = b.data() + offset;
        RowSums row;
        PairSums pair;
        double lag = static_cast<double>(x[0]) * x[-1];
        for (int n = 0; n < count; ++n) {
          const double l = x[n], r = y[n];
          row.sum += l, row.square += l * l, row.peak = std::max(row.peak, std::abs(l));
          pair.right += r, pair.right_square += r * r, pair.product += l * r;
          pair.right_peak = std::max(pair.right_peak, std::abs(r));
          if (n > 0) lag += l * x[n - 1];
        }
        const auto got = row_sums(x, count);
        const auto both = pair_sums(x, y, count);
        REQUIRE(got.sum == doctest::Approx(row.sum).epsilon(1e-12).scale(1));
        REQUIRE(got.square == doctest::Approx(row.square).epsilon(1e-12));
        REQUIRE(got.peak == row.peak);
        REQUIRE(both.left == doctest::Approx(row.sum).epsilon(1e-12).scale(1));
        REQUIRE(both.left_square == doctest::Approx(row.square).epsilon(1e-12));
        REQUIRE(both.right == doctest::Approx(pair.right).epsilon(1e-12).scale(1));
        REQUIRE(both.right_square == doctest::Approx(pair.right_square).epsilon(1e-12));
        REQUIRE(both.product == doctest::Approx(pair.product).epsilon(1e-12).scale(1));
        REQUIRE(both.left_peak == row.peak);
        REQUIRE(both.right_peak == pair.right_peak);
        std::vector<float> sum(y, y + count);
        REQUIRE(add_row(x, count, sum.data()) == doctest::Approx(row.square).epsilon(1e-12));
        for (int n = 0; n < count; ++n) REQUIRE(sum[static_cast<std::size_t>(n)] == y[n] + x[n]);
        REQUIRE(lag_one_sum(x, count, x[-1]) == doctest::Approx(lag).epsilon(1e-9).scale(1));
        std::vector<float> high(3), low(3), bend(3), motion(3);
        sub_extremes(x, count, high.data(), low.data());
        sub_bends(x, count, bend.data());
        sub_motion(x, count, x[-1], motion.data());
        for (int s = 0; s * kSubBlock < count; ++s) {
          const int to = std::min(count, (s + 1) * kSubBlock);
          float h = -9, l = 9, d = 0;
          double moved = 0;
          for (int n = s * kSubBlock; n < to; ++n) {
            h = std::max(h, x[n]), l = std::min(l, x[n]);
            moved += (static_cast<double>(x[n]) - static_cast<double>(x[n - 1])) * (static_cast<double>(x[n]) - static_cast<double>(x[n - 1]));
            d = std::max(d, std::abs((x[n - 1] + x[n + 1]) - (x[n] + x[n])));
          }
          const auto at = static_cast<std::size_t>(s);
          REQUIRE(high[at] == h);
          REQUIRE(low[at] == l);
          REQUIRE(bend[at] == doctest::Approx(d).epsilon(1e-6));
          REQUIRE(static_cast<double>(motion[at]) == doctest::Approx(moved).epsilon(1e-5));
        }
      }
    }
  }

  TEST_CASE("identical and opposite channels give exactly equal sums, so that a side of nothing reads as nothing") {
    const auto noise = test::noise(7, 1, 4801);
    std::vector<float> a(noise.begin(), noise.end()), minus(a);
    for (auto& v : minus) v = -v;
    const auto same = pair_sums(a.data(), a.data(), 4801), opposite = pair_sums(a.data(), minus.data(), 4801);
    CHECK(same.left_square + same.right_square - 2 * same.product == 0);
    CHECK(opposite.left_square + opposite.right_square + 2 * opposite.product == 0);
  }

  TEST_CASE("codes arrive exactly up to 24 bits, in every channel count") {
    test::Random random(8);
    for (const int channels : {1, 2, 3, 6}) {
      constexpr int kFrames = 77;
      std::vector<std::int32_t> codes(static_cast<std::size_t>(kFrames * channels));
      std::uint32_t any = 0;
      for (auto& code : codes) {
        code = static_cast<std::int32_t>(random.bits() & 0xFFFFFF00u);
        any |= static_cast<std::uint32_t>(code);
      }
      std::vector<float> rows(static_cast<std::size_t>(128 * channels));
      CHECK(split_codes(codes.data(), kFrames, channels, rows.data(), 128) == any);
      for (int n = 0; n < kFrames; ++n) {
        for (int c = 0; c < channels; ++c)
          REQUIRE(static_cast<double>(rows[static_cast<std::size_t>(128 * c + n)]) * 2147483648.0 ==
                  codes[static_cast<std::size_t>(n * channels + c)]);
      }
    }
  }

  TEST_CASE("reals that are no audio become harmless and are counted") {
    const double nan = std::nan(""), infinity = std::numeric_limits<double>::infinity();
    const std::vector<double> in{0.5, nan, -infinity, infinity, 1e300, -1e-40, 0.0, -0.25};
    std::vector<float> row(8);
    const auto stats = split_reals(in.data(), 8, 1, row.data(), 8);
    CHECK(stats.not_finite == 3);
    CHECK(stats.tiny == 1);
    CHECK(stats.nonzero == 4);
    CHECK(row == std::vector<float>{0.5f, 0, 0, 0, 1e12f, 0, 0, -0.25f});
  }

  TEST_CASE("products at a lag find the lag that was put in") {
    const auto noise = test::noise(11, 0.5, 3000);
    const std::vector<float> a(noise.begin(), noise.end());
    std::vector<double> sums(9, 0);
    // right[n] = left[n − 3]: right is 3 late.
    lagged_products(a.data() + 100, a.data() + 97, 2000, -1, 9, sums.data());
    CHECK(std::max_element(sums.begin(), sums.end()) - sums.begin() == 4);  // lags −1 … 7: the fifth is 3
  }

  TEST_CASE("every frame stands in the cell of its mid and side, far ones at the rim") {
    constexpr int kSide = 257;
    // By formula: 0 stands in the middle cell, ±1 in the outermost ones, each cell 1/128 wide.
    std::vector<float> left, right;
    std::vector<std::pair<int, int>> expected;  // mid and side in 128ths
    for (int mid = -140; mid <= 140; mid += 4) {
      for (int side = -140; side <= 140; side += 7) {
        left.push_back(static_cast<float>(mid + side) / 128), right.push_back(static_cast<float>(mid - side) / 128);
        expected.emplace_back(std::clamp(mid, -128, 128), std::clamp(side, -128, 128));
      }
    }
    std::vector<std::int32_t> cells(left.size());
    plane_cells(left.data(), right.data(), static_cast<int>(left.size()), kSide, cells.data());
    for (std::size_t n = 0; n < cells.size(); ++n) {
      CHECK(cells[n] / kSide - 128 == expected[n].first);
      CHECK(cells[n] % kSide - 128 == expected[n].second);
    }
  }

  TEST_CASE("the same samples are chosen wherever they stand") {
    const auto noise = test::noise(5, 0.5, 4096);
    std::vector<float> x(noise.begin(), noise.end());
    x[100] = 0.001f;  // below the least
    std::vector<std::uint64_t> chosen(60);
    const auto is_chosen = [&](std::size_t n) { return (chosen[n / 64] >> (n % 64) & 1) != 0; };
    std::vector<bool> first(3840);
    one_in_sixteen(x.data(), 60, 0.002f, chosen.data());
    for (std::size_t n = 0; n < first.size(); ++n) first[n] = is_chosen(n);
    const auto count = std::count(first.begin(), first.end(), true);
    CHECK(count > 3840 / 16 / 2);
    CHECK(count < 3840 / 16 * 2);
    CHECK_FALSE(first[100]);
    for (const std::size_t shift : {1, 37, 63}) {
      one_in_sixteen(x.data() + shift, 60, 0.002f, chosen.data());
      for (std::size_t n = shift; n < first.size(); ++n) CHECK(is_chosen(n - shift) == first[n]);
    }
    for (std::size_t n = 0; n < first.size(); ++n) {
      std::uint32_t bits = 0;
      std::memcpy(&bits, &x[n], sizeof bits);
      CHECK(first[n] == (bits * kSampleHash >> 28 == 0 && std::abs(x[n]) >= 0.002f));
    }
  }
}
