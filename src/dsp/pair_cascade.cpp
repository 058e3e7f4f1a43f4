#include "dsp/pair_cascade.h"

#include <cmath>

#undef HWY_TARGET_INCLUDE
#define HWY_TARGET_INCLUDE "dsp/pair_cascade.cpp"
#include <hwy/foreach_target.h>
#include <hwy/highway.h>

#ifndef SENDWORTHY_PAIR_CASCADE_SHARED
#define SENDWORTHY_PAIR_CASCADE_SHARED
namespace sendworthy::dsp {
constexpr int kFive = 5;  // a high-pass and an eighth-order low-pass
}  // namespace sendworthy::dsp
#endif

HWY_BEFORE_NAMESPACE();
namespace sendworthy::dsp::HWY_NAMESPACE {
namespace hn = hwy::HWY_NAMESPACE;

// Five sections, so that their state stays in registers: one sample of a section waits for its last by two multiply-adds,
// and the sections of a sample overlap with those of the next.
bool FiveSections(const Biquad* HWY_RESTRICT sections, PairCascade::State* HWY_RESTRICT states, const float* HWY_RESTRICT first,
                  const float* HWY_RESTRICT second, int frames, PairCascade::Sums& sums) {
#if HWY_TARGET == HWY_SCALAR
  (void)sections, (void)states, (void)first, (void)second, (void)frames, (void)sums;
  return false;
#else
  const hn::Full128<double> d;
  using V = hn::Vec<decltype(d)>;
  V s1[kFive], s2[kFive];
  double held[2];
  for (int i = 0; i < kFive; ++i) {
    held[0] = states[i].s1[0], held[1] = states[i].s1[1], s1[i] = hn::LoadU(d, held);
    held[0] = states[i].s2[0], held[1] = states[i].s2[1], s2[i] = hn::LoadU(d, held);
  }
  V squares = hn::Zero(d), products = squares;
  for (int n = 0; n < frames; ++n) {
    held[0] = static_cast<double>(first[n]), held[1] = static_cast<double>(second[n]);
    V x = hn::LoadU(d, held);
    for (int i = 0; i < kFive; ++i) {
      const auto& c = sections[i];
      const V y = hn::MulAdd(hn::Set(d, c.b0), x, s1[i]);
      s1[i] = hn::NegMulAdd(hn::Set(d, c.a1), y, hn::MulAdd(hn::Set(d, c.b1), x, s2[i]));
      s2[i] = hn::NegMulAdd(hn::Set(d, c.a2), y, hn::Mul(hn::Set(d, c.b2), x));
      x = y;
    }
    squares = hn::MulAdd(x, x, squares);
    products = hn::MulAdd(x, hn::Shuffle01(x), products);
  }
  for (int i = 0; i < kFive; ++i) {
    hn::StoreU(s1[i], d, held), states[i].s1 = PairCascade::Pair{held[0], held[1]};
    hn::StoreU(s2[i], d, held), states[i].s2 = PairCascade::Pair{held[0], held[1]};
  }
  hn::StoreU(squares, d, held);
  sums.first = held[0], sums.second = held[1];
  sums.product = hn::GetLane(products);
  return true;
#endif
}

}  // namespace sendworthy::dsp::HWY_NAMESPACE
HWY_AFTER_NAMESPACE();

#if HWY_ONCE
namespace sendworthy::dsp {
HWY_EXPORT(FiveSections);

PairCascade::Sums PairCascade::sums(const float* first, const float* second, int frames) {
  Sums sums;
  if (sections_.size() == kFive &&
      HWY_DYNAMIC_DISPATCH(FiveSections)(sections_.data(), state_.data(), first, second, frames, sums))
    return sums;
  for (int n = 0; n < frames; ++n) {
    const auto y = process(first[n], second[n]);
    sums.first += y[0] * y[0], sums.second += y[1] * y[1], sums.product += y[0] * y[1];
  }
  return sums;
}

void PairCascade::flush_denormals() {
  for (auto& s : state_) {
    for (int k = 0; k < 2; ++k) {
      if (std::abs(s.s1[k]) < 1e-30) s.s1[k] = 0;
      if (std::abs(s.s2[k]) < 1e-30) s.s2[k] = 0;
    }
  }
}

}  // namespace sendworthy::dsp
#endif
