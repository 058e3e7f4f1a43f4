#include "audio/aac_config.h"

#include <fmt/format.h>

#include <array>
#include <cstddef>

#include "audio/bytes.h"

namespace sendworthy::audio {
namespace {

using Span = std::span<const std::uint8_t>;

/// Bits from the front; beyond the end it reads zeros and says so.
class Bits {
 public:
  explicit Bits(Span bytes) : bytes_(bytes) {}
  int take(int count) {
    int value = 0;
    for (; count > 0; --count, ++at_) {
      const auto byte = at_ / 8;
      const int bit = byte < bytes_.size() ? bytes_[byte] >> (7 - at_ % 8) & 1 : 0;
      value = value * 2 + bit;
    }
    return value;
  }
  [[nodiscard]] std::size_t left() const { return bytes_.size() * 8 < at_ ? 0 : bytes_.size() * 8 - at_; }
  [[nodiscard]] bool beyond() const { return at_ > bytes_.size() * 8; }

 private:
  Span bytes_;
  std::size_t at_ = 0;
};

int object_type(Bits& bits) {
  const int type = bits.take(5);
  return type == 31 ? 32 + bits.take(6) : type;
}

int rate(Bits& bits) {
  // ISO/IEC 14496-3, table 1.18.
  constexpr std::array kRates = {96000, 88200, 64000, 48000, 44100, 32000, 24000, 22050, 16000, 12000, 11025, 8000, 7350};
  const auto index = static_cast<std::size_t>(bits.take(4));
  return index == 15 ? bits.take(24) : index < kRates.size() ? kRates[index] : 0;
}

std::string name_of(int type) {
  switch (type) {  // ISO/IEC 14496-3, table 1.17
    case 1: return "AAC Main";
    case 2: return "AAC-LC";
    case 3: return "AAC-SSR";
    case 4: return "AAC-LTP";
    case 23: return "AAC-LD";
    case 39: return "AAC-ELD";
    case 42: return "xHE-AAC";
    default: return fmt::format("MPEG-4 audio, object type {}", type);
  }
}

constexpr int kSbr = 5, kPs = 29;

bool read_specific(Span bytes, AacConfig& config) {
  Bits bits(bytes);
  int type = object_type(bits);
  config.core_rate = config.sample_rate = rate(bits);
  const int layout = bits.take(4);
  bool sbr = type == kSbr || type == kPs, ps = type == kPs;
  if (sbr) {
    config.sample_rate = rate(bits);
    type = object_type(bits);
  }
  const bool general = type >= 1 && type <= 4;
  if (general || type == 23) {
    if (bits.take(1) != 0) config.packet_frames = type == 23 ? 480 : 960;
    else if (type == 23) config.packet_frames = 512;
    if (bits.take(1) != 0) bits.take(14);
    const bool extended = bits.take(1) != 0;
    // Said afterwards, so that old decoders read the core alone.
    constexpr int kSbrFollows = 0x2b7, kPsFollows = 0x548;
    if (!sbr && general && layout != 0 && !extended && bits.left() >= 16 && bits.take(11) == kSbrFollows && object_type(bits) == kSbr &&
        bits.take(1) != 0) {
      sbr = true;
      config.sample_rate = rate(bits);
      if (bits.left() >= 12 && bits.take(11) == kPsFollows) ps = bits.take(1) != 0;
    }
  }
  if (bits.beyond() || config.core_rate == 0 || config.sample_rate == 0) return false;
  constexpr std::array kChannels = {0, 1, 2, 3, 4, 5, 6, 8, 0, 0, 0, 7, 8, 24, 8, 0};
  config.channels = kChannels[static_cast<std::size_t>(layout)];
  if (ps && config.channels == 1) config.channels = 2;
  if (sbr) config.packet_frames *= 2;
  // Room for bands that the header does not tell of, and the codec's longest frames.
  config.packet_frames = general || sbr ? config.packet_frames : 4096;
  config.encoding = ps ? "HE-AACv2" : sbr && general ? "HE-AAC" : name_of(type);
  config.is_aac = true;
  return true;
}

// One descriptor: its tag, and a length of up to four bytes with seven bits each.
struct Descriptor {
  int tag = 0;
  Span body, behind;
};

std::optional<Descriptor> descriptor(Span bytes) {
  if (bytes.size() < 2) return std::nullopt;
  const int tag = bytes[0];
  std::size_t length = 0, at = 1;
  for (int i = 0; i < 4; ++i) {
    if (at >= bytes.size()) return std::nullopt;
    const auto byte = bytes[at++];
    length = length << 7 | (byte & 0x7f);
    if ((byte & 0x80) == 0) break;
  }
  if (length > bytes.size() - at) return std::nullopt;
  return Descriptor{tag, bytes.subspan(at, length), bytes.subspan(at + length)};
}

}  // namespace

std::optional<AacConfig> read_aac_config(Span esds) {
  constexpr int kStream = 3, kDecoder = 4, kSpecific = 5;
  const auto stream = descriptor(esds);
  if (!stream || stream->tag != kStream || stream->body.size() < 3) return std::nullopt;
  const int flags = stream->body[2];
  std::size_t skip = 3 + ((flags & 0x80) != 0 ? 2 : 0);
  if ((flags & 0x40) != 0) skip += stream->body.size() > skip ? std::size_t{1} + stream->body[skip] : 1;
  skip += (flags & 0x20) != 0 ? 2 : 0;
  if (skip > stream->body.size()) return std::nullopt;
  const auto decoder = descriptor(stream->body.subspan(skip));
  if (!decoder || decoder->tag != kDecoder || decoder->body.size() < 13) return std::nullopt;
  const auto* const p = decoder->body.data();
  AacConfig config;
  config.highest_bit_s = be32(p + 5);
  config.mean_bit_s = be32(p + 9);
  const int kind = p[0];  // the registered object type indications (mp4ra.org), from memory
  if (kind == 0x69 || kind == 0x6b) config.encoding = "MPEG audio";
  else if (kind != 0x40 && (kind < 0x66 || kind > 0x68)) config.encoding = fmt::format("the codec numbered {:02x}h", kind);
  if (!config.encoding.empty()) return config;
  const auto specific = descriptor(decoder->body.subspan(13));
  if (!specific || specific->tag != kSpecific || !read_specific(specific->body, config)) return std::nullopt;
  return config;
}

std::optional<AlacConfig> read_alac_config(Span cookie) {
  // frameLength, version, bitDepth, three tunings, channels, maxRun, maxFrameBytes, avgBitRate, sampleRate.
  if (cookie.size() < 24) return std::nullopt;
  const auto* const p = cookie.data();
  AlacConfig config{p[5], p[9], static_cast<int>(be32(p + 20) & 0x7fffffff), be32(p)};
  constexpr std::int64_t kLongest = 1 << 16;  // usual are 4096
  const bool depth = config.bits == 16 || config.bits == 20 || config.bits == 24 || config.bits == 32;
  if (!depth || config.packet_frames < 1 || config.packet_frames > kLongest) return std::nullopt;
  return config;
}

}  // namespace sendworthy::audio
