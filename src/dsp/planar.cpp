#include "dsp/planar.h"

#include <algorithm>
#include <cmath>

#undef HWY_TARGET_INCLUDE
#define HWY_TARGET_INCLUDE "dsp/planar.cpp"
#include <hwy/foreach_target.h>
#include <hwy/highway.h>

HWY_BEFORE_NAMESPACE();
namespace sendworthy::dsp::HWY_NAMESPACE {
namespace hn = hwy::HWY_NAMESPACE;

constexpr float kCodeScale = 1.0f / 2147483648.0f;

std::uint32_t SplitCodes(const std::int32_t* HWY_RESTRICT in, int frames, int channels, float* HWY_RESTRICT rows,
                         std::int64_t stride) {
  const hn::ScalableTag<std::int32_t> di;
  const hn::RebindToFloat<decltype(di)> df;
  const auto scale = hn::Set(df, kCodeScale);
  const int lanes = static_cast<int>(hn::Lanes(di));
  auto any = hn::Zero(di);
  std::uint32_t tail_any = 0;
  int n = 0;
  if (channels == 1) {
    for (; n + lanes <= frames; n += lanes) {
      const auto v = hn::LoadU(di, in + n);
      any = hn::Or(any, v);
      hn::StoreU(hn::Mul(hn::ConvertTo(df, v), scale), df, rows + n);
    }
  } else if (channels == 2) {
    for (; n + lanes <= frames; n += lanes) {
      hn::Vec<decltype(di)> l, r;
      hn::LoadInterleaved2(di, in + 2 * n, l, r);
      any = hn::Or(any, hn::Or(l, r));
      hn::StoreU(hn::Mul(hn::ConvertTo(df, l), scale), df, rows + n);
      hn::StoreU(hn::Mul(hn::ConvertTo(df, r), scale), df, rows + stride + n);
    }
  }
  for (int c = 0; c < channels; ++c) {
    float* row = rows + c * stride;
    for (int k = n; k < frames; ++k) {
      const std::int32_t code = in[static_cast<std::int64_t>(k) * channels + c];
      tail_any |= static_cast<std::uint32_t>(code);
      row[k] = static_cast<float>(code) * kCodeScale;
    }
  }
  HWY_ALIGN std::int32_t out[HWY_MAX_BYTES / 4];
  hn::Store(any, di, out);
  for (int i = 0; i < lanes; ++i) tail_any |= static_cast<std::uint32_t>(out[i]);
  return tail_any;
}

std::int64_t CodesOfTriples(const std::uint8_t* HWY_RESTRICT bytes, std::int64_t count, bool big_endian,
                            std::int32_t* HWY_RESTRICT codes) {
#if HWY_TARGET == HWY_SCALAR
  (void)bytes, (void)count, (void)big_endian, (void)codes;
  return 0;
#else
  // An index over 127 gives 0.
  alignas(16) static constexpr std::uint8_t kPlaces[2][16] = {
      {128, 0, 1, 2, 128, 3, 4, 5, 128, 6, 7, 8, 128, 9, 10, 11}, {128, 2, 1, 0, 128, 5, 4, 3, 128, 8, 7, 6, 128, 11, 10, 9}};
  const hn::Full128<std::uint8_t> d;
  const hn::Full128<std::int32_t> d32;
  const auto places = hn::Load(d, kPlaces[big_endian ? 1 : 0]);
  std::int64_t i = 0;
  // Sixteen bytes are loaded for twelve: not past the last sample.
  for (; 3 * i + 16 <= 3 * count; i += 4)
    hn::StoreU(hn::BitCast(d32, hn::TableLookupBytesOr0(hn::LoadU(d, bytes + 3 * i), places)), d32, codes + i);
  return i;
#endif
}

void SubExtremes(const float* HWY_RESTRICT row, int frames, float* HWY_RESTRICT highest, float* HWY_RESTRICT lowest,
                 float* HWY_RESTRICT squares) {
  const hn::ScalableTag<float> d;
  const int lanes = static_cast<int>(hn::Lanes(d));
  int s = 0;
  for (int start = 0; start < frames; start += kSubBlock, ++s) {
    const int count = std::min(kSubBlock, frames - start);
    const float* x = row + start;
    float high = x[0], low = x[0], square = 0;
    int n = 0;
    if (count >= lanes) {
      auto vh = hn::LoadU(d, x);
      auto vl = vh, vs = hn::Mul(vh, vh);
      for (n = lanes; n + lanes <= count; n += lanes) {
        const auto v = hn::LoadU(d, x + n);
        vh = hn::Max(vh, v);
        vl = hn::Min(vl, v);
        vs = hn::MulAdd(v, v, vs);
      }
      if (squares != nullptr) square = hn::GetLane(hn::SumOfLanes(d, vs));
      high = hn::GetLane(hn::MaxOfLanes(d, vh));
      low = hn::GetLane(hn::MinOfLanes(d, vl));
    }
    for (; n < count; ++n) {
      high = x[n] > high ? x[n] : high;
      low = x[n] < low ? x[n] : low;
      square += x[n] * x[n];
    }
    highest[s] = high;
    lowest[s] = low;
    if (squares != nullptr) squares[s] = square;
  }
}

std::uint64_t WhereAtLeast(const float* HWY_RESTRICT row, int frames, float sign, float least) {
  const hn::CappedTag<float, 16> d;
  const int lanes = static_cast<int>(hn::Lanes(d));
  const auto s = hn::Set(d, sign), bar = hn::Set(d, least);
  std::uint64_t found = 0;
  int n = 0;
  for (; n + lanes <= frames; n += lanes) {
    std::uint8_t bits[8] = {};
    hn::StoreMaskBits(d, hn::Ge(hn::Mul(hn::LoadU(d, row + n), s), bar), bits);
    found |= static_cast<std::uint64_t>(bits[0] | bits[1] << 8) << n;
  }
  for (; n < frames; ++n) found |= static_cast<std::uint64_t>(row[n] * sign >= least) << n;
  return found;
}

void SubBends(const float* HWY_RESTRICT row, int frames, float* HWY_RESTRICT largest) {
  const hn::CappedTag<float, 16> d;
  const int lanes = static_cast<int>(hn::Lanes(d));
  const auto bend = [&](int n) {
    const auto sides = hn::Add(hn::LoadU(d, row + n - 1), hn::LoadU(d, row + n + 1));
    const auto middle = hn::LoadU(d, row + n);
    return hn::Abs(hn::Sub(sides, hn::Add(middle, middle)));
  };
  int s = 0;
  for (int start = 0; start < frames; start += kSubBlock, ++s) {
    const int end = std::min(start + kSubBlock, frames);
    auto top = hn::Zero(d);
    int n = start;
    for (; n + lanes <= end; n += lanes) top = hn::Max(top, bend(n));
    float high = hn::GetLane(hn::MaxOfLanes(d, top));
    for (; n < end; ++n) {
      const float v = std::abs(row[n - 1] + row[n + 1] - 2 * row[n]);
      high = v > high ? v : high;
    }
    largest[s] = high;
  }
}

void SubMotion(const float* HWY_RESTRICT row, int frames, float before, float* HWY_RESTRICT squares) {
  const hn::CappedTag<float, 16> d;
  const int lanes = static_cast<int>(hn::Lanes(d));
  int s = 0;
  for (int start = 0; start < frames; start += kSubBlock, ++s) {
    const int end = std::min(start + kSubBlock, frames);
    const float step = row[start] - (start > 0 ? row[start - 1] : before);
    float rest = step * step;
    auto sum = hn::Zero(d);
    int n = start + 1;
    for (; n + lanes <= end; n += lanes) {
      const auto v = hn::Sub(hn::LoadU(d, row + n), hn::LoadU(d, row + n - 1));
      sum = hn::MulAdd(v, v, sum);
    }
    for (; n < end; ++n) rest += (row[n] - row[n - 1]) * (row[n] - row[n - 1]);
    squares[s] = rest + hn::GetLane(hn::SumOfLanes(d, sum));
  }
}

// Sums run in double over float input; two accumulators each hide the latency of the adds.
RowSums RowSumsOf(const float* HWY_RESTRICT row, int frames) {
  const hn::ScalableTag<double> dd;
  const hn::Rebind<float, decltype(dd)> df;
  const int lanes = static_cast<int>(hn::Lanes(dd));
  auto s0 = hn::Zero(dd), s1 = s0, q0 = s0, q1 = s0;
  auto top = hn::Zero(df);
  int n = 0;
  for (; n + 2 * lanes <= frames; n += 2 * lanes) {
    const auto fa = hn::LoadU(df, row + n), fb = hn::LoadU(df, row + n + lanes);
    top = hn::Max(top, hn::Max(hn::Abs(fa), hn::Abs(fb)));
    const auto a = hn::PromoteTo(dd, fa), b = hn::PromoteTo(dd, fb);
    s0 = hn::Add(s0, a), s1 = hn::Add(s1, b);
    q0 = hn::MulAdd(a, a, q0), q1 = hn::MulAdd(b, b, q1);
  }
  RowSums sums;
  sums.sum = hn::GetLane(hn::SumOfLanes(dd, hn::Add(s0, s1)));
  sums.square = hn::GetLane(hn::SumOfLanes(dd, hn::Add(q0, q1)));
  sums.peak = hn::GetLane(hn::MaxOfLanes(df, top));
  for (; n < frames; ++n) {
    const double x = row[n];
    sums.sum += x, sums.square += x * x;
    sums.peak = std::max(sums.peak, std::abs(x));
  }
  return sums;
}

double AddRow(const float* HWY_RESTRICT row, int frames, float* HWY_RESTRICT sum) {
  const hn::ScalableTag<double> dd;
  const hn::Rebind<float, decltype(dd)> df;
  const int lanes = static_cast<int>(hn::Lanes(dd));
  auto q0 = hn::Zero(dd), q1 = q0;
  int n = 0;
  for (; n + 2 * lanes <= frames; n += 2 * lanes) {
    const auto fa = hn::LoadU(df, row + n), fb = hn::LoadU(df, row + n + lanes);
    hn::StoreU(hn::Add(hn::LoadU(df, sum + n), fa), df, sum + n);
    hn::StoreU(hn::Add(hn::LoadU(df, sum + n + lanes), fb), df, sum + n + lanes);
    const auto a = hn::PromoteTo(dd, fa), b = hn::PromoteTo(dd, fb);
    q0 = hn::MulAdd(a, a, q0), q1 = hn::MulAdd(b, b, q1);
  }
  double square = hn::GetLane(hn::SumOfLanes(dd, hn::Add(q0, q1)));
  for (; n < frames; ++n) {
    sum[n] += row[n];
    square += static_cast<double>(row[n]) * static_cast<double>(row[n]);
  }
  return square;
}

PairSums PairSumsOf(const float* HWY_RESTRICT left, const float* HWY_RESTRICT right, int frames) {
  const hn::ScalableTag<double> dd;
  const hn::Rebind<float, decltype(dd)> df;
  const int lanes = static_cast<int>(hn::Lanes(dd));
  auto sl = hn::Zero(dd), sr = sl, ll = sl, rr = sl, lr = sl, ll2 = sl, rr2 = sl, lr2 = sl;
  auto top_l = hn::Zero(df), top_r = top_l;
  int n = 0;
  for (; n + 2 * lanes <= frames; n += 2 * lanes) {
    const auto fa = hn::LoadU(df, left + n), fb = hn::LoadU(df, right + n);
    const auto fc = hn::LoadU(df, left + n + lanes), fe = hn::LoadU(df, right + n + lanes);
    top_l = hn::Max(top_l, hn::Max(hn::Abs(fa), hn::Abs(fc)));
    top_r = hn::Max(top_r, hn::Max(hn::Abs(fb), hn::Abs(fe)));
    const auto a = hn::PromoteTo(dd, fa), b = hn::PromoteTo(dd, fb);
    const auto c = hn::PromoteTo(dd, fc), e = hn::PromoteTo(dd, fe);
    sl = hn::Add(sl, hn::Add(a, c)), sr = hn::Add(sr, hn::Add(b, e));
    ll = hn::MulAdd(a, a, ll), rr = hn::MulAdd(b, b, rr), lr = hn::MulAdd(a, b, lr);
    ll2 = hn::MulAdd(c, c, ll2), rr2 = hn::MulAdd(e, e, rr2), lr2 = hn::MulAdd(c, e, lr2);
  }
  const auto total = [&](auto v) { return hn::GetLane(hn::SumOfLanes(dd, v)); };
  PairSums sums{total(sl), total(sr), total(hn::Add(ll, ll2)), total(hn::Add(rr, rr2)), total(hn::Add(lr, lr2)),
                hn::GetLane(hn::MaxOfLanes(df, top_l)), hn::GetLane(hn::MaxOfLanes(df, top_r))};
  for (; n < frames; ++n) {
    const double l = left[n], r = right[n];
    sums.left += l, sums.right += r;
    sums.left_square += l * l, sums.right_square += r * r, sums.product += l * r;
    sums.left_peak = std::max(sums.left_peak, std::abs(l)), sums.right_peak = std::max(sums.right_peak, std::abs(r));
  }
  return sums;
}

double LagOneSum(const float* HWY_RESTRICT row, int frames, float before) {
  if (frames <= 0) return 0;
  const hn::ScalableTag<double> dd;
  const hn::Rebind<float, decltype(dd)> df;
  const int lanes = static_cast<int>(hn::Lanes(dd));
  auto total = hn::Zero(dd);
  int n = 1;
  for (; n + lanes <= frames; n += lanes) {
    total = hn::MulAdd(hn::PromoteTo(dd, hn::LoadU(df, row + n)), hn::PromoteTo(dd, hn::LoadU(df, row + n - 1)), total);
  }
  double sum = static_cast<double>(row[0]) * before + hn::GetLane(hn::SumOfLanes(dd, total));
  for (; n < frames; ++n) sum += static_cast<double>(row[n]) * row[n - 1];
  return sum;
}

void MidSide(const float* HWY_RESTRICT left, const float* HWY_RESTRICT right, int frames, float* HWY_RESTRICT mid,
             float* HWY_RESTRICT side) {
  const hn::ScalableTag<float> d;
  const int lanes = static_cast<int>(hn::Lanes(d));
  const auto half = hn::Set(d, 0.5f);
  int n = 0;
  for (; n + lanes <= frames; n += lanes) {
    const auto l = hn::LoadU(d, left + n), r = hn::LoadU(d, right + n);
    hn::StoreU(hn::Mul(half, hn::Add(l, r)), d, mid + n);
    hn::StoreU(hn::Mul(half, hn::Sub(l, r)), d, side + n);
  }
  for (; n < frames; ++n) {
    mid[n] = 0.5f * (left[n] + right[n]);
    side[n] = 0.5f * (left[n] - right[n]);
  }
}

PlaneSides PlaneCells(const float* HWY_RESTRICT left, const float* HWY_RESTRICT right, int frames, int side,
                      std::int32_t* HWY_RESTRICT cells) {
  PlaneSides sides;
  const hn::ScalableTag<float> d;
  const hn::RebindToSigned<decltype(d)> di;
  const int lanes = static_cast<int>(hn::Lanes(d));
  const auto half = hn::Set(d, 0.5f), one = hn::Set(d, 1.0f), low = hn::Set(d, -1.0f);
  const auto scale = hn::Set(d, 0.5f * static_cast<float>(side - 1)), middle = hn::Set(d, 0.5f * static_cast<float>(side));
  // Positive before it is cut to a whole number, so that cutting rounds down.
  const auto cell = [&](auto x) { return hn::ConvertTo(di, hn::MulAdd(hn::Max(low, hn::Min(one, x)), scale, middle)); };
  int n = 0;
  for (; n + lanes <= frames; n += lanes) {
    const auto l = hn::LoadU(d, left + n), r = hn::LoadU(d, right + n);
    const auto row = cell(hn::Mul(half, hn::Add(l, r))), column = cell(hn::Mul(half, hn::Sub(l, r)));
    hn::StoreU(hn::Add(hn::Mul(row, hn::Set(di, side)), column), di, cells + n);
    // mid² − side² = left · right.
    const auto product = hn::Mul(l, r);
    sides.more_mid += static_cast<std::int64_t>(hn::CountTrue(d, hn::Gt(product, hn::Zero(d))));
    sides.more_side += static_cast<std::int64_t>(hn::CountTrue(d, hn::Lt(product, hn::Zero(d))));
  }
  const auto scalar = [&](float x) {
    return static_cast<std::int32_t>(
        std::fma(std::clamp(x, -1.0f, 1.0f), 0.5f * static_cast<float>(side - 1), 0.5f * static_cast<float>(side)));
  };
  for (; n < frames; ++n) {
    cells[n] = scalar(0.5f * (left[n] + right[n])) * side + scalar(0.5f * (left[n] - right[n]));
    const float product = left[n] * right[n];
    sides.more_mid += product > 0 ? 1 : 0, sides.more_side += product < 0 ? 1 : 0;
  }
  return sides;
}

void OneInSixteen(const float* HWY_RESTRICT x, int words, float least, std::uint64_t* HWY_RESTRICT chosen) {
  const hn::CappedTag<float, 16> d;
  const hn::RebindToUnsigned<decltype(d)> du;
  const int lanes = static_cast<int>(hn::Lanes(d));
  const auto limit = hn::Set(d, least);
  for (int w = 0; w < words; ++w) {
    std::uint64_t bits = 0;
    for (int n = 0; n < 64; n += lanes) {
      const auto v = hn::LoadU(d, x + 64 * w + n);
      const auto hash = hn::ShiftRight<28>(hn::Mul(hn::BitCast(du, v), hn::Set(du, kSampleHash)));
      const auto yes = hn::And(hn::RebindMask(d, hn::Eq(hash, hn::Zero(du))), hn::Ge(hn::Abs(v), limit));
      std::uint8_t stored[8] = {};
      hn::StoreMaskBits(d, yes, stored);
      bits |= static_cast<std::uint64_t>(stored[0] | stored[1] << 8) << n;
    }
    chosen[w] = bits;
  }
}

void FirstDifferences(const float* HWY_RESTRICT row, int frames, float before, float* HWY_RESTRICT out) {
  if (frames <= 0) return;
  out[0] = row[0] - before;
  const hn::ScalableTag<float> d;
  const int lanes = static_cast<int>(hn::Lanes(d));
  int n = 1;
  for (; n + lanes <= frames; n += lanes) hn::StoreU(hn::Sub(hn::LoadU(d, row + n), hn::LoadU(d, row + n - 1)), d, out + n);
  for (; n < frames; ++n) out[n] = row[n] - row[n - 1];
}

// A handful of lags at once, so that `left` is loaded once for all of them.
template <int kLags>
void SomeLags(const float* HWY_RESTRICT left, const float* HWY_RESTRICT right, int frames, double* HWY_RESTRICT sums) {
  const hn::ScalableTag<float> d;
  const int lanes = static_cast<int>(hn::Lanes(d));
  hn::Vec<decltype(d)> total[kLags];
  for (int k = 0; k < kLags; ++k) total[k] = hn::Zero(d);
  int n = 0;
  for (; n + lanes <= frames; n += lanes) {
    const auto l = hn::LoadU(d, left + n);
    for (int k = 0; k < kLags; ++k) total[k] = hn::MulAdd(l, hn::LoadU(d, right + n + k), total[k]);
  }
  for (int k = 0; k < kLags; ++k) {
    double sum = hn::GetLane(hn::SumOfLanes(d, total[k]));
    for (int i = n; i < frames; ++i) sum += static_cast<double>(left[i]) * static_cast<double>(right[i + k]);
    sums[k] += sum;
  }
}

void LaggedProducts(const float* left, const float* right, int frames, int first_lag, int count, double* sums) {
  int k = 0;
  for (; k + 7 <= count; k += 7) SomeLags<7>(left, right + first_lag + k, frames, sums + k);
  for (; k + 3 <= count; k += 3) SomeLags<3>(left, right + first_lag + k, frames, sums + k);
  for (; k < count; ++k) SomeLags<1>(left, right + first_lag + k, frames, sums + k);
}

void SignsOfDifferences(const float* HWY_RESTRICT x, int words, std::uint64_t* HWY_RESTRICT rising,
                        std::uint64_t* HWY_RESTRICT moving) {
  const hn::CappedTag<float, 16> d;
  const int lanes = static_cast<int>(hn::Lanes(d));
  for (int w = 0; w < words; ++w) {
    std::uint64_t up = 0, any = 0;
    for (int n = 0; n < 64; n += lanes) {
      const auto here = hn::LoadU(d, x + 64 * w + n), before = hn::LoadU(d, x + 64 * w + n - 1);
      std::uint8_t bits[8] = {}, moved[8] = {};
      hn::StoreMaskBits(d, hn::Gt(here, before), bits);
      hn::StoreMaskBits(d, hn::Ne(here, before), moved);
      up |= static_cast<std::uint64_t>(bits[0] | bits[1] << 8) << n;
      any |= static_cast<std::uint64_t>(moved[0] | moved[1] << 8) << n;
    }
    rising[w] = up;
    moving[w] = any;
  }
}

}  // namespace sendworthy::dsp::HWY_NAMESPACE
HWY_AFTER_NAMESPACE();

