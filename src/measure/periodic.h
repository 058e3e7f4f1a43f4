// Things that come back at a fixed interval.
#pragma once

#include <algorithm>
#include <cmath>
#include <cstdint>
#include <span>
#include <vector>

namespace sendworthy::measure {

constexpr double kShortestIntervalS = 3, kEvenlyS = 0.04;  ///< of what a processor does again and again

/// The longest chain of events that are `alike`, a whole number of intervals of at least `shortest` apart (each `evenly` off at
/// most, times the root of how many), three and more with two of three intervals taken, and `accepted`. Events have `first`.
template <class Event, class Alike, class Accepted>
std::vector<Event> evenly_spaced(std::span<const Event> events, std::int64_t shortest, double evenly, Alike alike, Accepted accepted) {
  constexpr std::size_t kFewest = 3, kNeighbours = 8;
  std::vector<const Event*> best;
  // From every event as the first, with every later one as its neighbour; few are alike, so this stays short.
  for (std::size_t i = 0; i < events.size(); ++i) {
    for (std::size_t k = i + 1; k < std::min(events.size(), i + kNeighbours); ++k) {
      if (!alike(events[i], events[k])) continue;
      const auto interval = static_cast<double>(events[k].first - events[i].first);
      if (interval < static_cast<double>(shortest)) continue;
      std::vector<const Event*> chain{&events[i]};
      for (auto n = i + 1; n < events.size(); ++n) {
        if (!alike(events[i], events[n])) continue;
        const auto distance = static_cast<double>(events[n].first - events[i].first);
        const double steps = std::round(distance / interval);
        if (steps >= 1 && std::abs(distance - steps * interval) <= evenly * std::max(1.0, std::sqrt(steps))) chain.push_back(&events[n]);
      }
      // Most of the intervals between the first and the last must be taken.
      const double steps = std::round(static_cast<double>(chain.back()->first - chain.front()->first) / interval);
      if (chain.size() >= kFewest && 3 * static_cast<double>(chain.size()) >= 2 * (steps + 1) && chain.size() > best.size() && accepted(chain))
        best = chain;
    }
  }
  std::vector<Event> found;
  for (const auto* event : best) found.push_back(*event);
  return found;
}

}  // namespace sendworthy::measure
