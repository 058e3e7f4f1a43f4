#include "audio/bytes.h"

#include <algorithm>
#include <cstring>

namespace sendworthy::audio {

std::int64_t MemoryBytes::read_at(std::int64_t offset, void* to, std::int64_t bytes) {
  if (offset < 0 || bytes <= 0 || offset >= size()) return 0;
  const auto n = std::min(bytes, size() - offset);
  std::memcpy(to, bytes_.data() + offset, static_cast<std::size_t>(n));
  return n;
}

Window::Window(Bytes& bytes, std::int64_t capacity)
    : bytes_(bytes), size_(bytes.size()), buffer_(static_cast<std::size_t>(capacity)) {}

const std::uint8_t* Window::at(std::int64_t offset, std::int64_t bytes) {
  const auto found = up_to(offset, bytes);
  return bytes > 0 && std::ssize(found) == bytes ? found.data() : nullptr;
}

std::span<const std::uint8_t> Window::up_to(std::int64_t offset, std::int64_t bytes) {
  if (offset < 0 || offset >= size_ || bytes <= 0) return {};
  bytes = std::min({bytes, size_ - offset, std::ssize(buffer_)});
  if (offset < start_ || offset + bytes > start_ + filled_) {
    start_ = offset;
    filled_ = bytes_.read_at(offset, buffer_.data(), std::ssize(buffer_));
    bytes = std::min(bytes, filled_);
  }
  return {buffer_.data() + (offset - start_), static_cast<std::size_t>(bytes)};
}

std::vector<std::uint8_t> copy_range(Bytes& bytes, std::int64_t offset, std::int64_t length, std::int64_t limit) {
  length = std::min({length, limit, bytes.size() - offset});
  if (offset < 0 || length <= 0) return {};
  std::vector<std::uint8_t> copy(static_cast<std::size_t>(length));
  copy.resize(static_cast<std::size_t>(bytes.read_at(offset, copy.data(), length)));
  return copy;
}

bool is_chunk_id(const std::uint8_t* p) {
  return std::all_of(p, p + 4, [](std::uint8_t c) { return c >= 0x20 && c <= 0x7e; });
}

}  // namespace sendworthy::audio
