// Ogg pages (RFC 3533) with Vorbis or Opus (RFC 7845) inside: every page is looked at, none is decoded.
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

// Checksum of RFC 3533: polynomial 04C11DB7h, start 0, no reflection; eight bytes a step.
constexpr auto kCrcTables = [] {
  std::array<std::array<std::uint32_t, 256>, 8> tables{};
  for (std::uint32_t i = 0; i < 256; ++i) {
    std::uint32_t crc = i << 24;
    for (int bit = 0; bit < 8; ++bit) crc = crc << 1 ^ ((crc & 0x80000000u) != 0 ? 0x04c11db7u : 0);
    tables[0][i] = crc;
  }
  for (std::size_t t = 1; t < 8; ++t) {
    for (std::size_t i = 0; i < 256; ++i) tables[t][i] = tables[t - 1][i] << 8 ^ tables[0][tables[t - 1][i] >> 24];
  }
  return tables;
}();

std::uint32_t crc32(std::uint32_t crc, const std::uint8_t* p, std::size_t n) {
  for (; n >= 8; p += 8, n -= 8) {
    const auto a = crc ^ be32(p);
    const auto b = be32(p + 4);
    crc = kCrcTables[7][a >> 24] ^ kCrcTables[6][a >> 16 & 0xff] ^ kCrcTables[5][a >> 8 & 0xff] ^
          kCrcTables[4][a & 0xff] ^ kCrcTables[3][b >> 24] ^ kCrcTables[2][b >> 16 & 0xff] ^
          kCrcTables[1][b >> 8 & 0xff] ^ kCrcTables[0][b & 0xff];
  }
  for (; n > 0; ++p, --n) crc = crc << 8 ^ kCrcTables[0][crc >> 24 ^ *p];
  return crc;
}

// The field of the checksum itself counts as zero.
std::uint32_t page_crc(const std::uint8_t* page, std::size_t length) {
  constexpr std::uint8_t kZero[4] = {};
  return crc32(crc32(crc32(0, page, 22), kZero, 4), page + 26, length - 26);
}

constexpr std::int64_t kMaxPage = 27 + 255 + 255 * 255;
constexpr std::int64_t kNoGranule = -1;

struct Page {
  std::int64_t offset = 0, length = 0, granule = kNoGranule;
  std::uint32_t serial = 0, sequence = 0;
  bool continued = false, first = false, last = false;
  const std::uint8_t* bytes = nullptr;  // good until the window moves
  int segments = 0;
};

class OggWalk {
 public:
  OggWalk(Walk& walk, std::int64_t start) : walk_(walk), window_(walk.window), start_(start), size_(walk.size()) {}

  Result<void> run() {
    if (start_ > 0) walk_.contradict(0, "an ID3v2 tag stands before the first Ogg page; Ogg has its own comments");
    if (auto ok = pages(); !ok) return ok;
    if (!identified_)
      return walk_.refuse(ErrorCode::unrecognised, "it ends inside its first Ogg page; copy or export it again");
    return finish();
  }

 private:
  // The page at an offset, or nothing: no capture pattern, or not whole.
  std::optional<Page> page_at(std::int64_t offset) {
    const auto* head = window_.at(offset, 27);
    if (head == nullptr || text_at(head, 4) != "OggS" || head[4] != 0) return std::nullopt;
    const int segments = head[26];
    const auto* table = window_.at(offset, 27 + segments);
    if (table == nullptr) return std::nullopt;
    std::int64_t length = 27 + segments;
    for (int i = 0; i < segments; ++i) length += table[27 + i];
    Page page;
    page.bytes = window_.at(offset, length);
    if (page.bytes == nullptr) return std::nullopt;
    page.offset = offset;
    page.length = length;
    page.segments = segments;
    page.continued = (page.bytes[5] & 1) != 0;
    page.first = (page.bytes[5] & 2) != 0;
    page.last = (page.bytes[5] & 4) != 0;
    page.granule = static_cast<std::int64_t>(le64(page.bytes + 6));
    page.serial = le32(page.bytes + 14);
    page.sequence = le32(page.bytes + 18);
    return page;
  }

  std::int64_t next_capture(std::int64_t from) {
    while (from < size_) {
      const auto bytes = window_.up_to(from, kMaxPage);
      const auto found = text_at(bytes.data(), bytes.size()).find("OggS");
      if (found != std::string_view::npos) return from + static_cast<std::int64_t>(found);
      if (bytes.size() < 4) break;
      from += std::ssize(bytes) - 3;
    }
    return size_;
  }

  Result<void> pages() {
    std::int64_t at = start_;
    while (at < size_) {
      const auto page = page_at(at);
      if (!page) {
        const auto next = next_capture(at + 1);
        if (next >= size_) {
          const auto* head = window_.at(at, 4);
          if (head != nullptr && text_at(head, 4) == "OggS")
            walk_.damage(at, fmt::format("the last Ogg page is cut off: {} bytes of it are there", size_ - at));
          else
            walk_.result.facts.trailing_bytes = size_ - at;
          break;
        }
        walk_.damage(at, fmt::format("{} bytes that are no Ogg page", grouped(next - at)));
        at = next;
        continue;
      }
      if (page_crc(page->bytes, static_cast<std::size_t>(page->length)) != le32(page->bytes + 22)) {
        walk_.damage(at, "the checksum of an Ogg page is wrong; a decoder drops it",
                     std::max<std::int64_t>(0, last_granule_));
      } else {
        auto go_on = take(*page);
        if (!go_on) return tl::unexpected(go_on.error());
        if (!*go_on) break;
      }
      at += page->length;
    }
    end_ = std::min(at, size_);
    return {};
  }

