#include "dsp/true_peak.h"

#include <algorithm>
#include <array>
#include <bit>
#include <cmath>

#include "dsp/kaiser.h"
#include "dsp/planar.h"

#undef HWY_TARGET_INCLUDE
#define HWY_TARGET_INCLUDE "dsp/true_peak.cpp"
#include <hwy/foreach_target.h>
#include <hwy/highway.h>

#ifndef SENDWORTHY_TRUE_PEAK_SHARED
#define SENDWORTHY_TRUE_PEAK_SHARED
namespace sendworthy::dsp {
constexpr int kShort = 28;   // taps a phase of the 4x screen
constexpr int kLong = 64;    // taps a phase of the 32x interpolator
constexpr int kPhases = 32;
struct ScreenTaps {
  alignas(64) float even[kShort / 2];
  float odd[kShort / 2], half[kShort / 2];
};
}  // namespace sendworthy::dsp
#endif

HWY_BEFORE_NAMESPACE();
namespace sendworthy::dsp::HWY_NAMESPACE {
namespace hn = hwy::HWY_NAMESPACE;

// out[4·n + q]: magnitude at x[n] + q/4, for n = 0 … count − 1; count a multiple of 16. Reads x[−13 … count + 13].
// Returns the largest. The taps for 1/2 read the same from both ends and those for 3/4 are those for 1/4 from the other end,
// so sums and differences of samples that stand opposite serve all three.
float Screen(const float* HWY_RESTRICT x, int count, const ScreenTaps& taps, float* HWY_RESTRICT out) {
  const hn::CappedTag<float, 16> d;
  const int lanes = static_cast<int>(hn::Lanes(d));
  auto peak = hn::Zero(d);
  for (int n = 0; n < count; n += lanes) {
    auto even = hn::Zero(d), odd = even, half = even;
    const float* first = x + n - (kShort / 2 - 1);
    const float* last = first + kShort - 1;
    for (int t = 0; t < kShort / 2; ++t) {
      const auto v = hn::LoadU(d, first + t), w = hn::LoadU(d, last - t);
      const auto sum = hn::Add(v, w), difference = hn::Sub(v, w);
      even = hn::MulAdd(sum, hn::Set(d, taps.even[t]), even);
      odd = hn::MulAdd(difference, hn::Set(d, taps.odd[t]), odd);
      half = hn::MulAdd(sum, hn::Set(d, taps.half[t]), half);
    }
    const auto sample = hn::Abs(hn::LoadU(d, x + n));
    const auto a = hn::Abs(hn::Add(even, odd)), b = hn::Abs(half), c = hn::Abs(hn::Sub(even, odd));
    hn::StoreInterleaved4(sample, a, b, c, d, out + 4 * n);
    peak = hn::Max(hn::Max(peak, sample), hn::Max(a, hn::Max(b, c)));
  }
  return hn::GetLane(hn::MaxOfLanes(d, peak));
}

// Where, among v[0 … count − 1], a value over `needed` has no higher neighbour. Reads v[−1 … count + 16]. Returns how many.
int Summits(const float* HWY_RESTRICT v, int count, float needed, int* HWY_RESTRICT out) {
  const hn::CappedTag<float, 16> d;
  const int lanes = static_cast<int>(hn::Lanes(d));
  const auto bar = hn::Set(d, needed);
  int found = 0;
  for (int k = 0; k < count; k += lanes) {
    const auto here = hn::LoadU(d, v + k);
    const auto high = hn::Gt(here, bar);
    if (hn::AllFalse(d, high)) continue;
    const auto top = hn::And(hn::Ge(here, hn::LoadU(d, v + k - 1)), hn::Ge(here, hn::LoadU(d, v + k + 1)));
    std::uint8_t bits[8] = {};
    hn::StoreMaskBits(d, hn::And(high, top), bits);
    for (unsigned left = bits[0] | bits[1] << 8; left != 0; left &= left - 1) {
      const int at = k + std::countr_zero(left);
      if (at < count) out[found++] = at;
    }
  }
  return found;
}

// What each sub-block may hold at most: bounds[s] from the sub-blocks s, s + 1 and s + 2 of the others, `first` being the
// first sample after it. extremes[i] = max(highest[i], −lowest[i]) for i = 0 … subs + 1.
void Bounds(const float* HWY_RESTRICT highest, const float* HWY_RESTRICT lowest, const float* HWY_RESTRICT bends,
            const float* HWY_RESTRICT firsts, int subs, float by_bend, float by_rest, float* HWY_RESTRICT extremes,
            float* HWY_RESTRICT bounds) {
  const hn::CappedTag<float, 16> d;
  const int lanes = static_cast<int>(hn::Lanes(d));
  int i = 0;
  for (; i + lanes <= subs + 2; i += lanes)
    hn::StoreU(hn::Max(hn::LoadU(d, highest + i), hn::Neg(hn::LoadU(d, lowest + i))), d, extremes + i);
  for (; i < subs + 2; ++i) extremes[i] = std::max(highest[i], -lowest[i]);
  const auto of_bend = hn::Set(d, by_bend), of_rest = hn::Set(d, by_rest);
  const auto most_of = [&](const float* v) { return hn::Max(hn::LoadU(d, v), hn::Max(hn::LoadU(d, v + 1), hn::LoadU(d, v + 2))); };
  int s = 0;
  for (; s + lanes <= subs; s += lanes) {
    // The line to the next sub-block's first sample belongs to this one, hence its extreme too.
    const auto ends = hn::Max(hn::LoadU(d, extremes + s + 1), hn::Abs(hn::LoadU(d, firsts + s)));
    hn::StoreU(hn::MulAdd(of_rest, most_of(extremes + s), hn::MulAdd(of_bend, most_of(bends + s), ends)), d, bounds + s);
  }
  for (; s < subs; ++s) {
    const float around = std::max({extremes[s], extremes[s + 1], extremes[s + 2]});
    const float bend = std::max({bends[s], bends[s + 1], bends[s + 2]});
    bounds[s] = std::fma(by_rest, around, std::fma(by_bend, bend, std::max(extremes[s + 1], std::abs(firsts[s]))));
  }
}

// Σ taps[t]·x[t], kLong of them.
float Dot(const float* HWY_RESTRICT x, const float* HWY_RESTRICT taps) {
  const hn::CappedTag<float, 16> d;
  const int lanes = static_cast<int>(hn::Lanes(d));
  auto sum = hn::Zero(d);
  for (int t = 0; t < kLong; t += lanes) sum = hn::MulAdd(hn::LoadU(d, x + t), hn::LoadU(d, taps + t), sum);
  return hn::GetLane(hn::SumOfLanes(d, sum));
}

}  // namespace sendworthy::dsp::HWY_NAMESPACE
HWY_AFTER_NAMESPACE();

