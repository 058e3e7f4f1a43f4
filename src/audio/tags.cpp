#include "audio/tags.h"

#include <fmt/format.h>
#include <taglib/commentsframe.h>
#include <taglib/id3v2framefactory.h>
#include <taglib/id3v2tag.h>
#include <taglib/mpegfile.h>
#include <taglib/tbytevectorstream.h>
#include <taglib/textidentificationframe.h>
#include <taglib/unsynchronizedlyricsframe.h>
#include <taglib/urllinkframe.h>
#include <taglib/xiphcomment.h>

#include <algorithm>
#include <string>
#include <utility>
#include <vector>

#include "audio/taglib_use.h"
#include "audio/wave_text.h"
#include "base/text.h"

namespace sendworthy::audio {
namespace {

using Bytevector = std::vector<std::uint8_t>;

std::string text_of(const TagLib::ID3v2::Frame& frame) {
  if (const auto* url = dynamic_cast<const TagLib::ID3v2::UrlLinkFrame*>(&frame)) return utf8(url->url());
  if (const auto* comment = dynamic_cast<const TagLib::ID3v2::CommentsFrame*>(&frame)) return utf8(comment->text());
  if (const auto* lyrics = dynamic_cast<const TagLib::ID3v2::UnsynchronizedLyricsFrame*>(&frame))
    return utf8(lyrics->text());
  return utf8(frame.toString());
}

void hand_id3v2_to_taglib(Walk& walk, const Bytevector& rebuilt, const std::string& origin) {
  with_taglib([&] {
    TagLib::ByteVector bytes(reinterpret_cast<const char*>(rebuilt.data()), static_cast<unsigned>(rebuilt.size()));
    TagLib::ByteVectorStream stream(bytes);
    TagLib::MPEG::File file(&stream, TagLib::ID3v2::FrameFactory::instance(), false);
    const auto* tag = file.ID3v2Tag();
    if (tag == nullptr) return;
    for (const auto* frame : tag->frameList()) {
      const auto id = frame->frameID();
      walk.text(origin, printable({id.data(), id.size()}), text_of(*frame));
    }
    note_properties(walk, tag->properties(), origin);
  });
}

// --- ID3v2 ---

std::int64_t synchsafe(const std::uint8_t* p) { return p[0] << 21 | p[1] << 14 | p[2] << 7 | p[3]; }
bool is_synchsafe(const std::uint8_t* p) { return ((p[0] | p[1] | p[2] | p[3]) & 0x80) == 0; }

bool is_frame_id(const std::uint8_t* p, int length) {
  return std::all_of(p, p + length, [](std::uint8_t c) { return (c >= 'A' && c <= 'Z') || (c >= '0' && c <= '9'); });
}

// Undoes unsynchronisation: FF 00 stands for FF.
Bytevector resynchronised(std::span<const std::uint8_t> bytes) {
  Bytevector out;
  out.reserve(bytes.size());
  for (std::size_t i = 0; i < bytes.size(); ++i) {
    out.push_back(bytes[i]);
    if (bytes[i] == 0xff && i + 1 < bytes.size() && bytes[i + 1] == 0) ++i;
  }
  return out;
}

struct FrameHead {
  std::string id;
  std::int64_t body = 0, size = 0;
  bool sealed = false;  // compressed or encrypted
  bool unsynchronised = false;
  int skip = 0;  // group byte, data length
};

// One tag's body, read from the file or, when the whole tag was unsynchronised, from memory.
class Id3Body {
 public:
  Id3Body(Walk& walk, std::int64_t offset, std::int64_t length, int version, int flags)
      : walk_(walk), offset_(offset), length_(length), version_(version), flags_(flags) {
    if (version < 4 && (flags & 0x80) != 0) {
      memory_ = resynchronised(copy_range(walk.window.bytes(), offset, length, kMaxTagBytes));
      in_memory_ = true;
      length_ = std::ssize(memory_);
    }
  }

