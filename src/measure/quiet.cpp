#include "measure/quiet.h"

#include <algorithm>
#include <array>
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
constexpr float kLeap = 4;               // 6 dB of motion over all its neighbours but one
constexpr float kPowerLeap = 2.5f;       // 4 dB of power: a dull click in hiss leaps no other way
constexpr std::size_t kGlance = 5;       // two neighbours that are looked at first
constexpr double kSlipTicks = 0.35;      // that an interval may be off, while loud music covers the clicks
constexpr double kSlipShare = 0.15;
constexpr std::size_t kMostClicks = 500;
constexpr double kMostCovered = 240;     // intervals
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
    if (here.power > static_cast<float>(kEmpty) && (leaps(&Tick::motion, kLeap) || leaps(&Tick::power, kPowerLeap)))
      events_.push_back({at_ - static_cast<std::int64_t>(kBeside), here.power});
  }
  ++at_;
}

// Alone among its neighbours: no roll, no chord that goes on.
bool QuietFinder::leaps(float Tick::* of, float by) const {
  const auto value = [&](std::size_t i) { return near_[i].*of; };
  const float here = value(kBeside);
  if (here <= value(kBeside - 1) || here < value(kBeside + 1)) return false;
  if (here <= by * value(kBeside - kGlance) && here <= by * value(kBeside + kGlance)) return false;
  std::array<float, 2 * kBeside - 3> around{};
  std::size_t count = 0;
  for (std::size_t i = 0; i < near_.size(); ++i) {
    if (i + 1 < kBeside || i > kBeside + 2) around[count++] = value(i);
  }
  std::nth_element(around.begin(), around.end() - 2, around.end());
  return here > by * *(around.end() - 2);
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

// From the clicks i and k on, one interval after the other. Where it is loud, clicks may be covered; where it is quiet,
// one that fails to come ends the chain.
QuietFinder::Chain QuietFinder::follow(const std::vector<Event>& soft, std::size_t i, std::size_t k,
                                       const std::function<bool(std::int64_t)>& is_quiet) {
  Chain chain{{soft[i].tick, soft[k].tick}, static_cast<double>(soft[k].tick - soft[i].tick)};
  double step = 1, last = 1;  // intervals from the first click on
  const double level = db(static_cast<double>(soft[i].power));
  for (auto n = k + 1; n < soft.size() && chain.ticks.size() < kMostClicks;) {
    const double covered = step - last;  // intervals without a click since the last
    const double due = static_cast<double>(chain.ticks.back()) + (covered + 1) * chain.interval;
    const double allowed = std::min(kEvenlyTicks + kSlipTicks * covered, std::max(kEvenlyTicks, kSlipShare * chain.interval));
    while (n < soft.size() && (static_cast<double>(soft[n].tick) < due - allowed ||
                               (static_cast<double>(soft[n].tick) <= due + allowed &&
                                std::abs(db(static_cast<double>(soft[n].power)) - level) > kAlikeDb)))
      ++n;
    if (n == soft.size()) break;
    ++step;
    if (static_cast<double>(soft[n].tick) <= due + allowed) {
      chain.ticks.push_back(soft[n].tick);
      last = step;
      chain.interval = static_cast<double>(chain.ticks.back() - chain.ticks.front()) / step;
      ++n;
    } else if (covered > kMostCovered || is_quiet(std::llround(due))) {
      break;
    }
  }
  return chain;
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
  const auto is_quiet = [&](std::int64_t tick) {
    const auto hop = static_cast<std::size_t>(tick / kHop);
    return hop < hops_.size() && std::abs(static_cast<double>(hops_[hop])) < line;
  };
  for (std::size_t i = 0; i + 1 < soft.size() && best.ticks.size() < kMostClicks; ++i) {
    for (std::size_t k = i + 1; k < std::min(soft.size(), i + 4); ++k) {
      const auto first = static_cast<double>(soft[k].tick - soft[i].tick);
      if (first * tick_s_ < kShortestS || first * tick_s_ > kLongestS) continue;
      const auto chain = follow(soft, i, k, is_quiet);
      if (chain.ticks.size() < kFewestClicks || chain.ticks.size() <= best.ticks.size()) continue;
      best.ticks = chain.ticks;
      best.interval_s = chain.interval * tick_s_;
      best.level_db = db(static_cast<double>(soft[i].power));
    }
  }
  return best;
}

}  // namespace sendworthy::measure