#if HWY_ONCE
namespace sendworthy::dsp {
HWY_EXPORT(Screen);
HWY_EXPORT(Summits);
HWY_EXPORT(Bounds);
HWY_EXPORT(Dot);
namespace {

constexpr int kSub = kSubBlock;

// Kaiser-windowed sinc, cut at fs/2: the point `fraction` after tap number taps/2 − 1. Kaiser's formula
// A = 2.285·Δω·(taps − 1) + 8 gives about 48 dB (28 taps) and 100 dB (64 taps) over a transition of 0.45 … 0.55 fs.
double tap(int index, int taps, double fraction, double beta) {
  return kaiser_sinc(index - (taps / 2 - 1) - fraction, taps / 2.0, 1, beta);
}

struct Tables {
  ScreenTaps screen;
  alignas(64) float fine[kPhases][kLong];
  // |y| ≤ max of the two samples around + bend·max|second difference| + rest·max|x|, for every fine phase. With e = taps
  // minus the straight line's, c the running sum of e and cc that of c: Σ e·x = Σ cc·(second difference) + what the last
  // values of c and cc leave over, since the taps reproduce constants and slopes only to about 100 dB.
  float bend = 0, rest = 0;

  Tables() {
    for (int i = 0; i < kShort / 2; ++i) {
      const double near = tap(i, kShort, 0.25, 4.4), far = tap(kShort - 1 - i, kShort, 0.25, 4.4);
      screen.even[i] = static_cast<float>((near + far) / 2);
      screen.odd[i] = static_cast<float>((near - far) / 2);
      screen.half[i] = static_cast<float>(tap(i, kShort, 0.5, 4.4));
    }
    for (int p = 0; p < kPhases; ++p) {
      const double fraction = p / static_cast<double>(kPhases);
      double c = 0, cc = 0, sum = 0;
      for (int i = 0; i < kLong; ++i) {
        fine[p][i] = static_cast<float>(tap(i, kLong, fraction, 10.0));
        const int zero = kLong / 2 - 1;
        c += fine[p][i] - (i == zero ? 1 - fraction : i == zero + 1 ? fraction : 0);
        if (i + 1 < kLong) {
          cc += c;
          sum += std::abs(cc);
        }
      }
      bend = std::max(bend, static_cast<float>(sum - std::abs(cc)));
      rest = std::max(rest, static_cast<float>(std::abs(c) + 2 * std::abs(cc)));
    }
  }
};
const Tables& tables() {
  static const Tables instance;
  return instance;
}

// 1/cos(π/8) = 1.0824 for the 4x grid, and 1.2 % for what the short screen may read low.
constexpr float kGridSlack = 1.0824f * 1.012f;

// The screen reads at most 1.2 % high, too.
constexpr float kScreenSurely = 0.985f;

// A parabola through three 4x points misses a peak by up to 0.6 % at 0.45 fs (cosines 0.354 and 1.06 rad off the peak) and
// 0.85 % at fs/2; the short screen reads up to 0.4 % low below 0.44 fs and more
// above.
constexpr float kParabolaSlack = 1.03f;

// Where the parabola of a screen that errs by 1.2 % has its top, the waveform is within 0.1 % of its peak; 32nds add 0.2 %.
constexpr float kPlaceSlack = 1.004f;

// Top of the parabola through three neighbours, b where b is no maximum.
float parabola(float a, float b, float c) {
  const float bend = a - 2 * b + c;
  return b >= a && b >= c && bend < 0 ? b - (a - c) * (a - c) / (8 * bend) : b;
}

// Value at frame `x` + fraction, fraction in 32nds (may run beyond one frame either way). Reads x[−33 … +34].
float fine_value(const float* x, int fraction) {
  const int whole = fraction >= 0 ? fraction / kPhases : -((-fraction + kPhases - 1) / kPhases);
  const int phase = fraction - whole * kPhases;
  return std::abs(HWY_DYNAMIC_DISPATCH(Dot)(x + whole - (kLong / 2 - 1), tables().fine[phase]));
}

// The highest point near x + quarter/4, where a, b, c are the 4x magnitudes a quarter before, there and a quarter after: by
// 32nds, starting where their parabola has its top, then a parabola over 16ths (which misses by less than 0.01 %). Less where
// it is sure not to exceed `bar`.
float refine(const float* x, int quarter, float a, float b, float c, float bar) {
  const float bend = a - 2 * b + c;
  const float offset = bend < 0 ? std::clamp(0.5f * (a - c) / bend, -1.0f, 1.0f) : 0;
  int at = quarter * 8 + static_cast<int>(std::lround(8 * offset));
  float here = fine_value(x, at);
  if (here * kPlaceSlack <= bar) return here;
  float left = fine_value(x, at - 2), right = fine_value(x, at + 2);
  for (int i = 0; i < 6 && (left > here || right > here); ++i) {
    if (left > right) {
      at -= 2, right = here, here = left, left = fine_value(x, at - 2);
    } else {
      at += 2, left = here, here = right, right = fine_value(x, at + 2);
    }
  }
  return std::max(parabola(left, here, right), std::max(left, right));
}

}  // namespace

TruePeakMeter::TruePeakMeter() : buffer_(kHistory + kRinging, 0.0f) {}

void TruePeakMeter::feed(const float* samples, int frames) {
  buffer_.insert(buffer_.end(), samples, samples + frames);
  fed_ += frames;
}

void TruePeakMeter::flush() {
  buffer_.insert(buffer_.end(), kRinging + kLookAhead, 0.0f);
  flushed_ = true;
}

TruePeakMeter::Peak TruePeakMeter::close(std::int64_t end, float known) {
  const auto& t = tables();
  if (flushed_ && end == fed_) end += kRinging;
  const int count = static_cast<int>(end - closed_);
  const auto frame_of = [](std::int64_t frame) { return std::max<std::int64_t>(0, frame); };
  Peak peak{0, frame_of(closed_)};
  if (count <= 0) return peak;
  const float* x = buffer_.data() + (closed_ - begin_);

  // Extremes of the sub-blocks, one more on either side: an interpolated value leans on up to 32 samples around it.
  const int subs = (count + kSub - 1) / kSub;
  const auto room = static_cast<std::size_t>(subs) + 2;
  highest_.resize(room), lowest_.resize(room), extremes_.resize(room), bends_.resize(room);
  firsts_.resize(room), bounds_.resize(room);
  sub_extremes(x - kSub, (subs + 2) * kSub, highest_.data(), lowest_.data());
  sub_bends(x - kSub, (subs + 2) * kSub, bends_.data());
  for (int s = 0; s < subs; ++s) firsts_[static_cast<std::size_t>(s)] = x[(s + 1) * kSub];
  HWY_DYNAMIC_DISPATCH(Bounds)(highest_.data(), lowest_.data(), bends_.data(), firsts_.data(), subs, t.bend, t.rest,
                               extremes_.data(), bounds_.data());
  // The last sub-block may reach past `end`: the samples there belong to the next segment, so each is looked at by itself.
  const auto top_sample = [&](int s) {
    const int to = std::min((s + 1) * kSub, count);
    for (int n = s * kSub; n < to; ++n) {
      if (std::abs(x[n]) > peak.value) peak = {std::abs(x[n]), frame_of(closed_ + n)};
    }
  };
  const auto inner = std::max_element(extremes_.begin() + 1, extremes_.end() - 1) - extremes_.begin() - 1;
  top_sample(static_cast<int>(inner));
  for (int s = 0; s < subs; ++s) {
    if (extremes_[static_cast<std::size_t>(s + 1)] > peak.value) top_sample(s);
  }

  // First every place where a peak might be, with its estimate; then the likeliest is refined, which rules out most others.
  // The bar is what the segment's peak reaches at least: a sample, or a screened value less the screen's own error.
  candidates_.clear();
  float bar = std::max(peak.value, known);
  alignas(64) std::array<float, 4 * kSub + 2 + 16> buffer{};
  float* const grid = buffer.data() + 1;  // a neighbour on either side
  std::array<int, 4 * kSub> summits;
  int screened = -2;
  // The most promising sub-block first, since a high bar from the start rules out many others.
  const int promising = static_cast<int>(std::max_element(bounds_.begin(), bounds_.begin() + subs) - bounds_.begin());
  const auto look_at_candidates = [&] {
    if (candidates_.empty()) return;
    const auto look = [&](const Candidate& c) {
      const float value = refine(x + c.frame, c.quarter, c.before, c.value, c.after, std::max(peak.value, known));
      if (value > peak.value) peak = {value, frame_of(closed_ + c.frame + (c.quarter >= 2 ? 1 : 0))};
    };
    look(*std::max_element(candidates_.begin(), candidates_.end(),
                           [](const auto& a, const auto& b) { return a.estimate < b.estimate; }));
    for (const auto& candidate : candidates_) {
      if (candidate.estimate > std::max(peak.value, known)) look(candidate);
    }
    candidates_.clear();
  };
  for (int step = -1; step < subs; ++step) {
    if (step == 0) {
      look_at_candidates();
      bar = std::max(bar, peak.value);
    }
    const int s = step < 0 ? promising : step;
    if (step == promising || bounds_[static_cast<std::size_t>(s)] <= bar) continue;
    const int from = s * kSub;
    const float before = grid[4 * kSub - 1];
    float top = HWY_DYNAMIC_DISPATCH(Screen)(x + from, kSub, t.screen, grid);
    const bool follows = screened == s - 1;
    screened = s;
    const int last = 4 * std::min(kSub, count - from);
    // What lies past `end` is the next segment's: were it to raise the bar, this segment's own peak would be passed over.
    if (last < 4 * kSub) top = *std::max_element(grid, grid + last);
    bar = std::max(bar, top * kScreenSurely);
    const float needed = bar / kGridSlack;
    if (top <= needed) continue;
    grid[-1] = follows ? before : grid[0] > needed && grid[0] >= grid[1] ? fine_value(x + from, -kPhases / 4) : 0;
    grid[4 * kSub] = std::abs(x[from + kSub]);
    const int found = HWY_DYNAMIC_DISPATCH(Summits)(grid, last, needed, summits.data());
    for (int f = 0; f < found; ++f) {
      const int k = summits[static_cast<std::size_t>(f)];
      // A parabola's top lies no higher above the middle than an eighth of what the lower neighbour lies below it.
      const float v = grid[k];
      if ((v + 0.125f * (v - std::min(grid[k - 1], grid[k + 1]))) * kParabolaSlack <= bar) continue;
      const float estimate = parabola(grid[k - 1], v, grid[k + 1]) * kParabolaSlack;
      if (estimate > bar) candidates_.push_back({estimate, from + k / 4, k % 4, grid[k - 1], grid[k], grid[k + 1]});
    }
  }
  look_at_candidates();
  closed_ = end;
  const std::int64_t drop = closed_ - kHistory - begin_;
  // Moved only when much has gathered, so that feeding stays linear in time.
  if (drop > 32768) {
    buffer_.erase(buffer_.begin(), buffer_.begin() + static_cast<std::ptrdiff_t>(drop));
    begin_ += drop;
  }
  return peak;
}

float true_peak_unpruned(const float* samples, std::int64_t frames) {
  if (frames <= 0) return 0;
  std::vector<float> padded(static_cast<std::size_t>(frames) + 4 * kLong, 0.0f);
  std::copy(samples, samples + frames, padded.begin() + 2 * kLong);
  float peak = 0;
  // Around the stream the waveform still moves for half the interpolator's length.
  for (std::int64_t n = -kLong / 2; n < frames + kLong / 2; ++n) {
    const float* x = padded.data() + 2 * kLong + n;
    peak = std::max(peak, std::abs(*x));
    for (int p = 1; p < kPhases; ++p) peak = std::max(peak, fine_value(x, p));
  }
  return peak;
}

}  // namespace sendworthy::dsp
#endif
