#include "dsp/cross_lines.h"

#undef HWY_TARGET_INCLUDE
#define HWY_TARGET_INCLUDE "dsp/cross_lines.cpp"
#include <hwy/foreach_target.h>
#include <hwy/highway.h>

HWY_BEFORE_NAMESPACE();
namespace sendworthy::dsp::HWY_NAMESPACE {
namespace hn = hwy::HWY_NAMESPACE;

float WeightedPower(const float* HWY_RESTRICT weight, const float* HWY_RESTRICT power, int count) {
  const hn::ScalableTag<float> d;
  const int lanes = static_cast<int>(hn::Lanes(d));
  auto sum = hn::Zero(d);
  int k = 0;
  for (; k + lanes <= count; k += lanes) sum = hn::MulAdd(hn::LoadU(d, weight + k), hn::LoadU(d, power + k), sum);
  float total = hn::GetLane(hn::SumOfLanes(d, sum));
  for (; k < count; ++k) total += weight[k] * power[k];
  return total;
}

CrossSums AddCrossLines(std::span<const CrossPair> pairs, int first, int count, float* HWY_RESTRICT real, float* HWY_RESTRICT imaginary) {
  const hn::ScalableTag<float> d;
  const int lanes = static_cast<int>(hn::Lanes(d));
  auto denominators = hn::Zero(d), variances = hn::Zero(d);
  CrossSums sums;
  for (const auto& [x, y, share] : pairs) {
    const auto shares = hn::Set(d, share);
    int k = 0;
    for (; k + lanes <= count; k += lanes) {
      const auto at = [&](const float* row) { return hn::LoadU(d, row + first + k); };
      const auto w = hn::NegMulAdd(shares, at(x.weight), at(y.weight));
      const auto xr = at(x.real), xi = at(x.imaginary), yr = at(y.real), yi = at(y.imaginary);
      const auto re = hn::Mul(w, hn::MulAdd(xr, yr, hn::Mul(xi, yi))), im = hn::Mul(w, hn::MulSub(xr, yi, hn::Mul(xi, yr)));
      hn::StoreU(hn::Add(hn::LoadU(d, real + k), re), d, real + k);
      hn::StoreU(hn::Add(hn::LoadU(d, imaginary + k), im), d, imaginary + k);
      denominators = hn::MulAdd(w, hn::MulAdd(xr, xr, hn::Mul(xi, xi)), denominators);
      variances = hn::MulAdd(re, re, hn::MulAdd(im, im, variances));
    }
    for (; k < count; ++k) {
      const int n = first + k;
      const float w = y.weight[n] - share * x.weight[n];
      const float re = w * (x.real[n] * y.real[n] + x.imaginary[n] * y.imaginary[n]), im = w * (x.real[n] * y.imaginary[n] - x.imaginary[n] * y.real[n]);
      real[k] += re, imaginary[k] += im;
      sums.denominator += w * (x.real[n] * x.real[n] + x.imaginary[n] * x.imaginary[n]), sums.variance += re * re + im * im;
    }
  }
  sums.denominator += hn::GetLane(hn::SumOfLanes(d, denominators)), sums.variance += hn::GetLane(hn::SumOfLanes(d, variances));
  return sums;
}

}  // namespace sendworthy::dsp::HWY_NAMESPACE
HWY_AFTER_NAMESPACE();

#if HWY_ONCE
namespace sendworthy::dsp {
HWY_EXPORT(WeightedPower);
HWY_EXPORT(AddCrossLines);

float weighted_power(const float* weight, const float* power, int count) { return HWY_DYNAMIC_DISPATCH(WeightedPower)(weight, power, count); }

CrossSums add_cross_lines(std::span<const CrossPair> pairs, int first, int count, float* real, float* imaginary) {
  return HWY_DYNAMIC_DISPATCH(AddCrossLines)(pairs, first, count, real, imaginary);
}

}  // namespace sendworthy::dsp
#endif
