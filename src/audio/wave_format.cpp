#include "audio/wave_format.h"

#include <fmt/format.h>

#include <algorithm>
#include <bit>
#include <string>

#include "audio/decoder_head.h"
#include "audio/speakers.h"

namespace sendworthy::audio {
namespace {

// Registered format tags (RFC 2361 and mmreg.h), from memory.
enum : std::uint16_t {
  kPcm = 0x0001,
  kMsAdpcm = 0x0002,
  kFloat = 0x0003,
  kALaw = 0x0006,
  kMuLaw = 0x0007,
  kImaAdpcm = 0x0011,
  kGsm610 = 0x0031,
  kMpeg = 0x0050,
  kMp3 = 0x0055,
  kExtensible = 0xfffe,
};

// A sub-format GUID is the tag as its first number; this is how the registered ones and the Ambisonic variant end.
// The ends are single bytes, so that the byte order of the file plays no part. From memory.
constexpr std::string_view kSubtypeEnd("\x80\x00\x00\xaa\x00\x38\x9b\x71", 8);
constexpr std::string_view kAmbisonicEnd("\x86\x44\xc8\xc1\xca\x00\x00\x00", 8);

struct Fields {
  std::uint16_t channels, block_align, bits;
  std::uint32_t rate, byte_rate;
};

std::string_view codec_name(std::uint16_t tag) {
  switch (tag) {
    case kMsAdpcm:
      return "MS ADPCM";
    case kALaw:
      return "A-law";
    case kMuLaw:
      return "\u00b5-law";
    case kImaAdpcm:
      return "IMA ADPCM";
    case kGsm610:
      return "GSM 6.10";
    default:
      return "";
  }
}

// Plain PCM and float: width of a sample from block align where that makes sense, else from the bits.
Result<void> plain_width(Walk& walk, const Fields& f, std::int64_t offset, WaveFormat& wave, bool real) {
  auto& data = walk.result.data;
  const int bits = f.bits;
  const int by_bits = (bits + 7) / 8;
  const int by_align = f.block_align % f.channels == 0 ? f.block_align / f.channels : 0;
  const auto usable = [real](int bytes) { return real ? bytes == 4 || bytes == 8 : bytes >= 1 && bytes <= 4; };
  if (f.block_align != by_bits * f.channels) {
    if (!real && !wave.extensible && bits == 24 && by_align == 4)
      walk.contradict(offset + 12,
                      "24-bit samples in 4 bytes without the extensible header that would say where their bits are");
    else
      walk.contradict(offset + 12, fmt::format("block align is {} bytes, {} channels of {} bits take {}", f.block_align,
                                               f.channels, bits, by_bits * f.channels));
  }
  data.sample_bytes = usable(by_align) && by_align >= by_bits ? by_align : by_bits;
  if (real && !usable(by_bits)) data.sample_bytes = 0;
  if (!usable(data.sample_bytes))
    return walk.refuse(ErrorCode::unrecognised,
                       fmt::format("its header says {} samples of {} bits, which cannot be read; export {}",
                                   real ? "float" : "PCM", bits, real ? "32-bit float" : "16, 24 or 32 bits"));
  if (bits == 0) walk.contradict(offset + 14, "bits per sample is 0");
  wave.valid_bits = bits == 0 ? data.sample_bytes * 8 : bits;
  data.frame_bytes = data.sample_bytes * f.channels;
  data.unsigned_codes = !real && data.sample_bytes == 1;
  const auto rate = std::uint64_t{f.rate} * f.block_align;
  if (rate != f.byte_rate)
    walk.contradict(offset + 8, fmt::format("byte rate is {}, sample rate times block align is {}", f.byte_rate, rate));
  return {};
}

void read_extension(Walk& walk, const std::uint8_t* p, const Fields& f, std::int64_t offset, bool big_endian,
                    WaveFormat& wave) {
  const auto u16 = [&](int at) { return big_endian ? be16(p + at) : le16(p + at); };
  const auto u32 = [&](int at) { return big_endian ? be32(p + at) : le32(p + at); };
  if (u16(16) < 22)
    walk.contradict(offset + 16, fmt::format("the extensible header says it has {} bytes, not 22", u16(16)));
  const int valid = u16(18);
  if (wave.tag == kPcm) {
    if (valid == 0 || valid > f.bits)
      walk.contradict(offset + 18, fmt::format("{} valid bits in a container of {} bits", valid, f.bits), true);
    else
      wave.valid_bits = valid;
  }
  const auto mask = u32(20);
  walk.result.facts.channel_mask = mask;
  if (set_speakers_from_mask(walk.result.format, mask)) return;
  // A mask of 0 says "no particular loudspeaker": legal, and one of the common tools writes it for every stereo file.
  if (mask != 0)
    walk.contradict(offset + 20, fmt::format("the channel mask 0x{:X} names {} loudspeakers, the file has {} channels",
                                             mask, std::popcount(mask), f.channels), true);
}

Result<void> compressed(Walk& walk, const Fields& f, const std::uint8_t* p, std::int64_t length, std::int64_t offset,
                        bool big_endian, const WaveFormat& wave) {
  auto& data = walk.result.data;
  const auto extra = [&](int at) { return length >= at + 2 ? (big_endian ? be16(p + at) : le16(p + at)) : 0; };
  const auto impossible = [&](const std::string& what) {
    return walk.refuse(
        ErrorCode::unrecognised,
        fmt::format("its header describes {} that cannot be ({}); export it again", codec_name(wave.tag), what));
  };
  data.frame_bytes = f.block_align;
  switch (wave.tag) {
    case kALaw:
    case kMuLaw:
      data.codec = wave.tag == kALaw ? Codec::a_law : Codec::mu_law;
      if (f.block_align != f.channels || f.bits != 8)
        walk.contradict(offset + 12, fmt::format("block align {} and {} bits, {} takes 1 byte a channel", f.block_align,
                                                 f.bits, codec_name(wave.tag)));
      data.frame_bytes = f.channels;
      return {};
    case kMsAdpcm: {
      data.codec = Codec::ms_adpcm;
      // 7 bytes of preamble a channel carry two frames, each further byte two samples.
      if (f.channels > 2 || f.block_align <= 7 * f.channels || f.block_align > 16'384)
        return impossible(fmt::format("{} channels, blocks of {} bytes", f.channels, f.block_align));
      data.packet_frames = 2 + (f.block_align - 7 * f.channels) * 2 / f.channels;
      break;
    }
    case kImaAdpcm: {
      data.codec = Codec::ima_adpcm;
      if (f.channels > 2 || f.block_align <= 4 * f.channels || f.block_align > 16'384 ||
          f.block_align % (4 * f.channels) != 0)
        return impossible(fmt::format("{} channels, blocks of {} bytes", f.channels, f.block_align));
      data.packet_frames = 1 + (f.block_align - 4 * f.channels) * 2 / f.channels;
      break;
    }
    case kGsm610:
      data.codec = Codec::gsm;
      if (f.channels != 1 || f.block_align != 65)
        return impossible(fmt::format("{} channels, blocks of {} bytes", f.channels, f.block_align));
      data.packet_frames = 320;
      break;
    default:
      return walk.refuse(
          ErrorCode::unrecognised,
          fmt::format("its header names codec 0x{:04X}, which cannot be decoded here; export PCM", wave.tag));
  }
  if (const int said = extra(18); said != 0 && said != data.packet_frames)
    walk.contradict(offset + 18, fmt::format("the header says {} frames a block, a block of {} bytes holds {}", said,
                                             f.block_align, data.packet_frames));
  return {};
}

}  // namespace

Result<WaveFormat> read_wave_format(Walk& walk, std::int64_t offset, std::int64_t length, bool big_endian) {
  if (length < 16)
    return walk.refuse(ErrorCode::unrecognised,
                       fmt::format("its format chunk has {} bytes, at least 16 are needed; export it again", length));
  const auto have = std::min<std::int64_t>(length, 64);
  const auto* p = walk.window.at(offset, have);
  if (p == nullptr)
    return walk.refuse(ErrorCode::unrecognised, "it ends inside its format chunk; copy or export it again");
  const auto u16 = [&](int at) { return big_endian ? be16(p + at) : le16(p + at); };
  const auto u32 = [&](int at) { return big_endian ? be32(p + at) : le32(p + at); };

  WaveFormat wave;
  wave.tag = u16(0);
  const Fields f{u16(2), u16(12), u16(14), u32(4), u32(8)};
  if (auto ok = walk.check_format(f.channels, f.rate); !ok) return tl::unexpected(ok.error());
  auto& format = walk.result.format;
  auto& data = walk.result.data;
  format.channels = f.channels;
  format.sample_rate = static_cast<int>(f.rate);
  data.big_endian = big_endian;
  set_default_speakers(format);

  if (wave.tag == kExtensible) {
    wave.extensible = true;
    if (length < 40)
      return walk.refuse(ErrorCode::unrecognised,
                         fmt::format("its extensible format chunk has {} bytes, not 40; export it again", length));
    const auto end = text_at(p + 32, 8);
    wave.tag = u16(big_endian ? 26 : 24);  // the lower half of a 32-bit number
    if (end != kSubtypeEnd && end != kAmbisonicEnd)
      return walk.refuse(ErrorCode::unrecognised, "its extensible header names an unknown codec; export PCM or float");
  }
  if (wave.tag == kPcm || wave.tag == kFloat) {
    data.codec = wave.tag == kPcm ? Codec::pcm : Codec::ieee_float;
    if (auto ok = plain_width(walk, f, offset, wave, wave.tag == kFloat); !ok) return tl::unexpected(ok.error());
  } else if (wave.tag == kMp3 || wave.tag == kMpeg) {
    data.codec = Codec::mpeg;
  } else if (auto ok = compressed(walk, f, p, have, offset, big_endian, wave); !ok) {
    return tl::unexpected(ok.error());
  }
  if (wave.extensible) read_extension(walk, p, f, offset, big_endian, wave);
  return wave;
}

Result<void> finish_wave(Walk& walk, const WaveFormat& wave, std::optional<std::int64_t> fact_frames) {
  auto& facts = walk.result.facts;
  auto& data = walk.result.data;
  auto& format = walk.result.format;
  if (data.codec == Codec::pcm || data.codec == Codec::ieee_float) {
    finish_plain(walk, wave.valid_bits);
    return {};
  }
  facts.encoding = codec_name(wave.tag);
  format.kind = SampleKind::real;
  format.lossy = true;
  format.container_bits = 0;
  facts.walked_frames = frames_in(data, data.bytes);
  if (fact_frames) facts.declared_frames = fact_frames;
  walk.result.expected_frames = facts.walked_frames;
  facts.bit_rate_kbit_s = 8e-3 * format.sample_rate * data.frame_bytes / data.packet_frames;
  facts.bit_rate_mode = "constant";
  data.decoder_head = wave_decoder_head(data, format);
  return {};
}

}  // namespace sendworthy::audio
