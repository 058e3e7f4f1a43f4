#include "audio/picture.h"

#include <algorithm>
#include <array>
#include <functional>
#include <string_view>
#include <utility>

namespace sendworthy::audio {
namespace {

// Bytes of the picture from an offset on, at most that many; fewer at its end.
using Read = std::function<std::span<const std::uint8_t>(std::int64_t offset, std::int64_t bytes)>;

// A profile for print alone fills some ten of a JPEG's segments; a picture with more than this means harm.
constexpr int kMaxSegments = 1024;

PictureHead trouble(std::string format, std::string text) { return {std::move(format), 0, 0, "", std::move(text)}; }

PictureHead sized(std::string format, std::int64_t width, std::int64_t height, std::string colour) {
  if (width <= 0 || height <= 0 || width > 0x7fffffff || height > 0x7fffffff)
    return trouble(std::move(format), "its header gives no size");
  return {std::move(format), static_cast<int>(width), static_cast<int>(height), std::move(colour), ""};
}

// ITU-T T.81 annex B: segments of two marker bytes and a length, until the frame header.
PictureHead jpeg(const Read& read) {
  std::int64_t at = 2;
  for (int segment = 0; segment < kMaxSegments; ++segment) {
    const auto head = read(at, 10);
    if (head.size() < 4) return trouble("JPEG", "it ends before its size is said");
    if (head[0] != 0xff) return trouble("JPEG", "its segments do not follow each other");
    const int marker = head[1];
    if (marker == 0xff) {  // a fill byte
      ++at;
      continue;
    }
    if (marker == 0x01 || (marker >= 0xd0 && marker <= 0xd8)) {
      at += 2;
      continue;
    }
    if (marker == 0xd9 || marker == 0xda) return trouble("JPEG", "its image begins before its size is said");
    const int length = be16(head.data() + 2);
    if (length < 2) return trouble("JPEG", "a segment has an impossible length");
    const bool frame = marker >= 0xc0 && marker <= 0xcf && marker != 0xc4 && marker != 0xc8 && marker != 0xcc;
    if (frame) {
      if (head.size() < 10 || length < 8) return trouble("JPEG", "it ends before its size is said");
      const int components = head[9];
      return sized("JPEG", be16(head.data() + 7), be16(head.data() + 5),
                   components == 1 ? "grey" : components == 3 ? "RGB" : components == 4 ? "CMYK" : "unusual colours");
    }
    at += 2 + length;
  }
  return trouble("JPEG", "it has too many segments before its size");
}

// W3C PNG (third edition, 2025), 11.2.1 IHDR and 11.3.1.1 tRNS.
PictureHead png(const Read& read) {
  const auto header = read(8, 21);
  if (header.size() < 18 || be32(header.data()) != 13 || text_at(header.data() + 4, 4) != "IHDR")
    return trouble("PNG", "its header is broken");
  const std::int64_t width = be32(header.data() + 8), height = be32(header.data() + 12);
  const int kind = header[17];
  bool transparent = kind == 4 || kind == 6;
  std::int64_t at = 33;
  for (int chunk = 0; chunk < kMaxSegments && !transparent; ++chunk) {
    const auto head = read(at, 8);
    if (head.size() < 8) break;
    const auto id = text_at(head.data() + 4, 4);
    if (id == "IDAT" || id == "IEND") break;
    transparent = id == "tRNS";
    at += 12 + std::int64_t{be32(head.data())};
  }
  const std::string colour = kind == 0 || kind == 4 ? "grey" : kind == 2 || kind == 6 ? "RGB" : kind == 3 ? "palette" : "unusual colours";
  return sized("PNG", width, height, colour + (transparent ? ", transparent" : ""));
}

// RFC 9649: a RIFF file whose first chunk is VP8, VP8L or VP8X.
PictureHead webp(const Read& read) {
  const auto head = read(12, 18);
  if (head.size() < 18) return trouble("WebP", "it ends before its size is said");
  const auto* body = head.data() + 8;
  const auto id = text_at(head.data(), 4);
  const auto le24 = [](const std::uint8_t* p) { return std::int64_t{p[0]} | std::int64_t{p[1]} << 8 | std::int64_t{p[2]} << 16; };
  if (id == "VP8X")
    return sized("WebP", le24(body + 4) + 1, le24(body + 7) + 1, (body[0] & 0x10) != 0 ? "RGB, transparent" : "RGB");
  if (id == "VP8L" && body[0] == 0x2f) {
    const auto bits = le32(body + 1);
    return sized("WebP", (bits & 0x3fff) + 1, (bits >> 14 & 0x3fff) + 1, (bits >> 28 & 1) != 0 ? "RGB, transparent" : "RGB");
  }
  if (id == "VP8 " && body[3] == 0x9d && body[4] == 0x01 && body[5] == 0x2a)
    return sized("WebP", le16(body + 6) & 0x3fff, le16(body + 8) & 0x3fff, "RGB");
  return trouble("WebP", "its header is broken");
}

PictureHead read_head(const Read& read) {
  const auto bytes = read(0, 12);
  std::array<std::uint8_t, 12> copy{};
  std::copy(bytes.begin(), bytes.end(), copy.begin());
  const auto head = text_at(copy.data(), bytes.size());
  if (head.starts_with("\xff\xd8\xff")) return jpeg(read);
  if (head.starts_with("\x89PNG\r\n\x1a\n")) return png(read);
  if (head.starts_with("GIF8")) {
    if (head.size() < 10) return trouble("GIF", "it ends before its size is said");
    return sized("GIF", le16(copy.data() + 6), le16(copy.data() + 8), "palette");
  }
  if (head.starts_with("RIFF") && head.size() == 12 && head.substr(8) == "WEBP") return webp(read);
  return trouble("", "it is neither JPEG, PNG, GIF nor WebP");
}

}  // namespace

PictureHead read_picture_head(Window& window, std::int64_t offset, std::int64_t length) {
  return read_head([&](std::int64_t at, std::int64_t bytes) -> std::span<const std::uint8_t> {
    if (at < 0 || at >= length) return {};
    return window.up_to(offset + at, std::min(bytes, length - at));
  });
}

PictureHead read_picture_head(std::span<const std::uint8_t> all) {
  return read_head([all](std::int64_t at, std::int64_t bytes) -> std::span<const std::uint8_t> {
    if (at < 0 || at >= std::ssize(all)) return {};
    return all.subspan(static_cast<std::size_t>(at), static_cast<std::size_t>(std::min(bytes, std::ssize(all) - at)));
  });
}

}  // namespace sendworthy::audio
