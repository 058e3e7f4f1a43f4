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

CrossSums AddCrossLines(const Lines& x, const Lines& y, float share, int count, float* HWY_RESTRICT real, float* HWY_RESTRICT imaginary) {
  const hn::ScalableTag<float> d;
  const int lanes = static_cast<int>(hn::Lanes(d));
  auto denominator = hn::Zero(d), variance = hn::Zero(d);
  const auto shares = hn::Set(d, share);
  int k = 0;
  for (; k + lanes <= count; k += lanes) {
    const auto at = [&](const float* row) { return hn::LoadU(d, row + k); };
    const auto w = hn::NegMulAdd(shares, at(x.weight), at(y.weight));
    const auto xr = at(x.real), xi = at(x.imaginary), yr = at(y.real), yi = at(y.imaginary);
    const auto re = hn::Mul(w, hn::MulAdd(xr, yr, hn::Mul(xi, yi))), im = hn::Mul(w, hn::MulSub(xr, yi, hn::Mul(xi, yr)));
    hn::StoreU(hn::Add(at(real), re), d, real + k);
    hn::StoreU(hn::Add(at(imaginary), im), d, imaginary + k);
    denominator = hn::MulAdd(w, at(x.power), denominator);
    variance = hn::MulAdd(re, re, hn::MulAdd(im, im, variance));
  }
  CrossSums sums{hn::GetLane(hn::SumOfLanes(d, denominator)), hn::GetLane(hn::SumOfLanes(d, variance))};
  for (; k < count; ++k) {
    const float w = y.weight[k] - share * x.weight[k];
    const float re = w * (x.real[k] * y.real[k] + x.imaginary[k] * y.imaginary[k]), im = w * (x.real[k] * y.imaginary[k] - x.imaginary[k] * y.real[k]);
    real[k] += re, imaginary[k] += im;
    sums.denominator += w * x.power[k], sums.variance += re * re + im * im;
  }
  return sums;
}

}  // namespace sendworthy::dsp::HWY_NAMESPACE
HWY_AFTER_NAMESPACE();

#if HWY_ONCE
namespace sendworthy::dsp {
HWY_EXPORT(WeightedPower);
HWY_EXPORT(AddCrossLines);

float weighted_power(Lines x, Lines y, int count) { return HWY_DYNAMIC_DISPATCH(WeightedPower)(x.weight, y.power, count); }

CrossSums add_cross_lines(Lines x, Lines y, float share, int count, float* real, float* imaginary) {
  return HWY_DYNAMIC_DISPATCH(AddCrossLines)(x, y, share, count, real, imaginary);
}

}  // namespace sendworthy::dsp
#endif
