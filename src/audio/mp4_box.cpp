#include "audio/mp4_box.h"

#include <fmt/format.h>

#include <algorithm>

namespace sendworthy::audio {

std::optional<Mp4Box> Mp4Boxes::next(std::int64_t at, std::int64_t end, bool top) {
  const auto room = end - at;
  const auto* p = room >= 8 ? walk_.window.at(at, 8) : nullptr;
  if (p == nullptr) return std::nullopt;
  std::uint64_t size = be32(p);
  Mp4Box box;
  box.type = std::string(text_at(p + 4, 4));
  box.at = at;
  // Nothing but zeros ends a list in QuickTime. Outside, only what can be a name goes on.
  if (size == 0 && !top) return std::nullopt;
  if (top && !is_chunk_id(p + 4)) return std::nullopt;
  auto& boxes = top ? top_boxes_ : boxes_;
  if (++boxes > kMaxChunksWalked) {
    if (boxes == kMaxChunksWalked + 1)
      walk_.contradict(at, fmt::format("more than {} boxes; the rest was not walked", kMaxChunksWalked));
    return std::nullopt;
  }
  std::int64_t head = 8;
  if (size == 1) {
    const auto* q = room >= 16 ? walk_.window.at(at, 16) : nullptr;
    if (q == nullptr) {
      walk_.contradict(at, fmt::format("the box {} ends inside its own head", printable(box.type)));
      return std::nullopt;
    }
    size = be64(q + 8);
    head = 16;
  }
  box.body = at + head;
  if (size == 0) {
    box.open_end = true;
    box.end = end;
    return box;
  }
  if (size < static_cast<std::uint64_t>(head)) {
    walk_.contradict(at, fmt::format("the box {} says {} bytes, its head alone takes {}", printable(box.type), size, head));
    return std::nullopt;
  }
  if (size > static_cast<std::uint64_t>(room))
    walk_.contradict(at, fmt::format("the box {} says {} bytes, {} are there", printable(box.type), grouped(size_from(size)), grouped(room)));
  box.end = at + std::min(size_from(size), room);
  return box;
}

}  // namespace sendworthy::audio
