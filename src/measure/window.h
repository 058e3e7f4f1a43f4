// The stream as it runs past, with what lies before and behind: for questions about places rather than sums.
#pragma once

#include <algorithm>
#include <cstdint>
#include <vector>

#include "measure/meter.h"

namespace sendworthy::measure {

/// Rows of the last frames. Frames are settled once kAhead more have come, or the stream has ended; what looks at a
/// settled frame sees kBack frames before it and kAhead behind it, silence beyond both ends of the file.
class Window {
 public:
  static constexpr std::int64_t kBack = 20480, kAhead = 2048;
  static constexpr std::int64_t kSpare = 49152;

  explicit Window(int channels) : rows_(static_cast<std::size_t>(channels)) {}

  /// Takes a block and calls settled(from, to).
  template <class F>
  void take(const Block& block, F settled) {
    const std::int64_t keep_from = std::max<std::int64_t>(first_, settled_ - kBack);
    // Moved to the front only now and then, so that moving costs little.
    if (keep_from - first_ >= kSpare) {
      for (auto& row : rows_) row.erase(row.begin(), row.begin() + (keep_from - first_));
      first_ = keep_from;
    }
    for (int c = 0; c < channels(); ++c) {
      auto& row = rows_[static_cast<std::size_t>(c)];
      row.insert(row.end(), block.row(c), block.row(c) + block.frames);
    }
    end_ = block.first_frame + block.frames;
    settle(end_ - kAhead, settled);
  }
  template <class F>
  void end(F settled) {
    settle(end_, settled);
  }

  [[nodiscard]] int channels() const { return static_cast<int>(rows_.size()); }
  [[nodiscard]] std::int64_t first() const { return first_; }  ///< oldest frame that is still here
  [[nodiscard]] std::int64_t last() const { return end_; }     ///< one past the newest
  /// For frames first() … last() − 1, as a pointer to frame `frame`.
  [[nodiscard]] const float* from(int channel, std::int64_t frame) const {
    return rows_[static_cast<std::size_t>(channel)].data() + (frame - first_);
  }
  [[nodiscard]] float at(int channel, std::int64_t frame) const {
    return frame < first_ || frame >= end_ ? 0.0f : *from(channel, frame);
  }
  /// Over what is there of [start, end); 0 where nothing is.
  [[nodiscard]] double mean_square(int channel, std::int64_t start, std::int64_t end) const {
    start = std::max(start, first_), end = std::min(end, end_);
    if (end <= start) return 0;
    const float* x = from(channel, start);
    return dsp::row_sums(x, static_cast<int>(end - start)).square / static_cast<double>(end - start);
  }

 private:
  template <class F>
  void settle(std::int64_t to, F settled) {
    if (to <= settled_) return;
    settled(settled_, to);
    settled_ = to;
  }

  std::vector<std::vector<float>> rows_;
  std::int64_t first_ = 0, end_ = 0, settled_ = 0;
};

}  // namespace sendworthy::measure
