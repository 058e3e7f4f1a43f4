#include "audio/wave_text.h"

#include <fmt/format.h>

#include <algorithm>
#include <string>
#include <string_view>
#include <utility>

#include "audio/tags.h"

namespace sendworthy::audio {
namespace {

std::string hexadecimal(std::span<const std::uint8_t> bytes) {
  std::string out;
  for (const auto byte : bytes) out += fmt::format("{:02x}", byte);
  return out;
}

// "-22.64" from -2264. Not through a double: the words are exact.
std::string hundredths(std::int16_t word) {
  const int magnitude = word < 0 ? -static_cast<int>(word) : word;
  return fmt::format("{}{}.{:02}", word < 0 ? "-" : "", magnitude / 100, magnitude % 100);
}

// INFO ids of the RIFF specification (1991) and of common practice. "ISRC" there means the source of a recording; many
// programs write the recording code into it, which is why its form decides (in tags.cpp).
constexpr std::pair<std::string_view, std::string_view> kInfoNames[] = {
    {"INAM", "title"},    {"IART", "artist"},   {"IPRD", "album"},   {"ITRK", "track"},    {"IPRT", "track"},
    {"ICRD", "date"},     {"IGNR", "genre"},    {"ICMT", "comment"}, {"IMUS", "composer"}, {"ICOP", "copyright"},
    {"IENG", "engineer"}, {"ISFT", "software"}, {"ISBJ", "subject"}, {"IKEY", "keywords"},
};

void read_info_item(Walk& walk, std::string_view id, std::string_view raw) {
  const auto value = until_nul(raw);
  walk.text("INFO", printable(id), value);
  if (id == "ISRC" && looks_like_isrc(value)) walk.tag("isrc", value, "INFO");
  for (const auto& [info, name] : kInfoNames) {
    if (info == id) walk.tag(std::string(name), value, "INFO");
  }
}

}  // namespace

std::string_view until_nul(std::string_view field) {
  field = field.substr(0, field.find('\0'));
  const auto last = field.find_last_not_of(" \r\n\t");
  return field.substr(0, last == std::string_view::npos ? 0 : last + 1);
}

void read_bext(Walk& walk, std::int64_t offset, std::int64_t length, bool big_endian) {
  constexpr std::int64_t kFixed = 602;
  if (length < kFixed) {
    walk.contradict(offset, fmt::format("the bext chunk has {} bytes, its fixed part takes {}", length, kFixed));
    return;
  }
  const auto copy = copy_range(walk.window.bytes(), offset, length, kFixed + kMaxTextBytes);
  if (std::ssize(copy) < kFixed) return;
  const auto* const p = copy.data();
  const auto u16 = [&](int at) { return big_endian ? be16(p + at) : le16(p + at); };
  const auto u32 = [&](int at) { return big_endian ? be32(p + at) : le32(p + at); };
  const auto field = [&](const char* name, int at, std::size_t size) {
    const auto value = until_nul(text_at(p + at, size));
    walk.text("bext", name, value);
    return value;
  };
  walk.tag("comment", field("Description", 0, 256), "bext");
  field("Originator", 256, 32);
  field("OriginatorReference", 288, 32);
  walk.tag("date", field("OriginationDate", 320, 10), "bext");
  field("OriginationTime", 330, 8);
  walk.text("bext", "TimeReference", std::to_string(std::uint64_t{u32(342)} << 32 | u32(338)));
  const int version = u16(346);
  walk.text("bext", "Version", std::to_string(version));
  const std::span<const std::uint8_t> umid(p + 348, 64);
  if (version >= 1 && std::any_of(umid.begin(), umid.end(), [](std::uint8_t b) { return b != 0; }))
    walk.text("bext", "UMID", hexadecimal(umid));
  if (version >= 2) {
    constexpr const char* kLoudness[] = {"LoudnessValue", "LoudnessRange", "MaxTruePeakLevel", "MaxMomentaryLoudness",
                                         "MaxShortTermLoudness"};
    constexpr std::uint16_t kUnused = 0x7fff;
    int at = 412;
    for (const auto* name : kLoudness) {
      if (const auto word = u16(at); word != kUnused)
        walk.text("bext", name, hundredths(static_cast<std::int16_t>(word)));
      at += 2;
    }
  }
  walk.text("bext", "CodingHistory", until_nul(text_at(p + kFixed, copy.size() - kFixed)));
}

void read_list(Walk& walk, std::int64_t offset, std::int64_t length, bool big_endian) {
  const auto copy = copy_range(walk.window.bytes(), offset, length, 1 << 20);
  if (copy.size() < 4) {
    walk.contradict(offset, fmt::format("a LIST chunk has {} bytes, too few for its type", length));
    return;
  }
  const auto type = std::string(text_at(copy.data(), 4));
  if (type != "INFO" && type != "adtl") return;
  const auto whole = std::ssize(copy) == length;
  std::int64_t at = 4;
  for (std::size_t items = 0; at + 8 <= std::ssize(copy); ++items) {
    const auto* const p = copy.data() + at;
    const std::int64_t size = big_endian ? be32(p + 4) : le32(p + 4);
    const auto room = std::ssize(copy) - at - 8;
    if (!is_chunk_id(p) || size > room) {
      if (whole)
        walk.contradict(offset + at, fmt::format("the {} list holds an entry that does not fit into it", type));
      return;
    }
    if (items >= kMaxTexts) return;
    const auto body = text_at(p + 8, static_cast<std::size_t>(size));
    const auto id = text_at(p, 4);
    if (type == "INFO")
      read_info_item(walk, id, body);
    else if ((id == "labl" || id == "note") && size > 4) {
      walk.text("adtl", std::string(id), until_nul(body.substr(4)));
      if (id == "labl") walk.label(big_endian ? be32(p + 8) : le32(p + 8), until_nul(body.substr(4)));
    }
    at += 8 + size + (size & 1);
  }
}

void read_xml(Walk& walk, const std::string& origin, std::int64_t offset, std::int64_t length) {
  const auto copy = copy_range(walk.window.bytes(), offset, length, kMaxTextBytes);
  const auto xml = until_nul(text_at(copy.data(), copy.size()));
  walk.text(origin, "document", xml);
  if (origin == "iXML" && length > kMaxTextBytes) walk.result.facts.ixml_cut = true;
  // No parser: only elements that hold nothing but text, so that a search by name finds PROJECT, TAPE, NOTE.
  for (std::size_t at = 0; at < xml.size();) {
    const auto open = xml.find('<', at);
    if (open == std::string_view::npos) return;
    const auto close = xml.find('>', open);
    if (close == std::string_view::npos) return;
    at = close + 1;
    const auto name = xml.substr(open + 1, close - open - 1);
    const bool plain_name = !name.empty() && name.size() <= 64 && std::all_of(name.begin(), name.end(), [](char c) {
      return (c >= 'A' && c <= 'Z') || (c >= 'a' && c <= 'z') || (c >= '0' && c <= '9') || c == '_' || c == '-' ||
             c == ':';
    });
    if (!plain_name) continue;
    const auto next = xml.find('<', at);
    if (next == std::string_view::npos) return;
    if (xml.substr(next, name.size() + 3) != "</" + std::string(name) + ">") continue;
    const auto value = until_nul(xml.substr(at, next - at));
    walk.text(origin, std::string(name), value);
    // EBU Tech 3352: an identifier that begins with the name of its kind.
    if (origin == "axml" && name.ends_with("identifier") && value.starts_with("ISRC")) {
      const auto code = value.find_first_not_of(": ", 4);
      walk.tag("isrc", code == std::string_view::npos ? "" : value.substr(code), "axml");
    }
    at = next + name.size() + 3;
  }
}

}  // namespace sendworthy::audio
