// AIFF (1989) and AIFF-C (1991).
#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <optional>
#include <span>
#include <string>

#include "audio/decoder_head.h"
#include "audio/speakers.h"
#include "audio/tags.h"
#include "audio/walk.h"
#include "audio/wave_text.h"

namespace sendworthy::audio {
namespace {

// 80-bit extended: sign and exponent (bias 16383), then a mantissa with an explicit leading one.
double extended(const std::uint8_t* p) {
  const int exponent = (p[0] & 0x7f) << 8 | p[1];
  const auto mantissa = be64(p + 2);
  if (exponent == 0x7fff) return NAN;
  const double value = std::ldexp(static_cast<double>(mantissa), exponent - 16383 - 63);
  return (p[0] & 0x80) != 0 ? -value : value;
}

class AiffWalk {
 public:
  explicit AiffWalk(Walk& walk) : walk_(walk), window_(walk.window), size_(walk.size()) {}

  Result<void> run() {
    const auto* head = window_.at(0, 12);
    compressed_form_ = text_at(head + 8, 4) == "AIFC";
    const std::int64_t form_size = be32(head + 4);
    walk_.result.facts.container = compressed_form_ ? "AIFF-C" : "AIFF";
    if (auto ok = chunks(); !ok) return ok;
    if (!have_common_) return walk_.refuse(ErrorCode::unrecognised, "it has no COMM chunk; export it again");
    if (sound_head_ < 0) {
      // Legal without sound data when there are no frames.
      if (walk_.result.facts.declared_frames.value_or(0) > 0)
        return walk_.refuse(ErrorCode::no_audio, "it has no SSND chunk, so there is no audio in it; export it again");
    }
    finish();
    const auto end = form_size + 8;
    const auto near = [end](std::int64_t other) { return std::abs(end - other) <= 1; };
    if (form_size == 0 || form_size == 0xffffffff)
      walk_.contradict(4, "the FORM size was never filled in: written by a program that could not go back", true);
    else if (!near(size_) && !near(end_))
      walk_.contradict(
          4, fmt::format("the FORM size says the file has {} bytes, it has {}", grouped(end), grouped(size_)), true);
    if (size_ >= std::int64_t{1} << 32)
      walk_.contradict(
          4, fmt::format("the file has {} bytes, a 32-bit AIFF header reaches 4 294 967 295", grouped(size_)));
    return {};
  }

 private:
  bool legal_at(std::int64_t at) {
    if (at >= size_) return at <= size_ + 1;
    const auto* p = window_.at(at, 8);
    return p != nullptr && is_chunk_id(p) && be32(p + 4) <= size_ - at - 8;
  }

  Result<void> chunks() {
    std::int64_t at = 12;
    for (std::int64_t count = 0; at < size_; ++count) {
      if (count == kMaxChunksWalked) {
        walk_.contradict(at, fmt::format("more than {} chunks; the rest was not walked", kMaxChunksWalked));
        break;
      }
      const auto* p = window_.at(at, 8);
      if (p == nullptr || !is_chunk_id(p)) break;
      const std::string id(text_at(p, 4));
      const std::int64_t declared = be32(p + 4);
      const auto body = at + 8;
      const auto room = size_ - body;
      auto length = std::min(declared, room);
      walk_.chunk(id);
      // Those of the AIFF 1.3 and AIFF-C papers, and a few that are usual; from memory.
      static constexpr std::string_view kKnown[] = {"COMM", "SSND", "FVER", "MARK", "COMT", "INST", "MIDI", "AESD", "APPL", "NAME", "AUTH", "(c) ",
                                                    "ANNO", "SAXL", "ID3 ", "id3 ", "CHAN", "basc", "trns", "cate", "PEAK", "LGWV", "ResU", "bext",
                                                    "iXML", "_PMX", "FLLR", "JUNK", "PAD ", "free", "FREE"};
      const bool padding = id == "FLLR" || id == "JUNK" || id == "PAD " || id == "free" || id == "FREE";
      if (padding ? length > kMostPaddingBytes : std::find(std::begin(kKnown), std::end(kKnown), id) == std::end(kKnown)) walk_.unusual(id, length);
      if (id == "SSND" && sound_head_ < 0) {
        length = sound_chunk(at, declared, room);
      } else {
        if (declared > room) {
          walk_.contradict(
              at, fmt::format("chunk {} says {} bytes, {} are there", printable(id), grouped(declared), grouped(room)));
        }
        if (auto ok = other_chunk(id, at, body, length); !ok) return ok;
      }
      at = after(id, at, body + length, length);
    }
    end_ = std::min(at, size_);
    return {};
  }