  void read(const std::string& origin) {
    std::int64_t at = after_extended_header();
    Bytevector rebuilt;
    for (int frames = 0; frames < 4096; ++frames) {
      FrameHead head;
      if (!next_frame(at, head)) break;
      if (head.id == "APIC" || head.id == "PIC")
        picture(head, origin);
      else if (wanted(head))
        append(rebuilt, head);
      at = head.body + head.size;
    }
    if (rebuilt.empty()) return;
    const auto size = static_cast<std::uint32_t>(rebuilt.size());
    Bytevector tag = {'I', 'D', '3', static_cast<std::uint8_t>(version_), 0, 0};
    for (int shift = 21; shift >= 0; shift -= 7) tag.push_back(static_cast<std::uint8_t>(size >> shift & 0x7f));
    tag.insert(tag.end(), rebuilt.begin(), rebuilt.end());
    hand_id3v2_to_taglib(walk_, tag, origin);
  }

 private:
  static constexpr std::size_t kMaxRebuilt = 1 << 20;
  static constexpr std::int64_t kMaxPictureHead = 1 << 20;

  std::span<const std::uint8_t> up_to(std::int64_t at, std::int64_t bytes) {
    bytes = std::min(bytes, length_ - at);
    if (at < 0 || bytes <= 0) return {};
    if (in_memory_) return {memory_.data() + at, static_cast<std::size_t>(bytes)};
    return walk_.window.up_to(offset_ + at, bytes);
  }

  std::int64_t after_extended_header() {
    if (version_ < 3 || (flags_ & 0x40) == 0) return 0;
    const auto head = up_to(0, 4);
    if (head.size() < 4) return length_;
    return version_ == 3 ? 4 + std::int64_t{be32(head.data())} : synchsafe(head.data());
  }

  bool next_frame(std::int64_t at, FrameHead& head) {
    const int head_bytes = version_ == 2 ? 6 : 10;
    const int id_bytes = version_ == 2 ? 3 : 4;
    const auto bytes = up_to(at, head_bytes);
    if (std::ssize(bytes) < head_bytes || bytes[0] == 0 || !is_frame_id(bytes.data(), id_bytes)) return false;
    const std::vector<std::uint8_t> p(bytes.begin(), bytes.end());
    head.id = text_at(p.data(), static_cast<std::size_t>(id_bytes));
    head.body = at + head_bytes;
    if (version_ == 2)
      head.size = be24(p.data() + 3);
    else if (version_ == 3)
      head.size = be32(p.data() + 4);
    else
      head.size = is_synchsafe(p.data() + 4) ? synchsafe(p.data() + 4) : be32(p.data() + 4);
    // Some writers of 2.4 forgot that sizes are synchsafe there: the reading that leads to a next frame is right.
    if (version_ == 4 && head.size > 127 && !leads_on(head.body + head.size) &&
        leads_on(head.body + be32(p.data() + 4)))
      head.size = be32(p.data() + 4);
    if (head.size > length_ - head.body) {
      walk_.contradict(in_memory_ ? offset_ : offset_ + at,
                       fmt::format("the ID3v2 frame {} claims {} bytes, the tag has {} left", head.id,
                                   grouped(head.size), grouped(length_ - head.body)));
      return false;
    }
    if (version_ == 3) {
      head.sealed = (p[9] & 0xc0) != 0;
      head.skip = (p[9] & 0x20) != 0 ? 1 : 0;
    } else if (version_ == 4) {
      head.sealed = (p[9] & 0x0c) != 0;
      head.skip = ((p[9] & 0x40) != 0 ? 1 : 0) + ((p[9] & 0x01) != 0 ? 4 : 0);
      head.unsynchronised = (p[9] & 0x02) != 0 || (flags_ & 0x80) != 0;
    }
    return true;
  }

  bool leads_on(std::int64_t at) {
    if (at == length_) return true;
    const auto next = up_to(at, 4);
    return next.size() == 4 && (next[0] == 0 || is_frame_id(next.data(), 4));
  }

