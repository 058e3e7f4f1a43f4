// Sony Wave64: chunks named by GUIDs, 64-bit sizes that count their own header, bodies padded to 8 bytes.
#include <fmt/format.h>

#include <algorithm>
#include <optional>
#include <string>

#include "audio/walk.h"
#include "audio/wave_format.h"
#include "audio/wave_text.h"

namespace sendworthy::audio {
namespace {

constexpr std::int64_t kHead = 24;
constexpr std::string_view kWaveEnd("\xf3\xac\xd3\x11\x8c\xd1\x00\xc0\x4f\x8e\xdb\x8a", 12);

class W64Walk {
 public:
  explicit W64Walk(Walk& walk) : walk_(walk), window_(walk.window), size_(walk.size()) {}

  Result<void> run() {
    walk_.result.facts.container = "W64";
    const auto* head = window_.at(0, 40);
    if (head == nullptr || text_at(head + 24, 4) != "wave" || text_at(head + 28, 12) != kWaveEnd)
      return walk_.refuse(ErrorCode::unrecognised, "it begins like a W64 file but holds no wave; export it again");
    const auto declared = size_from(le64(head + 16));
    if (auto ok = chunks(); !ok) return ok;
    if (!wave_) return walk_.refuse(ErrorCode::unrecognised, "it has no format chunk; export it again");
    if (data_head_ < 0)
      return walk_.refuse(ErrorCode::no_audio, "it has no data chunk, so there is no audio in it; export it again");
    if (auto ok = data_found(); !ok) return ok;
    if (declared == 0 || declared == size_from(~std::uint64_t{0}))
      walk_.contradict(16, "the file size in the header was never filled in", true);
    else if (std::abs(declared - size_) > 8 && std::abs(declared - end_) > 8)
      walk_.contradict(
          16, fmt::format("the header says the file has {} bytes, it has {}", grouped(declared), grouped(size_)), true);
    return {};
  }

 private:
  bool legal_at(std::int64_t at) {
    if (at >= size_) return true;
    const auto* p = window_.at(at, kHead);
    if (p == nullptr || !is_chunk_id(p)) return false;
    const auto size = size_from(le64(p + 16));
    return size >= kHead && size <= size_ - at + 7;
  }

  Result<void> chunks() {
    std::int64_t at = 40;
    for (std::int64_t count = 0; at < size_; ++count) {
      if (count == kMaxChunksWalked) {
        walk_.contradict(at, fmt::format("more than {} chunks; the rest was not walked", kMaxChunksWalked));
        break;
      }
      const auto* p = window_.at(at, kHead);
      if (p == nullptr || !is_chunk_id(p)) break;
      const std::string id(text_at(p, 4));
      auto declared = size_from(le64(p + 16));
      const auto room = size_ - at;
      walk_.chunk(id);
      if (id == "data" && data_head_ < 0) {
        declared = data_chunk(at, declared, room);
      } else if (declared < kHead) {
        walk_.contradict(
            at, fmt::format("chunk {} says {} bytes, its head alone takes {}", printable(id), declared, kHead));
        break;
      } else {
        if (declared > room)
          walk_.contradict(
              at, fmt::format("chunk {} says {} bytes, {} are there", printable(id), grouped(declared), grouped(room)));
        const auto body = at + kHead;
        const auto length = std::min(declared, room) - kHead;
        if (id == "data") {
          walk_.contradict(at, "a second data chunk; most readers ignore or refuse it");
        } else if (id == "fmt ") {
          if (wave_) {
            walk_.contradict(at, "a second format chunk; readers disagree about which one counts");
          } else {
            auto wave = read_wave_format(walk_, body, length, false);
            if (!wave) return tl::unexpected(wave.error());
            wave_ = *wave;
          }
        } else if (id == "fact" && length >= 8) {
          if (const auto* f = window_.at(body, 8)) fact_ = size_from(le64(f));
        } else if (id == "bext") {
          read_bext(walk_, body, length, false);
        }
      }
      declared = std::min(declared, room);
      at += (declared + 7) / 8 * 8;
    }
    end_ = std::min(at, size_);
    return {};
  }

  std::int64_t data_chunk(std::int64_t at, std::int64_t declared, std::int64_t room) {
    if (!wave_) walk_.contradict(at, "the data chunk stands before the format chunk");
    data_head_ = at;
    auto& data = walk_.result.data;
    data.offset = at + kHead;
    const bool unknown = declared < kHead || declared == size_from(~std::uint64_t{0});
    const bool zero_but_full = declared == kHead && !legal_at(at + kHead);
    if (unknown || zero_but_full) {
      walk_.contradict(at + 16,
                       fmt::format("the data size was never filled in; {} bytes follow", grouped(room - kHead)));
      data.bytes = std::max<std::int64_t>(0, room - kHead);
      return room;
    }
    declared_bytes_ = declared - kHead;
    data.bytes = std::min(declared, room) - kHead;
    return declared;
  }

  Result<void> data_found() {
    auto& data = walk_.result.data;
    auto& facts = walk_.result.facts;
    if (data.codec == Codec::mpeg)
      return walk_.refuse(ErrorCode::unrecognised,
                          "it is a W64 around MPEG audio, which cannot be decoded here; export PCM");
    if (declared_bytes_) facts.declared_frames = frames_in(data, *declared_bytes_);
    const bool plain = data.codec == Codec::pcm || data.codec == Codec::ieee_float;
    if (auto ok = finish_wave(walk_, *wave_, plain || fact_.value_or(0) == 0 ? std::nullopt : fact_); !ok) return ok;
    const auto room = size_ - data.offset;
    if (declared_bytes_ && *declared_bytes_ > room)
      walk_.contradict(data_head_, fmt::format("the data chunk says {} frames ({} bytes), {} ({} bytes) are there",
                                               grouped(frames_in(data, *declared_bytes_)), grouped(*declared_bytes_),
                                               grouped(frames_in(data, room)), grouped(room)));
    else if (declared_bytes_ && *declared_bytes_ % data.frame_bytes > 7)  // FFmpeg counts the padding to 8 bytes in
      walk_.contradict(data_head_ + 16,
                       fmt::format("the data size of {} bytes is no whole number of frames of {} bytes",
                                   grouped(*declared_bytes_), data.frame_bytes));
    if (end_ < size_) judge_tail(walk_, end_, end_ - (data.offset + data.bytes) <= 7);
    return {};
  }

  Walk& walk_;
  Window& window_;
  const std::int64_t size_;
  std::optional<WaveFormat> wave_;
  std::int64_t data_head_ = -1, end_ = 0;
  std::optional<std::int64_t> declared_bytes_, fact_;
};

}  // namespace

Result<void> walk_w64(Walk& walk) { return W64Walk(walk).run(); }

}  // namespace sendworthy::audio
