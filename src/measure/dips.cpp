#include "measure/dips.h"

#include <algorithm>
#include <cmath>
#include <cstddef>

#include "measure/periodic.h"
#include "measure/texture.h"

namespace sendworthy::measure {
namespace {

constexpr double kShortestS = 0.05, kLongestS = 2;
constexpr double kDeep = 10, kStill = 4;   // in power: how far it falls at once; how level it was right before
constexpr double kOutOfReach = 1e-11;      // −110 dBFS: a sound that stops, not one turned down
// Between both edges. Steps are told by what is high, of which four ticks hold many waves; of the deep they hold few.
constexpr double kAlikeMotionDb = 6, kAlikePowerDb = 15;
constexpr double kAlikeDb = 5, kAlikeLength = 0.1;
constexpr std::ptrdiff_t kStretch = 4;     // ticks that tell the level beside an edge
constexpr std::size_t kLead = 256, kMostDips = 1024;

Tick mean(std::deque<Tick>::const_iterator from, std::deque<Tick>::const_iterator to) {
  Tick sum;
  for (auto at = from; at != to; ++at) sum.power += at->power, sum.motion += at->motion;
  const auto count = static_cast<float>(to - from);
  return {sum.power / count, sum.motion / count};
}

bool under(const Tick& low, const Tick& high) {
  return static_cast<double>(low.power) * kDeep < static_cast<double>(high.power) &&
         static_cast<double>(low.motion) * kDeep < static_cast<double>(high.motion);
}

double db_between(float low, float high) { return 10 * std::log10(static_cast<double>(high) / static_cast<double>(low)); }

}  // namespace

std::int64_t DipFinder::ticks(double seconds) const { return std::max<std::int64_t>(1, std::llround(seconds / tick_s_)); }

void DipFinder::take(const Tick& tick, std::span<const float> grain) {
  last_.push_back(tick);
  if (last_.size() > 3 * kStretch) last_.pop_front();
  recent_.insert(recent_.end(), grain.begin(), grain.end());
  while (recent_.size() > kLead) recent_.pop_front();
  if (std::ssize(last_) == 3 * kStretch) {
    const auto now = last_.cend();
    // Each edge may fall inside a tick, which is left out.
    if (end_ >= 0) {
      if (at_ - end_ == kStretch) settle();
    } else if (first_ >= 0) {
      const auto inside = at_ - first_;
      if (inside == kStretch) start_ = mean(now - kStretch, now);
      if (inside > ticks(kLongestS) || (inside <= kStretch && !under(tick, before_))) {
        first_ = -1;
      } else if (inside > kStretch) {
        const auto finish = mean(now - 2 - kStretch, now - 2);
        if (under(finish, tick)) end_ = at_, finish_ = finish;
      }
    }
    if (first_ < 0) open(2 * grain.size());
  }
  ++at_;
}

// The tick at hand lies in a dip, or its edge does; `of_edge` sub-blocks may belong to that.
void DipFinder::open(std::size_t of_edge) {
  const auto now = last_.cend();
  const auto before = mean(now - 2 - kStretch, now - 2);
  const auto& closest = *(now - 3);
  const auto& tick = last_.back();
  // What dies away has sunk already; what is turned down has not.
  if (!under(tick, before) || static_cast<double>(closest.power) * kStill < static_cast<double>(before.power)) return;
  first_ = at_, end_ = -1, before_ = before;
  lead_.assign(recent_.begin(), recent_.end() - static_cast<std::ptrdiff_t>(std::min(recent_.size(), of_edge)));
}

void DipFinder::settle() {
  const auto after = mean(last_.cend() - kStretch, last_.cend());
  const bool heard = static_cast<double>(std::min(start_.power, finish_.power)) > kOutOfReach &&
                     static_cast<double>(std::min(start_.motion, finish_.motion)) > kOutOfReach / 1000;
  if (heard && end_ - first_ >= ticks(kShortestS) && found_.size() < kMostDips) {
    const double in = db_between(start_.power, before_.power), out = db_between(finish_.power, after.power);
    const double in_motion = db_between(start_.motion, before_.motion), out_motion = db_between(finish_.motion, after.motion);
    if (std::abs(in - out) <= kAlikePowerDb && std::abs(in_motion - out_motion) <= kAlikeMotionDb)
      found_.push_back({first_, end_, (in_motion + out_motion) / 2, lead_});
  }
  first_ = end_ = -1;
}

std::vector<DipFinder::Dip> DipFinder::periodic() const {
  const auto alike = [](const Dip& a, const Dip& b) {
    const auto la = static_cast<double>(a.end - a.first), lb = static_cast<double>(b.end - b.first);
    return std::abs(la - lb) <= kAlikeLength * std::max(la, lb) + 2 && std::abs(a.deep_db - b.deep_db) <= kAlikeDb;
  };
  return evenly_spaced(std::span<const Dip>(found_), ticks(kShortestIntervalS), kEvenlyS / tick_s_, alike, [&](const std::vector<const Dip*>& chain) {
    std::size_t same = 0;
    for (std::size_t i = 1; i < chain.size(); ++i) {
      const auto &one = chain[i - 1]->lead, &other = chain[i]->lead;
      same += long_enough(one, other) && same_sound(one, other) ? 1 : 0;
    }
    const auto like_it = std::ranges::count_if(found_, [&](const Dip& one) { return alike(one, *chain.front()); });
    return 2 * same < chain.size() - 1 && like_it <= 2 * std::ssize(chain);
  });
}

}  // namespace sendworthy::measure
