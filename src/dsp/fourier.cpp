#include "dsp/fourier.h"

#include <cmath>
#include <numbers>

#undef HWY_TARGET_INCLUDE
#define HWY_TARGET_INCLUDE "dsp/fourier.cpp"
#include <hwy/foreach_target.h>
#include <hwy/highway.h>

HWY_BEFORE_NAMESPACE();
namespace sendworthy::dsp::HWY_NAMESPACE {
namespace hn = hwy::HWY_NAMESPACE;

template <class V>
struct Complex {
  V re, im;
};

template <class V>
HWY_INLINE Complex<V> Times(Complex<V> a, V re, V im) {
  return {hn::NegMulAdd(a.im, im, hn::Mul(a.re, re)), hn::MulAdd(a.im, re, hn::Mul(a.re, im))};
}

// The four sums of four inputs, before the twiddles.
template <class V>
struct Four {
  Complex<V> y0, y1, y2, y3;
};

template <class D, class V = hn::Vec<D>>
HWY_INLINE Four<V> Butterfly(D d, const float* HWY_RESTRICT re, const float* HWY_RESTRICT im, int quarter) {
  const auto at = [&](int k) { return Complex<V>{hn::LoadU(d, re + k * quarter), hn::LoadU(d, im + k * quarter)}; };
  const auto a = at(0), b = at(1), c = at(2), e = at(3);
  const Complex<V> sum_ac{hn::Add(a.re, c.re), hn::Add(a.im, c.im)}, diff_ac{hn::Sub(a.re, c.re), hn::Sub(a.im, c.im)};
  const Complex<V> sum_be{hn::Add(b.re, e.re), hn::Add(b.im, e.im)}, diff_be{hn::Sub(b.re, e.re), hn::Sub(b.im, e.im)};
  return {{hn::Add(sum_ac.re, sum_be.re), hn::Add(sum_ac.im, sum_be.im)},
          {hn::Add(diff_ac.re, diff_be.im), hn::Sub(diff_ac.im, diff_be.re)},
          {hn::Sub(sum_ac.re, sum_be.re), hn::Sub(sum_ac.im, sum_be.im)},
          {hn::Sub(diff_ac.re, diff_be.im), hn::Add(diff_ac.im, diff_be.re)}};
}

// The first pass: vectors run over the twiddles, and the four results of each interleave.
void FirstPass(const float* HWY_RESTRICT re, const float* HWY_RESTRICT im, int size, const float* HWY_RESTRICT twiddles,
               float* HWY_RESTRICT out_re, float* HWY_RESTRICT out_im) {
  const hn::CappedTag<float, 16> d;
  const int lanes = static_cast<int>(hn::Lanes(d)), quarter = size / 4;
  for (int p = 0; p < quarter; p += lanes) {
    auto [y0, y1, y2, y3] = Butterfly(d, re + p, im + p, quarter);
    const auto w = [&](int row) { return hn::LoadU(d, twiddles + row * quarter + p); };
    y1 = Times(y1, w(0), w(1));
    y2 = Times(y2, w(2), w(3));
    y3 = Times(y3, w(4), w(5));
    hn::StoreInterleaved4(y0.re, y1.re, y2.re, y3.re, d, out_re + 4 * p);
    hn::StoreInterleaved4(y0.im, y1.im, y2.im, y3.im, d, out_im + 4 * p);
  }
}

// A later pass: `stride` neighbours share their twiddles.
template <class D>
HWY_INLINE void Pass(D d, const float* HWY_RESTRICT re, const float* HWY_RESTRICT im, int size, int stride,
                     const float* HWY_RESTRICT twiddles, float* HWY_RESTRICT out_re, float* HWY_RESTRICT out_im) {
  const int lanes = static_cast<int>(hn::Lanes(d)), quarter = size / 4, count = quarter / stride;
  for (int p = 0; p < count; ++p) {
    const auto w = [&](int row) { return hn::Set(d, twiddles[row * count + p]); };
    const auto w1 = w(0), v1 = w(1), w2 = w(2), v2 = w(3), w3 = w(4), v3 = w(5);
    for (int q = 0; q < stride; q += lanes) {
      const int from = q + stride * p, to = q + 4 * stride * p;
      auto [y0, y1, y2, y3] = Butterfly(d, re + from, im + from, quarter);
      y1 = Times(y1, w1, v1);
      y2 = Times(y2, w2, v2);
      y3 = Times(y3, w3, v3);
      hn::StoreU(y0.re, d, out_re + to), hn::StoreU(y0.im, d, out_im + to);
      hn::StoreU(y1.re, d, out_re + to + stride), hn::StoreU(y1.im, d, out_im + to + stride);
      hn::StoreU(y2.re, d, out_re + to + 2 * stride), hn::StoreU(y2.im, d, out_im + to + 2 * stride);
      hn::StoreU(y3.re, d, out_re + to + 3 * stride), hn::StoreU(y3.im, d, out_im + to + 3 * stride);
    }
  }
}

void SecondPass(const float* re, const float* im, int size, const float* twiddles, float* out_re, float* out_im) {
  Pass(hn::CappedTag<float, 4>(), re, im, size, 4, twiddles, out_re, out_im);
}

void LaterPass(const float* re, const float* im, int size, int stride, const float* twiddles, float* out_re,
               float* out_im) {
  Pass(hn::CappedTag<float, 16>(), re, im, size, stride, twiddles, out_re, out_im);
}

void LastByTwo(const float* HWY_RESTRICT x, int size, float* HWY_RESTRICT out) {
  const hn::CappedTag<float, 16> d;
  const int lanes = static_cast<int>(hn::Lanes(d)), half = size / 2;
  for (int q = 0; q < half; q += lanes) {
    const auto a = hn::LoadU(d, x + q), b = hn::LoadU(d, x + q + half);
    hn::StoreU(hn::Add(a, b), d, out + q), hn::StoreU(hn::Sub(a, b), d, out + q + half);
  }
}

void Multiply(const float* HWY_RESTRICT window, int count, const float* HWY_RESTRICT x, float* HWY_RESTRICT out) {
  const hn::ScalableTag<float> d;
  const int lanes = static_cast<int>(hn::Lanes(d));
  int n = 0;
  for (; n + lanes <= count; n += lanes) hn::StoreU(hn::Mul(hn::LoadU(d, window + n), hn::LoadU(d, x + n)), d, out + n);
  for (; n < count; ++n) out[n] = window[n] * x[n];
}

// |A|² + |B|² = (|X[k]|² + |X[size − k]|²) / 2.
void AddPairPowers(const float* HWY_RESTRICT re, const float* HWY_RESTRICT im, int size, float* HWY_RESTRICT lines) {
  const hn::ScalableTag<float> d;
  const int lanes = static_cast<int>(hn::Lanes(d)), half = size / 2;
  const auto scalar = [&](int k) {
    const int mirror = (size - k) % size;
    lines[k] += 0.5f * (re[k] * re[k] + im[k] * im[k] + re[mirror] * re[mirror] + im[mirror] * im[mirror]);
  };
  scalar(0);
  int k = 1;
  for (; k + lanes <= half + 1; k += lanes) {
    const auto power = [&](int at) {
      const auto r = hn::LoadU(d, re + at), i = hn::LoadU(d, im + at);
      return hn::MulAdd(r, r, hn::Mul(i, i));
    };
    const auto both = hn::Add(power(k), hn::Reverse(d, power(size - k - lanes + 1)));
    hn::StoreU(hn::MulAdd(both, hn::Set(d, 0.5f), hn::LoadU(d, lines + k)), d, lines + k);
  }
  for (; k <= half; ++k) scalar(k);
}

double SumOf(const float* HWY_RESTRICT x, int count) {
  const hn::CappedTag<float, 8> d;
  const int lanes = static_cast<int>(hn::Lanes(d));
  auto sum = hn::Zero(d);
  int n = 0;
  for (; n + lanes <= count; n += lanes) sum = hn::Add(sum, hn::LoadU(d, x + n));
  double total = static_cast<double>(hn::GetLane(hn::SumOfLanes(d, sum)));
  for (; n < count; ++n) total += static_cast<double>(x[n]);
  return total;
}

}  // namespace sendworthy::dsp::HWY_NAMESPACE
HWY_AFTER_NAMESPACE();

