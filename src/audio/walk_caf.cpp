// Core Audio Format: big-endian chunks with 64-bit sizes.
#include <fmt/format.h>

#include <algorithm>
#include <bit>
#include <cmath>
#include <optional>
#include <string>

#include "audio/decoder_head.h"
#include "audio/speakers.h"
#include "audio/walk.h"
#include "audio/wave_text.h"

namespace sendworthy::audio {
namespace {

constexpr std::int64_t kHead = 12;

class CafWalk {
 public:
  explicit CafWalk(Walk& walk) : walk_(walk), window_(walk.window), size_(walk.size()) {}

  Result<void> run() {
    walk_.result.facts.container = "CAF";
    const auto* head = window_.at(0, 8);
    if (head == nullptr)
      return walk_.refuse(ErrorCode::unrecognised, "it ends inside its CAF header; copy or export it again");
    if (be16(head + 4) != 1) walk_.contradict(4, fmt::format("CAF version {}, only 1 is defined", be16(head + 4)));
    if (be16(head + 6) != 0) walk_.contradict(6, "the CAF flags are not 0");
    if (auto ok = chunks(); !ok) return ok;
    if (!described_) return walk_.refuse(ErrorCode::unrecognised, "it has no desc chunk; export it again");
    if (data_head_ < 0 && walk_.result.facts.chunks_total >= kMaxChunksWalked)
      return walk_.refuse(ErrorCode::no_audio, fmt::format("its first {} chunks hold no audio, and more are not read; export it again",
                                                           kMaxChunksWalked));
    if (data_head_ < 0)
      return walk_.refuse(ErrorCode::no_audio, "it has no data chunk, so there is no audio in it; export it again");
    finish();
    return {};
  }

 private:
  bool legal_at(std::int64_t at) {
    if (at >= size_) return true;
    const auto* p = window_.at(at, kHead);
    return p != nullptr && is_chunk_id(p) && size_from(be64(p + 4)) <= size_ - at - kHead;
  }

  Result<void> chunks() {
    std::int64_t at = 8;
    for (std::int64_t count = 0; at < size_; ++count) {
      if (count == kMaxChunksWalked) {
        walk_.contradict(at, fmt::format("more than {} chunks; the rest was not walked", kMaxChunksWalked));
        break;
      }
      const auto* p = window_.at(at, kHead);
      if (p == nullptr || !is_chunk_id(p)) break;
      const std::string id(text_at(p, 4));
      const auto raw = be64(p + 4);
      const auto declared = size_from(raw);
      const auto body = at + kHead;
      const auto room = size_ - body;
      walk_.chunk(id);
      if (count == 0 && id != "desc")
        walk_.contradict(at, fmt::format("the first chunk must be desc, it is {}", printable(id)));
      if (id == "data" && data_head_ < 0) {
        at = body + data_chunk(at, raw, room);
        continue;
      }
      if (declared > room)
        walk_.contradict(
            at, fmt::format("chunk {} says {} bytes, {} are there", printable(id), grouped(declared), grouped(room)));
      const auto length = std::min(declared, room);
      if (auto ok = other_chunk(id, at, body, length); !ok) return ok;
      at = body + length;
    }
    // libsndfile rounds the file up to an even length.
    if (size_ - at == 1 && at % 2 != 0) {
      if (const auto* pad = window_.at(at, 1); pad != nullptr && *pad == 0) at = size_;
    }
    end_ = std::min(at, size_);
    return {};
  }

  std::int64_t data_chunk(std::int64_t at, std::uint64_t raw, std::int64_t room) {
    data_head_ = at;
    auto& data = walk_.result.data;
    data.offset = std::min(size_, at + kHead + 4);  // an edit count stands first
    if (raw == ~std::uint64_t{0}) {                 // allowed for the last chunk: "to the end of the file"
      data.bytes = size_ - data.offset;
      return room;
    }
    const auto declared = size_from(raw);
    if (declared < 4) {
      walk_.contradict(at + 4, fmt::format("the data chunk says {} bytes, its edit count alone takes 4", declared));
      if (!legal_at(at + kHead + declared)) {
        data.bytes = size_ - data.offset;
        return room;
      }
      return declared;
    }
    declared_bytes_ = declared - 4;
    data.bytes = std::clamp<std::int64_t>(std::min(declared, room) - 4, 0, size_ - data.offset);
    return std::min(declared, room);
  }

