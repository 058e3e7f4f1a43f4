// M4A and its kin: the walk over hand-made boxes, honest ones and others; then real files, decoded by ffmpeg or not at all.
#include <doctest/doctest.h>
#include <stdlib.h>
#include <sys/stat.h>

#include <chrono>
#include <cmath>
#include <cstdlib>
#include <fstream>
#include <string>

#include "audio/aac_config.h"
#include "audio/file.h"
#include "makers.h"

using namespace sendworthy;
using makers::Folder;
using makers::Maker;
using makers::mentions;

namespace {

std::string box(std::string_view type, std::string_view body) { return Maker().be(body.size() + 8, 4).text(type).text(body).bytes; }
std::string full(std::string_view type, std::string_view body, std::uint32_t version_and_flags = 0) {
  return box(type, Maker().be(version_and_flags, 4).text(body).bytes);
}
std::string bytes_of(std::initializer_list<int> list) {
  std::string out;
  for (const int b : list) out += static_cast<char>(b);
  return out;
}

// AudioSpecificConfig, ISO/IEC 14496-3: five bits of object type, four of rate, four of channels, three flags.
const std::string kLc44 = bytes_of({0x12, 0x10});  // AAC-LC, 44.1 kHz, two channels
std::string esds(const std::string& config, int kind = 0x40, std::uint32_t highest = 0, std::uint32_t mean = 0) {
  const auto decoder = Maker().be(static_cast<std::uint64_t>(kind), 1).be(0x15, 1).be(0, 3).be(highest, 4).be(mean, 4).be(5, 1)
                           .be(config.size(), 1).text(config).bytes;
  const auto stream = Maker().be(1, 2).be(0, 1).be(4, 1).be(decoder.size(), 1).text(decoder).text(bytes_of({6, 1, 2})).bytes;
  return Maker().be(3, 1).be(stream.size(), 1).text(stream).bytes;
}
std::string alac(int bits, int channels, std::uint32_t rate) {
  return Maker().be(4096, 4).be(0, 1).be(static_cast<std::uint64_t>(bits), 1).be(0x280a0e, 3).be(static_cast<std::uint64_t>(channels), 1)
      .be(255, 2).be(0, 8).be(rate, 4).bytes;
}

struct Movie {
  std::string brand = "M4A ", entry = "mp4a", codec = full("esds", esds(kLc44)), udta, handler = "soun";
  std::uint32_t rate = 44'100, timescale = 44'100, movie_timescale = 1000;
  std::uint32_t packets = 10, packet_bytes = 200, packet_ticks = 1024;
  std::string edits, in_front, behind, more_tracks, mvex;
  std::optional<std::string> stbl_sizes, stbl_chunks;
  std::optional<std::uint32_t> media_size;
  bool header_first = true;
  std::optional<std::uint32_t> place;