  std::int64_t after(const std::string& id, std::int64_t head, std::int64_t end, std::int64_t length) {
    if ((length & 1) == 0) return end;
    if (end >= size_) return end;  // SoX leaves out the last pad byte, and no reader minds
    const auto* pad = window_.at(end, 1);
    const bool zero = pad != nullptr && *pad == 0;
    if (legal_at(end + 1)) {
      if (!zero) walk_.contradict(end, fmt::format("the pad byte after chunk {} is not 0", printable(id)), true);
      return end + 1;
    }
    if (legal_at(end)) {
      walk_.contradict(head, fmt::format("chunk {} has an odd size and is not followed by a pad byte", printable(id)), true);
      return end;
    }
    return zero ? end + 1 : end;
  }

  std::int64_t sound_chunk(std::int64_t at, std::int64_t declared, std::int64_t room) {
    sound_head_ = at;
    const auto* p = window_.at(at + 8, 8);
    auto& data = walk_.result.data;
    data.offset = std::min(size_, at + 16);
    if (p == nullptr) {
      walk_.contradict(at, "the SSND chunk ends inside its own header");
      return room;
    }
    const std::int64_t skip = be32(p);
    data.offset += skip;
    const bool unknown = declared == 0xffffffff || (declared <= 8 && room > 16 && !legal_at(at + 8 + declared));
    if (skip > 0 && data.offset > size_) {
      walk_.contradict(
          at + 8,
          fmt::format("the samples are said to begin {} bytes into SSND, beyond the end of the file", grouped(skip)));
      data.offset = size_;
    }
    if (unknown) {
      walk_.contradict(at + 4, fmt::format("the SSND size was never filled in; {} bytes follow", grouped(room)), true);
      data.bytes = size_ - data.offset;
      return room;
    }
    declared_bytes_ = std::max<std::int64_t>(0, declared - 8 - skip);
    data.bytes = std::clamp<std::int64_t>(std::min(declared, room) - 8 - skip, 0, size_ - data.offset);
    return std::min(declared, room);
  }

  Result<void> other_chunk(const std::string& id, std::int64_t at, std::int64_t body, std::int64_t length) {
    if (id == "COMM") {
      if (have_common_) {
        walk_.contradict(at, "a second COMM chunk; readers disagree about which one counts");
        return {};
      }
      return common_chunk(at, body, length);
    }
    if (id == "SSND") {
      walk_.contradict(at, "a second SSND chunk; most readers ignore or refuse it");
    } else if (id == "CHAN") {
      if (length >= 12) {
        layout_at_ = body;
        layout_length_ = length;
      }
    } else if (id == "MARK") {
      read_markers(body, length);
    } else if (id == "ID3 " || id == "id3 ") {
      read_id3v2(walk_, body, body + length, "ID3v2");
    } else if (id == "NAME" || id == "AUTH" || id == "(c) " || id == "ANNO") {
      const auto copy = copy_range(window_.bytes(), body, length, kMaxTextBytes);
      const auto value = until_nul(text_at(copy.data(), copy.size()));
      walk_.text("AIFF", id, value);
      walk_.tag(id == "NAME"   ? "title"
                : id == "AUTH" ? "artist"
                : id == "ANNO" ? "comment"
                               : "copyright",
                value, "AIFF");
    }
    return {};
  }

