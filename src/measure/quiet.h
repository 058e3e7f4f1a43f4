// What the quiet parts tell: steps of the noise floor, and the click of a metronome.
#pragma once

#include <cstdint>
#include <deque>
#include <functional>
#include <string>
#include <vector>

#include "measure/shape.h"

namespace sendworthy::measure {

class QuietFinder {
 public:
  struct Step {
    std::int64_t tick = 0;
    double from_db = 0, to_db = 0;
  };
  struct Steps {
    bool measured = false;
    std::vector<Step> steps;
  };
  struct Clicks {
    bool measured = false;
    std::vector<std::int64_t> ticks;  ///< of the longest chain
    double interval_s = 0, level_db = 0;
  };
  explicit QuietFinder(double tick_s) : tick_s_(tick_s) {}
  void take(const Tick& tick);
  /// `loud_power`: mean square of the loudest 50 ms.
  [[nodiscard]] Steps steps(double loud_power) const;
  [[nodiscard]] Clicks clicks(double loud_power) const;

 private:
  struct Hop {
    float lowest = 0, highest = 0, mean = 0;  ///< of the ticks' powers
  };
  static constexpr float kUneven = 8;         ///< a hop whose ticks differ by more is no noise
  struct Event {
    std::int64_t tick;
    float power;
  };
  struct Chain {
    std::vector<std::int64_t> ticks;
    double interval = 0;  ///< ticks
  };
  [[nodiscard]] bool leaps(float Tick::* of, float by) const;
  static Chain follow(const std::vector<Event>& soft, std::size_t i, std::size_t k,
                      const std::function<bool(std::int64_t)>& is_quiet);
  static constexpr std::int64_t kHop = 10;

  const double tick_s_;
  std::int64_t at_ = 0;
  Hop hop_;
  std::deque<float> hops_;  ///< mean power; its negative where the hop is uneven: four bytes each, for files of a whole day
  std::deque<Tick> near_;
  std::vector<Event> events_;
};

}  // namespace sendworthy::measure