  static bool wanted(const FrameHead& head) {
    if (head.sealed || head.size <= head.skip || head.size > kMaxTextBytes) return false;
    return head.id[0] == 'T' || head.id[0] == 'W' || head.id == "COMM" || head.id == "COM" || head.id == "USLT" ||
           head.id == "ULT";
  }

  void append(Bytevector& rebuilt, const FrameHead& head) {
    const auto found = up_to(head.body + head.skip, head.size - head.skip);
    Bytevector body(found.begin(), found.end());
    if (head.unsynchronised) body = resynchronised(body);
    keep_broken_letters(body);
    if (body.empty() || rebuilt.size() + body.size() + 10 > kMaxRebuilt) return;
    rebuilt.insert(rebuilt.end(), head.id.begin(), head.id.end());
    const auto size = static_cast<std::uint32_t>(body.size());
    const int bits = version_ == 4 ? 7 : 8;
    for (int i = version_ == 2 ? 2 : 3; i >= 0; --i)
      rebuilt.push_back(static_cast<std::uint8_t>(size >> (bits * i) & (version_ == 4 ? 0x7f : 0xff)));
    if (version_ > 2) rebuilt.insert(rebuilt.end(), {0, 0});
    rebuilt.insert(rebuilt.end(), body.begin(), body.end());
  }

  // The library gives an empty text for UTF-8 that is none. A sign for each lost letter keeps the rest, and is seen later.
  static void keep_broken_letters(Bytevector& body) {
    constexpr std::uint8_t kUtf8 = 3;
    if (body.empty() || body[0] != kUtf8) return;
    const auto clean = base::clean_utf8(text_at(body.data() + 1, body.size() - 1));
    body.resize(1);
    body.insert(body.end(), clean.begin(), clean.end());
  }

  void picture(const FrameHead& head, const std::string& origin) {
    const auto found = up_to(head.body + head.skip, std::min<std::int64_t>(head.size - head.skip, 1024));
    const auto text = text_at(found.data(), found.size());
    std::string_view mime;
    std::size_t at = 1;
    if (version_ == 2) {
      mime = text.substr(std::min<std::size_t>(1, text.size()), 3);
      at = 4;
    } else {
      const auto end = text.find('\0', 1);
      if (end == std::string_view::npos)
        at = text.size();
      else
        mime = text.substr(1, end - 1), at = end + 1;
    }
    ++at;  // the picture's kind
    const bool wide = !text.empty() && (text[0] == 1 || text[0] == 2);
    while (at < text.size() && !(text[at] == 0 && (!wide || (at + 1 < text.size() && text[at + 1] == 0))))
      at += wide ? 2 : 1;
    at += wide ? 2 : 1;
    const auto skipped = head.skip + static_cast<std::int64_t>(std::min(at, text.size()));
    // Stuffed with zeros against false frame marks, it cannot be read as it stands.
    const auto kept_mime = std::string(mime);
    Bytevector stuffed;
    std::span<const std::uint8_t> plain;
    if (in_memory_) {
      plain = up_to(head.body + skipped, head.size - skipped);
    } else if (head.unsynchronised) {
      stuffed = resynchronised(copy_range(walk_.window.bytes(), offset_ + head.body + skipped, head.size - skipped, kMaxPictureHead));
      plain = stuffed;
    }
    walk_.artwork(origin, kept_mime, in_memory_ ? -1 : offset_ + head.body + skipped, head.size - skipped, plain);
  }

