#include "pair/follow.h"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <utility>

#include "pair/correlate.h"

namespace sendworthy::pair {
namespace {

constexpr double kNear = 2, kNearPerFrame = 4e-4;  // frames that a lag may move from window to window; clocks part by 400 ppm at most
constexpr std::size_t kHold = 3;                   // windows in which it must stay there
constexpr std::int64_t kSoon = 3;  // windows
constexpr std::int64_t kOftenLost = 12, kSeldom = 8;  // windows
constexpr std::int64_t kPassage = 9;  // windows: for so long the old lag must be gone and the new one hold, or to the end
constexpr std::int64_t kShortStart = 2;  // windows: a beginning with a lag of its own may be shorter
constexpr std::size_t kWideCandidates = 10;  // half as many where each costs four times as much
constexpr int kWideSearches = 32, kWideMore = 8;  // of which none found a thing, and for each that did: another mix has no places
constexpr double kHighRate = 64000;
constexpr double kNearbyS = 10, kWideS = 60, kWideWindowS = 6, kAsLikely = 0.005;
constexpr std::size_t kMostGroups = 32;

}  // namespace

double middle_of(std::vector<double> values) {
  const auto at = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
  std::nth_element(values.begin(), at, values.end());
  return *at;
}

Follower::Follower(Windows& windows, const FollowInput& input) : windows_(windows), input_(input), window_(windows.length()), lag_(input.lag), same_(input.same) {}

Follower::Run Follower::run_of(std::int64_t at, double lag, bool fitting) {
  Run run;
  for (; run.windows < kPassage && at < input_.old_frames; at += window_) {
    if (stopped()) return run;
    if (!windows_.take(at)) continue;
    const auto whole = std::llround(lag);
    const double likeness = windows_.likeness(at, whole);
    if ((likeness >= same_) != fitting) return run;
    if (fitting) lag = windows_.placed(at, whole, likeness).lag;
    ++run.windows;
  }
  run.to_the_end = run.windows < kPassage;
  return run;
}

// An edit that ends is no other lag, and in a loop other lags fit as well: the old one must stay away, and the new one hold,
// for longer than edits last or to the end.
bool Follower::holds_on(std::int64_t at, double lag) {
  const auto away = run_of(at, lag_, false);
  // What stands first in the one file stands first in the other: the gap is no longer than what is gone between the two.
  const auto in_order = [&](std::int64_t fitting) { return lag - lag_ <= static_cast<double>((away.windows - fitting + 1) * window_); };
  const bool short_start = points_.empty() && away.windows >= kShortStart;
  if (away.windows < kPassage && !away.to_the_end && !short_start) return false;
  const auto run = run_of(at, lag, true);
  return run.windows >= kPassage || (run.to_the_end && run.windows > 0) || (short_start && run.windows >= kShortStart && in_order(run.windows));
}

// Of all lags that fit here, the plain one.
std::optional<WindowFit> Follower::plainer_here(std::int64_t at) {
  if (!windows_.take(at)) return std::nullopt;
  for (const double plain : plain_lags()) {
    if (std::abs(plain - lag_) <= kNear) continue;
    if (const auto fit = windows_.search(at, plain); fit.likeness >= same_ && std::abs(fit.lag - lag_) > kNear) return fit;
  }
  return std::nullopt;
}

// How many of the next windows fit about a lag.
int Follower::fitting_soon(std::int64_t at, double lag) {
  int fitting = 0;
  for (std::int64_t k = 0; k < kSoon; ++k) fitting += windows_.take(at + k * window_) && windows_.search(at + k * window_, lag).likeness >= same_ ? 1 : 0;
  return fitting;
}

// Where a loop fits at many lags, a window across a cut fits at one that is not the cut's: a plain lag that fits a little later
// says more, and so does one that is less far off. Behind a cut, it fits only from where that ends.
bool Follower::plainer_soon(std::int64_t at, double lag) {
  const double reach = static_cast<double>(windows_.reach());
  const auto fits = [&](double other) {
    const auto taken_out = static_cast<std::int64_t>(std::max(0.0, std::ceil((lag_ - other) / static_cast<double>(window_))));
    return fitting_soon(at + window_ * (1 + taken_out), other) >= 2;
  };
  for (const double plain : plain_lags()) {
    if (std::abs(plain - lag) > kNear && std::abs(plain - lag_) > kNear && (fitting_soon(at + window_, plain) >= 2 || fits(plain))) return true;
  }
  return std::ranges::any_of(nearby_, [&](double other) { return std::abs(other - lag_) < std::abs(lag - lag_) - reach && std::abs(other - lag_) > reach && fits(other); });
}

void Follower::follow() {
  points_.clear();
  std::int64_t lost = 0, next_wide = 0;
  int wide_left = kWideSearches;
  for (std::int64_t at = 0; at < input_.old_frames && !stopped(); at += window_) {
    if (input_.progress) input_.progress(static_cast<double>(at) / static_cast<double>(std::max<std::int64_t>(1, input_.old_frames)));
    if (!windows_.take(at)) continue;
    auto lag = std::llround(lag_);
    double likeness = windows_.likeness(at, lag);
    if (likeness < same_) {
      // What is gone for long is seldom looked for beside its place; at its place always.
      if (lost > kOftenLost && lost % kSeldom != 0) {
        ++lost;
        continue;
      }
      auto fit = windows_.search(at, lag_);
      nearby_.clear();
      // Near enough for a clock that runs otherwise; at the start there is nothing to stay with yet.
      const double near = points_.empty() ? static_cast<double>(windows_.reach()) : kNear + kNearPerFrame * static_cast<double>(at - points_.back().at);
      if (fit.likeness < same_ || std::abs(fit.lag - lag_) > near) {
        const auto now = lost++;
        if (fit.likeness < same_ && now >= next_wide && wide_left > 0) {
          --wide_left;
          next_wide = now + 1 + now / 2;
          fit = search_wide(at);
        }
        if (fit.likeness < same_) continue;
        if (const auto plain = plainer_here(at); plain) {
          fit = *plain;
        } else if (plainer_soon(at, fit.lag)) {
          continue;
        }
        if (!holds_on(at, fit.lag)) continue;
        wide_left += kWideMore;
      }
      (void)windows_.take(at);
      lag = std::llround(fit.lag), likeness = windows_.likeness(at, lag);
    }
    lost = next_wide = 0;
    points_.push_back(windows_.placed(at, lag, likeness));
    lag_ = points_.back().lag;
  }
  group(kNear);
}

void Follower::group(double step) {
  groups_.clear();
  std::vector<WindowPoint> pending;
  const bool drifting = step >= kNear;
  for (const auto& point : points_) {
    const auto near = [&](const WindowPoint& other) {
      return std::abs(point.lag - other.lag) <= step + (drifting ? kNearPerFrame * static_cast<double>(point.at - other.at) : 0.0);
    };
    if (groups_.empty() || near(groups_.back().back())) {
      if (groups_.empty()) groups_.push_back({});
      groups_.back().push_back(point);
      pending.clear();
      continue;
    }
    if (!pending.empty() && !near(pending.back())) pending.clear();
    pending.push_back(point);
    if (pending.size() < kHold) continue;
    groups_.push_back(std::move(pending));
    pending = {};
  }
}

Follower::Reach Follower::reach_out(const WindowPoint& from, std::int64_t until, double least) {
  Reach reach{{}, from.at};
  const auto step = until > from.at ? window_ : -window_;
  const auto lag = std::llround(from.lag);
  for (auto at = from.at + step; step > 0 ? at < until : at > until; at += step) {
    if (windows_.take(at)) {
      const double here = windows_.likeness(at, lag);
      if (here < least) break;
      reach.points.push_back(windows_.placed(at, lag, here));
    }
    reach.last = at;
  }
  return reach;
}

void Follower::simplify() {
  for (std::size_t i = 0; i + 2 < groups_.size() && groups_.size() <= kMostGroups; ++i) {
    for (std::size_t k = groups_.size() - 1; k >= i + 2; --k) {
      if (stopped()) return;
      if (merge_between(i, k)) break;
    }
  }
  points_.clear();
  for (const auto& one : groups_) points_.insert(points_.end(), one.begin(), one.end());
}

// Whether the sound of groups i and k, each continued at its own lag, leaves no more between them than what was taken out.
bool Follower::merge_between(std::size_t i, std::size_t k) {
  const auto first = groups_[i].back(), last = groups_[k].front();
  double least = 1;
  for (std::size_t g = i; g <= k; ++g) {
    std::vector<double> likeness;
    for (const auto& point : groups_[g]) likeness.push_back(point.likeness);
    least = std::min(least, middle_of(std::move(likeness)));
  }
  least = std::max(same_, least - kAsLikely);
  const auto forwards = reach_out(first, last.at, least);
  const auto end = forwards.last + window_;
  const auto taken_out = std::max<std::int64_t>(0, std::llround(first.lag - last.lag));
  if (end + taken_out > last.at + window_) return false;
  const auto backwards = reach_out(last, end + taken_out - window_, least);
  if (backwards.last > end + taken_out + window_) return false;
  groups_[i].insert(groups_[i].end(), forwards.points.begin(), forwards.points.end());
  groups_[k].insert(groups_[k].begin(), backwards.points.rbegin(), backwards.points.rend());
  groups_.erase(groups_.begin() + static_cast<std::ptrdiff_t>(i) + 1, groups_.begin() + static_cast<std::ptrdiff_t>(k));
  return true;
}

// Where else does the sound of the next seconds stand? Nearby first: in a song of one rhythm many places sound alike.
WindowFit Follower::search_wide(std::int64_t at) {
  WindowFit best{lag_, 0};
  nearby_.clear();
  for (const double reach_s : {kNearbyS, kWideS}) {
    best = search_within(at, reach_s);
    if (best.likeness >= same_) break;
  }
  return best;
}

WindowFit Follower::search_within(std::int64_t at, double reach_s) {
  const double steps = 1 / (Onsets::kStepS * input_.rate);
  const auto step_of = [&](double seconds) { return static_cast<std::ptrdiff_t>(seconds / Onsets::kStepS); };
  const auto &old_onsets = input_.old_onsets, &new_onsets = input_.new_onsets;
  const auto begin = static_cast<std::ptrdiff_t>(static_cast<double>(at) * steps * input_.speed);
  const auto from = std::min(std::ssize(old_onsets), begin), to = std::min(std::ssize(old_onsets), begin + step_of(kWideWindowS));
  const auto there = static_cast<std::ptrdiff_t>((static_cast<double>(at) + lag_) * steps * input_.speed);
  const auto first = std::clamp<std::ptrdiff_t>(there - step_of(reach_s), 0, std::ssize(new_onsets));
  const auto last = std::clamp<std::ptrdiff_t>(there + step_of(reach_s) + (to - from), first, std::ssize(new_onsets));
  const std::vector<float> a(old_onsets.begin() + from, old_onsets.begin() + to), b(new_onsets.begin() + first, new_onsets.begin() + last);
  WindowFit best{lag_, 0};
  std::vector<double> lags;
  for (const auto& candidate : likely_lags(a, b, 3, input_.rate > kHighRate ? kWideCandidates / 2 : kWideCandidates))
    lags.push_back((candidate.lag + static_cast<double>(first - from)) / (steps * input_.speed));
  // Near an end of the file there is too little to hear for onsets to tell.
  for (const double lag : plain_lags()) {
    if (std::abs(lag - lag_) < reach_s * input_.rate) lags.push_back(lag);
  }
  nearby_.insert(nearby_.end(), lags.begin(), lags.end());
  for (const double lag : lags) {
    const auto fit = windows_.search(at, lag);
    // In a loop many are as likely: the nearest.
    const bool as_likely = std::abs(fit.likeness - best.likeness) <= kAsLikely;
    if (as_likely ? std::abs(fit.lag - lag_) < std::abs(best.lag - lag_) : fit.likeness > best.likeness) best = fit;
  }
  return best;
}

}  // namespace sendworthy::pair
