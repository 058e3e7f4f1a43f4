// FLAC (RFC 9639): metadata blocks, and the last frame, which tells how many samples there really are.
#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cstdlib>
#include <optional>
#include <string>
#include <vector>

#include "audio/decoder_head.h"
#include "audio/speakers.h"
#include "audio/tags.h"
#include "audio/walk.h"

namespace sendworthy::audio {
namespace {

struct StreamInfo {
  int min_block = 0, max_block = 0;
  int sample_rate = 0, channels = 0, bits = 0;
  std::int64_t total = 0;
};

std::uint8_t crc8(const std::uint8_t* p, std::size_t n) {  // polynomial x^8 + x^2 + x + 1
  std::uint8_t crc = 0;
  for (std::size_t i = 0; i < n; ++i) {
    crc ^= p[i];
    for (int bit = 0; bit < 8; ++bit) crc = static_cast<std::uint8_t>(crc << 1 ^ ((crc & 0x80) != 0 ? 0x07 : 0));
  }
  return crc;
}

constexpr std::array<std::uint16_t, 256> kCrc16 = [] {  // polynomial x^16 + x^15 + x^2 + 1
  std::array<std::uint16_t, 256> table{};
  for (unsigned i = 0; i < 256; ++i) {
    std::uint16_t crc = static_cast<std::uint16_t>(i << 8);
    for (int bit = 0; bit < 8; ++bit) crc = static_cast<std::uint16_t>(crc << 1 ^ ((crc & 0x8000) != 0 ? 0x8005 : 0));
    table[i] = crc;
  }
  return table;
}();

std::uint16_t crc16(std::span<const std::uint8_t> bytes) {
  std::uint16_t crc = 0;
  for (const auto byte : bytes) crc = static_cast<std::uint16_t>(crc << 8 ^ kCrc16[(crc >> 8 ^ byte) & 0xff]);
  return crc;
}

struct FrameHeader {
  std::int64_t first_sample = 0;
  int samples = 0;
};

// A frame header at p that agrees with STREAMINFO and whose CRC-8 is right.
std::optional<FrameHeader> frame_header(std::span<const std::uint8_t> p, const StreamInfo& info) {
  if (p.size() < 6 || p[0] != 0xff || (p[1] & 0xfe) != 0xf8) return std::nullopt;
  const bool variable = (p[1] & 1) != 0;
  const int block_code = p[2] >> 4, rate_code = p[2] & 15, channel_code = p[3] >> 4;
  if (block_code == 0 || rate_code == 15 || channel_code > 10 || (p[3] & 1) != 0) return std::nullopt;
  if ((channel_code < 8 ? channel_code + 1 : 2) != info.channels) return std::nullopt;
  // A number in the manner of UTF-8, up to 36 bits.
  int length = 1;
  std::uint64_t number = p[4];
  if ((p[4] & 0x80) != 0) {
    while (length < 8 && (p[4] & 0x80 >> length) != 0) ++length;
    if (length < 2 || length > 7 || p.size() < 6 + static_cast<std::size_t>(length)) return std::nullopt;
    number = p[4] & (0x7f >> length);
    for (int i = 1; i < length; ++i) {
      if ((p[static_cast<std::size_t>(4 + i)] & 0xc0) != 0x80) return std::nullopt;
      number = number << 6 | (p[static_cast<std::size_t>(4 + i)] & 0x3f);
    }
  }
  std::size_t at = 4 + static_cast<std::size_t>(length);
  const std::size_t tail = (block_code == 6   ? 1
                            : block_code == 7 ? 2
                                              : 0) +
                           (rate_code == 12   ? 1
                            : rate_code >= 13 ? 2
                                              : 0);
  if (p.size() < at + tail + 1) return std::nullopt;
  FrameHeader header;
  switch (block_code) {
    case 1:
      header.samples = 192;
      break;
    case 6:
      header.samples = p[at] + 1;
      break;
    case 7:
      header.samples = be16(p.data() + at) + 1;
      break;
    default:
      header.samples = block_code < 6 ? 576 << (block_code - 2) : 256 << (block_code - 8);
  }
  at += tail;
  if (header.samples > info.max_block || crc8(p.data(), at) != p[at]) return std::nullopt;
  // Frame numbers count blocks of the one size a fixed stream has.
  header.first_sample = static_cast<std::int64_t>(number) * (variable ? 1 : info.min_block);
  return header;
}

class FlacWalk {
 public:
  FlacWalk(Walk& walk, std::int64_t start) : walk_(walk), window_(walk.window), start_(start), size_(walk.size()) {}

  Result<void> run() {
    walk_.result.facts.container = "FLAC";
    if (start_ > 0)
      walk_.contradict(0, "an ID3v2 tag stands before the FLAC marker; many players do not look behind it");
    if (auto ok = blocks(); !ok) return ok;
    const auto end = read_end_tags(walk_, audio_at_, size_);
    walk_.result.facts.trailing_bytes = size_ - end;
    finish(end);
    return {};
  }