  Walk& walk_;
  std::int64_t offset_, length_;
  int version_, flags_;
  Bytevector memory_;
  bool in_memory_ = false;
};

// --- pictures in Vorbis comments ---

// Base64 (RFC 4648), as far as it is well formed and no further than asked for.
Bytevector from_base64(std::string_view text, std::size_t most) {
  Bytevector out;
  std::uint32_t bits = 0;
  int have = 0;
  for (const char c : text) {
    const int six = c >= 'A' && c <= 'Z' ? c - 'A' : c >= 'a' && c <= 'z' ? c - 'a' + 26 : c >= '0' && c <= '9' ? c - '0' + 52
                    : c == '+' ? 62 : c == '/' ? 63 : -1;
    if (six < 0 || out.size() >= most) break;
    bits = bits << 6 | static_cast<std::uint32_t>(six);
    have += 6;
    if (have < 8) continue;
    have -= 8;
    out.push_back(static_cast<std::uint8_t>(bits >> have & 0xff));
  }
  return out;
}

enum class PictureKey { none, block, bare };

PictureKey picture_key(std::string_view key) {
  std::string lower(key.substr(0, 32));
  for (auto& c : lower) c = c >= 'A' && c <= 'Z' ? static_cast<char>(c - 'A' + 'a') : c;
  return lower == "metadata_block_picture" ? PictureKey::block : lower == "coverart" ? PictureKey::bare : PictureKey::none;
}

void comment_picture(Walk& walk, std::string_view base64, PictureKey key, const std::string& origin) {
  constexpr std::size_t kMostBytes = 1 << 20;
  const auto padding = base64.ends_with("==") ? 2 : base64.ends_with("=") ? 1 : 0;
  // Four characters stand for three bytes.
  auto length = static_cast<std::int64_t>(base64.size()) / 4 * 3 - padding;
  const auto decoded = from_base64(base64, kMostBytes);
  std::span<const std::uint8_t> picture(decoded);
  std::string mime;
  if (key == PictureKey::block) {
    // A FLAC picture block (RFC 9639, 8.8): kind, MIME type, description, four numbers, length, picture.
    const auto room = [&](std::size_t bytes) { return picture.size() >= bytes; };
    if (!room(8) || be32(picture.data() + 4) > picture.size() - 8) return walk.artwork(origin, "", -1, length);
    const std::size_t mime_length = be32(picture.data() + 4);
    mime = text_at(picture.data() + 8, mime_length);
    picture = picture.subspan(8 + mime_length);
    if (!room(4) || be32(picture.data()) > picture.size() - 4 || picture.size() - 4 - be32(picture.data()) <= 20)
      return walk.artwork(origin, mime, -1, length);
    picture = picture.subspan(4 + be32(picture.data()) + 20);
    length -= static_cast<std::int64_t>(decoded.size() - picture.size());
  }
  walk.artwork(origin, mime, -1, length, picture);
}

}  // namespace

std::int64_t read_id3v2(Walk& walk, std::int64_t offset, std::int64_t end, const std::string& origin) {
  if (end - offset < 10) return 0;
  const auto* p = walk.window.at(offset, 10);
  if (p == nullptr || text_at(p, 3) != "ID3" || p[3] < 2 || p[3] > 4 || !is_synchsafe(p + 6)) return 0;
  const int version = p[3];
  const int flags = p[5];
  const auto size = synchsafe(p + 6);
  auto total = 10 + size + (version == 4 && (flags & 0x10) != 0 ? 10 : 0);
  if (total > end - offset) {
    walk.contradict(offset,
                    fmt::format("an ID3v2 tag claims {} bytes, {} are there", grouped(total), grouped(end - offset)));
    total = end - offset;
  }
  Id3Body(walk, offset + 10, std::min(size, end - offset - 10), version, flags).read(origin);
  return total;
}

namespace {

/// ID3v1 has no word on letters; writers put Latin-1 into it (common practice, no source), some UTF-8.
std::string latin_text(std::string_view bytes) {
  const auto points = base::code_points(bytes);
  if (std::all_of(points.begin(), points.end(), [](const base::CodePoint& one) { return one.valid; })) return std::string(bytes);
  std::string text;
  for (const char c : bytes) {
    const auto byte = static_cast<unsigned char>(c);
    if (byte < 0x80) {
      text += c;
    } else {
      text += static_cast<char>(0xC0 | byte >> 6);
      text += static_cast<char>(0x80 | (byte & 0x3F));
    }
  }
  return text;
}

}  // namespace

std::int64_t read_end_tags(Walk& walk, std::int64_t start, std::int64_t end) {
  for (int i = 0; i < 8; ++i) {
    const auto before = end;
    if (const auto* p = end - start >= 128 ? walk.window.at(end - 128, 128) : nullptr;
        p != nullptr && text_at(p, 3) == "TAG") {
      constexpr std::pair<const char*, std::pair<int, std::size_t>> kFields[] = {
          {"title", {3, 30}}, {"artist", {33, 30}}, {"album", {63, 30}}, {"date", {93, 4}}, {"comment", {97, 28}}};
      for (const auto& [name, place] : kFields) {
        const auto value = latin_text(until_nul(text_at(p + place.first, place.second)));
        walk.text("ID3v1", name, value);
        walk.tag(name, value, "ID3v1");
      }
      if (p[125] == 0 && p[126] != 0) {  // version 1.1: the comment gave up two bytes for the track number
        walk.text("ID3v1", "track", std::to_string(p[126]));
        walk.tag("track", std::to_string(p[126]), "ID3v1");
      }
      walk.chunk("ID3v1");
      end -= 128;
    } else if (const auto* q = end - start >= 32 ? walk.window.at(end - 32, 32) : nullptr;
               q != nullptr && text_at(q, 8) == "APETAGEX") {
      const std::int64_t size = std::int64_t{le32(q + 12)} + ((le32(q + 20) & 0x80000000u) != 0 ? 32 : 0);
      const auto items = std::min<std::uint32_t>(le32(q + 16), kMaxTexts);
      const std::int64_t items_size = std::int64_t{le32(q + 12)} - 32;
      if (size < 32 || size > end - start) {
        walk.contradict(end - 32,
                        fmt::format("an APE tag claims {} bytes, {} are there", grouped(size), grouped(end - start)));
        end -= 32;
        continue;
      }
      const auto copy = copy_range(walk.window.bytes(), end - 32 - items_size, items_size, 1 << 20);
      std::size_t at = 0;
      for (std::uint32_t item = 0; item < items && at + 9 <= copy.size(); ++item) {
        const std::size_t length = le32(copy.data() + at);
        const auto flags = le32(copy.data() + at + 4);
        const auto rest = text_at(copy.data() + at + 8, copy.size() - at - 8);
        const auto key_end = rest.find('\0');
        if (key_end == std::string_view::npos || length > rest.size() - key_end - 1) break;
        auto key = std::string(rest.substr(0, key_end));
        const auto value = rest.substr(key_end + 1, length);
        if ((flags & 6) == 0) {
          walk.text("APE", printable(key), value);
          for (auto& c : key) c = c >= 'A' && c <= 'Z' ? static_cast<char>(c - 'A' + 'a') : c;
          walk.tag(printable(key == "year" ? "date" : key), value, "APE");
        } else if (key.starts_with("Cover Art")) {
          // A file name, a zero, the picture.
          const auto bytes = std::span(copy).subspan(at + 8 + key_end + 1, length);
          const auto name_end = value.find('\0');
          const auto skipped = name_end == std::string_view::npos ? 0 : name_end + 1;
          walk.artwork("APE", "", -1, static_cast<std::int64_t>(length - skipped), bytes.subspan(skipped));
        }
        at += 8 + key_end + 1 + length;
      }
      walk.chunk("APE");
      end -= size;
    } else if (const auto* r = end - start >= 15 ? walk.window.at(end - 15, 15) : nullptr;
               r != nullptr && text_at(r + 6, 9) == "LYRICS200") {
      std::int64_t size = 15;
      std::int64_t digits = 0;
      for (int k = 0; k < 6; ++k) digits = digits * 10 + (r[k] >= '0' && r[k] <= '9' ? r[k] - '0' : 0);
      size += digits;
      walk.chunk("Lyrics3");
      end -= std::min(size, end - start);
    }
    if (end == before) return end;
  }
  return end;
}

void read_vorbis_comments(Walk& walk, std::span<const std::uint8_t> block, std::int64_t offset,
                          const std::string& origin) {
  const auto broken = [&](const std::string& what) { walk.contradict(offset, "the Vorbis comments " + what); };
  if (block.size() < 8) return broken("end inside their first field");
  const std::size_t vendor = le32(block.data());
  if (vendor > block.size() - 8) return broken("end inside the vendor string");
  walk.text(origin, "vendor", text_at(block.data() + 4, vendor));
  const std::size_t count = le32(block.data() + 4 + vendor);
  std::size_t at = 8 + vendor;
  Bytevector kept;
  std::uint32_t kept_count = 0;
  for (std::size_t i = 0; i < count; ++i) {
    if (block.size() - at < 4) {
      broken(fmt::format("promise {} entries and hold {}", count, i));
      break;
    }
    const std::size_t length = le32(block.data() + at);
    if (length > block.size() - at - 4) {
      broken(fmt::format("claim {} bytes for an entry, {} are left", length, block.size() - at - 4));
      break;
    }
    const auto entry = text_at(block.data() + at + 4, length);
    const auto equals = entry.find('=');
    const auto key = entry.substr(0, equals);
    if (const auto kind = picture_key(key); kind != PictureKey::none) {
      if (equals != std::string_view::npos) comment_picture(walk, entry.substr(equals + 1), kind, origin);
    } else if (equals != std::string_view::npos && length <= static_cast<std::size_t>(kMaxTextBytes) &&
               kept_count < kMaxTexts) {
      const auto clean = base::clean_utf8(entry);  // as with ID3v2: the library would empty it
      for (int shift = 0; shift < 32; shift += 8) kept.push_back(static_cast<std::uint8_t>(clean.size() >> shift));
      kept.insert(kept.end(), clean.begin(), clean.end());
      ++kept_count;
    }
    at += 4 + length;
  }
  if (kept.empty()) return;
  Bytevector rebuilt(4, 0);
  for (int shift = 0; shift < 32; shift += 8) rebuilt.push_back(static_cast<std::uint8_t>(kept_count >> shift));
  rebuilt.insert(rebuilt.end(), kept.begin(), kept.end());
  with_taglib([&] {
    const TagLib::Ogg::XiphComment comment(
        TagLib::ByteVector(reinterpret_cast<const char*>(rebuilt.data()), static_cast<unsigned>(rebuilt.size())));
    for (const auto& [key, values] : comment.fieldListMap()) {
      for (const auto& value : values) walk.text(origin, utf8(key), utf8(value));
    }
    note_properties(walk, comment.properties(), origin);
  });
}

void read_flac_picture(Walk& walk, std::int64_t offset, std::int64_t length) {
  // Kind, MIME length, MIME, description length, description, width, height, depth, colours, data length, data.
  const auto* p = length >= 8 ? walk.window.at(offset, 8) : nullptr;
  if (p == nullptr) return walk.artwork("FLAC picture", "", -1, length);
  const std::int64_t mime_length = be32(p + 4);
  const auto* m = mime_length > 0 && mime_length <= 256 ? walk.window.at(offset + 8, mime_length) : nullptr;
  const auto mime = m != nullptr ? std::string(text_at(m, static_cast<std::size_t>(mime_length))) : std::string();
  const auto* d = walk.window.at(offset + 8 + mime_length, 4);
  if (d == nullptr) return walk.artwork("FLAC picture", mime, -1, length);
  const std::int64_t data_at = offset + 12 + mime_length + be32(d) + 20;
  const auto left = offset + length - data_at;
  if (left <= 0) {
    walk.contradict(offset, "a picture block has no room for the picture it describes");
    return walk.artwork("FLAC picture", mime, -1, length);
  }
  walk.artwork("FLAC picture", mime, data_at, left);
}

bool looks_like_isrc(std::string_view text) {
  std::string code;
  for (const char c : text) {
    if (c != '-') code += c;
  }
  if (code.size() != 12) return false;
  for (std::size_t i = 0; i < code.size(); ++i) {
    const bool letter = code[i] >= 'A' && code[i] <= 'Z';
    const bool digit = code[i] >= '0' && code[i] <= '9';
    if (!(i < 2 ? letter : i < 5 ? letter || digit : digit)) return false;
  }
  return true;
}

}  // namespace sendworthy::audio