  Result<void> other_chunk(const std::string& id, std::int64_t at, std::int64_t body, std::int64_t length) {
    if (id == "desc") {
      if (described_)
        walk_.contradict(at, "a second desc chunk; readers disagree about which one counts");
      else
        return description(body, length);
    } else if (id == "data") {
      walk_.contradict(at, "a second data chunk; most readers ignore or refuse it");
    } else if (id == "chan" && length >= 12) {
      layout_at_ = body;
      layout_length_ = length;
    } else if (id == "info" && length >= 4) {
      information(body, length);
    } else if (id == "iXML") {
      read_xml(walk_, "iXML", body, length);
    }
    return {};
  }

  Result<void> description(std::int64_t body, std::int64_t length) {
    const auto* p = length >= 32 ? window_.at(body, 32) : nullptr;
    if (p == nullptr)
      return walk_.refuse(ErrorCode::unrecognised,
                          fmt::format("its desc chunk has {} bytes, 32 are needed; export it again", length));
    described_ = true;
    const auto rate = std::bit_cast<double>(be64(p));
    const std::string type(text_at(p + 8, 4));
    const auto flags = be32(p + 12);
    const auto packet_bytes = be32(p + 16);
    const auto packet_frames = be32(p + 20);
    const std::int64_t channels = be32(p + 24);
    const auto bits = be32(p + 28);
    if (auto ok = walk_.check_format(channels, rate); !ok) return ok;
    auto& format = walk_.result.format;
    auto& data = walk_.result.data;
    format.channels = static_cast<int>(channels);
    format.sample_rate = static_cast<int>(std::lround(rate));
    if (format.sample_rate != rate)
      walk_.contradict(body, fmt::format("the sample rate of {:.6f} Hz is no whole number", rate));
    std::uint32_t expected_packet = 0;
    std::uint32_t expected_frames = 1;
    if (type == "lpcm") {
      const bool real = (flags & 1) != 0;
      data.codec = real ? Codec::ieee_float : Codec::pcm;
      data.big_endian = (flags & 2) == 0;
      const auto by_bits = bits <= 64 ? (bits + 7) / 8 : 0;
      const auto by_packet = packet_bytes % static_cast<std::uint32_t>(channels) == 0
                                 ? packet_bytes / static_cast<std::uint32_t>(channels)
                                 : 0;
      const auto usable = [real](std::uint32_t n) { return real ? n == 4 || n == 8 : n >= 1 && n <= 4; };
      data.sample_bytes = static_cast<int>(usable(by_packet) && by_packet >= by_bits ? by_packet : by_bits);
      if (bits == 0 || !usable(static_cast<std::uint32_t>(data.sample_bytes)))
        return walk_.refuse(
            ErrorCode::unrecognised,
            fmt::format("its header says {} samples of {} bits, which cannot be read; export 16, 24 or 32 bits",
                        real ? "float" : "PCM", bits));
      valid_bits_ = static_cast<int>(bits);
      data.frame_bytes = data.sample_bytes * format.channels;
      expected_packet = static_cast<std::uint32_t>(data.frame_bytes);
    } else if (type == "ulaw" || type == "alaw") {
      data.codec = type == "ulaw" ? Codec::mu_law : Codec::a_law;
      data.frame_bytes = format.channels;
      expected_packet = static_cast<std::uint32_t>(channels);
    } else if (type == "ima4" && channels <= 2) {
      data.codec = Codec::ima_adpcm;
      data.frame_bytes = 34 * format.channels;
      data.packet_frames = 64;
      expected_packet = static_cast<std::uint32_t>(data.frame_bytes);
      expected_frames = 64;
    } else {
      return walk_.refuse(ErrorCode::unrecognised,
                          fmt::format("it is CAF with codec \"{}\", which cannot be decoded here; export PCM or FLAC",
                                      printable(type)));
    }
    if (packet_bytes != expected_packet || packet_frames != expected_frames)
      walk_.contradict(body + 16, fmt::format("the header says {} bytes and {} frames a packet, it must be {} and {}",
                                              packet_bytes, packet_frames, expected_packet, expected_frames));
    return {};
  }

