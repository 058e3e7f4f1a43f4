// Buffers that were written twice: a stretch that equals the one right before it, to the bit, in every channel.
#pragma once

#include <cstdint>
#include <vector>

#include "measure/window.h"

namespace sendworthy::measure {

class RepeatFinder {
 public:
  struct Repeat {
    std::int64_t start = 0, end = 0;  ///< of what was written again
    std::int64_t length = 0;          ///< of the buffer
  };

  RepeatFinder() : seen_(kSlots) {}
  void settled(const Window& window, std::int64_t from, std::int64_t to);
  /// What was found, in order; call once the window has ended.
  std::vector<Repeat> finish(const Window& window);
  [[nodiscard]] std::int64_t total() const { return total_; }

 private:
  /// Some 256 places are chosen within the longest buffer: few of them meet in one slot, and the small
  /// table leaves the processor's cache to others.
  static constexpr std::size_t kSlots = 1 << 12;
  struct Seen {
    std::uint32_t hash = 0;
    std::int64_t frame = -1;
  };
  struct Candidate {
    std::int64_t frame, distance;
  };
  void meet(std::int64_t frame, const float* x);
  void verify(const Window& window, const Candidate& candidate);

  std::vector<Seen> seen_;
  std::vector<Candidate> waiting_;
  std::vector<Repeat> found_;
  std::vector<std::uint64_t> chosen_;
  std::int64_t total_ = 0, done_to_ = 0, read_to_ = 0;
};

}  // namespace sendworthy::measure
