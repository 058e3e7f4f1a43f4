#include "dsp/products.h"

#include <algorithm>
#include <vector>

#undef HWY_TARGET_INCLUDE
#define HWY_TARGET_INCLUDE "dsp/products.cpp"
#include <hwy/foreach_target.h>
#include <hwy/highway.h>

HWY_BEFORE_NAMESPACE();
namespace sendworthy::dsp::HWY_NAMESPACE {
namespace hn = hwy::HWY_NAMESPACE;


bool Sounds(const float* row, int frames) {
  for (int n = 0; n < frames; ++n) {
    if (row[n] != 0) return true;
  }
  return false;
}

// Rows of doubles, `stride` apart and padded with zeros to whole vectors.
void Widen(const float* HWY_RESTRICT row, int frames, int stride, double* HWY_RESTRICT out) {
  for (int n = 0; n < frames; ++n) out[n] = static_cast<double>(row[n]);
  for (int n = frames; n < stride; ++n) out[n] = 0;
}

// out[t·kWide + w] = Σ tall[t]·wide[w].
void Tile(const double* const* tall, const double* const* wide, int stride, double* HWY_RESTRICT out) {
  const hn::ScalableTag<double> d;
  const int lanes = static_cast<int>(hn::Lanes(d));
  auto s00 = hn::Zero(d), s01 = s00, s10 = s00, s11 = s00, s20 = s00, s21 = s00, s30 = s00, s31 = s00;
  for (int n = 0; n < stride; n += lanes) {
    const auto w0 = hn::LoadU(d, wide[0] + n), w1 = hn::LoadU(d, wide[1] + n);
    const auto t0 = hn::LoadU(d, tall[0] + n), t1 = hn::LoadU(d, tall[1] + n), t2 = hn::LoadU(d, tall[2] + n), t3 = hn::LoadU(d, tall[3] + n);
    s00 = hn::MulAdd(t0, w0, s00), s01 = hn::MulAdd(t0, w1, s01);
    s10 = hn::MulAdd(t1, w0, s10), s11 = hn::MulAdd(t1, w1, s11);
    s20 = hn::MulAdd(t2, w0, s20), s21 = hn::MulAdd(t2, w1, s21);
    s30 = hn::MulAdd(t3, w0, s30), s31 = hn::MulAdd(t3, w1, s31);
  }
  const auto sum = [&](auto v) { return hn::GetLane(hn::SumOfLanes(d, v)); };
  out[0] = sum(s00), out[1] = sum(s01), out[2] = sum(s10), out[3] = sum(s11);
  out[4] = sum(s20), out[5] = sum(s21), out[6] = sum(s30), out[7] = sum(s31);
}

}  // namespace sendworthy::dsp::HWY_NAMESPACE
HWY_AFTER_NAMESPACE();

#if HWY_ONCE
namespace sendworthy::dsp {
HWY_EXPORT(Sounds);
HWY_EXPORT(Widen);
HWY_EXPORT(Tile);

void add_products(std::span<const float* const> rows, int frames, double* sums) {
  constexpr int kPiece = 256;  // frames: twenty rows of doubles stay in the second cache
  std::vector<double> wide(rows.size() * kPiece);
  std::vector<std::size_t> heard;
  double tile[8];
  for (int from = 0; from < frames; from += kPiece) {
    const int count = std::min(kPiece, frames - from), stride = (count + 15) / 16 * 16;
    heard.clear();
    for (std::size_t k = 0; k < rows.size(); ++k) {
      if (rows[k] == nullptr || !HWY_DYNAMIC_DISPATCH(Sounds)(rows[k] + from, count)) continue;
      HWY_DYNAMIC_DISPATCH(Widen)(rows[k] + from, count, stride, wide.data() + heard.size() * kPiece);
      heard.push_back(k);
    }
    // Tiles that stand over the rim take their last row twice, which costs less than a second kernel.
    const auto row = [&](std::size_t i) { return wide.data() + std::min(i, heard.size() - 1) * kPiece; };
    for (std::size_t k = 0; k < heard.size(); k += 4) {
      const double* const tall[4] = {row(k), row(k + 1), row(k + 2), row(k + 3)};
      for (std::size_t j = 0; j < std::min(k + 4, heard.size()); j += 2) {
        const double* const across[2] = {row(j), row(j + 1)};
        HWY_DYNAMIC_DISPATCH(Tile)(tall, across, stride, tile);
        for (std::size_t t = 0; t < 4 && k + t < heard.size(); ++t) {
          for (std::size_t w = 0; w < 2 && j + w <= k + t; ++w) sums[product_at(heard[j + w], heard[k + t])] += tile[2 * t + w];
        }
      }
    }
  }
}

}  // namespace sendworthy::dsp
#endif  // HWY_ONCE