  // A count, then per marker an id, a frame, and a text under its length, which with that takes an even number of bytes.
  void read_markers(std::int64_t body, std::int64_t length) {
    auto& markers = walk_.result.facts.markers;
    const auto* head = length < 2 || !markers.empty() ? nullptr : window_.at(body, 2);
    const std::size_t count = head == nullptr ? 0 : std::min<std::size_t>(be16(head), kMaxMarkers);
    const auto end = body + length;
    for (auto at = body + 2; markers.size() < count && at + 7 <= end;) {
      const auto* p = window_.at(at, 7);
      if (p == nullptr) return;
      const std::int64_t frame = be32(p + 2), size = p[6];
      const auto name = at + 7 + size <= end ? window_.up_to(at + 7, size) : std::span<const std::uint8_t>();
      if (std::ssize(name) != size) return;
      markers.push_back({frame, std::string(until_nul(text_at(name.data(), name.size())))});
      at += 7 + size + (size & 1 ? 0 : 1);
    }
  }

  Result<void> common_chunk(std::int64_t at, std::int64_t body, std::int64_t length) {
    const std::int64_t needed = compressed_form_ ? 22 : 18;
    const auto have = std::min<std::int64_t>(length, needed);
    const auto* p = have >= 18 ? window_.at(body, have) : nullptr;
    if (p == nullptr)
      return walk_.refuse(ErrorCode::unrecognised,
                          fmt::format("its COMM chunk has {} bytes, {} are needed; export it again", length, needed));
    have_common_ = true;
    comm_at_ = at;
    const int channels = be16(p);
    const std::int64_t frames = be32(p + 2);
    bits_ = be16(p + 6);
    const double rate = extended(p + 8);
    std::string type = "NONE";
    if (compressed_form_ && have >= 22)
      type = text_at(p + 18, 4);
    else if (compressed_form_)
      walk_.contradict(at, "the COMM chunk of an AIFF-C file does not name its compression");
    if (auto ok = walk_.check_format(channels, rate); !ok) return ok;
    auto& format = walk_.result.format;
    auto& data = walk_.result.data;
    format.channels = channels;
    format.sample_rate = static_cast<int>(std::lround(rate));
    if (format.sample_rate != rate)
      walk_.contradict(body + 8, fmt::format("the sample rate of {:.6f} Hz is no whole number", rate));
    walk_.result.facts.declared_frames = frames;
    data.big_endian = true;

    const auto fixed = [&](Codec codec, int bytes, int bits) {
      data.codec = codec;
      data.sample_bytes = bytes;
      if (bits_ != bits)
        walk_.contradict(body + 6,
                         fmt::format("compression {} has {} bits, the header says {}", printable(type), bits, bits_));
      bits_ = bits;
    };
    if (type == "NONE" || type == "twos" || type == "sowt") {
      data.sample_bytes = (bits_ + 7) / 8;
      data.big_endian = type != "sowt";
    } else if (type == "raw ") {
      fixed(Codec::pcm, 1, 8);
      data.unsigned_codes = true;
    } else if (type == "in24" || type == "42ni" || type == "42n1") {
      fixed(Codec::pcm, 3, 24);
      data.big_endian = type == "in24";
    } else if (type == "in32" || type == "23ni") {
      fixed(Codec::pcm, 4, 32);
      data.big_endian = type == "in32";
    } else if (type == "fl32" || type == "FL32") {
      fixed(Codec::ieee_float, 4, 32);
    } else if (type == "fl64" || type == "FL64") {
      fixed(Codec::ieee_float, 8, 64);
    } else if (type == "alaw" || type == "ALAW") {
      data.codec = Codec::a_law;
    } else if (type == "ulaw" || type == "ULAW") {
      data.codec = Codec::mu_law;
    } else if (type == "ima4") {
      data.codec = Codec::ima_adpcm;
      if (channels > 2)
        return walk_.refuse(ErrorCode::unrecognised,
                            "it is IMA ADPCM with more than two channels, which cannot be decoded here; export PCM");
    } else {
      return walk_.refuse(ErrorCode::unrecognised,
                          fmt::format("it is AIFF-C with compression \"{}\", which cannot be decoded here; export PCM",
                                      printable(type)));
    }
    const bool plain = data.codec == Codec::pcm || data.codec == Codec::ieee_float;
    if (plain && (data.sample_bytes < 1 || (data.codec == Codec::pcm && data.sample_bytes > 4)))
      return walk_.refuse(ErrorCode::unrecognised,
                          fmt::format("its header says {} bits per sample; export 16, 24 or 32 bits", bits_));
    if (data.codec == Codec::ima_adpcm) {
      data.frame_bytes = 34 * channels;  // a packet: per channel 2 bytes of state and 32 of nibbles
      data.packet_frames = 64;
    } else {
      data.frame_bytes = channels * (plain ? data.sample_bytes : 1);
    }
    return {};
  }