  // False when another stream begins behind this one.
  Result<bool> take(const Page& page) {
    if (!identified_) {
      if (!page.first)
        return walk_.refuse(ErrorCode::unrecognised,
                            "its first Ogg page is not the beginning of a stream; copy or export it again");
      serial_ = page.serial;
      sequence_ = page.sequence;
      if (auto ok = identify(page); !ok) return tl::unexpected(ok.error());
      first_page_ = page.offset;
      second_page_ = page.offset + page.length;
      first_bytes_.assign(page.bytes, page.bytes + page.length);
      return true;
    }
    if (page.first) {
      if (pages_ == 1 && !ended_)
        return walk_.refuse(ErrorCode::unrecognised,
                            "it holds several Ogg streams at once (a video?); export the audio alone");
      walk_.contradict(page.offset, "a second stream is chained on here; only the first one is read");
      walk_.result.facts.trailing_bytes = size_ - page.offset;
      return false;
    }
    ++pages_;
    if (page.serial != serial_) {
      walk_.damage(page.offset, "a page of a foreign stream");
      return true;
    }
    if (ended_) walk_.damage(page.offset, "a page after the one that is marked as the last");
    if (page.sequence != sequence_ + 1)
      walk_.damage(page.offset, fmt::format("Ogg page {} follows page {}", page.sequence, sequence_),
                   std::max<std::int64_t>(0, last_granule_));
    sequence_ = page.sequence;
    if (page.granule != kNoGranule) {
      if (page.granule < last_granule_)
        walk_.damage(page.offset, "the time of an Ogg page runs backwards", std::max<std::int64_t>(0, last_granule_));
      last_granule_ = std::max(last_granule_, page.granule);
    }
    ended_ = ended_ || page.last;
    segments(page);
    return true;
  }

  void segments(const Page& page) {
    const auto* body = page.bytes + 27 + page.segments;
    for (int i = 0; i < page.segments; ++i) {
      const int length = page.bytes[27 + i];
      packet_length_ += length;
      if (packet_ == 1 && comment_.size() < static_cast<std::size_t>(kMaxTagBytes))
        comment_.insert(comment_.end(), body, body + length);
      body += length;
      if (length == 255) continue;
      if (packet_ == 1 && packet_length_ > kMaxTagBytes) comments_too_long_ = true;
      if (packet_ == 1) comment_at_ = page.offset;
      if (packet_ >= first_audio_packet_) {
        audio_bytes_ += packet_length_;
        if (audio_packets_ == 0) packet_size_ = packet_length_;
        if (packet_length_ != packet_size_) same_size_ = false;
        ++audio_packets_;
      }
      ++packet_;
      packet_length_ = 0;
    }
  }

