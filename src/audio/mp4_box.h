// The boxes of an MP4 (ISO/IEC 14496-12, 4.2): one walk, one budget, whatever is nested in what.
#pragma once

#include <cstdint>
#include <optional>
#include <string>

#include "audio/walk.h"

namespace sendworthy::audio {

struct Mp4Box {
  std::string type;               ///< four bytes, as they stand
  std::int64_t at = 0;            ///< of its head
  std::int64_t body = 0, end = 0;  ///< within what it lies in
  bool open_end = false;          ///< size 0: to the end of the file
  [[nodiscard]] std::int64_t length() const { return end - body; }
};

/// Hands out one box after the other. All walks of a file share one budget of boxes, so that no nesting multiplies; the
/// outermost boxes have one of their own.
class Mp4Boxes {
 public:
  explicit Mp4Boxes(Walk& walk) : walk_(walk) {}
  /// The box at `at` in a range up to `end`; nothing at the range's end or where no box can stand. A size that does not fit is
  /// a contradiction, and the box then ends with what it lies in.
  [[nodiscard]] std::optional<Mp4Box> next(std::int64_t at, std::int64_t end, bool top = false);
  /// Calls `each` with every box in [from, end).
  template <class Each>
  void in(std::int64_t from, std::int64_t end, const Each& each) {
    while (const auto box = next(from, end)) {
      each(*box);
      from = box->end;
    }
  }
  [[nodiscard]] bool spent() const { return top_boxes_ > kMaxChunksWalked; }

 private:
  Walk& walk_;
  std::int64_t boxes_ = 0, top_boxes_ = 0;
};

/// Texts and pictures of a `meta` box in the manner of iTunes (its `ilst`); into the walk's texts, tags and artwork.
void read_mp4_items(Walk& walk, Mp4Boxes& boxes, const Mp4Box& meta);

}  // namespace sendworthy::audio
