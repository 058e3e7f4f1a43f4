#include "dsp/prediction.h"

#include <algorithm>
#include <cmath>

#include "dsp/planar.h"

#undef HWY_TARGET_INCLUDE
#define HWY_TARGET_INCLUDE "dsp/prediction.cpp"
#include <hwy/foreach_target.h>
#include <hwy/highway.h>

HWY_BEFORE_NAMESPACE();
namespace sendworthy::dsp::HWY_NAMESPACE {
namespace hn = hwy::HWY_NAMESPACE;

void SubKinks(const float* HWY_RESTRICT row, int frames, float* HWY_RESTRICT largest) {
  const hn::CappedTag<float, 16> d;
  const int lanes = static_cast<int>(hn::Lanes(d));
  const auto four = hn::Set(d, 4.0f), six = hn::Set(d, 6.0f);
  const auto kink = [&](int n) {
    const auto outer = hn::Add(hn::LoadU(d, row + n - 2), hn::LoadU(d, row + n + 2));
    const auto inner = hn::Add(hn::LoadU(d, row + n - 1), hn::LoadU(d, row + n + 1));
    return hn::Abs(hn::MulAdd(six, hn::LoadU(d, row + n), hn::NegMulAdd(four, inner, outer)));
  };
  int s = 0;
  for (int start = 0; start < frames; start += kSubBlock, ++s) {
    const int end = std::min(start + kSubBlock, frames);
    auto top = hn::Zero(d);
    int n = start;
    for (; n + lanes <= end; n += lanes) top = hn::Max(top, kink(n));
    float high = hn::GetLane(hn::MaxOfLanes(d, top));
    for (; n < end; ++n) {
      const float v = std::abs(row[n - 2] + row[n + 2] - 4 * (row[n - 1] + row[n + 1]) + 6 * row[n]);
      high = v > high ? v : high;
    }
    largest[s] = high;
  }
}

struct Products {
  double cross = 0, power = 0;
};

Products ProductsOf(const float* HWY_RESTRICT forward, const float* HWY_RESTRICT backward, int count) {
  const hn::CappedTag<float, 16> d;
  const int lanes = static_cast<int>(hn::Lanes(d));
  auto cross = hn::Zero(d), forwards = cross, backwards = cross;
  int n = 0;
  for (; n + lanes <= count; n += lanes) {
    const auto f = hn::LoadU(d, forward + n), b = hn::LoadU(d, backward + n);
    cross = hn::MulAdd(f, b, cross), forwards = hn::MulAdd(f, f, forwards), backwards = hn::MulAdd(b, b, backwards);
  }
  Products sums{static_cast<double>(hn::GetLane(hn::SumOfLanes(d, cross))),
                static_cast<double>(hn::GetLane(hn::SumOfLanes(d, hn::Add(forwards, backwards))))};
  for (; n < count; ++n) {
    const double f = static_cast<double>(forward[n]), b = static_cast<double>(backward[n]);
    sums.cross += f * b, sums.power += f * f + b * b;
  }
  return sums;
}

// Both error signals through one more stage of the lattice, in place.
void Stage(float k, int count, float* HWY_RESTRICT forward, float* HWY_RESTRICT backward) {
  const hn::CappedTag<float, 16> d;
  const int lanes = static_cast<int>(hn::Lanes(d));
  const auto by = hn::Set(d, k);
  int n = 0;
  for (; n + lanes <= count; n += lanes) {
    const auto f = hn::LoadU(d, forward + n), b = hn::LoadU(d, backward + n);
    hn::StoreU(hn::MulAdd(by, b, f), d, forward + n);
    hn::StoreU(hn::MulAdd(by, f, b), d, backward + n);
  }
  for (; n < count; ++n) {
    const float f = forward[n], b = backward[n];
    forward[n] = f + k * b, backward[n] = b + k * f;
  }
}

void Burg(const float* HWY_RESTRICT x, int count, float* HWY_RESTRICT taps) {
  float errors[2][kLongestPredicted];
  count = std::min(count, kLongestPredicted);
  float *forward = errors[0], *backward = errors[1];
  int left = count - 1;  // pairs of neighbours
  std::copy_n(x + 1, left, forward);
  std::copy_n(x, left, backward);
  double filter[kPredictionOrder + 1] = {1};
  for (int m = 1; m <= kPredictionOrder; ++m) {
    const auto sums = ProductsOf(forward, backward, left);
    const double k = sums.power > 0 ? std::clamp(-2 * sums.cross / sums.power, -1.0, 1.0) : 0;
    for (int i = 0; 2 * i <= m; ++i) {
      const double a = filter[i], b = filter[m - i];
      filter[i] = a + k * b, filter[m - i] = b + k * a;
    }
    Stage(static_cast<float>(k), left, forward, backward);
    // The forward errors lose their first, the backward ones their last.
    ++forward, --left;
  }
  for (int i = 0; i <= kPredictionOrder; ++i) taps[i] = static_cast<float>(filter[i]);
}

void PredictionMisses(const float* HWY_RESTRICT x, int count, const float* HWY_RESTRICT taps,
                      float* HWY_RESTRICT misses) {
  const hn::CappedTag<float, 16> d;
  const int lanes = static_cast<int>(hn::Lanes(d));
  int n = kPredictionOrder;
  // Two vectors at a time, so that the sums need not wait for each other.
  for (; n + 2 * lanes <= count; n += 2 * lanes) {
    auto a = hn::LoadU(d, x + n), b = hn::LoadU(d, x + n + lanes), c = hn::Zero(d), e = c;
    for (int i = 1; i <= kPredictionOrder; i += 2) {
      const auto odd = hn::Set(d, taps[i]), even = hn::Set(d, taps[i + 1]);
      a = hn::MulAdd(even, hn::LoadU(d, x + n - i - 1), a);
      b = hn::MulAdd(even, hn::LoadU(d, x + n + lanes - i - 1), b);
      c = hn::MulAdd(odd, hn::LoadU(d, x + n - i), c);
      e = hn::MulAdd(odd, hn::LoadU(d, x + n + lanes - i), e);
    }
    hn::StoreU(hn::Abs(hn::Add(a, c)), d, misses + n - kPredictionOrder);
    hn::StoreU(hn::Abs(hn::Add(b, e)), d, misses + n + lanes - kPredictionOrder);
  }
  for (; n < count; ++n) {
    float sum = x[n];
    for (int i = 1; i <= kPredictionOrder; ++i) sum += taps[i] * x[n - i];
    misses[n - kPredictionOrder] = std::abs(sum);
  }
}

}  // namespace sendworthy::dsp::HWY_NAMESPACE
HWY_AFTER_NAMESPACE();

#if HWY_ONCE
namespace sendworthy::dsp {
HWY_EXPORT(SubKinks);
HWY_EXPORT(Burg);
HWY_EXPORT(PredictionMisses);

void sub_kinks(const float* row, int frames, float* largest) { HWY_DYNAMIC_DISPATCH(SubKinks)(row, frames, largest); }
void burg(const float* x, int count, float* taps) { HWY_DYNAMIC_DISPATCH(Burg)(x, count, taps); }
void prediction_misses(const float* x, int count, const float* taps, float* misses) {
  HWY_DYNAMIC_DISPATCH(PredictionMisses)(x, count, taps, misses);
}

}  // namespace sendworthy::dsp
#endif
