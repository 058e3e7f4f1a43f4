#include "dsp/weighting_bank.h"

#include <cmath>

#undef HWY_TARGET_INCLUDE
#define HWY_TARGET_INCLUDE "dsp/weighting_bank.cpp"
#include <hwy/foreach_target.h>
#include <hwy/highway.h>

HWY_BEFORE_NAMESPACE();
namespace sendworthy::dsp::HWY_NAMESPACE {
namespace hn = hwy::HWY_NAMESPACE;

// Direct form I: only one multiply-add lies on the recursive path from sample to sample, where the transposed form has
// two; in double precision its rounding is far below any reading.
#if HWY_TARGET == HWY_SCALAR
// Processors without SSSE3: the same arithmetic, one lane after the other.
void Run(WeightingBank::State& state, const double* HWY_RESTRICT pairs, int frames, WeightingBank::Sums& sums) {
  for (int n = 0; n < frames; ++n) {
    double out[4];
    for (int lane = 0; lane < 4; ++lane) {
      double x = pairs[2 * n + lane % 2];
      for (int i = 0; i < 3; ++i) {
        double y = state.b0[i][lane] * x + state.b1[i][lane] * state.x1[i][lane] + state.b2[i][lane] * state.x2[i][lane];
        y -= state.a1[i][lane] * state.x1[i + 1][lane] + state.a2[i][lane] * state.x2[i + 1][lane];
        state.x2[i][lane] = state.x1[i][lane];
        state.x1[i][lane] = x;
        x = y;
      }
      state.x2[3][lane] = state.x1[3][lane];
      state.x1[3][lane] = x;
      out[lane] = x;
    }
    sums.k0 += out[0] * out[0], sums.k1 += out[1] * out[1], sums.k01 += out[0] * out[1];
    sums.a0 += out[2] * out[2], sums.a1 += out[3] * out[3];
  }
}
#else
void Run(WeightingBank::State& state, const double* HWY_RESTRICT pairs, int frames, WeightingBank::Sums& sums) {
  const hn::CappedTag<double, 4> d;
  using V = hn::Vec<decltype(d)>;
  constexpr size_t kLanes = hn::MaxLanes(d);
  for (size_t lane = 0; lane < 4; lane += kLanes) {
    V b0[3], b1[3], b2[3], a1[3], a2[3], x1[4], x2[4];
    for (int i = 0; i < 3; ++i) {
      b0[i] = hn::LoadU(d, state.b0[i] + lane), b1[i] = hn::LoadU(d, state.b1[i] + lane);
      b2[i] = hn::LoadU(d, state.b2[i] + lane);
      a1[i] = hn::LoadU(d, state.a1[i] + lane), a2[i] = hn::LoadU(d, state.a2[i] + lane);
    }
    for (int i = 0; i < 4; ++i) x1[i] = hn::LoadU(d, state.x1[i] + lane), x2[i] = hn::LoadU(d, state.x2[i] + lane);
    V squares = hn::Zero(d), products = hn::Zero(d);
    for (int n = 0; n < frames; ++n) {
      V x = hn::LoadDup128(d, pairs + 2 * n);
      for (int i = 0; i < 3; ++i) {
        V y = hn::MulAdd(b0[i], x, hn::MulAdd(b1[i], x1[i], hn::Mul(b2[i], x2[i])));
        y = hn::NegMulAdd(a1[i], x1[i + 1], hn::NegMulAdd(a2[i], x2[i + 1], y));
        x2[i] = x1[i];
        x1[i] = x;
        x = y;
      }
      x2[3] = x1[3];
      x1[3] = x;
      squares = hn::MulAdd(x, x, squares);
      products = hn::MulAdd(x, hn::Shuffle01(x), products);
    }
    for (int i = 0; i < 4; ++i) {
      hn::StoreU(x1[i], d, state.x1[i] + lane);
      hn::StoreU(x2[i], d, state.x2[i] + lane);
    }
    double square[4], product[4];
    hn::StoreU(squares, d, square + lane);
    hn::StoreU(products, d, product + lane);
    if (lane == 0) sums.k0 = square[0], sums.k1 = square[1], sums.k01 = product[0];
    if (lane + kLanes == 4) sums.a0 = square[2], sums.a1 = square[3];
  }
}
#endif

void Interleave(const float* HWY_RESTRICT first, const float* HWY_RESTRICT second, int frames, double* HWY_RESTRICT out) {
  for (int n = 0; n < frames; ++n) {
    out[2 * n] = first[n];
    out[2 * n + 1] = second[n];
  }
}

}  // namespace sendworthy::dsp::HWY_NAMESPACE
HWY_AFTER_NAMESPACE();

#if HWY_ONCE
namespace sendworthy::dsp {
HWY_EXPORT(Run);
HWY_EXPORT(Interleave);

WeightingBank::WeightingBank(double sample_rate_hz) {
  const auto k = k_weighting(sample_rate_hz);
  const auto a = a_weighting(sample_rate_hz);
  for (int i = 0; i < 3; ++i) {
    for (int lane = 0; lane < 4; ++lane) {
      const Biquad c = lane >= 2 ? a[static_cast<std::size_t>(i)]
                                 : (i < 2 ? k[static_cast<std::size_t>(i)] : Biquad{});
      state_.b0[i][lane] = c.b0, state_.b1[i][lane] = c.b1, state_.b2[i][lane] = c.b2;
      state_.a1[i][lane] = c.a1, state_.a2[i][lane] = c.a2;
    }
  }
}

WeightingBank::Sums WeightingBank::process(const float* first, const float* second, int frames) {
  Sums sums;
  if (frames <= 0) return sums;
  if (pairs_.size() < 2 * static_cast<std::size_t>(frames)) pairs_.resize(2 * static_cast<std::size_t>(frames));
  HWY_DYNAMIC_DISPATCH(Interleave)(first, second, frames, pairs_.data());
  HWY_DYNAMIC_DISPATCH(Run)(state_, pairs_.data(), frames, sums);
  return sums;
}

void WeightingBank::flush_denormals() {
  for (int i = 0; i < 4; ++i) {
    for (int lane = 0; lane < 4; ++lane) {
      if (std::abs(state_.x1[i][lane]) < 1e-30 && std::abs(state_.x2[i][lane]) < 1e-30)
        state_.x1[i][lane] = state_.x2[i][lane] = 0;
    }
  }
}

}  // namespace sendworthy::dsp
#endif
