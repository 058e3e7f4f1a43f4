// Picture headers, written here from the published layouts; and where each container keeps its pictures.
#include "audio/picture.h"

#include <doctest/doctest.h>

#include <string>

#include "makers.h"
#include "standards/reading.h"

using namespace sendworthy;
using makers::chunk;
using makers::Maker;

namespace {

audio::PictureHead head(const std::string& bytes) {
  return audio::read_picture_head(std::span(reinterpret_cast<const std::uint8_t*>(bytes.data()), bytes.size()));
}
std::string words(const audio::PictureHead& h) {
  return h.trouble.empty() ? h.format + " " + std::to_string(h.width) + "x" + std::to_string(h.height) + " " + h.colour : h.format + ": " + h.trouble;
}

// ITU-T T.81, B.2.2: marker, length, precision, lines, samples a line, components.
std::string jpeg(int width, int height, int components, const std::string& before = "", int marker = 0xc0) {
  return Maker().text("\xff\xd8").text(before).be(0xff00u | static_cast<unsigned>(marker), 2).be(8 + 3 * static_cast<unsigned>(components), 2).be(8, 1)
      .be(static_cast<unsigned>(height), 2).be(static_cast<unsigned>(width), 2).be(static_cast<unsigned>(components), 1)
      .fill(3 * static_cast<std::size_t>(components)).bytes;
}
std::string segment(int marker, const std::string& body) {
  return Maker().be(0xff00u | static_cast<unsigned>(marker), 2).be(body.size() + 2, 2).text(body).bytes;
}
std::string png(unsigned width, unsigned height, int colour, const std::string& more = "") {
  return Maker().text("\x89PNG\r\n\x1a\n").be(13, 4).text("IHDR").be(width, 4).be(height, 4).be(8, 1).be(static_cast<unsigned>(colour), 1).fill(3)
      .be(0, 4).text(more).be(10, 4).text("IDAT").fill(14).bytes;
}

std::string base64(const std::string& bytes) {
  static constexpr char kSigns[] = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
  std::string out;
  for (std::size_t i = 0; i < bytes.size(); i += 3) {
    std::uint32_t bits = 0;
    for (std::size_t k = 0; k < 3; ++k) bits = bits << 8 | (i + k < bytes.size() ? static_cast<unsigned char>(bytes[i + k]) : 0u);
    for (std::size_t k = 0; k < 4; ++k) out += i + k > bytes.size() ? '=' : kSigns[bits >> (18 - 6 * k) & 63];
  }
  return out;
}
std::string picture_block(const std::string& picture) {
  return Maker().be(3, 4).be(9, 4).text("image/png").be(5, 4).text("front").be(1, 4).be(1, 4).be(24, 4).be(0, 4).be(picture.size(), 4).text(picture).bytes;
}

std::string synchsafe(std::size_t size) {
  return Maker().be(size >> 21 & 127, 1).be(size >> 14 & 127, 1).be(size >> 7 & 127, 1).be(size & 127, 1).bytes;
}
std::string apic(const std::string& picture) {
  const auto body = Maker().fill(1).text("image/png").fill(1).be(3, 1).fill(1).text(picture).bytes;
  return Maker().text("APIC").be(body.size(), 4).be(0, 2).text(body).bytes;
}
std::string id3(const std::string& frames, int version = 3, int flags = 0) {
  return Maker().text("ID3").be(static_cast<unsigned>(version), 1).be(0, 1).be(static_cast<unsigned>(flags), 1).text(synchsafe(frames.size())).text(frames).bytes;
}
std::string unsynchronised(const std::string& bytes) {
  std::string out;
  for (std::size_t i = 0; i < bytes.size(); ++i) {
    out += bytes[i];
    const bool next_bad = i + 1 < bytes.size() && (static_cast<unsigned char>(bytes[i + 1]) >= 0xe0 || bytes[i + 1] == 0);
    if (bytes[i] == '\xff' && next_bad) out += '\0';
  }
  return out;
}

test::Reading wav_with(const std::string& chunks) {
  const auto bytes = makers::riff(chunk("fmt ", makers::format_body({})) + chunks + chunk("data", makers::tone(4800, 2, 2)));
  auto opened = audio::open_bytes(makers::kept(bytes), "x.wav");
  REQUIRE(opened.has_value());
  return test::measured(std::move(*opened));
}
std::string text(const test::Reading& r, std::string_view id) { return std::get<std::string>(std::get<Value>(r.measurement(id).outcome)); }

}  // namespace

