// Bursts of noise that begin and end at once, stay at one level, and come back at a fixed interval.
#pragma once

#include <cstdint>
#include <deque>
#include <span>
#include <vector>

#include "measure/shape.h"

namespace sendworthy::measure {

class BurstFinder {
 public:
  struct Burst {
    std::int64_t first = 0, end = 0;  ///< ticks
    double motion_db = 0;
    std::vector<float> grain;  ///< motion of its first sub-blocks, but for the edge
    std::vector<float> lead;   ///< the same of what stood before it
  };
  explicit BurstFinder(double tick_s) : tick_s_(tick_s) {}
  /// `grain`: the motion of the sub-blocks of this tick.
  void take(const Tick& tick, std::span<const float> grain);
  /// Those that come back: three and more of one length and level, a whole number of intervals apart. Not where the same
  /// noise follows the same sound each time: that is a loop.
  [[nodiscard]] std::vector<Burst> periodic() const;

 private:
  void follow(double motion, std::int64_t now);
  void keep(std::span<const float> grain);
  void close(std::int64_t end);
  [[nodiscard]] std::int64_t ticks(double seconds) const;

  const double tick_s_;
  std::int64_t at_ = 0;
  std::deque<Tick> last_;   ///< the ticks before this one
  std::vector<double> own_; ///< motion of the burst that is open
  std::vector<float> grain_, lead_;
  std::deque<float> recent_;  ///< motion of the sub-blocks before this tick
  std::size_t per_tick_ = 0;
  std::int64_t open_ = -1, dark_ = 0;
  double before_ = 0, steady_ = 0;
  std::vector<Burst> found_;
};

}  // namespace sendworthy::measure
