#include "measure/bursts.h"

#include <algorithm>
#include <cmath>
#include <iterator>

#include "measure/periodic.h"
#include "measure/texture.h"

namespace sendworthy::measure {
namespace {

constexpr double kShortestS = 0.15, kLongestS = 4;
constexpr double kEdge = 4;        // 6 dB: how much motion leaps at both edges
constexpr double kSteady = 2;      // 3 dB: how far it may fall in between
constexpr std::size_t kBefore = 4, kSettle = 5;
constexpr double kLowest = 1e-9;   // −90 dBFS
constexpr std::size_t kMostBursts = 4096;
constexpr double kAlikeLength = 0.1, kAlikeDb = 2;
constexpr std::size_t kLooked = 256;                // bursts that are compared
constexpr std::size_t kGrain = 320, kLead = 256;  // sub-blocks

// A loop brings what stands before a burst with it, a processor does not. Where nothing is known of that, the burst decides.
bool same_again(const BurstFinder::Burst& one, const BurstFinder::Burst& other) {
  if (!long_enough(one.grain, other.grain) || !same_sound(one.grain, other.grain)) return false;
  return !long_enough(one.lead, other.lead) || same_sound(one.lead, other.lead);
}

// Most bursts are the one before, played again.
bool played_again(const std::vector<const BurstFinder::Burst*>& chain) {
  std::size_t same = 0;
  for (std::size_t i = 1; i < chain.size(); ++i) same += same_again(*chain[i - 1], *chain[i]) ? 1 : 0;
  return 2 * same >= chain.size() - 1;
}

}  // namespace

std::int64_t BurstFinder::ticks(double seconds) const { return std::max<std::int64_t>(1, std::llround(seconds / tick_s_)); }

void BurstFinder::keep(std::span<const float> grain) {
  per_tick_ = std::max(per_tick_, grain.size());
  const auto room = kGrain - std::min(kGrain, grain_.size());
  grain_.insert(grain_.end(), grain.begin(), grain.begin() + static_cast<std::ptrdiff_t>(std::min(room, grain.size())));
}

void BurstFinder::take(const Tick& tick, std::span<const float> grain) {
  const auto motion = static_cast<double>(tick.motion);
  if (open_ >= 0) {
    keep(grain);
    follow(motion, at_);
  } else if (last_.size() == kBefore) {
    // The edge may fall inside the tick before this one, which is left out of what stood before.
    double before = 0;
    for (std::size_t i = 0; i + 1 < kBefore; ++i) before = std::max(before, static_cast<double>(last_[i].motion));
    if (motion > kLowest && motion > kEdge * before) {
      open_ = at_, before_ = before, own_.clear(), grain_.clear(), dark_ = 0;
      // The last tick may hold the edge.
      lead_.assign(recent_.begin(), recent_.end() - static_cast<std::ptrdiff_t>(std::min(recent_.size(), per_tick_)));
      follow(motion, at_);
    }
  }
  per_tick_ = std::max(per_tick_, grain.size());
  recent_.insert(recent_.end(), grain.begin(), grain.end());
  while (recent_.size() > kLead) recent_.pop_front();
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
    found_.push_back({open_, end, 10 * std::log10(middle), {}});
  if (found_.size() <= kLooked && !found_.empty() && found_.back().first == open_) {
    // Whole ticks between the two that hold its edges.
    const auto whole = static_cast<std::size_t>(end - open_ - 2);
    grain_.resize(std::min(grain_.size(), whole * per_tick_));
    found_.back().grain = grain_, found_.back().lead = lead_;
  }
  open_ = -1;
}

std::vector<BurstFinder::Burst> BurstFinder::periodic() const {
  const auto alike = [](const Burst& a, const Burst& b) {
    const auto la = static_cast<double>(a.end - a.first), lb = static_cast<double>(b.end - b.first);
    return std::abs(la - lb) <= kAlikeLength * std::max(la, lb) + 2 && std::abs(a.motion_db - b.motion_db) <= kAlikeDb;
  };
  const std::span<const Burst> looked(found_.data(), std::min(found_.size(), kLooked));
  return evenly_spaced(looked, ticks(kShortestIntervalS), kEvenlyS / tick_s_, alike,
                       [](const std::vector<const Burst*>& chain) { return !played_again(chain); });
}

}  // namespace sendworthy::measure