TEST_SUITE("audio/pictures") {
  TEST_CASE("G13: size and colours from each kind of header") {
    CHECK(words(head(jpeg(3000, 2900, 3))) == "JPEG 3000x2900 RGB");
    CHECK(words(head(jpeg(1, 65535, 1, "", 0xc2))) == "JPEG 1x65535 grey");
    CHECK(words(head(jpeg(1400, 1400, 4, segment(0xee, "Adobe") + segment(0xe2, std::string(65533, 'p')) + segment(0xe2, std::string(65533, 'q'))))) ==
          "JPEG 1400x1400 CMYK");
    CHECK(words(head(jpeg(10, 20, 3, "\xff\xff\xff"))) == "JPEG 10x20 RGB");           // fill bytes
    CHECK(words(head(jpeg(10, 20, 3, segment(0xc4, "huffman") + segment(0xdd, "12")))) == "JPEG 10x20 RGB");
    CHECK(words(head(png(640, 480, 2))) == "PNG 640x480 RGB");
    CHECK(words(head(png(640, 480, 0))) == "PNG 640x480 grey");
    CHECK(words(head(png(640, 480, 3))) == "PNG 640x480 palette");
    CHECK(words(head(png(640, 480, 6))) == "PNG 640x480 RGB, transparent");
    CHECK(words(head(png(640, 480, 3, Maker().be(1, 4).text("tRNS").fill(5).bytes))) == "PNG 640x480 palette, transparent");
    CHECK(words(head(Maker().text("GIF89a").le(320, 2).le(200, 2).fill(3).bytes)) == "GIF 320x200 palette");
    CHECK(words(head(Maker().text("RIFF").le(100, 4).text("WEBPVP8X").le(10, 4).be(0x10, 1).fill(3).le(2999, 3).le(1999, 3).bytes)) ==
          "WebP 3000x2000 RGB, transparent");
    CHECK(words(head(Maker().text("RIFF").le(100, 4).text("WEBPVP8L").le(10, 4).be(0x2f, 1).le(99u | 49u << 14, 4).fill(9).bytes)) == "WebP 100x50 RGB");
    CHECK(words(head(Maker().text("RIFF").le(100, 4).text("WEBPVP8 ").le(10, 4).fill(3).text("\x9d\x01\x2a").le(64, 2).le(32, 2).fill(9).bytes)) ==
          "WebP 64x32 RGB");
  }

  TEST_CASE("G13: broken pictures are said to be broken, whatever is cut off") {
    for (const auto& whole : {jpeg(300, 200, 3, segment(0xe0, "JFIF")), png(300, 200, 2), Maker().text("GIF89a").le(3, 2).le(2, 2).bytes}) {
      for (std::size_t size = 0; size <= whole.size(); ++size) {
        const auto h = head(whole.substr(0, size));
        CHECK((h.trouble.empty() ? h.width > 0 && h.height > 0 : h.width == 0));
      }
    }
    CHECK(words(head("")) == ": it is neither JPEG, PNG, GIF nor WebP");
    CHECK(words(head("\xff\xd8\xff")) == "JPEG: it ends before its size is said");
    CHECK(words(head(jpeg(0, 10, 3))) == "JPEG: its header gives no size");
    CHECK(words(head(Maker().text("\xff\xd8\xff\xe0").be(0, 2).fill(20).bytes)) == "JPEG: a segment has an impossible length");
    CHECK(words(head(Maker().text("\xff\xd8\xff\xe0").be(4, 2).fill(20).bytes)) == "JPEG: its segments do not follow each other");
    CHECK(words(head("\xff\xd8" + segment(0xda, "scan"))) == "JPEG: its image begins before its size is said");
    std::string endless = "\xff\xd8";
    for (int i = 0; i < 100'000; ++i) endless += segment(0xe0, "");
    CHECK(words(head(endless)) == "JPEG: it has too many segments before its size");
    CHECK(words(head(png(0, 5, 2))) == "PNG: its header gives no size");
    CHECK(words(head(png(0xffffffff, 5, 2))) == "PNG: its header gives no size");
    CHECK(words(head(Maker().text("\x89PNG\r\n\x1a\n").be(14, 4).text("IHDR").fill(30).bytes)) == "PNG: its header is broken");
    std::string chunks;
    for (int i = 0; i < 100'000; ++i) chunks += Maker().be(0, 4).text("tEXt").fill(4).bytes;
    CHECK(words(head(png(5, 5, 2, chunks))) == "PNG 5x5 RGB");
    CHECK(words(head(png(5, 5, 2, Maker().be(0xffffffff, 4).text("tEXt").bytes))) == "PNG 5x5 RGB");
  }

  TEST_CASE("G13: pictures of ID3 in a WAV, plain and unsynchronised") {
    const auto square = png(3000, 3000, 2);
    const auto r = wav_with(chunk("id3 ", id3(apic(square))));
    CHECK(text(r, "cover_art") == "PNG 3000 x 3000, RGB, square");
    CHECK(r("cover_art_pixels") == 3000);
    CHECK(r.measurement("cover_art").note == std::to_string(square.size()) + " bytes, ID3v2");
    const auto print = jpeg(1400, 900, 4, segment(0xe0, "JFIF"));
    CHECK(text(wav_with(chunk("id3 ", id3(unsynchronised(apic(print)), 3, 0x80))), "cover_art") == "JPEG 1400 x 900, CMYK, not square");
    // 2.4: one frame alone.
    const auto body = Maker().fill(1).text("image/jpeg").fill(1).be(3, 1).fill(1).text(unsynchronised(print)).bytes;
    CHECK(text(wav_with(chunk("id3 ", id3(Maker().text("APIC").text(synchsafe(body.size())).be(2, 2).text(body).bytes, 4))), "cover_art") ==
          "JPEG 1400 x 900, CMYK, not square");
    // Of several the largest; the others are told.
    const auto two = wav_with(chunk("id3 ", id3(apic(png(32, 32, 3)) + apic(square))));
    CHECK(text(two, "cover_art") == "PNG 3000 x 3000, RGB, square");
    CHECK(two.measurement("cover_art").note.find("also PNG 32 x 32, palette, square") != std::string::npos);
    CHECK(text(wav_with(""), "cover_art") == "none");
    CHECK(std::holds_alternative<NotApplicable>(wav_with("").measurement("cover_art_pixels").outcome));
    const auto broken = wav_with(chunk("id3 ", id3(apic("no picture at all"))));
    CHECK(text(broken, "cover_art") == "unreadable: it is neither JPEG, PNG, GIF nor WebP");
    CHECK(!broken.measured("cover_art_pixels"));
    std::string many;
    for (int i = 0; i < 200; ++i) many += apic(png(10, 10, 2));
    CHECK(text(wav_with(chunk("id3 ", id3(many))), "cover_art") == "PNG 10 x 10, RGB, square");
  }

  TEST_CASE("G13: pictures of FLAC, of Vorbis comments, of APE, read where they stand") {
    if (!makers::have("ffmpeg") || !makers::have("metaflac")) return;
    const makers::Folder folder;
    const auto picture = folder.write("c.png", png(600, 500, 2));
    const auto cover = [&](const std::string& path) {
      auto opened = audio::open_file(path);
      REQUIRE_MESSAGE(opened.has_value(), opened.error().text);
      return text(test::measured(std::move(*opened)), "cover_art");
    };
    const auto flac = folder.file("x.flac");
    REQUIRE(makers::run("ffmpeg -y -f lavfi -i sine=d=0.5 " + flac));
    REQUIRE(makers::run("metaflac '--import-picture-from=3|image/png||600x500x24|" + picture + "' " + flac));
    CHECK(cover(flac) == "PNG 600 x 500, RGB, not square");
    const auto ogg = folder.file("x.ogg");
    REQUIRE(makers::run("ffmpeg -y -f lavfi -i sine=d=0.5 -metadata METADATA_BLOCK_PICTURE=" + base64(picture_block(png(700, 700, 6))) + " " + ogg));
    CHECK(cover(ogg) == "PNG 700 x 700, RGB, transparent, square");
    const auto old = folder.file("old.ogg");
    REQUIRE(makers::run("ffmpeg -y -f lavfi -i sine=d=0.5 -metadata COVERART=" + base64(jpeg(90, 90, 3)) + " " + old));
    CHECK(cover(old) == "JPEG 90 x 90, RGB, square");
    const auto liar = folder.file("liar.ogg");
    REQUIRE(makers::run("ffmpeg -y -f lavfi -i sine=d=0.5 -metadata METADATA_BLOCK_PICTURE=" + base64(Maker().be(3, 4).be(0xffffffff, 4).fill(40).bytes) + " " + liar));
    CHECK(cover(liar).starts_with("unreadable"));
    const auto mp3 = folder.file("x.mp3");
    REQUIRE(makers::run("ffmpeg -y -f lavfi -i sine=d=0.5 " + mp3));
    const auto item = Maker().text("Cover Art (Front)").fill(1).text("c.jpg").fill(1).text(jpeg(55, 44, 3)).bytes;
    const auto value = item.size() - 18;
    const auto ape = Maker().le(value, 4).le(2, 4).text(item).bytes;
    const auto footer = Maker().text("APETAGEX").le(2000, 4).le(ape.size() + 32, 4).le(1, 4).le(0, 4).fill(8).bytes;
    CHECK(cover(folder.write("ape.mp3", makers::contents(mp3) + ape + footer)) == "JPEG 55 x 44, RGB, not square");
  }
}