  [[nodiscard]] std::string track() const {
    const auto entry_body = Maker().fill(6).be(1, 2).fill(8).be(2, 2).be(16, 2).fill(4).be(rate << 16, 4).text(codec).bytes;
    const auto stbl = full("stsd", Maker().be(1, 4).text(box(entry, entry_body)).bytes) +
                      full("stts", Maker().be(1, 4).be(packets, 4).be(packet_ticks, 4).bytes) +
                      full("stsc", Maker().be(1, 4).be(1, 4).be(packets, 4).be(1, 4).bytes) +
                      stbl_sizes.value_or(full("stsz", Maker().be(packet_bytes, 4).be(packets, 4).bytes)) +
                      stbl_chunks.value_or(full("stco", Maker().be(1, 4).be(place.value_or(40), 4).bytes));
    const auto mdia = full("mdhd", Maker().fill(8).be(timescale, 4).be(packets * packet_ticks, 4).fill(4).bytes) +
                      full("hdlr", Maker().fill(4).text(handler).fill(13).bytes) + box("minf", box("stbl", stbl));
    return box("trak", full("tkhd", Maker().fill(8).be(1, 4).fill(68).bytes) +
                           (edits.empty() ? "" : box("edts", full("elst", edits))) + box("mdia", mdia));
  }
  [[nodiscard]] std::string bytes() const {
    const auto moov = box("moov", full("mvhd", Maker().fill(8).be(movie_timescale, 4).be(packets * packet_ticks, 4).fill(80).bytes) + track() +
                                      more_tracks + (mvex.empty() ? "" : box("mvex", mvex)) + (udta.empty() ? "" : box("udta", udta)));
    const auto media = Maker().be(media_size.value_or(packets * packet_bytes + 8), 4).text("mdat").fill(packets * packet_bytes, '\x21').bytes;
    return box("ftyp", Maker().text(brand).be(0, 4).text("isom").bytes) + in_front + (header_first ? moov + media : media + moov) + behind;
  }
};

Result<audio::OpenedFile> open(const std::string& bytes, const std::string& path = "x.m4a") { return audio::open_bytes(makers::kept(bytes), path); }
audio::FileFacts facts(const Movie& movie, const std::string& path = "x.m4a") {
  auto opened = open(movie.bytes(), path);
  REQUIRE_MESSAGE(opened.has_value(), opened.error().text);
  return opened->facts;
}
std::string refusal(const std::string& bytes) {
  const auto opened = open(bytes);
  REQUIRE_FALSE(opened.has_value());
  return opened.error().text;
}
bool has(const std::string& text, std::string_view part) { return text.find(part) != std::string::npos; }
std::string edit(std::uint32_t length, std::int32_t start) {
  return Maker().be(1, 4).be(length, 4).be(static_cast<std::uint32_t>(start), 4).be(0x10000, 4).bytes;
}
std::string item(std::string_view type, std::string_view value, std::uint32_t kind = 1) { return box(type, full("data", Maker().be(0, 4).text(value).bytes, kind)); }
std::string free_form(std::string_view name, std::string_view value) {
  return box("----", full("mean", "com.apple.iTunes") + full("name", name) + full("data", Maker().be(0, 4).text(value).bytes, 1));
}
std::string items(const std::string& list) { return full("meta", full("hdlr", Maker().fill(4).text("mdirappl").fill(9).bytes) + box("ilst", list)); }
std::string tag(const audio::FileFacts& facts, std::string_view name) {
  for (const auto& one : facts.tags)
    if (one.name == name) return one.value;
  return {};
}

/// A folder that is the whole PATH, with a script called ffmpeg in it when there is one.
class OwnPath {
 public:
  explicit OwnPath(const std::string& script = {}) {
    const char* const before = std::getenv("PATH");
    kept_ = before == nullptr ? "" : before;
    if (!script.empty()) {
      const auto path = folder_.write("ffmpeg", "#!/bin/sh\nPATH=" + kept_ + "\ncase \"$*\" in *-version*) echo ffmpeg version 0; exit 0;; esac\n" + script + "\n");
      ::chmod(path.c_str(), 0755);
    }
    ::setenv("PATH", folder_.path().c_str(), 1);
  }
  ~OwnPath() { ::setenv("PATH", kept_.c_str(), 1); }
  OwnPath(const OwnPath&) = delete;
  OwnPath& operator=(const OwnPath&) = delete;

 private:
  Folder folder_;
  std::string kept_;
};

// What a decoder that is none writes: a Sun/NeXT header, then frames of zeros.
std::string au(int rate, int channels, int frames) {
  return "printf '.snd\\000\\000\\000\\030\\377\\377\\377\\377\\000\\000\\000\\006\\000\\000\\" + [&] {
    char text[64];
    std::snprintf(text, sizeof text, "%03o\\%03o\\000\\000\\000\\%03o'; ", rate >> 8 & 255, rate & 255, channels);
    return std::string(text);
  }() + "head -c " + std::to_string(frames * channels * 4) + " /dev/zero; ";
}

}  // namespace