  void layout() {
    auto& format = walk_.result.format;
    set_default_speakers(format);
    if (layout_at_ < 0) return;
    const auto* p = window_.at(layout_at_, 12);
    if (p == nullptr) return;
    const auto tag = be32(p);
    const auto mask = be32(p + 4);
    if (tag == 0x10000) {
      if (!set_speakers_from_mask(format, mask))
        walk_.contradict(layout_at_,
                         fmt::format("the CHAN bitmap 0x{:X} does not fit {} channels", mask, format.channels), true);
      return;
    }
    if (tag == 0) {
      const std::int64_t count = be32(p + 8);
      if (count != format.channels || layout_length_ < 12 + count * 20) return;
      std::vector<Speaker> speakers;
      for (std::int64_t i = 0; i < count; ++i) {
        const auto* entry = window_.at(layout_at_ + 12 + i * 20, 4);
        speakers.push_back(entry == nullptr ? Speaker::unknown : speaker_of_caf_label(be32(entry)));
      }
      set_speakers(format, std::move(speakers));
      return;
    }
    if (!set_speakers_from_caf_tag(format, tag) && static_cast<int>(tag & 0xffff) != format.channels &&
        tag >> 16 != 0 && tag >> 16 < 0xff00)
      walk_.contradict(layout_at_, fmt::format("the CHAN layout is for {} channels, the file has {}", tag & 0xffff,
                                               format.channels), true);
  }

  void finish() {
    auto& facts = walk_.result.facts;
    auto& data = walk_.result.data;
    auto& format = walk_.result.format;
    layout();
    const auto declared = *facts.declared_frames;
    const auto room = sound_head_ < 0 ? 0 : size_ - data.offset;
    const auto sound_frames = declared_bytes_ ? frames_in(data, *declared_bytes_) : frames_in(data, data.bytes);
    // ima4 counts packets of 64 frames in COMM.
    const auto said = data.codec == Codec::ima_adpcm ? declared * 64 : declared;
    facts.declared_frames = said;
    if (declared_bytes_ && *declared_bytes_ > room)
      walk_.contradict(sound_head_, fmt::format("the SSND chunk says {} frames, {} are there", grouped(sound_frames),
                                                grouped(frames_in(data, room))));
    if (said != sound_frames)
      walk_.contradict(comm_at_ + 10,
                       fmt::format("COMM says {} frames, SSND holds {}", grouped(said), grouped(sound_frames)));
    if (data.codec == Codec::pcm || data.codec == Codec::ieee_float) {
      finish_plain(walk_, bits_);
    } else {
      facts.encoding = data.codec == Codec::a_law ? "A-law" : data.codec == Codec::mu_law ? "\u00b5-law" : "IMA ADPCM";
      format.kind = SampleKind::real;
      format.lossy = true;
      facts.walked_frames = frames_in(data, data.bytes);
      walk_.result.expected_frames = facts.walked_frames;
      facts.bit_rate_kbit_s = 8e-3 * format.sample_rate * data.frame_bytes / data.packet_frames;
      facts.bit_rate_mode = "constant";
      data.decoder_head =
          data.codec == Codec::ima_adpcm ? aifc_decoder_head(data, format) : wave_decoder_head(data, format);
    }
    if (end_ < size_) judge_tail(walk_, end_, sound_head_ >= 0 && std::abs(end_ - (data.offset + data.bytes)) <= 1);
  }

  Walk& walk_;
  Window& window_;
  const std::int64_t size_;
  bool compressed_form_ = false, have_common_ = false;
  int bits_ = 0;
  std::int64_t comm_at_ = -1, sound_head_ = -1, end_ = 0, layout_at_ = -1, layout_length_ = 0;
  std::optional<std::int64_t> declared_bytes_;
};

}  // namespace

Result<void> walk_aiff(Walk& walk) { return AiffWalk(walk).run(); }

}  // namespace sendworthy::audio
