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
// two; in double precision its rounding is far below any reading. Every section starts with a plain x: gains are left for the
// sums. The first section's zeros lie at 0 Hz in every lane, so that its numerator is the difference of two differences.
#if HWY_TARGET == HWY_SCALAR
// Processors without SSSE3: the same arithmetic, one lane after the other.
void Run(WeightingBank::State& state, const double* HWY_RESTRICT pairs, int frames, WeightingBank::Sums& sums) {
  for (int n = 0; n < frames; ++n) {
    double out[4];
    for (int lane = 0; lane < 4; ++lane) {
      const double x = pairs[2 * n + lane % 2];
      const double step = x - state.x1[lane];
      double y = step - state.step1[lane];
      state.x1[lane] = x, state.step1[lane] = step;
      y -= state.a1[0][lane] * state.y1[0][lane] + state.a2[0][lane] * state.y2[0][lane];
      for (int i = 1; i < 3; ++i) {
        const double in = y;
        y += state.b1[i][lane] * state.y1[i - 1][lane] + state.b2[i][lane] * state.y2[i - 1][lane];
        y -= state.a1[i][lane] * state.y1[i][lane] + state.a2[i][lane] * state.y2[i][lane];
        state.y2[i - 1][lane] = state.y1[i - 1][lane], state.y1[i - 1][lane] = in;
      }
      state.y2[2][lane] = state.y1[2][lane], state.y1[2][lane] = y;
      out[lane] = y;
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
    V b1[3], b2[3], a1[3], a2[3], y1[3], y2[3];
    for (int i = 0; i < 3; ++i) {
      b1[i] = hn::LoadU(d, state.b1[i] + lane), b2[i] = hn::LoadU(d, state.b2[i] + lane);
      a1[i] = hn::LoadU(d, state.a1[i] + lane), a2[i] = hn::LoadU(d, state.a2[i] + lane);
      y1[i] = hn::LoadU(d, state.y1[i] + lane), y2[i] = hn::LoadU(d, state.y2[i] + lane);
    }
    V x1 = hn::LoadU(d, state.x1 + lane), step1 = hn::LoadU(d, state.step1 + lane);
    V squares = hn::Zero(d), products = hn::Zero(d);
    for (int n = 0; n < frames; ++n) {
      const V x = hn::LoadDup128(d, pairs + 2 * n);
      const V step = hn::Sub(x, x1);
      V y = hn::Sub(step, step1);
      x1 = x, step1 = step;
      y = hn::NegMulAdd(a1[0], y1[0], hn::NegMulAdd(a2[0], y2[0], y));
      for (int i = 1; i < 3; ++i) {
        const V in = y;
        y = hn::MulAdd(b1[i], y1[i - 1], hn::MulAdd(b2[i], y2[i - 1], in));
        y = hn::NegMulAdd(a1[i], y1[i], hn::NegMulAdd(a2[i], y2[i], y));
        y2[i - 1] = y1[i - 1], y1[i - 1] = in;
      }
      y2[2] = y1[2], y1[2] = y;
      squares = hn::MulAdd(y, y, squares);
      products = hn::MulAdd(y, hn::Shuffle01(y), products);
    }
    for (int i = 0; i < 3; ++i) hn::StoreU(y1[i], d, state.y1[i] + lane), hn::StoreU(y2[i], d, state.y2[i] + lane);
    hn::StoreU(x1, d, state.x1 + lane), hn::StoreU(step1, d, state.step1 + lane);
    double square[4], product[4];
    hn::StoreU(squares, d, square + lane);
    hn::StoreU(products, d, product + lane);
    if (lane == 0) sums.k0 = square[0], sums.k1 = square[1], sums.k01 = product[0];
    if (lane + kLanes == 4) sums.a0 = square[2], sums.a1 = square[3];
  }
}
#endif

void Interleave(const float* HWY_RESTRICT first, const float* HWY_RESTRICT second, int frames, double* HWY_RESTRICT out) {
  int n = 0;
#if HWY_TARGET != HWY_SCALAR
  const hn::CappedTag<double, 4> dd;
  const hn::Rebind<float, decltype(dd)> df;
  const int lanes = static_cast<int>(hn::Lanes(dd));
  for (; n + lanes <= frames; n += lanes) {
    const auto f = hn::LoadU(df, first + n), s = hn::LoadU(df, second + n);
    hn::StoreU(hn::PromoteTo(dd, hn::InterleaveLower(df, f, s)), dd, out + 2 * n);
    hn::StoreU(hn::PromoteTo(dd, hn::InterleaveUpper(df, f, s)), dd, out + 2 * n + lanes);
  }
#endif
  for (; n < frames; ++n) {
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
  // Those with both zeros at 0 Hz first.
  const std::array<Biquad, 3> ours[2] = {{k[1], k[0], Biquad{}}, a};
  double gain[2] = {1, 1};
  for (int weighting = 0; weighting < 2; ++weighting) {
    for (std::size_t i = 0; i < 3; ++i) {
      const Biquad& c = ours[weighting][i];
      gain[weighting] *= c.b0;
      for (int lane = 2 * weighting; lane < 2 * weighting + 2; ++lane) {
        state_.b1[i][lane] = c.b1 / c.b0, state_.b2[i][lane] = c.b2 / c.b0;
        state_.a1[i][lane] = c.a1, state_.a2[i][lane] = c.a2;
      }
    }
  }
  k_gain_ = gain[0] * gain[0], a_gain_ = gain[1] * gain[1];
}

WeightingBank::Sums WeightingBank::process(const float* first, const float* second, int frames) {
  Sums sums;
  if (frames <= 0) return sums;
  if (pairs_.size() < 2 * static_cast<std::size_t>(frames)) pairs_.resize(2 * static_cast<std::size_t>(frames));
  HWY_DYNAMIC_DISPATCH(Interleave)(first, second, frames, pairs_.data());
  HWY_DYNAMIC_DISPATCH(Run)(state_, pairs_.data(), frames, sums);
  sums.k0 *= k_gain_, sums.k1 *= k_gain_, sums.k01 *= k_gain_;
  sums.a0 *= a_gain_, sums.a1 *= a_gain_;
  return sums;
}

void WeightingBank::flush_denormals() {
  for (int lane = 0; lane < 4; ++lane) {
    for (int i = 0; i < 3; ++i) {
      if (std::abs(state_.y1[i][lane]) < 1e-30 && std::abs(state_.y2[i][lane]) < 1e-30)
        state_.y1[i][lane] = state_.y2[i][lane] = 0;
    }
  }
}

}  // namespace sendworthy::dsp
#endif