#if HWY_ONCE
namespace sendworthy::dsp {
HWY_EXPORT(SplitCodes);
HWY_EXPORT(CodesOfTriples);
HWY_EXPORT(SubExtremes);
HWY_EXPORT(SubBends);
HWY_EXPORT(SubMotion);
HWY_EXPORT(WhereAtLeast);
HWY_EXPORT(RowSumsOf);
HWY_EXPORT(AddRow);
HWY_EXPORT(PairSumsOf);
HWY_EXPORT(LagOneSum);
HWY_EXPORT(MidSide);
HWY_EXPORT(PlaneCells);
HWY_EXPORT(FirstDifferences);
HWY_EXPORT(OneInSixteen);
HWY_EXPORT(LaggedProducts);
HWY_EXPORT(SignsOfDifferences);

std::uint32_t split_codes(const std::int32_t* in, int frames, int channels, float* rows, std::int64_t stride) {
  return HWY_DYNAMIC_DISPATCH(SplitCodes)(in, frames, channels, rows, stride);
}

RealStats split_reals(const double* in, int frames, int channels, float* rows, std::int64_t stride) {
  constexpr double kLargest = 1e12, kSmallest = 1e-37, kSmallestNormalFloat = 1.17549435e-38;
  RealStats stats;
  for (int c = 0; c < channels; ++c) {
    const double* x = in + c;
    float* row = rows + c * stride;
    std::int64_t not_finite = 0, tiny = 0, nonzero = 0;
    for (int n = 0; n < frames; ++n) {
      double v = x[static_cast<std::int64_t>(n) * channels];
      const double size = std::abs(v);
      if (!(size <= 1.7976931348623157e308)) {
        ++not_finite;
        v = 0;
      } else {
        nonzero += size > 0;
        tiny += size > 0 && size < kSmallestNormalFloat;
        v = size < kSmallest ? 0 : std::clamp(v, -kLargest, kLargest);
      }
      row[n] = static_cast<float>(v);
    }
    stats.not_finite += not_finite, stats.tiny += tiny, stats.nonzero += nonzero;
  }
  return stats;
}

void sub_extremes(const float* row, int frames, float* highest, float* lowest, float* squares) {
  HWY_DYNAMIC_DISPATCH(SubExtremes)(row, frames, highest, lowest, squares);
}
void sub_motion(const float* row, int frames, float before, float* squares) {
  HWY_DYNAMIC_DISPATCH(SubMotion)(row, frames, before, squares);
}
void sub_bends(const float* row, int frames, float* largest) { HWY_DYNAMIC_DISPATCH(SubBends)(row, frames, largest); }
RowSums row_sums(const float* row, int frames) { return HWY_DYNAMIC_DISPATCH(RowSumsOf)(row, frames); }
double add_row(const float* row, int frames, float* sum) { return HWY_DYNAMIC_DISPATCH(AddRow)(row, frames, sum); }

PairSums pair_sums(const float* left, const float* right, int frames) {
  return HWY_DYNAMIC_DISPATCH(PairSumsOf)(left, right, frames);
}
double lag_one_sum(const float* row, int frames, float before) {
  return HWY_DYNAMIC_DISPATCH(LagOneSum)(row, frames, before);
}
std::uint64_t where_at_least(const float* row, int frames, float sign, float least) {
  return HWY_DYNAMIC_DISPATCH(WhereAtLeast)(row, frames, sign, least);
}

std::int64_t codes_of_triples(const std::uint8_t* bytes, std::int64_t count, bool big_endian, std::int32_t* codes) {
  return HWY_DYNAMIC_DISPATCH(CodesOfTriples)(bytes, count, big_endian, codes);
}

void mid_side(const float* left, const float* right, int frames, float* mid, float* side) {
  HWY_DYNAMIC_DISPATCH(MidSide)(left, right, frames, mid, side);
}

PlaneSides plane_cells(const float* left, const float* right, int frames, int side, std::int32_t* cells) {
  return HWY_DYNAMIC_DISPATCH(PlaneCells)(left, right, frames, side, cells);
}

void one_in_sixteen(const float* x, int words, float least, std::uint64_t* chosen) {
  HWY_DYNAMIC_DISPATCH(OneInSixteen)(x, words, least, chosen);
}

void first_differences(const float* row, int frames, float before, float* out) {
  HWY_DYNAMIC_DISPATCH(FirstDifferences)(row, frames, before, out);
}

void lagged_products(const float* left, const float* right, int frames, int first_lag, int count, double* sums) {
  HWY_DYNAMIC_DISPATCH(LaggedProducts)(left, right, frames, first_lag, count, sums);
}

void signs_of_differences(const float* x, int words, std::uint64_t* rising, std::uint64_t* moving) {
  HWY_DYNAMIC_DISPATCH(SignsOfDifferences)(x, words, rising, moving);
}

}  // namespace sendworthy::dsp
#endif
