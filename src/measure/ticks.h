// The grid of time that sums are kept on: ticks of 10 ms, hops of ten ticks. At rates where 10 ms is no whole number of
// frames, tick k starts at round(k·fs/100), so that any window is within half a frame of its nominal length.
#pragma once

#include <algorithm>
#include <cstdint>

namespace sendworthy::measure {

class Ticks {
 public:
  explicit Ticks(int sample_rate) : sample_rate_(sample_rate) {}
  /// First frame of tick k.
  [[nodiscard]] std::int64_t start(std::int64_t tick) const {
    return (tick * static_cast<std::int64_t>(sample_rate_) + 50) / 100;
  }
  [[nodiscard]] std::int64_t hop_start(std::int64_t hop) const { return start(10 * hop); }

  /// Cuts [first, first + frames) at tick borders: slice(offset, count), then closed() after each tick that ended.
  template <class Slice, class Closed>
  void cut(std::int64_t first, int frames, Slice slice, Closed closed) {
    int offset = 0;
    while (offset < frames) {
      const std::int64_t border = start(tick_ + 1);
      const int count = static_cast<int>(std::min<std::int64_t>(frames - offset, border - (first + offset)));
      if (count > 0) slice(offset, count);
      offset += std::max(count, 0);
      if (first + offset >= border) {
        ++tick_;
        closed();
      }
    }
  }
  /// The tick that is open now; inside closed(): the number of ticks closed.
  [[nodiscard]] std::int64_t tick() const { return tick_; }

 private:
  int sample_rate_;
  std::int64_t tick_ = 0;
};

}  // namespace sendworthy::measure