  Result<void> identify(const Page& page) {
    const auto* p = page.bytes + 27 + page.segments;
    const auto length = page.length - 27 - page.segments;
    auto& format = walk_.result.format;
    auto& facts = walk_.result.facts;
    const auto begins = [&](std::string_view magic) {
      return length >= std::ssize(magic) && text_at(p, magic.size()) == magic;
    };
    if (begins("\x01vorbis") && length >= 30) {
      facts.container = "Ogg Vorbis";
      facts.encoding = "Vorbis";
      walk_.result.data.codec = Codec::vorbis;
      format.channels = p[11];
      const auto rate = le32(p + 12);
      if (auto ok = walk_.check_format(format.channels, rate); !ok) return ok;
      format.sample_rate = static_cast<int>(rate);
      const int small = p[28] & 15, large = p[28] >> 4;
      if (le32(p + 7) != 0 || small < 6 || large > 13 || small > large || (p[29] & 1) == 0)
        return walk_.refuse(ErrorCode::unrecognised, "its Vorbis identification header is illegal; export it again");
      first_audio_packet_ = 3;
    } else if (begins("OpusHead") && length >= 19) {
      facts.container = "Opus";
      facts.encoding = "Opus";
      walk_.result.data.codec = Codec::opus;
      format.channels = p[9];
      format.sample_rate = 48'000;  // what Opus is decoded at; the rate in the header is a remark about the original
      if (auto ok = walk_.check_format(format.channels, 48'000); !ok) return ok;
      pre_skip_ = le16(p + 10);
      const int family = p[18];
      if ((p[8] & 0xf0) != 0)
        return walk_.refuse(ErrorCode::unrecognised,
                            fmt::format("its Opus header has version {}, which is not known here", p[8]));
      if (family == 0 ? format.channels > 2 : family != 1 || format.channels > 8)
        return walk_.refuse(
            ErrorCode::unrecognised,
            fmt::format("it is Opus with channel mapping {} and {} channels, which cannot be decoded here; export PCM",
                        family, format.channels));
      if (family == 1) {
        if (length < 21 + format.channels)
          return walk_.refuse(ErrorCode::unrecognised, "its Opus header is too short; export it again");
        const int streams = p[19], coupled = p[20];
        bool legal = streams >= 1 && coupled <= streams && streams + coupled <= 255;
        for (int i = 0; i < format.channels; ++i) legal = legal && (p[21 + i] == 255 || p[21 + i] < streams + coupled);
        if (!legal)
          return walk_.refuse(ErrorCode::unrecognised, "its Opus channel mapping is illegal; export it again");
      }
      first_audio_packet_ = 2;
    } else {
      std::string_view what = "an unknown codec";
      if (begins("\x7f"
                 "FLAC"))
        what = "FLAC; export a plain FLAC file";
      else if (begins("Speex   "))
        what = "Speex";
      else if (begins("\x80theora"))
        what = "video";
      else if (begins("fishead"))
        what = "a skeleton of several streams; export the audio alone";
      return walk_.refuse(ErrorCode::unrecognised,
                          fmt::format("it is Ogg with {}; Vorbis and Opus can be decoded here", what));
    }
    walk_.chunk(facts.encoding == "Opus" ? "OpusHead" : "vorbis identification");
    packet_ = 1;
    pages_ = 1;
    identified_ = true;
    set_vorbis_speakers(format);
    return {};
  }

  Result<void> finish() {
    auto& facts = walk_.result.facts;
    auto& data = walk_.result.data;
    auto& format = walk_.result.format;
    const bool opus = data.codec == Codec::opus;
    if (comments_too_long_)
      return walk_.refuse(
          ErrorCode::unrecognised,
          fmt::format("its comments are longer than {} bytes; remove the pictures in them", grouped(kMaxTagBytes)));
    if (packet_ > 1) {
      const std::string_view magic = opus ? "OpusTags" : "\x03vorbis";
      walk_.chunk(opus ? "OpusTags" : "vorbis comments");
      if (comment_.size() >= magic.size() && text_at(comment_.data(), magic.size()) == magic)
        read_vorbis_comments(walk_, std::span(comment_).subspan(magic.size()), comment_at_, "Vorbis comment");
      else
        walk_.contradict(comment_at_, "the second packet is not a comment header");
    }
    if (packet_ < first_audio_packet_)
      return walk_.refuse(ErrorCode::no_audio,
                          "it ends inside its header packets, so there is no audio in it; copy or export it again");
    format.kind = SampleKind::real;
    format.lossy = true;
    format.container_bits = 0;
    const auto frames = std::max<std::int64_t>(0, last_granule_ - pre_skip_);
    if (ended_)
      facts.declared_frames = frames;
    else
      walk_.damage(end_, "there is no page marked as the last: the stream may have been cut", -1, true);
    facts.walked_frames = frames;
    walk_.result.expected_frames = frames;
    if (frames > 0)
      facts.bit_rate_kbit_s =
          8e-3 * static_cast<double>(audio_bytes_) * format.sample_rate / static_cast<double>(frames);
    // Vorbis has no constant mode; Opus has one, and then every packet is as long as the others.
    facts.bit_rate_mode = opus && same_size_ && audio_packets_ > 1 ? "constant" : "variable";
    data.offset = opus ? second_page_ : first_page_;
    data.bytes = end_ - data.offset;
    if (opus) data.decoder_head = opus_head();
    return {};
  }

  // The first page with 48 kHz as the original's rate: the library would decode at that one otherwise.
  std::vector<std::uint8_t> opus_head() const {
    auto page = first_bytes_;
    const auto at = 27 + static_cast<std::size_t>(page[26]) + 12;
    constexpr std::uint32_t kRate = 48'000;
    for (std::size_t i = 0; i < 4; ++i) page[at + i] = static_cast<std::uint8_t>(kRate >> (8 * i));
    const auto crc = page_crc(page.data(), page.size());
    for (std::size_t i = 0; i < 4; ++i) page[22 + i] = static_cast<std::uint8_t>(crc >> (8 * i));
    return page;
  }

  Walk& walk_;
  Window& window_;
  const std::int64_t start_, size_;
  bool identified_ = false, ended_ = false, comments_too_long_ = false, same_size_ = true;
  std::uint32_t serial_ = 0, sequence_ = 0;
  std::int64_t pages_ = 0, packet_ = 0, packet_length_ = 0, first_audio_packet_ = 2, audio_packets_ = 0,
               packet_size_ = 0;
  std::int64_t audio_bytes_ = 0, last_granule_ = kNoGranule, pre_skip_ = 0;
  std::int64_t first_page_ = 0, second_page_ = 0, end_ = 0, comment_at_ = 0;
  std::vector<std::uint8_t> comment_, first_bytes_;
};

}  // namespace

Result<void> walk_ogg(Walk& walk, std::int64_t start) { return OggWalk(walk, start).run(); }

}  // namespace sendworthy::audio