TEST_SUITE("audio/mp4") {
  TEST_CASE("what the header says of AAC") {
    const auto f = facts({});
    CHECK(f.container == "M4A");
    CHECK(f.encoding == "AAC-LC");
    CHECK(f.container_note == "brand M4A");
    CHECK(*f.declared_frames == 10'240);
    CHECK(*f.bit_rate_kbit_s == doctest::Approx(200 * 8 * 44.1 / 1024));
    CHECK(f.bit_rate_mode == "variable");
    CHECK_FALSE(f.bit_depth.has_value());
    CHECK(f.contradictions.empty());
    CHECK(f.extension_matches);
    CHECK(f.chunks == std::vector<std::string>{"ftyp", "moov", "mdat"});
    Movie constant;
    constant.codec = full("esds", esds(kLc44, 0x40, 128'000, 128'000));
    CHECK(facts(constant).bit_rate_mode == "constant");
  }

  TEST_CASE("object types and where the doubled rate is told") {
    const auto read = [](std::initializer_list<int> list, int kind = 0x40) {
      const auto box_body = esds(bytes_of(list), kind);
      return audio::read_aac_config({reinterpret_cast<const std::uint8_t*>(box_body.data()), box_body.size()});
    };
    // Written out bit by bit: 00101 0111 0010 0100 00010 000 is HE-AAC, 22 050 Hz doubled, two channels, over AAC-LC.
    const auto he = read({0x2b, 0x92, 0x08, 0x00});
    REQUIRE(he.has_value());
    CHECK(he->encoding == "HE-AAC");
    CHECK(he->core_rate == 22'050);
    CHECK(he->sample_rate == 44'100);
    CHECK(he->packet_frames == 2048);
    // 11101 0111 0001 0100 00010 000: parametric stereo on one channel.
    const auto ps = read({0xeb, 0x8a, 0x08, 0x00});
    REQUIRE(ps.has_value());
    CHECK(ps->encoding == "HE-AACv2");
    CHECK(ps->channels == 2);
    // 00010 0111 0010 000, then the extension mark 01010110111 00101 1 0100: told afterwards.
    const auto late = read({0x13, 0x90, 0x56, 0xe5, 0xa0});
    REQUIRE(late.has_value());
    CHECK(late->encoding == "HE-AAC");
    CHECK(late->sample_rate == 44'100);
    CHECK(read({0x12, 0x10}, 0x67)->encoding == "AAC-LC");
    CHECK(read({0x0a, 0x10})->encoding == "AAC Main");
    CHECK_FALSE(read({0x12, 0x10}, 0x6b)->is_aac);
    CHECK_FALSE(read({0x12}).has_value());
    CHECK_FALSE(read({}).has_value());
    // 10111 0100 0010 0…: low delay; 11111 000111 …: object type 39.
    CHECK(read({0xba, 0x10, 0x00})->encoding == "AAC-LD");
    CHECK(read({0xf8, 0xe8, 0x20, 0x00})->encoding == "AAC-ELD");
  }

  TEST_CASE("ALAC is lossless and has a bit depth") {
    Movie m;
    m.entry = "alac", m.codec = full("alac", alac(24, 2, 96'000)), m.rate = 0, m.timescale = 96'000, m.packet_ticks = 4096;
    const auto f = facts(m);
    CHECK(f.encoding == "ALAC 24-bit");
    CHECK(*f.bit_depth == 24);
    auto opened = open(m.bytes());
    CHECK(opened->source->format().kind == audio::SampleKind::integer);
    CHECK(opened->source->format().container_bits == 24);
    CHECK(opened->source->format().sample_rate == 96'000);
    CHECK_FALSE(opened->source->format().lossy);
    m.codec = full("alac", alac(12, 2, 96'000));
    CHECK(has(refusal(m.bytes()), "broken"));
  }

  TEST_CASE("edit lists and the encoder's own note say what is heard") {
    Movie m;
    m.edits = edit(209, 1024);  // 9216 frames are 208.98 ms: within a tick the track's own count stands
    CHECK(*facts(m).declared_frames == 9216);
    CHECK(has(facts(m).container_note, "leaves out the first 1 024 frames"));
    m.edits = edit(100, 1024);
    CHECK(*facts(m).declared_frames == 4410);
    m.edits = edit(0, 1024);  // to the end
    CHECK(*facts(m).declared_frames == 9216);
    m.edits = Maker().be(2, 4).be(500, 4).be(0xffffffff, 4).be(0x10000, 4).be(209, 4).be(1024, 4).be(0x10000, 4).bytes;
    CHECK(*facts(m).declared_frames == 9216);
    CHECK(has(facts(m).container_note, "begins 0.500 s late"));
    m.edits = Maker().be(1000, 4).bytes;
    CHECK(mentions(facts(m).contradictions, "edit list promises 1000 entries and has room for 0"));
    m.edits.clear();
    m.udta = items(free_form("iTunSMPB", " 00000000 00000840 000001C0 0000000000001E00 00000000"));
    CHECK(*facts(m).declared_frames == 0x1e00);
    CHECK(has(facts(m).container_note, "2 112 frames in front"));
  }

  TEST_CASE("where the header stands, fragments, 64-bit sizes and open ends") {
    Movie m;
    m.header_first = false;
    CHECK(has(facts(m).container_note, "the header stands behind the sound"));
    CHECK(facts(m).contradictions.empty());
    m = {};
    m.media_size = 0;  // to the end of the file
    CHECK(facts(m).contradictions.empty());
    m = {};
    m.in_front = Maker().be(1, 4).text("free").be(24, 8).fill(8).bytes;
    CHECK(facts(m).contradictions.empty());
    CHECK(facts(m).chunks == std::vector<std::string>{"ftyp", "free", "moov", "mdat"});
    m = {};
    m.packets = 0;
    m.mvex = full("trex", Maker().be(1, 4).be(1, 4).be(1024, 4).be(0, 4).be(0, 4).bytes);
    const auto traf = [](const std::string& run, std::uint32_t flags) {
      return box("moof", full("mfhd", Maker().be(1, 4).bytes) + box("traf", full("tfhd", Maker().be(1, 4).bytes) + full("trun", run, flags)));
    };
    m.behind = traf(Maker().be(7, 4).bytes, 0) + box("mdat", std::string(700, 'x')) +
               traf(Maker().be(2, 4).be(1000, 4).be(300, 4).be(24, 4).be(300, 4).bytes, 0x300) + box("mdat", std::string(600, 'x'));
    const auto f = facts(m);
    CHECK(*f.declared_frames == 7 * 1024 + 1000 + 24);
    CHECK(has(f.container_note, "in fragments"));
    CHECK(f.contradictions.empty());
  }

  TEST_CASE("a header that was never written, or was cut off, is refused by its reason") {
    const auto whole = Movie().bytes();
    CHECK(has(refusal(box("ftyp", "M4A \0\0\0\0") + box("mdat", std::string(100, 'x'))), "never finished"));
    CHECK(has(refusal(whole.substr(0, 60)), "sound track"));
    CHECK(has(refusal(Maker().be(24, 4).text("styp").fill(16).text(box("moof", "")).bytes), "piece of a fragmented MP4"));
    Movie m;
    m.handler = "vide";
    CHECK(has(refusal(m.bytes()), "no sound track"));
    m = {};
    m.entry = "enca";
    CHECK(has(refusal(m.bytes()), "encrypted"));
    m.entry = "ac-3";
    CHECK(has(refusal(m.bytes()), "around ac-3"));
    m.entry = "mp4a", m.codec = full("esds", esds(kLc44, 0x6b));
    CHECK(has(refusal(m.bytes()), "around MPEG audio"));
    m.codec = "";
    CHECK(has(refusal(m.bytes()), "no esds box"));
    m.codec = full("esds", "\x03\x7f");
    CHECK(has(refusal(m.bytes()), "broken"));
    CHECK(has(refusal(std::string("\xff\xf1\x50\x80\x2e\x9f\xfc", 7) + std::string(3000, 'a')), "bare AAC stream"));
  }

  TEST_CASE("what contradicts itself is found") {
    Movie m;
    auto bytes = m.bytes();
    const auto cut = open(bytes.substr(0, bytes.size() - 500));
    REQUIRE(cut.has_value());
    CHECK_MESSAGE(mentions(cut->facts.contradictions, "the box mdat says 2 008 bytes, 1 508 are there"), makers::joined(cut->facts.contradictions));
    CHECK(mentions(cut->facts.contradictions, "the tables name 2 000 bytes of sound, 1 500 are there"));
    m.place = 1 << 20;
    CHECK(mentions(facts(m).contradictions, "1 of 1 pieces of sound are said to lie behind the end of the file"));
    m = {};
    m.stbl_sizes = full("stsz", Maker().be(0, 4).be(0xffffffff, 4).be(100, 4).bytes);
    CHECK(mentions(facts(m).contradictions, "table of sizes promises 4 294 967 295 entries and has room for 1"));
    m = {};
    m.rate = 48'000;
    CHECK(mentions(facts(m).contradictions, "48000 Hz by the track and 44100 Hz by the codec"));
    m = {};
    m.more_tracks = Movie().track();
    CHECK(mentions(facts(m).contradictions, "a second sound track"));
    m = {};
    m.behind = std::string(5000, '\x01');
    CHECK(facts(m).trailing_bytes == 5000);
    CHECK(mentions(facts(m).contradictions, "5 000 bytes after the last box"));
  }

  TEST_CASE("names that lie") {
    Movie m;
    CHECK(facts(m, "mix.wav").extension_note == "named .wav, holds M4A");
    CHECK(facts(m, "mix.mp4").extension_matches);
    CHECK(facts(m, "mix.m4b").extension_matches);
    Movie picture;
    picture.handler = "vide";
    m.more_tracks = picture.track();
    CHECK(facts(m, "film.m4a").container == "MP4");
    CHECK(facts(m, "film.m4a").extension_note == "named .m4a, holds MP4");
    CHECK(has(facts(m, "film.mp4").container_note, "1 picture track"));
    m.brand = "qt  ";
    CHECK(facts(m, "film.mov").container == "QuickTime");
    CHECK(facts(m, "film.mov").extension_matches);
  }

  TEST_CASE("items: texts, numbers, pictures, and what is no item") {
    Movie m;
    const std::string png = "\x89PNG\r\n\x1a\n" + Maker().be(13, 4).text("IHDR").be(30, 4).be(40, 4).text(bytes_of({8, 2, 0, 0, 0})).bytes;
    m.udta = items(item("\xa9nam", "Paper Moonrise") + item("\xa9""ART", "Bl\xfc" "e") + item("\xa9" "alb", std::string("\0T\0i\0n", 6), 2) +
                   item("trkn", std::string("\0\0\0\x03\0\x09\0\0", 8), 0) + free_form("ISRC", "AA6Q72000047") + free_form("UPC", "036000291452") +
                   free_form("My Own", "kept") + item("covr", png, 14) + item("tmpo", "\0x", 21));
    const auto f = facts(m);
    CHECK(tag(f, "title") == "Paper Moonrise");
    CHECK(tag(f, "artist") == "Bl\xef\xbf\xbd" "e");
    CHECK(tag(f, "album") == "Tin");
    CHECK(tag(f, "track") == "3/9");
    CHECK(tag(f, "isrc") == "AA6Q72000047");
    CHECK(tag(f, "upc") == "036000291452");
    CHECK(tag(f, "my own") == "kept");
    CHECK(f.tags.front().origin == "MP4");
    CHECK(f.embedded_artwork_bytes == std::ssize(png));
    REQUIRE(f.artworks.size() == 1);
    CHECK(f.artworks[0].head.width == 30);
    CHECK(f.artworks[0].mime == "image/png");
    bool told = false;
    for (const auto& text : f.text_fields) told = told || (text.name == "ISRC" && text.value == "AA6Q72000047");
    CHECK(told);
  }

  TEST_CASE("hostile: sizes, nesting, boxes without number, and every cut and flip end soon") {
    const auto start = std::chrono::steady_clock::now();
    std::string nest;
    for (int i = 0; i < 20'000; ++i) nest = box("udta", i % 2000 == 0 ? "" : nest);
    for (const std::string type : {"moov", "udta", "meta", "ilst"}) static_cast<void>(open(box("ftyp", "M4A ") + box("moov", box(type, nest))));
    Movie m;
    for (int i = 0; i < 300'000; ++i) m.udta += std::string("\0\0\0\x08" "abcd", 8);
    CHECK(mentions(facts(m).contradictions, "more than 16384 boxes"));
    m = {};
    for (int i = 0; i < 100'000; ++i) m.in_front += std::string("\0\0\0\x08" "free", 8);
    CHECK(has(refusal(m.bytes()), "its first 16384 boxes hold no header"));
    m = {};
    m.stbl_sizes = full("stsz", Maker().be(0xffffffff, 4).be(0xffffffff, 4).bytes);
    m.packet_ticks = 0x7fffffff;
    static_cast<void>(facts(m));
    m = {};
    m.udta = items(item("\xa9nam", "title") + free_form("ISRC", "AA6Q72000047") + item("trkn", std::string("\0\0\0\x03\0\x09\0\0", 8), 0));
    m.edits = edit(209, 1024);
    const auto whole = m.bytes();
    for (std::size_t i = 0; i < whole.size() - 1900; ++i) {
      static_cast<void>(audio::open_bytes(std::string_view(whole).substr(0, i), "x.m4a"));
      for (const int change : {0x01, 0x80, 0xff}) {
        auto other = whole;
        other[i] = static_cast<char>(other[i] ^ change);
        static_cast<void>(audio::open_bytes(other, "x.m4a"));
      }
    }
    CHECK(std::chrono::steady_clock::now() - start < std::chrono::seconds(20));
  }

  TEST_CASE("without a decoder the header stands, and what is missing is said with its remedy") {
    const Folder folder;
    const auto path = folder.write("x.m4a", Movie().bytes());
    const OwnPath none;
    auto opened = audio::open_file(path);
    REQUIRE(opened.has_value());
    CHECK(has(opened->facts.not_decoded, "install ffmpeg so that M4A can be decoded, or bounce a WAV"));
    CHECK(opened->facts.decoder.empty());
    CHECK(makers::decode(*opened->source).frames == 0);
    CHECK_FALSE(audio::decoding_helper().has_value());
  }

  TEST_CASE("a decoder is held to the header, and to its promises") {
    const Folder folder;
    const auto path = folder.write("x.m4a", Movie().bytes());
    const auto opened_by = [&](const std::string& script) {
      const OwnPath own(script);
      return audio::open_file(path);
    };
    auto plain = opened_by(au(44'100, 2, 10'240));
    REQUIRE_MESSAGE(plain.has_value(), plain.error().text);
    CHECK(plain->facts.decoder == "ffmpeg version 0");
    CHECK(makers::decode(*plain->source).frames == 10'240);
    CHECK_MESSAGE(plain->source->damage().empty(), makers::joined(plain->source->damage()));
    // What fills up the last packet is no sound; more than that is a contradiction.
    auto filled = opened_by(au(44'100, 2, 11'000));
    CHECK(makers::decode(*filled->source, 777).frames == 10'240);
    CHECK(filled->source->damage().empty());
    auto longer = opened_by(au(44'100, 2, 20'000));
    CHECK(makers::decode(*longer->source, 777).frames == 20'000);
    CHECK(mentions(longer->source->damage(), "the header says 10 240 frames, 20 000 could be decoded"));
    auto shorter = opened_by(au(44'100, 2, 5000) + "echo 'bad packet' >&2; exit 1");
    CHECK(makers::decode(*shorter->source).frames == 5000);
    CHECK_MESSAGE(mentions(shorter->source->damage(), "bad packet"), makers::joined(shorter->source->damage()));
    CHECK(mentions(shorter->source->damage(), "5 000 could be decoded"));
    auto complains = opened_by(au(44'100, 2, 10'240) + "echo '[aac @ 0x5] Error while decoding' >&2");
    CHECK(makers::decode(*complains->source).frames == 10'240);
    CHECK_MESSAGE(mentions(complains->source->damage(), "the decoder says: Error while decoding"), makers::joined(complains->source->damage()));
    auto endless = opened_by(au(44'100, 2, 100) + "cat /dev/zero");
    static_cast<void>(makers::decode(*endless->source, 65'536));
    CHECK_MESSAGE(mentions(endless->source->damage(), "wrote more than it may"), makers::joined(endless->source->damage()));
    // A rate that only the decoder sees: twice the header's.
    auto doubled = folder.write("he.m4a", [] {
      Movie m;
      m.codec = full("esds", esds(bytes_of({0x13, 0x90})));
      m.rate = m.timescale = 22'050;
      return m.bytes();
    }());
    const OwnPath own(au(44'100, 2, 20'480));
    auto he = audio::open_file(doubled);
    REQUIRE(he.has_value());
    CHECK(he->facts.encoding == "HE-AAC");
    CHECK(he->source->format().sample_rate == 44'100);
    CHECK(*he->facts.declared_frames == 20'480);
    CHECK(he->facts.contradictions.empty());
    CHECK(makers::decode(*he->source).frames == 20'480);
    CHECK(he->source->damage().empty());
    auto other = audio::open_file(path);  // 44.1 kHz by both
    CHECK(other->facts.encoding == "AAC-LC");
  }

  TEST_CASE("a decoder that refuses is an error with its words") {
    const Folder folder;
    const auto path = folder.write("x.m4a", Movie().bytes());
    for (const std::string script : {"echo 'no luck' >&2; exit 1", "exit 0", "echo not a header at all, whatever it is"}) {
      const OwnPath own(script);
      const auto opened = audio::open_file(path);
      REQUIRE_FALSE(opened.has_value());
      CHECK(has(opened.error().text, "the decoder for AAC-LC refuses it"));
      if (has(script, "luck")) CHECK(has(opened.error().text, "no luck"));
    }
  }

  TEST_CASE("ALAC comes back bit for bit, AAC in its place, wherever the header stands") {
    if (!makers::have("ffmpeg")) return;
    const Folder folder;
    for (const int bytes : {2, 3}) {
      makers::Wave wave;
      wave.bits = 8 * bytes;
      const auto source = folder.write("s.wav", makers::wav(wave, makers::tone(30'011, 2, bytes)));
      auto reference = audio::open_file(source);
      const auto codes = makers::decode(*reference->source).codes;
      for (const std::string options : {"", "-movflags +faststart", "-movflags +frag_keyframe+empty_moov"}) {
        CAPTURE(options);
        const auto path = folder.file("a.m4a");
        REQUIRE(makers::run("ffmpeg -y -i " + source + " -c:a alac -sample_fmt " + (bytes == 2 ? "s16p " : "s32p ") + options + " " + path));
        auto opened = audio::open_file(path);
        REQUIRE_MESSAGE(opened.has_value(), opened.error().text);
        CHECK(opened->facts.encoding == (bytes == 2 ? "ALAC 16-bit" : "ALAC 24-bit"));
        CHECK(makers::decode(*opened->source, 1111).codes == codes);
        CHECK_MESSAGE(opened->source->damage().empty(), makers::joined(opened->source->damage()));
        CHECK_MESSAGE(opened->facts.contradictions.empty(), makers::joined(opened->facts.contradictions));
        CHECK(has(opened->facts.decoder, "ffmpeg version"));
        REQUIRE(makers::run("ffmpeg -y -i " + source + " -c:a aac -b:a 192k " + options + " " + path));
        auto lossy = audio::open_file(path);
        REQUIRE_MESSAGE(lossy.has_value(), lossy.error().text);
        CHECK(lossy->facts.encoding == "AAC-LC");
        const auto reals = makers::decode(*lossy->source, 999);
        CHECK_MESSAGE(lossy->source->damage().empty(), makers::joined(lossy->source->damage()));
        // A fragmented file has no place for the end: the last packet stays whole there.
        if (has(options, "frag")) continue;
        CHECK(reals.frames == 30'011);
        double signal = 0, error = 0;
        for (std::size_t i = 8192; i < 50'000; ++i) {
          const double x = static_cast<double>(codes[i]) * 0x1p-31, d = reals.reals[i] - x;
          signal += x * x, error += d * d;
        }
        CHECK(10 * std::log10(signal / error) > 20);
      }
    }
  }

  TEST_CASE("damage in the sound is said; a film's sound is read") {
    if (!makers::have("ffmpeg")) return;
    const Folder folder;
    const auto path = folder.file("a.m4a");
    REQUIRE(makers::run("ffmpeg -y -f lavfi -i anoisesrc=d=3:a=0.3:r=48000 -c:a aac -movflags +faststart " + path));
    const auto whole = makers::contents(path);
    auto bad = whole;
    for (std::size_t i = bad.size() / 2; i < bad.size() / 2 + 3000; ++i) bad[i] = static_cast<char>(bad[i] ^ 0x5a);
    auto opened = audio::open_file(folder.write("bad.m4a", bad));
    REQUIRE(opened.has_value());
    static_cast<void>(makers::decode(*opened->source));
    CHECK_FALSE(opened->source->damage().empty());
    auto cut = audio::open_file(folder.write("cut.m4a", whole.substr(0, whole.size() / 2)));
    REQUIRE(cut.has_value());
    CHECK(makers::decode(*cut->source).frames > 48'000);
    CHECK(mentions(cut->source->damage(), "could be decoded"));
    CHECK(mentions(cut->facts.contradictions, "the box mdat says"));
    const auto film = folder.file("v.mp4");
    REQUIRE(makers::run("ffmpeg -y -f lavfi -i testsrc=d=1 -f lavfi -i sine=d=1:r=48000 -c:v mpeg4 -c:a aac " + film));
    auto video = audio::open_file(film);
    REQUIRE_MESSAGE(video.has_value(), video.error().text);
    CHECK(video->facts.container == "MP4");
    CHECK(makers::decode(*video->source).frames == 48'000);
    CHECK_MESSAGE(video->source->damage().empty(), makers::joined(video->source->damage()));
  }
}
