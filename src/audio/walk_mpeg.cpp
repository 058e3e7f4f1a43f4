// MPEG-1/2/2.5 audio: every frame header is looked at, none is decoded.
#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <optional>
#include <string>
#include <vector>

#include "audio/speakers.h"
#include "audio/tags.h"
#include "audio/walk.h"

namespace sendworthy::audio {
namespace {

struct FrameHeader {
  int version = 0;  // 1, 2, or 25 for 2.5
  int layer = 0;
  int bit_rate = 0;  // kbit/s
  int sample_rate = 0;
  int channels = 0;
  int frames = 0;  // samples per channel
  std::int64_t length = 0;
};

// ISO/IEC 11172-3 and 13818-3, table of bit_rate_index, kbit/s; from memory.
constexpr int kBitRates[5][16] = {
    {0, 32, 64, 96, 128, 160, 192, 224, 256, 288, 320, 352, 384, 416, 448, -1},  // MPEG-1 layer I
    {0, 32, 48, 56, 64, 80, 96, 112, 128, 160, 192, 224, 256, 320, 384, -1},     // MPEG-1 layer II
    {0, 32, 40, 48, 56, 64, 80, 96, 112, 128, 160, 192, 224, 256, 320, -1},      // MPEG-1 layer III
    {0, 32, 48, 56, 64, 80, 96, 112, 128, 144, 160, 176, 192, 224, 256, -1},     // MPEG-2 layer I
    {0, 8, 16, 24, 32, 40, 48, 56, 64, 80, 96, 112, 128, 144, 160, -1},          // MPEG-2 layers II and III
};

std::optional<FrameHeader> parse(const std::uint8_t* p) {
  if (p[0] != 0xff || (p[1] & 0xe0) != 0xe0) return std::nullopt;
  const int version_code = p[1] >> 3 & 3, layer_code = p[1] >> 1 & 3, rate_code = p[2] >> 4, frequency = p[2] >> 2 & 3;
  if (version_code == 1 || layer_code == 0 || rate_code == 0 || rate_code == 15 || frequency == 3 || (p[3] & 3) == 2)
    return std::nullopt;
  constexpr int kFrequencies[] = {44'100, 48'000, 32'000};
  FrameHeader h;
  h.version = version_code == 3 ? 1 : version_code == 2 ? 2 : 25;
  h.layer = 4 - layer_code;
  h.bit_rate = kBitRates[h.version == 1 ? h.layer - 1 : h.layer == 1 ? 3 : 4][rate_code];
  h.sample_rate = kFrequencies[frequency] / (h.version == 1 ? 1 : h.version == 2 ? 2 : 4);
  h.channels = p[3] >> 6 == 3 ? 1 : 2;
  const int padding = p[2] >> 1 & 1;
  if (h.layer == 1) {
    h.frames = 384;
    h.length = (12 * h.bit_rate * 1000 / h.sample_rate + padding) * 4;
  } else {
    h.frames = h.layer == 3 && h.version != 1 ? 576 : 1152;
    h.length = h.frames / 8 * h.bit_rate * 1000 / h.sample_rate + padding;
  }
  return h;
}

bool same_stream(const FrameHeader& a, const FrameHeader& b) {
  return a.version == b.version && a.layer == b.layer && a.sample_rate == b.sample_rate;
}

// The offset of the first frame that is followed by two like it (or by the end), within `limit` bytes.
std::optional<std::int64_t> first_frame(Window& window, std::int64_t start, std::int64_t end, std::int64_t limit) {
  for (auto at = start; at < std::min(end, start + limit); ++at) {
    const auto bytes = window.up_to(at, 4);
    if (bytes.size() < 4) return std::nullopt;
    if (bytes[0] != 0xff || (bytes[1] & 0xe0) != 0xe0) continue;
    const auto first = parse(bytes.data());
    if (!first) continue;
    auto next = at + first->length;
    bool right = true;
    for (int i = 0; i < 2 && right && next != end; ++i) {
      const auto* p = next + 4 <= end ? window.at(next, 4) : nullptr;
      const auto header = p == nullptr ? std::nullopt : parse(p);
      right = header && same_stream(*first, *header);
      if (right) next += header->length;
      // A short file may end inside its second or third frame.
      if (right && next > end && i == 1) break;
    }
    if (right && (next <= end || next - end < 2000)) return at;
  }
  return std::nullopt;
}

constexpr std::int64_t kLook = 64 << 10;

// What may stand behind the last frame: the tags of players, or padding.
bool ends_stream(Window& window, std::int64_t at, std::int64_t end) {
  if (end - at < 4) return true;
  const auto bytes = window.up_to(at, 8);
  const auto text = text_at(bytes.data(), bytes.size());
  return text.starts_with("TAG") || text.starts_with("APETAGEX") || text.starts_with("LYRICSBE") || be32(bytes.data()) == 0;
}

// Whether frames that fit together stand one behind the other from here on. Three headers in a row occur by chance in the
// quiet parts of plain samples (FF FF is the upper half of a small negative number), so there must be more, or the last of
// them must end where the stream does. A frame of layer I is short and its header the one that such numbers look like.
bool long_run(Window& window, std::int64_t at, std::int64_t end) {
  std::optional<FrameHeader> first;
  for (int frames = 0;; ++frames) {
    if (frames > 0 && ends_stream(window, at, end)) return true;
    const auto* p = at + 4 <= end ? window.at(at, 4) : nullptr;
    const auto header = p == nullptr ? std::nullopt : parse(p);
    if (!header) return false;
    if (!first) first = header;
    if (frames == (first->layer == 1 ? 200 : 12)) return true;
    if (!same_stream(*first, *header) || header->channels != first->channels) return false;
    at += header->length;
    if (at > end) return frames >= 2;  // the last one is cut off
  }
}

std::optional<FrameHeader> header_at(Window& window, std::int64_t at) {
  const auto* p = window.at(at, 4);
  return p == nullptr ? std::nullopt : parse(p);
}

// The offset of the first frame of a stream that is proved by a long run somewhere in the beginning. What stands before that
// run and is of its kind belongs to it: a damaged place may part them.
std::optional<std::int64_t> first_proven_frame(Window& window, std::int64_t start, std::int64_t end) {
  const auto limit = start + kLook;
  std::vector<std::int64_t> before;
  for (auto at = start; at < limit;) {
    const auto found = first_frame(window, at, end, limit - at);
    if (!found) return std::nullopt;
    if (long_run(window, *found, end)) {
      const auto proven = header_at(window, *found);
      for (const auto earlier : before) {
        const auto header = header_at(window, earlier);
        if (proven && header && same_stream(*proven, *header) && proven->channels == header->channels) return earlier;
      }
      return found;
    }
    if (before.size() < 64) before.push_back(*found);
    at = *found + 1;
  }
  return std::nullopt;
}

class MpegWalk {
 public:
  MpegWalk(Walk& walk, std::int64_t start, std::int64_t end, bool in_container)
      : walk_(walk), window_(walk.window), start_(start), end_(end), in_container_(in_container) {}

  Result<void> run() {
    if (!in_container_) {
      walk_.result.facts.container = "MP3";
      end_ = read_end_tags(walk_, start_, end_);
    }
    const auto found = in_container_ ? first_frame(window_, start_, end_, kLook) : first_proven_frame(window_, start_, end_);
    if (!found) return walk_.refuse(ErrorCode::no_audio, "no MPEG audio frame was found in it; export it again");
    if (*found > start_)
      walk_.damage(start_, fmt::format("{} bytes before the first MPEG frame", grouped(*found - start_)));
    first_at_ = *found;
    const auto* p = window_.at(first_at_, 4);
    const auto header = p == nullptr ? std::nullopt : parse(p);
    if (!header) return walk_.refuse(ErrorCode::unreadable, "it changed while it was read");
    first_ = *header;
    auto& format = walk_.result.format;
    format.channels = first_.channels;
    format.sample_rate = first_.sample_rate;
    format.kind = SampleKind::real;
    format.lossy = true;
    format.container_bits = 0;
    set_default_speakers(format);
    if (auto ok = walk_.check_format(format.channels, format.sample_rate); !ok) return ok;
    info_frame();
    scan();
    finish();
    return {};
  }

 private:
  // Xing/Info with LAME's extension, or VBRI: the first frame, which carries no sound.
  void info_frame() {
    if (first_.layer != 3) return;
    const auto bytes = window_.up_to(first_at_, std::min<std::int64_t>(first_.length, end_ - first_at_));
    const std::size_t side = first_.version == 1 ? (first_.channels == 1 ? 17 : 32) : (first_.channels == 1 ? 9 : 17);
    const std::size_t at = 4 + side;
    const auto has = [&](std::size_t offset, std::string_view magic) {
      return bytes.size() >= offset + magic.size() && text_at(bytes.data() + offset, magic.size()) == magic;
    };
    if (has(at, "Xing") || has(at, "Info")) {
      info_ = true;
      walk_.chunk(text_at(bytes.data() + at, 4));
      if (bytes.size() < at + 8) return;
      const auto flags = be32(bytes.data() + at + 4);
      std::size_t field = at + 8;
      if ((flags & 1) != 0 && bytes.size() >= field + 4) info_frames_ = be32(bytes.data() + field);
      field += (flags & 1) != 0 ? 4 : 0;
      if ((flags & 2) != 0 && bytes.size() >= field + 4) info_bytes_ = be32(bytes.data() + field);
      field += ((flags & 2) != 0 ? 4 : 0) + ((flags & 4) != 0 ? 100 : 0) + ((flags & 8) != 0 ? 4 : 0);
      if (bytes.size() >= field + 24 && bytes[field] != 0) {
        const auto encoder = text_at(bytes.data() + field, 9);
        const auto printable_end = encoder.find('\0');
        walk_.text("LAME", "encoder", encoder.substr(0, printable_end));
        delay_ = be24(bytes.data() + field + 21) >> 12;
        padding_ = be24(bytes.data() + field + 21) & 0xfff;
      }
    } else if (has(36, "VBRI") && bytes.size() >= 36 + 18) {
      info_ = true;
      walk_.chunk("VBRI");
      info_bytes_ = be32(bytes.data() + 46);
      info_frames_ = be32(bytes.data() + 50);
    }
  }

  void scan() {
    std::int64_t at = first_at_;
    if (info_) at += first_.length;
    while (at + 4 <= end_) {
      const auto* p = window_.at(at, 4);
      const auto header = p == nullptr ? std::nullopt : parse(p);
      if (!header) {
        if (!skip_junk(at)) break;
        continue;
      }
      if (!same_stream(first_, *header) || header->channels != first_.channels) {
        // Noise can look like a header of another kind: it counts when others like it follow.
        if (first_frame(window_, at, end_, 1) == at) {
          walk_.contradict(
              at, fmt::format("the stream changes to {} Hz and {} channel{} here; only what lies before is read",
                              header->sample_rate, header->channels, header->channels == 1 ? "" : "s"));
          walk_.result.facts.trailing_bytes = end_ - at;
          break;
        }
        if (!skip_junk(at)) break;
        continue;
      }
      if (at + header->length > end_) {
        walk_.damage(at,
                     fmt::format("the last MPEG frame is cut off: {} of {} bytes are there", end_ - at, header->length),
                     frames_ * first_.frames);
        break;
      }
      if (rate_ == 0) rate_ = header->bit_rate;
      if (header->bit_rate != rate_) variable_ = true;
      ++frames_;
      bytes_ += header->length;
      at += header->length;
    }
    stream_end_ = std::min(at, end_);
  }

  // Moves on to the next run of frames. False when there is none.
  bool skip_junk(std::int64_t& at) {
    const auto next = first_frame(window_, at + 1, end_, 1 << 20);
    if (!next) {
      if (end_ - at >= 4 || in_container_)
        walk_.damage(at, fmt::format("{} bytes at the end are no MPEG frames", grouped(end_ - at)),
                     frames_ * first_.frames);
      walk_.result.facts.trailing_bytes = end_ - at;
      return false;
    }
    walk_.damage(at, fmt::format("{} bytes between MPEG frames are none", grouped(*next - at)),
                 frames_ * first_.frames);
    at = *next;
    return true;
  }

  void finish() {
    auto& facts = walk_.result.facts;
    auto& data = walk_.result.data;
    constexpr const char* kLayers[] = {"", "I", "II", "III"};
    facts.encoding = fmt::format("MPEG-{} layer {}",
                                 first_.version == 25  ? "2.5"
                                 : first_.version == 2 ? "2"
                                                       : "1",
                                 kLayers[first_.layer]);
    facts.bit_rate_mode = variable_ ? "variable" : "constant";
    // A constant rate is what the headers say. Frames are whole bytes, and 44.1 kHz is made up for by padding: over a file
    // the mean of their lengths is a hair off.
    if (frames_ > 0 && !variable_)
      facts.bit_rate_kbit_s = rate_;
    else if (frames_ > 0)
      facts.bit_rate_kbit_s =
          8e-3 * static_cast<double>(bytes_) * first_.sample_rate / (static_cast<double>(frames_) * first_.frames);
    const auto trimmed = [&](std::int64_t frames) {
      return std::max<std::int64_t>(0, frames * first_.frames - delay_ - padding_);
    };
    facts.walked_frames = trimmed(frames_);
    if (info_frames_) {
      facts.declared_frames = trimmed(*info_frames_);
      if (*info_frames_ != frames_)
        walk_.contradict(first_at_, fmt::format("the info frame says {} MPEG frames, {} are there",
                                                grouped(*info_frames_), grouped(frames_)));
    }
    if (!info_ && !in_container_ && first_.layer == 3)  // layers I and II have none; a WAV around it has its own way to say how long it is
      walk_.damage(first_at_,
                   "there is no info frame (Xing, LAME): the length is an estimate, and the encoder's delay is part of "
                   "the sound",
                   -1, true);
    if (info_ && !info_frames_) walk_.damage(first_at_, "the info frame does not say how many MPEG frames there are", -1, true);
    walk_.result.expected_frames = facts.walked_frames;
    data.codec = Codec::mpeg;
    data.offset = first_at_;
    data.bytes = stream_end_ - first_at_;
    data.frame_bytes = 0;
  }

  Walk& walk_;
  Window& window_;
  const std::int64_t start_;
  std::int64_t end_;
  const bool in_container_;
  FrameHeader first_;
  bool info_ = false, variable_ = false;
  int rate_ = 0;  ///< of the first frame of sound, kbit/s
  std::optional<std::int64_t> info_frames_, info_bytes_;
  std::int64_t delay_ = 0, padding_ = 0;
  std::int64_t first_at_ = 0, stream_end_ = 0, frames_ = 0, bytes_ = 0;
};

}  // namespace

bool looks_like_mpeg(Window& window, std::int64_t start) {
  return first_proven_frame(window, start, window.size()).has_value();
}

Result<void> walk_mpeg(Walk& walk, std::int64_t start, std::int64_t end, bool in_container) {
  return MpegWalk(walk, start, end, in_container).run();
}

}  // namespace sendworthy::audio