 private:
  Result<void> blocks() {
    constexpr const char* kNames[] = {"STREAMINFO",     "PADDING",  "APPLICATION", "SEEKTABLE",
                                      "VORBIS_COMMENT", "CUESHEET", "PICTURE"};
    std::int64_t at = start_ + 4;
    bool last = false;
    for (int count = 0; !last; ++count) {
      const auto* p = window_.at(at, 4);
      if (p == nullptr) {
        if (count == 0)
          return walk_.refuse(ErrorCode::unrecognised, "it ends inside its FLAC header; copy or export it again");
        walk_.contradict(at, "the file ends inside its metadata blocks");
        break;
      }
      if (count == 4096)
        return walk_.refuse(ErrorCode::unrecognised, "it has more than 4096 metadata blocks; export it again");
      last = (p[0] & 0x80) != 0;
      const int type = p[0] & 0x7f;
      const std::int64_t declared = be24(p + 1);
      const auto body = at + 4;
      const auto room = std::max<std::int64_t>(0, size_ - body);
      const auto length = std::min(declared, room);
      walk_.chunk(type < 7 ? kNames[type] : fmt::format("block {}", type));
      if (declared > room)
        walk_.contradict(at, fmt::format("a metadata block of type {} claims {} bytes, {} are there", type,
                                         grouped(declared), grouped(room)));
      if (type == 127) walk_.contradict(at, "a metadata block of the forbidden type 127");
      if (count == 0 && type != 0)
        return walk_.refuse(ErrorCode::unrecognised, "its first metadata block is not STREAMINFO; export it again");
      if (type == 0) {
        if (count > 0)
          walk_.contradict(at, "a second STREAMINFO block");
        else if (auto ok = stream_info(body, length); !ok)
          return ok;
      } else if (type == 4) {
        if (length <= kMaxTagBytes) {
          const auto copy = copy_range(window_.bytes(), body, length, kMaxTagBytes);
          read_vorbis_comments(walk_, copy, body, "Vorbis comment");
        }
      } else if (type == 6) {
        read_flac_picture(walk_, body, length);
      }
      at = body + length;
    }
    audio_at_ = std::min(at, size_);
    return {};
  }

  Result<void> stream_info(std::int64_t body, std::int64_t length) {
    const auto* p = length >= 34 ? window_.at(body, 34) : nullptr;
    if (p == nullptr)
      return walk_.refuse(ErrorCode::unrecognised, "its STREAMINFO block is too short; copy or export it again");
    if (length != 34) walk_.contradict(body - 4, fmt::format("STREAMINFO has {} bytes, not 34", length));
    std::copy(p, p + 34, raw_.begin());
    info_at_ = body;
    info_.min_block = be16(p);
    info_.max_block = be16(p + 2);
    info_.sample_rate = static_cast<int>(be24(p + 10) >> 4);
    info_.channels = (p[12] >> 1 & 7) + 1;
    info_.bits = ((p[12] & 1) << 4 | p[13] >> 4) + 1;
    info_.total = static_cast<std::int64_t>(p[13] & 15) << 32 | be32(p + 14);
    if (auto ok = walk_.check_format(info_.channels, info_.sample_rate); !ok) return ok;
    if (info_.min_block < 16 || info_.max_block < info_.min_block)
      return walk_.refuse(ErrorCode::unrecognised,
                          fmt::format("its STREAMINFO says blocks of {} to {} samples; export it again",
                                      info_.min_block, info_.max_block));
    if (info_.bits != 8 && info_.bits != 16 && info_.bits != 24)
      return walk_.refuse(
          ErrorCode::unrecognised,
          fmt::format("it is FLAC with {} bits, which cannot be decoded here; export 16 or 24 bits", info_.bits));
    if (std::any_of(p + 18, p + 34, [](std::uint8_t b) { return b != 0; })) {
      auto& md5 = walk_.result.md5.emplace();
      std::copy(p + 18, p + 34, md5.begin());
    } else {
      walk_.damage(body + 18, "the MD5 of the samples is zero: it was never computed, so the samples cannot be proved", -1, true);
    }
    return {};
  }

  // Two FLAC files joined into one: decoders stop where the first ends, or go on as if nothing were wrong. The marker with
  // the head of STREAMINFO behind it cannot stand in the audio by chance.
  void look_for_another_stream(std::int64_t end) {
    constexpr std::int64_t kSlice = 256 << 10;
    constexpr std::string_view kMarker("fLaC\0\0\0\x22", 8);
    for (auto at = audio_at_; at + 8 <= end; at += kSlice) {
      const auto copy = copy_range(window_.bytes(), at, std::min(end - at, kSlice + 7), kSlice + 7);
      const std::string_view bytes(reinterpret_cast<const char*>(copy.data()), copy.size());
      // The marker's fifth byte has its top bit set when no other block follows.
      for (auto found = bytes.find("fLaC"); found != bytes.npos; found = bytes.find("fLaC", found + 1)) {
        if (found + 8 > bytes.size() || (bytes[found + 4] & 0x7F) != 0 || bytes.substr(found + 5, 3) != kMarker.substr(5)) continue;
        walk_.contradict(at + static_cast<std::int64_t>(found),
                         "a second FLAC stream begins here; players end before it, so what it holds is lost");
        return;
      }
    }
  }

