#include "dsp/low_band.h"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "dsp/kaiser.h"

// Counting bits is an instruction of its own there.
#define HWY_WANT_AVX3_DL
#undef HWY_TARGET_INCLUDE
#define HWY_TARGET_INCLUDE "dsp/low_band.cpp"
#include <hwy/foreach_target.h>
#include <hwy/highway.h>

HWY_BEFORE_NAMESPACE();
namespace sendworthy::dsp::HWY_NAMESPACE {
namespace hn = hwy::HWY_NAMESPACE;

// Column k of the four rows at `phases`: in[4·k …].
void SplitByFour(const float* HWY_RESTRICT in, int columns, float* HWY_RESTRICT phases, std::int64_t stride) {
  const hn::ScalableTag<float> d;
  const int lanes = static_cast<int>(hn::Lanes(d));
  int k = 0;
  for (; k + lanes <= columns; k += lanes) {
    hn::Vec<decltype(d)> a, b, c, e;
    hn::LoadInterleaved4(d, in + 4 * k, a, b, c, e);
    hn::StoreU(a, d, phases + k), hn::StoreU(b, d, phases + stride + k);
    hn::StoreU(c, d, phases + 2 * stride + k), hn::StoreU(e, d, phases + 3 * stride + k);
  }
  for (; k < columns; ++k) {
    for (int p = 0; p < 4; ++p) phases[p * stride + k] = in[4 * k + p];
  }
}

// out[m] = Σ taps[t]·x[m·4 + t], x split into its four phases: every product runs over neighbouring outputs, and no sum
// across lanes is needed. The order of products is the same everywhere, so that where a block was split does not show.
void ByFour(const float* HWY_RESTRICT phases, std::int64_t stride, int outputs, const float* HWY_RESTRICT taps, int count,
            float* HWY_RESTRICT out) {
  const hn::ScalableTag<float> d;
  const int lanes = static_cast<int>(hn::Lanes(d));
  int m = 0;
  constexpr int kAtOnce = 4;  // vectors of outputs that share each tap
  for (; m + kAtOnce * lanes <= outputs; m += kAtOnce * lanes) {
    hn::Vec<decltype(d)> even[kAtOnce], odd[kAtOnce];
    for (int v = 0; v < kAtOnce; ++v) even[v] = odd[v] = hn::Zero(d);
    for (int t = 0; t < count; t += 4) {
      const float* base = phases + m + t / 4;
      const auto t0 = hn::Set(d, taps[t]), t1 = hn::Set(d, taps[t + 1]);
      const auto t2 = hn::Set(d, taps[t + 2]), t3 = hn::Set(d, taps[t + 3]);
      for (int v = 0; v < kAtOnce; ++v) {
        const float* x = base + v * lanes;
        even[v] = hn::MulAdd(hn::LoadU(d, x), t0, even[v]);
        odd[v] = hn::MulAdd(hn::LoadU(d, x + stride), t1, odd[v]);
        even[v] = hn::MulAdd(hn::LoadU(d, x + 2 * stride), t2, even[v]);
        odd[v] = hn::MulAdd(hn::LoadU(d, x + 3 * stride), t3, odd[v]);
      }
    }
    for (int v = 0; v < kAtOnce; ++v) hn::StoreU(hn::Add(even[v], odd[v]), d, out + m + v * lanes);
  }
  for (; m < outputs; ++m) {
    float s0 = 0, s1 = 0;
    for (int t = 0; t < count; t += 4) {
      const float* base = phases + m + t / 4;
      s0 = std::fma(base[0], taps[t], s0);
      s1 = std::fma(base[stride], taps[t + 1], s1);
      s0 = std::fma(base[2 * stride], taps[t + 2], s0);
      s1 = std::fma(base[3 * stride], taps[t + 3], s1);
    }
    out[m] = s0 + s1;
  }
}

void ByAny(const float* HWY_RESTRICT in, int outputs, int factor, const float* HWY_RESTRICT taps, int count,
           float* HWY_RESTRICT out) {
  const hn::CappedTag<float, 16> d;
  const int lanes = static_cast<int>(hn::Lanes(d));
  for (int m = 0; m < outputs; ++m) {
    const float* x = in + static_cast<std::int64_t>(m) * factor;
    auto sum = hn::Zero(d);
    for (int t = 0; t < count; t += lanes) sum = hn::MulAdd(hn::LoadU(d, x + t), hn::LoadU(d, taps + t), sum);
    out[m] = hn::GetLane(hn::SumOfLanes(d, sum));
  }
}

void SignCoincidence(const std::uint64_t* HWY_RESTRICT left, const std::uint64_t* HWY_RESTRICT right,
                     const std::uint64_t* HWY_RESTRICT valid, int words, int range, std::uint64_t* HWY_RESTRICT equal) {
  const hn::CappedTag<std::uint64_t, 8> d;
  using V = hn::Vec<decltype(d)>;
  const int lanes = static_cast<int>(hn::Lanes(d));
  constexpr int kAtOnce = 8;  // lags that share what is loaded
  for (int k = 0; k < 2 * range; k += kAtOnce) {
    const int bit = k % 64;
    const std::uint64_t* r = right + k / 64;
    V sum[kAtOnce];
    for (int b = 0; b < kAtOnce; ++b) sum[b] = hn::Zero(d);
    int i = 0;
    for (; i + lanes <= words; i += lanes) {
      const auto low = hn::ShiftRightSame(hn::LoadU(d, r + i), bit);
      const auto high = hn::LoadU(d, r + i + 1);
      // Shifted by 64 − bit in two steps, since a shift by 64 is not defined.
      const auto upper = hn::ShiftLeftSame(hn::ShiftLeft<1>(high), 63 - bit);
      const auto from = hn::Or(low, upper);
      const auto beyond = hn::ShiftRightSame(high, bit);
      const auto l = hn::LoadU(d, left + i), v = hn::LoadU(d, valid + i);
      const auto count = [&](int b, auto shifted) {
        sum[b] = hn::Add(sum[b], hn::PopulationCount(hn::AndNot(hn::Xor(l, shifted), v)));
      };
      count(0, from);
      count(1, hn::Or(hn::ShiftRight<1>(from), hn::ShiftLeft<63>(beyond)));
      count(2, hn::Or(hn::ShiftRight<2>(from), hn::ShiftLeft<62>(beyond)));
      count(3, hn::Or(hn::ShiftRight<3>(from), hn::ShiftLeft<61>(beyond)));
      count(4, hn::Or(hn::ShiftRight<4>(from), hn::ShiftLeft<60>(beyond)));
      count(5, hn::Or(hn::ShiftRight<5>(from), hn::ShiftLeft<59>(beyond)));
      count(6, hn::Or(hn::ShiftRight<6>(from), hn::ShiftLeft<58>(beyond)));
      count(7, hn::Or(hn::ShiftRight<7>(from), hn::ShiftLeft<57>(beyond)));
    }
    for (int b = 0; b < kAtOnce; ++b) {
      std::uint64_t total = hn::GetLane(hn::SumOfLanes(d, sum[b]));
      const int shift = bit + b;  // at most 63: `bit` is a multiple of kAtOnce
      for (int w = i; w < words; ++w) {
        const std::uint64_t shifted = shift == 0 ? r[w] : (r[w] >> shift) | (r[w + 1] << (64 - shift));
        total += static_cast<std::uint64_t>(__builtin_popcountll(~(left[w] ^ shifted) & valid[w]));
      }
      equal[k + b] += total;
    }
  }
}

}  // namespace sendworthy::dsp::HWY_NAMESPACE
HWY_AFTER_NAMESPACE();