#if HWY_ONCE
namespace sendworthy::dsp {
HWY_EXPORT(FirstPass);
HWY_EXPORT(SecondPass);
HWY_EXPORT(LaterPass);
HWY_EXPORT(LastByTwo);
HWY_EXPORT(Multiply);
HWY_EXPORT(AddPairPowers);
HWY_EXPORT(SumOf);

Fourier::Fourier(int size)
    : size_(size), real_(static_cast<std::size_t>(size)), imaginary_(static_cast<std::size_t>(size)) {
  for (int length = size; length >= 4; length /= 4) {
    for (int factor = 1; factor <= 3; ++factor) {
      for (const bool imaginary : {false, true}) {
        for (int p = 0; p < length / 4; ++p) {
          const double angle = -2 * std::numbers::pi * factor * p / length;
          twiddles_.push_back(static_cast<float>(imaginary ? std::sin(angle) : std::cos(angle)));
        }
      }
    }
  }
}

void Fourier::forward(std::vector<float>& real, std::vector<float>& imaginary) {
  const float* twiddles = twiddles_.data();
  int length = size_, stride = 1;
  for (; length >= 4; length /= 4, stride *= 4) {
    if (stride == 1) {
      HWY_DYNAMIC_DISPATCH(FirstPass)(real.data(), imaginary.data(), size_, twiddles, real_.data(), imaginary_.data());
    } else if (stride == 4) {
      HWY_DYNAMIC_DISPATCH(SecondPass)(real.data(), imaginary.data(), size_, twiddles, real_.data(), imaginary_.data());
    } else {
      HWY_DYNAMIC_DISPATCH(LaterPass)
      (real.data(), imaginary.data(), size_, stride, twiddles, real_.data(), imaginary_.data());
    }
    twiddles += 6 * (length / 4);
    real.swap(real_), imaginary.swap(imaginary_);
  }
  if (length == 2) {
    HWY_DYNAMIC_DISPATCH(LastByTwo)(real.data(), size_, real_.data());
    HWY_DYNAMIC_DISPATCH(LastByTwo)(imaginary.data(), size_, imaginary_.data());
    real.swap(real_), imaginary.swap(imaginary_);
  }
}

void multiply(std::span<const float> window, const float* x, float* out) {
  HWY_DYNAMIC_DISPATCH(Multiply)(window.data(), static_cast<int>(window.size()), x, out);
}

void add_pair_powers(const std::vector<float>& real, const std::vector<float>& imaginary, std::span<float> lines) {
  HWY_DYNAMIC_DISPATCH(AddPairPowers)
  (real.data(), imaginary.data(), static_cast<int>(real.size()), lines.data());
}

double sum_of(std::span<const float> values) {
  return HWY_DYNAMIC_DISPATCH(SumOf)(values.data(), static_cast<int>(values.size()));
}

}  // namespace sendworthy::dsp
#endif  // HWY_ONCE
