#include "measure/bursts.h"

#include <algorithm>
#include <cmath>

namespace sendworthy::measure {
namespace {

constexpr double kShortestS = 0.15, kLongestS = 4;
constexpr double kEdge = 4;        // 6 dB: how much motion leaps at both edges
constexpr double kSteady = 2;      // 3 dB: how far it may fall in between
constexpr std::size_t kBefore = 4, kSettle = 5;
constexpr double kLowest = 1e-9;   // −90 dBFS
constexpr std::size_t kMostBursts = 4096;
constexpr double kShortestIntervalS = 3, kEvenlyS = 0.04, kAlikeLength = 0.1, kAlikeDb = 2;
constexpr std::size_t kFewest = 3;

}  // namespace

std::int64_t BurstFinder::ticks(double seconds) const { return std::max<std::int64_t>(1, std::llround(seconds / tick_s_)); }

void BurstFinder::take(const Tick& tick) {
  const auto motion = static_cast<double>(tick.motion);
  if (open_ >= 0) {
    follow(motion, at_);
  } else if (last_.size() == kBefore) {
    // The edge may fall inside the tick before this one, which is left out of what stood before.
    double before = 0;
    for (std::size_t i = 0; i + 1 < kBefore; ++i) before = std::max(before, static_cast<double>(last_[i].motion));
    if (motion > kLowest && motion > kEdge * before) open_ = at_, before_ = before, own_.clear(), dark_ = 0, follow(motion, at_);
  }
  last_.push_back(tick);
  if (last_.size() > kBefore) last_.pop_front();
  ++at_;
}

void BurstFinder::follow(double motion, std::int64_t now) {
  if (own_.size() < kSettle) {
    own_.push_back(motion);
    steady_ = own_.size() == 1 ? motion : std::min(steady_, motion);
    if (own_.size() > 1 && motion * kEdge < own_.front()) open_ = -1;  // a hit
    return;
  }
  if (motion * kSteady >= steady_) {
    dark_ = 0;
    own_.push_back(motion);
    if (static_cast<std::int64_t>(own_.size()) > ticks(kLongestS)) open_ = -1;
    return;
  }
  // It ends at once, or it was a decay: one tick may hold the edge.
  if (motion * kEdge < steady_) {
    close(now - dark_);
  } else if (++dark_ > 1) {
    open_ = -1;
  }
}

void BurstFinder::close(std::int64_t end) {
  auto sorted = own_;
  std::sort(sorted.begin(), sorted.end());
  const double middle = sorted[sorted.size() / 2], low = sorted[sorted.size() / 10];
  const bool level = middle < kSteady * low;
  if (end - open_ >= ticks(kShortestS) && level && found_.size() < kMostBursts)
    found_.push_back({open_, end, 10 * std::log10(middle)});
  open_ = -1;
}

std::vector<BurstFinder::Burst> BurstFinder::periodic() const {
  const auto alike = [](const Burst& a, const Burst& b) {
    const auto la = static_cast<double>(a.end - a.first), lb = static_cast<double>(b.end - b.first);
    return std::abs(la - lb) <= kAlikeLength * std::max(la, lb) + 2 && std::abs(a.motion_db - b.motion_db) <= kAlikeDb;
  };
  std::vector<Burst> best;
  // From every burst as the first, with every later one as its neighbour; few are alike, so this stays short.
  const std::size_t looked = std::min<std::size_t>(found_.size(), 256);
  for (std::size_t i = 0; i < looked; ++i) {
    for (std::size_t k = i + 1; k < std::min(looked, i + 8); ++k) {
      if (!alike(found_[i], found_[k])) continue;
      const auto interval = static_cast<double>(found_[k].first - found_[i].first);
      if (interval < static_cast<double>(ticks(kShortestIntervalS))) continue;
      std::vector<Burst> chain{found_[i]};
      for (auto n = i + 1; n < looked; ++n) {
        if (!alike(found_[i], found_[n])) continue;
        const auto distance = static_cast<double>(found_[n].first - found_[i].first);
        const double steps = std::round(distance / interval);
        if (steps >= 1 && std::abs(distance - steps * interval) <= kEvenlyS / tick_s_ * std::max(1.0, std::sqrt(steps)))
          chain.push_back(found_[n]);
      }
      // Most of the intervals between the first and the last must be taken.
      const double steps = std::round(static_cast<double>(chain.back().first - chain.front().first) / interval);
      if (chain.size() >= kFewest && 3 * static_cast<double>(chain.size()) >= 2 * (steps + 1) && chain.size() > best.size()) best = chain;
    }
  }
  return best;
}

}  // namespace sendworthy::measure
