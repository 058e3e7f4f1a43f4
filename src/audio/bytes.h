// Random access to the bytes of an input, on disk or in memory, and the small readers every walk is built from.
#pragma once

#include <cstdint>
#include <memory>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "base/os.h"

namespace sendworthy::audio {

/// The bytes of one input. Not thread-safe; may move between threads.
class Bytes {
 public:
  virtual ~Bytes() = default;
  [[nodiscard]] virtual std::int64_t size() const = 0;
  /// Copies up to `bytes` from `offset`; fewer at the end, and when reading fails (then error() is not empty).
  [[nodiscard]] virtual std::int64_t read_at(std::int64_t offset, void* to, std::int64_t bytes) = 0;
  [[nodiscard]] virtual std::string error() const { return {}; }
  /// The file they lie in; null for others.
  [[nodiscard]] virtual const base::InputFile* file() const { return nullptr; }
};

/// Bytes that somebody else keeps alive.
class MemoryBytes final : public Bytes {
 public:
  explicit MemoryBytes(std::string_view bytes) : bytes_(bytes) {}
  std::int64_t size() const override { return static_cast<std::int64_t>(bytes_.size()); }
  std::int64_t read_at(std::int64_t offset, void* to, std::int64_t bytes) override;

 private:
  std::string_view bytes_;
};

class FileBytes final : public Bytes {
 public:
  explicit FileBytes(base::InputFile file) : file_(std::move(file)) {}
  std::int64_t size() const override { return file_.size(); }
  std::int64_t read_at(std::int64_t offset, void* to, std::int64_t bytes) override {
    const auto got = file_.read_at(offset, to, bytes);
    if (!file_.error().empty()) *failed_ = true;
    return got;
  }
  std::string error() const override { return file_.error(); }
  const base::InputFile* file() const override { return &file_; }
  /// Turns true once the system could not read a part. Outlives this object.
  [[nodiscard]] std::shared_ptr<const bool> failed() const { return failed_; }

 private:
  base::InputFile file_;
  std::shared_ptr<bool> failed_ = std::make_shared<bool>(false);
};

/// A window over Bytes that makes many small looks cheap. A pointer it hands out is good until the next call.
class Window {
 public:
  explicit Window(Bytes& bytes, std::int64_t capacity = 64 << 10);
  /// `bytes` bytes from `offset` on, or null when they are not all there (or more than the capacity is asked for).
  [[nodiscard]] const std::uint8_t* at(std::int64_t offset, std::int64_t bytes);
  /// What there is from `offset` on, at most `bytes`.
  [[nodiscard]] std::span<const std::uint8_t> up_to(std::int64_t offset, std::int64_t bytes);
  [[nodiscard]] std::int64_t size() const { return size_; }
  [[nodiscard]] Bytes& bytes() { return bytes_; }

 private:
  Bytes& bytes_;
  std::int64_t size_;
  std::vector<std::uint8_t> buffer_;
  std::int64_t start_ = 0, filled_ = 0;
};

/// Copies a range, at most `limit` bytes of it.
[[nodiscard]] std::vector<std::uint8_t> copy_range(Bytes& bytes, std::int64_t offset, std::int64_t length,
                                                   std::int64_t limit);

[[nodiscard]] inline std::uint16_t le16(const std::uint8_t* p) { return static_cast<std::uint16_t>(p[0] | p[1] << 8); }
[[nodiscard]] inline std::uint32_t le32(const std::uint8_t* p) {
  return le16(p) | static_cast<std::uint32_t>(le16(p + 2)) << 16;
}
[[nodiscard]] inline std::uint64_t le64(const std::uint8_t* p) {
  return le32(p) | static_cast<std::uint64_t>(le32(p + 4)) << 32;
}
[[nodiscard]] inline std::uint16_t be16(const std::uint8_t* p) { return static_cast<std::uint16_t>(p[0] << 8 | p[1]); }
[[nodiscard]] inline std::uint32_t be24(const std::uint8_t* p) {
  return static_cast<std::uint32_t>(p[0]) << 16 | be16(p + 1);
}
[[nodiscard]] inline std::uint32_t be32(const std::uint8_t* p) {
  return static_cast<std::uint32_t>(be16(p)) << 16 | be16(p + 2);
}
[[nodiscard]] inline std::uint64_t be64(const std::uint8_t* p) {
  return static_cast<std::uint64_t>(be32(p)) << 32 | be32(p + 4);
}
/// A 64-bit size from a header as a signed one. What no file can have becomes 2^60: sums and frame counts of it still
/// fit.
[[nodiscard]] inline std::int64_t size_from(std::uint64_t value) {
  constexpr std::uint64_t kLargest = std::uint64_t{1} << 60;
  return static_cast<std::int64_t>(value < kLargest ? value : kLargest);
}
/// The characters of a four-character code or another fixed field, as they stand.
[[nodiscard]] inline std::string_view text_at(const std::uint8_t* p, std::size_t length) {
  return {reinterpret_cast<const char*>(p), length};
}
/// Four printable ASCII characters: what a chunk id may be made of.
[[nodiscard]] bool is_chunk_id(const std::uint8_t* p);

}  // namespace sendworthy::audio
