#include "measure/clicks.h"

#include <algorithm>
#include <cmath>
#include <map>

namespace sendworthy::measure {
namespace {

constexpr int kSub = dsp::kSubBlock;
constexpr std::int64_t kReach = 6;  // sub-blocks before and after that a kink is held against; the next may share it
// Prediction costs far more than the look at the kinks, so that only few places are tested: all that stand out clearly,
// and the best of each stretch.
constexpr std::int64_t kStretch = 256;  // sub-blocks
constexpr int kMostTests = 48;          // of a stretch and channel: more than pulses fit in that do not hide each other
constexpr double kStandsOut = 2.5, kStandsOutLeast = 1.5, kStandsOutFar = 1.5, kLowestKink = 0.001;

constexpr double kBesideS = 0.008;
constexpr std::int64_t kLongestBeside = 1024, kShortestBeside = 128;
constexpr int kOwn = 6;  // samples before and after the kink that may belong to the break
constexpr double kLowestUsual = 1.0 / 65536, kLowestMiss = 0.002;  // −54 dBFS
constexpr double kBeyond = 1.5;  // times the largest miss beside it: where the break begins and ends
constexpr double kLeast = 1;     // so far a break counts on a grid, where many are proof together
constexpr double kWhole = 0.3;   // of the level: where time jumps, the whole wave breaks, not one note of it
constexpr double kWide = 4;      // the same, for one that is more than two waves joined
constexpr double kClear = 26;    // so far it is a click by itself
constexpr double kSure = 64;     // so far it is one among others
constexpr int kWidest = 7;       // samples
constexpr double kNearS = 0.05, kNearLike = 3, kAloneS = 0.5, kLikeIt = 8, kLikeItLeast = 3;
constexpr float kFlat = 0.5f;  // two equal samples as high as this: the corners of a clipped wave count as clipping
constexpr double kLevelS = 0.0025, kLevelDb = 12;  // by which the level may differ before and after
constexpr double kQuiet = 1e-6;                    // −60 dBFS: below, levels are alike
constexpr std::int64_t kSame = 8;                  // frames within which breaks of several channels are one
constexpr std::size_t kMostBreaks = 65536;

constexpr std::size_t kFewest = 4;  // breaks that make a grid
constexpr std::int64_t kGrid = 64, kWidestGrid = 8192, kLongestBuffer = 4096;
constexpr double kChance = -6;   // power of ten: how many such groups chance may lead one to expect
constexpr int kMostParts = 16;   // into which a distance of beats is divided
constexpr double kOffBeat = 96;  // frames

double kink_at(const float* x) {
  const auto v = [&](int i) { return static_cast<double>(x[i]); };
  return std::abs(v(-2) + v(2) - 4 * (v(-1) + v(1)) + 6 * v(0));
}

bool is_flat(const float* x, int count) {
  for (int n = 1; n < count; ++n) {
    if (x[n] == x[n - 1] && std::abs(x[n]) >= kFlat) return true;
  }
  return false;
}

bool is_power_of_two(std::int64_t n) { return n > 0 && (n & (n - 1)) == 0; }

}  // namespace

ClickFinder::ClickFinder(int sample_rate, int channels)
    : sample_rate_(sample_rate), lines_(static_cast<std::size_t>(channels)) {}

void ClickFinder::settled(const Window& window, std::int64_t to) {
  // Kinks of whole sub-blocks as far as the window reaches.
  auto known = first_sub_ + static_cast<std::int64_t>(lines_.front().kinks.size());
  const std::int64_t reach = (window.last() - 2) / kSub;  // two more samples are read behind
  if (lines_.front().kinks.empty() && reach > 0) {        // nothing stands before the first sample
    for (auto& line : lines_) line.kinks.assign(kReach + 1, 0);
    first_sub_ = -kReach;
    known = 1;
  }
  if (reach > known) {
    for (int c = 0; c < window.channels(); ++c) {
      auto& kinks = lines_[static_cast<std::size_t>(c)].kinks;
      const auto old = kinks.size();
      kinks.resize(old + static_cast<std::size_t>(reach - known));
      dsp::sub_kinks(window.from(c, known * kSub), static_cast<int>((reach - known) * kSub), kinks.data() + old);
    }
    known = reach;
  }
  look_until(window, std::min(to / kSub, known - kReach));
  if (const auto drop = looked_ - kReach - first_sub_; drop >= 4 * kStretch) {
    for (auto& line : lines_) line.kinks.erase(line.kinks.begin(), line.kinks.begin() + drop);
    first_sub_ += drop;
  }
}

void ClickFinder::look_until(const Window& window, std::int64_t ready) {
  for (; looked_ < ready; ++looked_) {
    if (looked_ % kStretch == 0) end_stretch(window);
    if (looked_ == 0) continue;
    for (int c = 0; c < window.channels(); ++c) look(window, c, looked_);
  }
}

void ClickFinder::look(const Window& window, int channel, std::int64_t sub) {
  auto& line = lines_[static_cast<std::size_t>(channel)];
  const float* kink = line.kinks.data() + (sub - first_sub_);
  const float most = kink[0];
  if (static_cast<double>(most) < kLowestKink || most < kink[-1] || most <= kink[1]) return;
  const double near = static_cast<double>(std::max({kink[-3], kink[-2], kink[2], kink[3]}));
  if (static_cast<double>(most) < kStandsOutLeast * near) return;
  const float far =
      std::max(*std::max_element(kink - kReach, kink - 3), *std::max_element(kink + 4, kink + kReach + 1));
  if (static_cast<double>(most) < kStandsOutFar * static_cast<double>(far)) return;
  const double stands_out = near > 0 ? static_cast<double>(most) / near : 1e9;
  const bool clear = stands_out >= kStandsOut;
  // Pulses stand out over and over; one of them, tested among others that are not, would seem to stand alone.
  if (clear && line.tested >= kMostTests) return;
  if (!clear && line.best && line.best->stands_out >= stands_out) return;

  const float* x = window.from(channel, sub * kSub);
  int peak = 0;
  double highest = 0;
  for (int n = 0; n < kSub; ++n) {
    if (const double here = kink_at(x + n); here > highest) highest = here, peak = n;
  }
  if (clear) {
    ++line.tested;
    test(window, channel, sub * kSub + peak);
  } else {
    line.best = Candidate{sub * kSub + peak, stands_out};
  }
}

void ClickFinder::end_stretch(const Window& window) {
  int best = -1;  // of all channels
  double most = 0;
  for (int c = 0; c < window.channels(); ++c) {
    auto& line = lines_[static_cast<std::size_t>(c)];
    line.tested = 0;
    if (line.best && line.best->stands_out > most) most = line.best->stands_out, best = c;
  }
  if (best >= 0) test(window, best, lines_[static_cast<std::size_t>(best)].best->frame);
  for (auto& line : lines_) line.best.reset();
}

// What the first `count` samples of x_ let expect of the 2·kOwn + 1 behind them.
ClickFinder::Side ClickFinder::predicted(int count) {
  Side side;
  float taps[dsp::kPredictionOrder + 1];
  dsp::burg(x_.data(), count, taps);
  const int all = count + 2 * kOwn + 1, own = count - dsp::kPredictionOrder;
  miss_.resize(static_cast<std::size_t>(all));
  dsp::prediction_misses(x_.data(), all, taps, miss_.data());
  side.usual = std::max(kLowestUsual, static_cast<double>(*std::max_element(miss_.begin(), miss_.begin() + own)));
  std::copy_n(miss_.begin() + own, 2 * kOwn + 1, side.misses.begin());
  return side;
}

void ClickFinder::test(const Window& window, int channel, std::int64_t frame) {
  const auto most = std::min<std::int64_t>(kLongestBeside, std::llround(kBesideS * sample_rate_));
  const auto from = frame - kOwn, to = frame + kOwn + 1;
  const auto before = std::min(most, from - window.first()), after = std::min(most, window.last() - to);
  if (std::min(before, after) < kShortestBeside) return;
  constexpr auto kMiddle = 2 * kOwn + 1;
  const auto most_of = [](const Side& side) {
    return static_cast<double>(*std::max_element(side.misses.begin(), side.misses.begin() + kMiddle));
  };
  // Backwards first: what follows an onset does not tell of it, but it is loud and hides it.
  x_.resize(static_cast<std::size_t>(after + kMiddle));
  std::reverse_copy(window.from(channel, from), window.from(channel, from) + kMiddle + after, x_.begin());
  const Side back = predicted(static_cast<int>(after));
  if (most_of(back) < kLeast * back.usual) return;
  x_.assign(window.from(channel, from - before), window.from(channel, from) + kMiddle);
  const Side on = predicted(static_cast<int>(before));
  const double miss = std::min(most_of(on), most_of(back));
  const auto around = std::llround(kLevelS * sample_rate_);
  const double level = std::sqrt(window.mean_square(channel, frame - around, frame + around));
  const double over = std::min(most_of(on) / on.usual, most_of(back) / back.usual);
  if (over < kLeast || breaks_.size() >= kMostBreaks) return;
  const auto first_beyond = [&](const Side& side) {
    const double bar = std::min(kBeyond * side.usual, 0.5 * most_of(side));
    int n = 0;
    while (static_cast<double>(side.misses[static_cast<std::size_t>(n)]) < bar) ++n;
    return n;
  };
  const int first = first_beyond(on), last = kMiddle - 1 - first_beyond(back);
  breaks_.push_back({.frame = from + first,
                     .width = last - first + 1,
                     .channel = channel,
                     .miss = miss,
                     .over = over,
                     .whole = miss >= kWhole * level,
                     .level = is_level(window, channel, from, to),
                     .flat = is_flat(window.from(channel, from), kMiddle)});
}

// An onset has such a break too, and a gate; there the level is another before than after.
bool ClickFinder::is_level(const Window& window, int channel, std::int64_t from, std::int64_t to) const {
  const double ratio = std::pow(10, kLevelDb / 10);
  for (const double seconds : {kLevelS, 4 * kLevelS}) {
    const auto stretch = std::llround(seconds * sample_rate_);
    const double before = std::max(kQuiet, window.mean_square(channel, from - stretch, from));
    const double after = std::max(kQuiet, window.mean_square(channel, to, to + stretch));
    if (before > ratio * after || after > ratio * before) return false;
  }
  return true;
}

// In order; what stands in several channels is one break, and it stands where it is clearest.
std::vector<ClickFinder::Break> ClickFinder::merged() const {
  auto all = breaks_;
  std::sort(all.begin(), all.end(), [](const Break& a, const Break& b) {
    return a.frame != b.frame ? a.frame < b.frame : a.channel < b.channel;
  });
  std::vector<Break> merged;
  for (const auto& one : all) {
    if (merged.empty() || one.frame - merged.back().frame > kSame) {
      merged.push_back(one);
      continue;
    }
    auto& kept = merged.back();
    const int channel = one.channel == kept.channel ? one.channel : -1;
    if (one.over > kept.over) kept = one;
    kept.channel = channel;
  }
  return merged;
}

ClickFinder::Found ClickFinder::finish(const Window& window) {
  // Nothing stands behind the last sample either.
  const auto known = first_sub_ + static_cast<std::int64_t>(lines_.front().kinks.size());
  for (auto& line : lines_) line.kinks.insert(line.kinks.end(), kReach, 0.0f);
  look_until(window, known);
  end_stretch(window);
  Found found;
  const auto all = merged();
  std::vector<std::int64_t> joins;
  for (std::size_t i = 0; i < all.size(); ++i) {
    const auto& one = all[i];
    if (one.width < 0 || one.width > kWidest || one.miss < kLowestMiss) continue;
    if (one.whole && (one.width == 0 || one.over >= kWide)) joins.push_back(one.frame);
    if (one.over < kClear || !one.level || one.flat) continue;
    const auto alone = [&](double seconds, double like) {
      const auto near = std::llround(seconds * sample_rate_);
      for (auto k = i; k-- > 0 && one.frame - all[k].frame <= near;) {
        if (all[k].over >= like) return false;
      }
      for (auto k = i + 1; k < all.size() && all[k].frame - one.frame <= near; ++k) {
        if (all[k].over >= like) return false;
      }
      return true;
    };
    // Pulses and distortion break over and over: that is their sound.
    if (!alone(kNearS, one.over / kNearLike)) continue;
    if (one.over < kSure && !alone(kAloneS, std::max(kLikeItLeast, one.over / kLikeIt))) continue;
    ++found.total;
    if (found.clicks.size() < kMaxWhere)
      found.clicks.push_back(
          {one.frame, lines_.size() == 1 ? 0 : one.channel + 1, 20 * std::log10(one.miss), 20 * std::log10(one.over)});
  }
  auto grid = buffer_grid(joins);
  found.grid = std::move(grid.frames);
  found.grid_step = grid.step;
  return found;
}

namespace {

// How many groups of `on` frames of one rest chance lets expect among `all`, as a power of ten.
double chance_of(std::size_t on, std::size_t all, std::int64_t modulus) {
  const auto k = static_cast<double>(on), n = static_cast<double>(all);
  const double ways = std::lgamma(n + 1) - std::lgamma(k + 1) - std::lgamma(n - k + 1);
  return (ways - (k - 1) * std::log(static_cast<double>(modulus))) / std::log(10.0);
}

// The beat of a programmed song can stand on such a grid as well: then all distances are multiples of one that is
// longer than buffers are, and no power of two. A sequencer that works in blocks is off the beat by up to one of them;
// the period is known the better the farther the frames lie apart.
std::ptrdiff_t on_beat(const std::vector<std::int64_t>& frames, std::size_t from, double period) {
  std::ptrdiff_t on = 1;
  for (auto i = from + 1; i < frames.size(); ++i) {
    const auto span = static_cast<double>(frames[i] - frames[from]);
    const double beats = std::round(span / period);
    if (beats < 1 || std::abs(span - beats * period) > kOffBeat) continue;
    ++on;
    period = span / beats;
  }
  for (auto i = from; i-- > 0;) {
    const auto span = static_cast<double>(frames[from] - frames[i]);
    on += std::abs(std::remainder(span, period)) <= kOffBeat;
  }
  return on;
}

bool is_beat(const std::vector<std::int64_t>& frames) {
  const auto count = std::min<std::size_t>(frames.size(), 64);
  for (std::size_t i = 1; i < count; ++i) {
    for (int parts = 1; parts <= kMostParts; ++parts) {
      const double period = static_cast<double>(frames[i] - frames[i - 1]) / parts;
      if (period < static_cast<double>(kLongestBuffer)) break;
      const auto whole = std::llround(period);
      if (whole <= kWidestGrid && is_power_of_two(whole) && static_cast<double>(whole) == period) continue;
      if (10 * on_beat(frames, i - 1, period) >= 9 * static_cast<std::ptrdiff_t>(frames.size())) return true;
    }
  }
  return false;
}

}  // namespace

BufferGrid buffer_grid(const std::vector<std::int64_t>& frames) {
  BufferGrid best;
  double chance = kChance;
  for (auto step = kGrid; step <= kLongestBuffer; step *= 2) {
    std::map<std::int64_t, std::size_t> rests;
    for (const auto frame : frames) ++rests[frame % step];
    for (const auto& [rest, on] : rests) {
      if (on < kFewest) continue;
      const double here = chance_of(on, frames.size(), step);
      if (here >= chance) continue;
      std::vector<std::int64_t> those;
      std::copy_if(frames.begin(), frames.end(), std::back_inserter(those),
                   [step, rest = rest](std::int64_t frame) { return frame % step == rest; });
      if (is_beat(those)) continue;
      chance = here;
      best = {std::move(those), step};
    }
  }
  if (best.step == 0) return best;
  for (auto step = 2 * best.step; step <= kWidestGrid; step *= 2) {
    const auto on = std::count_if(best.frames.begin(), best.frames.end(),
                                  [&](std::int64_t frame) { return (frame - best.frames.front()) % step == 0; });
    if (on == static_cast<std::ptrdiff_t>(best.frames.size())) best.step = step;
  }
  return best;
}

}  // namespace sendworthy::measure