#if HWY_ONCE
namespace sendworthy::dsp {
HWY_EXPORT(SplitByFour);
HWY_EXPORT(ByFour);
HWY_EXPORT(ByAny);
HWY_EXPORT(SignCoincidence);
namespace {

constexpr double kAttenuationDb = 100, kBeta = 10.06;  // Kaiser: 0.1102·(A − 8.7)

}  // namespace

Decimator::Decimator(double fs, int factor, double pass_hz, double stop_hz) : factor_(factor) {
  const double width = 2 * std::numbers::pi * (stop_hz - pass_hz) / fs;
  int count = static_cast<int>(std::ceil((kAttenuationDb - 8) / (2.285 * width))) + 1;
  count = (count + 15) / 16 * 16;
  const double cut = (pass_hz + stop_hz) / fs;  // relative to fs/2
  const double middle = (count - 1) / 2.0;
  double sum = 0;
  std::vector<double> taps(static_cast<std::size_t>(count));
  for (int i = 0; i < count; ++i) {
    const double t = i - middle;
    taps[static_cast<std::size_t>(i)] = kaiser_sinc(t, middle + 0.5, cut, kBeta);
    sum += taps[static_cast<std::size_t>(i)];
  }
  for (const double v : taps) taps_.push_back(static_cast<float>(v / sum));
  // Silence before the start: one sample less than there are taps.
  if (factor_ == 4) {
    columns_ = static_cast<std::int64_t>(taps_.size()) / 4 - 1;
    stride_ = columns_;
    phases_.assign(4 * static_cast<std::size_t>(stride_), 0.0f);
    buffer_.assign(3, 0.0f);
  } else {
    buffer_.assign(taps_.size() - 1, 0.0f);
  }
}

void Decimator::process(std::span<const float> in, std::vector<float>& out) {
  factor_ == 4 ? by_four(in, out) : by_any(in, out);
}

// Keeps what it needs in columns of four; up to three samples wait in buffer_ for their column.
void Decimator::by_four(std::span<const float> in, std::vector<float>& out) {
  const auto samples = static_cast<std::int64_t>(buffer_.size() + in.size());
  const auto added = samples / 4;
  if (columns_ + added > stride_) {
    const auto stride = columns_ + added;
    std::vector<float> wider(4 * static_cast<std::size_t>(stride));
    for (std::int64_t p = 0; p < 4; ++p)
      std::copy_n(phases_.begin() + p * stride_, columns_, wider.begin() + p * stride);
    phases_.swap(wider);
    stride_ = stride;
  }
  std::size_t used = 0;
  auto at = columns_;
  if (!buffer_.empty() && added > 0) {
    used = 4 - buffer_.size();
    buffer_.insert(buffer_.end(), in.begin(), in.begin() + static_cast<std::ptrdiff_t>(used));
    for (std::int64_t p = 0; p < 4; ++p) phases_[static_cast<std::size_t>(p * stride_ + at)] = buffer_[static_cast<std::size_t>(p)];
    buffer_.clear();
    ++at;
  }
  const auto rest = static_cast<std::int64_t>(in.size() - used) / 4 * (added > 0 ? 1 : 0);
  HWY_DYNAMIC_DISPATCH(SplitByFour)(in.data() + used, static_cast<int>(rest), phases_.data() + at, stride_);
  used += 4 * static_cast<std::size_t>(rest);
  buffer_.insert(buffer_.end(), in.begin() + static_cast<std::ptrdiff_t>(used), in.end());
  columns_ += added;

  const auto wide = static_cast<std::int64_t>(taps_.size()) / 4;
  const auto outputs = std::max<std::int64_t>(0, columns_ - wide + 1);
  const auto old = out.size();
  out.resize(old + static_cast<std::size_t>(outputs));
  if (outputs == 0) return;
  HWY_DYNAMIC_DISPATCH(ByFour)(phases_.data(), stride_, static_cast<int>(outputs), taps_.data(),
                               static_cast<int>(taps_.size()), out.data() + old);
  columns_ -= outputs;
  for (std::int64_t p = 0; p < 4; ++p)
    std::copy_n(phases_.begin() + p * stride_ + outputs, columns_, phases_.begin() + p * stride_);
}

void Decimator::by_any(std::span<const float> in, std::vector<float>& out) {
  buffer_.insert(buffer_.end(), in.begin(), in.end());
  const auto count = static_cast<std::int64_t>(taps_.size());
  const auto have = static_cast<std::int64_t>(buffer_.size()) - skip_;
  const int outputs = have < count ? 0 : static_cast<int>((have - count) / factor_ + 1);
  const auto old = out.size();
  out.resize(old + static_cast<std::size_t>(outputs));
  if (outputs > 0)
    HWY_DYNAMIC_DISPATCH(ByAny)(buffer_.data() + skip_, outputs, factor_, taps_.data(), static_cast<int>(count), out.data() + old);
  skip_ += static_cast<std::int64_t>(outputs) * factor_;
  const auto drop = std::min<std::int64_t>(skip_, static_cast<std::int64_t>(buffer_.size()));
  buffer_.erase(buffer_.begin(), buffer_.begin() + static_cast<std::ptrdiff_t>(drop));
  skip_ -= drop;
}

LowBandChain::LowBandChain(double fs) {
  // The low-band meters reach up to 500 Hz with 48 dB per octave; up to 1 kHz nothing may fold back.
  constexpr double kPassHz = 1000;
  double rate = fs;
  double delay = 0, step = 1;
  while (rate >= 32000) {
    first_.emplace_back(rate, 4, kPassHz, rate / 4 - kPassHz);
    delay += step * first_.back().delay_frames();
    step *= 4;
    rate /= 4;
    middle_factor_ *= 4;
  }
  middle_rate_hz_ = rate;
  const int factor = std::max(1, static_cast<int>(rate / 3000));
  if (factor > 1) {
    last_.emplace_back(rate, factor, kPassHz, rate / factor - kPassHz);
    delay += step * last_.back().delay_frames();
  }
  low_factor_ = middle_factor_ * factor;
  low_rate_hz_ = rate / factor;
  low_delay_ = delay;
}

void LowBandChain::process(std::span<const float> in, std::vector<float>& middle, std::vector<float>& low) {
  middle.clear();
  if (first_.empty()) {
    middle.assign(in.begin(), in.end());
  } else {
    first_.front().process(in, middle);
  }
  for (std::size_t i = 1; i < first_.size(); ++i) {
    scratch_.clear();
    first_[i].process(middle, scratch_);
    middle.swap(scratch_);
  }
  low.clear();
  if (last_.empty()) {
    low = middle;
  } else {
    last_.front().process(middle, low);
  }
}

void sign_coincidence(const std::uint64_t* left, const std::uint64_t* right, const std::uint64_t* valid, int words,
                      int range, std::uint64_t* equal) {
  HWY_DYNAMIC_DISPATCH(SignCoincidence)(left, right, valid, words, range, equal);
}

}  // namespace sendworthy::dsp
#endif
