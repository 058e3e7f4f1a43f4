#include "measure/quiet.h"

#include <algorithm>
#include <cmath>

namespace sendworthy::measure {
namespace {

constexpr double kQuietDb = 20;    // under the loudest 50 ms: a pause
constexpr double kSteadyDb = 3;    // of whole hops round their middle: noise, no decay
constexpr double kStepDb = 6;
constexpr std::size_t kSide = 5;   // hops before and after
constexpr std::size_t kEdge = 2;   // hops in which the step may happen
constexpr double kEmpty = 1e-12;   // −120 dBFS

constexpr std::size_t kBeside = 10;      // ticks before and after a click
constexpr double kLeap = 4;              // 6 dB of motion over the middle of its neighbours
constexpr double kBleedDb = 35;          // under the loudest 50 ms
constexpr std::size_t kMostEvents = 20000, kFewestClicks = 6;
constexpr double kShortestS = 0.25, kLongestS = 1.5, kEvenlyTicks = 1.6, kAlikeDb = 4;

double db(double power) { return 10 * std::log10(power + 1e-20); }

}  // namespace

void QuietFinder::take(const Tick& tick) {
  const auto in_hop = at_ % kHop;
  if (in_hop == 0) hop_ = {tick.power, tick.power, 0};
  hop_.lowest = std::min(hop_.lowest, tick.power), hop_.highest = std::max(hop_.highest, tick.power);
  hop_.mean += tick.power / static_cast<float>(kHop);
  if (in_hop == kHop - 1) hops_.push_back(hop_.highest > kUneven * hop_.lowest ? -hop_.mean : hop_.mean);

  near_.push_back(tick);
  if (near_.size() > 2 * kBeside + 1) near_.pop_front();
  if (near_.size() == 2 * kBeside + 1 && events_.size() < kMostEvents) {
    const auto& here = near_[kBeside];
    if (here.motion > near_[kBeside - 1].motion && here.motion >= near_[kBeside + 1].motion && here.power > static_cast<float>(kEmpty)) {
      std::vector<float> around;
      for (std::size_t i = 0; i < near_.size(); ++i) {
        if (i + 1 < kBeside || i > kBeside + 2) around.push_back(near_[i].motion);
      }
      // Alone among its neighbours: no roll, no chord that goes on.
      std::nth_element(around.begin(), around.begin() + static_cast<std::ptrdiff_t>(around.size() * 9 / 10), around.end());
      if (static_cast<double>(here.motion) > kLeap * static_cast<double>(around[around.size() * 9 / 10]))
        events_.push_back({at_ - static_cast<std::int64_t>(kBeside), here.power, static_cast<float>(db(static_cast<double>(here.motion)))});
    }
  }
  ++at_;
}

QuietFinder::Steps QuietFinder::steps(double loud_power) const {
  Steps found;
  const double line = loud_power * std::pow(10, -kQuietDb / 10);
  // The middle of kSide hops that are all quiet, no digital silence, and as loud as each other; negative where they are not.
  const auto floor = [&](std::size_t from) {
    std::vector<double> levels;
    for (auto i = from; i < from + kSide; ++i) {
      const auto mean = static_cast<double>(hops_[i]);
      if (mean > line || mean < kEmpty) return -1.0;
      levels.push_back(mean);
    }
    std::sort(levels.begin(), levels.end());
    return db(levels.back()) - db(levels.front()) > kSteadyDb ? -1.0 : levels[kSide / 2];
  };
  std::vector<float> floors;
  for (std::size_t i = 0; i + kSide <= hops_.size(); ++i) {
    floors.push_back(static_cast<float>(floor(i)));
    if (floors.back() >= 0) found.measured = true;
  }
  for (std::size_t i = kSide; i + kEdge < floors.size(); ++i) {
    const auto before = static_cast<double>(floors[i - kSide]);
    if (before < 0) continue;
    // At once, or within the next hops.
    for (std::size_t edge = 0; edge <= kEdge; ++edge) {
      const auto after = static_cast<double>(floors[i + edge]);
      if (after < 0 || std::abs(db(after) - db(before)) < kStepDb) continue;
      found.steps.push_back({static_cast<std::int64_t>(i) * kHop, db(before), db(after)});
      i += kSide;
      break;
    }
  }
  return found;
}

QuietFinder::Clicks QuietFinder::clicks(double loud_power) const {
  Clicks best;
  const double line = loud_power * std::pow(10, -kBleedDb / 10);
  std::int64_t quiet = 0;
  for (const float hop : hops_) {
    const auto power = std::abs(static_cast<double>(hop));
    quiet += power < line && power > kEmpty ? 1 : 0;
  }
  best.measured = static_cast<double>(quiet) * kHop * tick_s_ >= kLongestS * 2;
  std::vector<Event> soft;
  for (const auto& event : events_) {
    if (static_cast<double>(event.power) < line) soft.push_back(event);
  }
  for (std::size_t i = 0; i + 1 < soft.size(); ++i) {
    for (std::size_t k = i + 1; k < std::min(soft.size(), i + 4); ++k) {
      const auto first = static_cast<double>(soft[k].tick - soft[i].tick);
      if (first * tick_s_ < kShortestS || first * tick_s_ > kLongestS) continue;
      std::vector<std::int64_t> chain{soft[i].tick, soft[k].tick};
      auto last = k;
      for (auto n = k + 1; n < soft.size(); ++n) {
        const double distance = static_cast<double>(soft[n].tick - soft[last].tick);
        if (distance > first + kEvenlyTicks) break;
        const double mean = static_cast<double>(soft[last].tick - soft[i].tick) / (static_cast<double>(chain.size()) - 1);
        if (std::abs(distance - mean) > kEvenlyTicks || std::abs(static_cast<double>(soft[n].motion_db - soft[i].motion_db)) > kAlikeDb) continue;
        chain.push_back(soft[n].tick), last = n;
      }
      if (chain.size() >= kFewestClicks && chain.size() > best.ticks.size()) {
        best.ticks = chain;
        best.interval_s = static_cast<double>(chain.back() - chain.front()) / (static_cast<double>(chain.size()) - 1) * tick_s_;
        best.level_db = db(static_cast<double>(soft[i].power));
      }
    }
  }
  return best;
}

}  // namespace sendworthy::measure