  void information(std::int64_t body, std::int64_t length) {
    const auto copy = copy_range(window_.bytes(), body, length, 1 << 20);
    if (copy.size() < 4) return;
    const auto count = std::min<std::uint32_t>(be32(copy.data()), kMaxTexts);
    auto rest = text_at(copy.data() + 4, copy.size() - 4);
    for (std::uint32_t i = 0; i < count; ++i) {
      const auto key_end = rest.find('\0');
      if (key_end == std::string_view::npos) break;
      auto key = std::string(rest.substr(0, std::min<std::size_t>(key_end, 256)));
      rest.remove_prefix(key_end + 1);
      const auto value_end = rest.find('\0');
      const auto value = rest.substr(0, value_end);
      walk_.text("CAF info", printable(key), value);
      for (auto& c : key) c = c >= 'A' && c <= 'Z' ? static_cast<char>(c - 'A' + 'a') : c;
      if (key == "track number" || key == "tracknumber") key = "track";
      if (key == "comments") key = "comment";
      if (key == "year" || key == "recorded date") key = "date";
      walk_.tag(printable(key), value, "CAF info");
      if (value_end == std::string_view::npos) break;
      rest.remove_prefix(value_end + 1);
    }
  }

  void layout() {
    auto& format = walk_.result.format;
    set_default_speakers(format);
    const auto* p = layout_at_ < 0 ? nullptr : window_.at(layout_at_, 12);
    if (p == nullptr) return;
    const auto tag = be32(p);
    if (tag == 0x10000) {
      if (!set_speakers_from_mask(format, be32(p + 4)))
        walk_.contradict(layout_at_ + 4, fmt::format("the chan bitmap does not fit {} channels", format.channels), true);
    } else if (tag == 0) {
      const std::int64_t count = be32(p + 8);
      if (count != format.channels || layout_length_ < 12 + count * 20)
        return walk_.contradict(layout_at_ + 8, fmt::format("the chan chunk describes {} channels, the file has {}",
                                                            count, format.channels), true);
      std::vector<Speaker> speakers;
      for (std::int64_t i = 0; i < count; ++i) {
        const auto* entry = window_.at(layout_at_ + 12 + i * 20, 4);
        speakers.push_back(entry == nullptr ? Speaker::unknown : speaker_of_caf_label(be32(entry)));
      }
      set_speakers(format, std::move(speakers));
    } else if (!set_speakers_from_caf_tag(format, tag) && tag >> 16 < 0xff00 &&
               static_cast<int>(tag & 0xffff) != format.channels) {
      walk_.contradict(layout_at_, fmt::format("the chan layout is for {} channels, the file has {}", tag & 0xffff,
                                               format.channels), true);
    }
  }

  void finish() {
    auto& facts = walk_.result.facts;
    auto& data = walk_.result.data;
    auto& format = walk_.result.format;
    layout();
    if (declared_bytes_) {
      facts.declared_frames = frames_in(data, *declared_bytes_);
      const auto room = size_ - data.offset;
      if (*declared_bytes_ > room)
        walk_.contradict(data_head_, fmt::format("the data chunk says {} frames, {} are there",
                                                 grouped(*facts.declared_frames), grouped(frames_in(data, room))));
      else if (*declared_bytes_ % data.frame_bytes != 0)
        walk_.contradict(data_head_ + 4,
                         fmt::format("the data size of {} bytes is no whole number of frames of {} bytes",
                                     grouped(*declared_bytes_), data.frame_bytes));
    }
    if (data.codec == Codec::pcm || data.codec == Codec::ieee_float) {
      finish_plain(walk_, valid_bits_);
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
    if (end_ < size_) judge_tail(walk_, end_, end_ == data.offset + data.bytes);
  }

  Walk& walk_;
  Window& window_;
  const std::int64_t size_;
  bool described_ = false;
  int valid_bits_ = 0;
  std::int64_t data_head_ = -1, end_ = 0, layout_at_ = -1, layout_length_ = 0;
  std::optional<std::int64_t> declared_bytes_;
};

}  // namespace

Result<void> walk_caf(Walk& walk) { return CafWalk(walk).run(); }

}  // namespace sendworthy::audio
