// Moments in which a sound is turned down and up again at once, by one and the same amount, at a fixed interval.
#pragma once

#include <cstdint>
#include <deque>
#include <span>
#include <vector>

#include "measure/shape.h"

namespace sendworthy::measure {

class DipFinder {
 public:
  struct Dip {
    std::int64_t first = 0, end = 0;  ///< ticks
    double deep_db = 0;
    std::vector<float> lead;  ///< motion by sub-block of what stood before it
  };
  explicit DipFinder(double tick_s) : tick_s_(tick_s) {}
  /// `grain`: the motion of the sub-blocks of this tick.
  void take(const Tick& tick, std::span<const float> grain);
  /// Those that come back: three and more of one length and depth, a whole number of intervals apart. Not where the same sound
  /// stands before each of them, which is a loop's own rhythm, nor where most dips of that kind fall elsewhere.
  [[nodiscard]] std::vector<Dip> periodic() const;

 private:
  [[nodiscard]] std::int64_t ticks(double seconds) const;
  void open(std::size_t of_edge);
  void settle();

  const double tick_s_;
  std::int64_t at_ = 0, first_ = -1, end_ = -1;  ///< of the dip at hand; end_ while what follows is waited for
  std::deque<Tick> last_;                        ///< up to and with the tick at hand
  Tick before_, start_, finish_;
  std::deque<float> recent_;
  std::vector<float> lead_;
  std::vector<Dip> found_;
};

}  // namespace sendworthy::measure