  // The last frame whose checksum reaches the end of the audio; or, in a damaged file, the last readable header.
  void count_samples(std::int64_t end) {
    constexpr std::int64_t kSlice = 256 << 10;
    std::int64_t from = end;
    for (int slice = 0; slice < 8 && from > audio_at_; ++slice) {
      const auto next = std::max(audio_at_, from - kSlice);
      const auto copy = copy_range(window_.bytes(), next, end - next, 8 * kSlice);
      const std::span<const std::uint8_t> bytes(copy);
      std::optional<FrameHeader> loose;
      for (auto at = from - next; at-- > 0;) {
        const auto header = frame_header(bytes.subspan(static_cast<std::size_t>(at)), info_);
        if (!header) continue;
        if (crc16(bytes.subspan(static_cast<std::size_t>(at))) == 0) {
          walk_.result.facts.walked_frames = header->first_sample + header->samples;
          return;
        }
        if (!loose) {
          loose = header;
          loose_at_ = next + at;
        }
        // A frame cannot be longer than a few times its raw size; further back lie whole frames.
        if (loose_at_ - (next + at) > 4 * std::int64_t{info_.max_block} * info_.channels * 4) break;
      }
      if (loose) {
        // The frame that begins there is not whole: only what lies before it can be decoded.
        walk_.result.facts.walked_frames = loose->first_sample;
        walk_.contradict(loose_at_, fmt::format("the last frame begins here and is not whole; {} frames lie before it",
                                                grouped(loose->first_sample)));
        return;
      }
      from = next;
    }
    walk_.result.facts.walked_frames = 0;
    if (end > audio_at_) walk_.contradict(audio_at_, "no frame header was found in the audio");
  }

  void finish(std::int64_t end) {
    auto& facts = walk_.result.facts;
    auto& format = walk_.result.format;
    auto& data = walk_.result.data;
    format.channels = info_.channels;
    format.sample_rate = info_.sample_rate;
    format.kind = SampleKind::integer;
    format.container_bits = info_.bits;
    set_flac_speakers(format);
    for (const auto& tag : facts.tags) {
      if (tag.name != "waveformatextensible_channel_mask") continue;
      const auto mask = std::strtoul(tag.value.c_str(), nullptr, 0);
      facts.channel_mask = static_cast<std::uint32_t>(mask);
      if (!set_speakers_from_mask(format, static_cast<std::uint32_t>(mask)) && mask != 0)
        walk_.contradict(
            start_, fmt::format("the channel mask 0x{:X} in a comment does not fit {} channels", mask, info_.channels));
    }
    facts.encoding = fmt::format("FLAC {}-bit", info_.bits);
    facts.bit_depth = info_.bits;
    facts.bit_rate_mode = "variable";
    data.codec = Codec::flac;
    data.offset = audio_at_;
    data.bytes = end - audio_at_;
    if (info_.total > 0)
      facts.declared_frames = info_.total;
    else if (data.bytes > 0)
      walk_.contradict(
          info_at_ + 13,
          "STREAMINFO does not say how many samples there are: written by a program that could not go back", true);
    look_for_another_stream(end);
    count_samples(end);
    const auto walked = facts.walked_frames.value_or(0);
    if (info_.total > 0 && walked != info_.total)
      walk_.contradict(info_at_ + 13, fmt::format("STREAMINFO says {} frames, the last whole FLAC frame ends at {}",
                                                  grouped(info_.total), grouped(walked)));
    if (walked > 0)
      facts.bit_rate_kbit_s = 8e-3 * static_cast<double>(data.bytes) * info_.sample_rate / static_cast<double>(walked);
    walk_.result.md5_sample_bytes = (info_.bits + 7) / 8;
    // The library stops at the number STREAMINFO gives. It gets the larger one, so that a header that lies hides
    // nothing.
    walk_.result.expected_frames = std::max(info_.total, walked);
    auto patched = raw_;
    const auto total = static_cast<std::uint64_t>(*walk_.result.expected_frames);
    patched[13] = static_cast<std::uint8_t>((patched[13] & 0xf0) | (total >> 32 & 15));
    for (int i = 0; i < 4; ++i)
      patched[static_cast<std::size_t>(14 + i)] = static_cast<std::uint8_t>(total >> (24 - 8 * i));
    std::fill(patched.begin() + 18, patched.end(), std::uint8_t{0});  // we compare the MD5 ourselves
    data.decoder_head = flac_decoder_head(patched.data());
  }

  Walk& walk_;
  Window& window_;
  const std::int64_t start_, size_;
  StreamInfo info_;
  std::array<std::uint8_t, 34> raw_{};
  std::int64_t info_at_ = 0, audio_at_ = 0, loose_at_ = 0;
};

}  // namespace

Result<void> walk_flac(Walk& walk, std::int64_t start) { return FlacWalk(walk, start).run(); }

}  // namespace sendworthy::audio
