// bext, INFO, iXML, ID3v2 and Vorbis comments: what is found, where it stood, and that hostile ones are bounded.
#include <doctest/doctest.h>
#include <sys/resource.h>

#include <cmath>

#include "audio/file.h"
#include "makers.h"

using namespace sendworthy;
using makers::chunk;
using makers::Folder;
using makers::Maker;
using makers::mentions;

namespace {

audio::FileFacts facts_with(const std::string& chunks) {
  const auto bytes =
      makers::riff(chunk("fmt ", makers::format_body({})) + chunks + chunk("data", makers::tone(10, 2, 2)));
  auto result = audio::open_bytes(bytes, "x.wav");
  REQUIRE_MESSAGE(result.has_value(), result.error().text);
  return result->facts;
}

std::string field(const audio::FileFacts& facts, std::string_view origin, std::string_view name) {
  for (const auto& text : facts.text_fields) {
    if (text.origin == origin && text.name == name) return text.value;
  }
  return "(none)";
}

std::string tag(const std::vector<Tag>& tags, std::string_view name, std::string_view origin = "") {
  for (const auto& t : tags) {
    if (t.name == name && (origin.empty() || t.origin == origin)) return t.value;
  }
  return "(none)";
}

struct Bext {
  std::string description = "Night Ferry, final stereo mix";
  int version = 2;
  std::uint64_t time_reference = 0;
  std::int16_t words[5] = {0x7fff, 0x7fff, 0x7fff, 0x7fff, 0x7fff};
  std::string history;
};

// EBU Tech 3285 v2: 256 + 32 + 32 + 10 + 8 + 4 + 4 + 2 + 64 + 5 × 2 + 180 = 602 bytes, then the history.
std::string bext(const Bext& b) {
  const auto fixed = [](std::string text, std::size_t size) {
    text.resize(size, '\0');
    return text;
  };
  Maker m;
  m.text(fixed(b.description, 256))
      .text(fixed("Example Studio", 32))
      .text(fixed("XX0001", 32))
      .text("2024-05-0612:34:56");
  m.le(b.time_reference, 8).le(static_cast<std::uint64_t>(b.version), 2).fill(64);
  for (const auto word : b.words) m.le(static_cast<std::uint16_t>(word), 2);
  m.fill(180);
  REQUIRE(m.bytes.size() == 602);
  return chunk("bext", m.text(b.history).bytes);
}

std::string synchsafe(std::size_t size) {
  return Maker().be(size >> 21 & 127, 1).be(size >> 14 & 127, 1).be(size >> 7 & 127, 1).be(size & 127, 1).bytes;
}

std::string id3_frame(const std::string& id, const std::string& body, int flags = 0, bool v4 = false) {
  return Maker()
      .text(id)
      .text(v4 ? synchsafe(body.size()) : Maker().be(body.size(), 4).bytes)
      .be(static_cast<std::uint64_t>(flags), 2)
      .text(body)
      .bytes;
}

std::string id3(const std::string& frames, int version = 3, int flags = 0) {
  return Maker()
      .text("ID3")
      .be(static_cast<std::uint64_t>(version), 1)
      .be(0, 1)
      .be(static_cast<std::uint64_t>(flags), 1)
      .text(synchsafe(frames.size()))
      .text(frames)
      .bytes;
}

std::string latin(const std::string& text) { return std::string(1, '\0') + text; }

std::int64_t peak_memory_kib() {
  struct rusage usage {};
  getrusage(RUSAGE_SELF, &usage);
  return usage.ru_maxrss;
}

}  // namespace

TEST_SUITE("audio/texts") {
  TEST_CASE("bext: every field of Tech 3285 v2 is found at its offset") {
    Bext b;
    b.time_reference = 0x0000000123456789;
    b.history = "A=PCM,F=48000,W=24,M=stereo,T=example\r\n";
    const auto f = facts_with(bext(b));
    CHECK(f.contradictions.empty());
    CHECK(field(f, "bext", "Description") == b.description);
    CHECK(field(f, "bext", "Originator") == "Example Studio");
    CHECK(field(f, "bext", "OriginatorReference") == "XX0001");
    CHECK(field(f, "bext", "OriginationDate") == "2024-05-06");
    CHECK(field(f, "bext", "OriginationTime") == "12:34:56");
    CHECK(field(f, "bext", "TimeReference") == "4886718345");
    CHECK(field(f, "bext", "Version") == "2");
    CHECK(field(f, "bext", "CodingHistory") == "A=PCM,F=48000,W=24,M=stereo,T=example");
    CHECK(tag(f.tags, "comment", "bext") == b.description);
    CHECK(tag(f.tags, "date", "bext") == "2024-05-06");
  }

  TEST_CASE("bext: loudness words as printed in Tech 3285 v2, 2.4") {
    // The words of the printed examples: F728h, F727h, 04FCh, 04FDh; and 7FFFh for "unused".
    Bext b;
    b.words[0] = static_cast<std::int16_t>(0xf728);
    b.words[1] = 0x04fc;
    b.words[2] = static_cast<std::int16_t>(0xf727);
    b.words[3] = 0x04fd;
    auto f = facts_with(bext(b));
    CHECK(field(f, "bext", "LoudnessValue") == "-22.64");
    CHECK(field(f, "bext", "LoudnessRange") == "12.76");
    CHECK(field(f, "bext", "MaxTruePeakLevel") == "-22.65");
    CHECK(field(f, "bext", "MaxMomentaryLoudness") == "12.77");
    CHECK(field(f, "bext", "MaxShortTermLoudness") == "(none)");
    b.words[0] = -1;
    CHECK(field(facts_with(bext(b)), "bext", "LoudnessValue") == "-0.01");
    b.words[0] = INT16_MIN;
    CHECK(field(facts_with(bext(b)), "bext", "LoudnessValue") == "-327.68");
    // Before version 2 these bytes meant nothing.
    b.version = 1;
    CHECK(field(facts_with(bext(b)), "bext", "LoudnessValue") == "(none)");
  }

  TEST_CASE("bext: shorter than its fixed part is a contradiction") {
    CHECK(mentions(facts_with(chunk("bext", std::string(600, '\0'))).contradictions,
                   "the bext chunk has 600 bytes, its fixed part takes 602"));
  }

  TEST_CASE("INFO: items become tags; ISRC counts as one only in the form of one") {
    const auto item = [](std::string_view id, const std::string& value) {
      return chunk(id, value + std::string(1, '\0'));
    };
    const auto info = [&](const std::string& isrc) {
      return chunk("LIST", "INFO" + item("INAM", "Paper Moonrise") + item("IART", "The Example") +
                               item("IPRD", "Album") + item("ITRK", "7") + item("ICRD", "2024") + item("IGNR", "Folk") +
                               item("ICMT", "n/a") + item("ISRC", isrc));
    };
    const auto f = facts_with(info("AA-6Q7-20-00047"));
    CHECK(f.contradictions.empty());
    CHECK(tag(f.tags, "title") == "Paper Moonrise");
    CHECK(tag(f.tags, "artist") == "The Example");
    CHECK(tag(f.tags, "album") == "Album");
    CHECK(tag(f.tags, "track") == "7");
    CHECK(tag(f.tags, "date") == "2024");
    CHECK(tag(f.tags, "genre") == "Folk");
    CHECK(tag(f.tags, "comment") == "n/a");
    CHECK(tag(f.tags, "isrc") == "AA-6Q7-20-00047");
    CHECK(field(f, "INFO", "IART") == "The Example");
    CHECK(tag(facts_with(info("Example tape archive")).tags, "isrc") == "(none)");
  }

  TEST_CASE("INFO: zero-size lists and entries that do not fit are survived and said") {
    CHECK(mentions(facts_with(chunk("LIST", "")).contradictions, "too few for its type"));
    CHECK(mentions(facts_with(chunk("LIST", Maker().text("INFOISFT").le(1000, 4).text("ab").bytes)).contradictions,
                   "does not fit"));
    CHECK(facts_with(chunk("LIST", "INFO")).contradictions.empty());
  }

  TEST_CASE("iXML: kept whole, its plain elements found by name") {
    const auto f = facts_with(chunk("iXML",
                                    "<?xml version=\"1.0\"?><BWFXML><PROJECT>Harbour</PROJECT><SPEED><NOTE>x &amp; "
                                    "y</NOTE></SPEED><TAKE/></BWFXML>"));
    CHECK(field(f, "iXML", "document").starts_with("<?xml"));
    CHECK(field(f, "iXML", "PROJECT") == "Harbour");
    CHECK(field(f, "iXML", "NOTE") == "x &amp; y");
    const auto huge = facts_with(chunk("iXML", std::string(3'000'000, '<')));
    CHECK(field(huge, "iXML", "document").size() == 65'536);
  }

  TEST_CASE("C23: ID3 in a WAV gives tags, and its pictures are weighed") {
    const std::string picture =
        latin("image/png") + std::string(1, '\0') + "\x03" + "front" + std::string(1, '\0') + std::string(5000, 'P');
    const auto f = facts_with(chunk(
        "id3 ", id3(id3_frame("TIT2", latin("Paper Moonrise")) + id3_frame("TPE1", latin("The Example")) +
                    id3_frame("TRCK", latin("3/9")) + id3_frame("TSRC", latin("AA6Q72000047")) +
                    id3_frame("TYER", latin("2024")) + id3_frame("TCOM", latin("Anon")) + id3_frame("APIC", picture))));
    CHECK(f.contradictions.empty());
    CHECK(tag(f.tags, "title") == "Paper Moonrise");
    CHECK(tag(f.tags, "artist") == "The Example");
    CHECK(tag(f.tags, "track") == "3/9");
    CHECK(tag(f.tags, "isrc") == "AA6Q72000047");
    CHECK(tag(f.tags, "date") == "2024");
    CHECK(tag(f.tags, "composer") == "Anon");
    CHECK(tag(f.tags, "title", "ID3v2") != "(none)");
    CHECK(field(f, "ID3v2", "TIT2") == "Paper Moonrise");
    CHECK(f.embedded_artwork_bytes == 5000);
    REQUIRE(f.artworks.size() == 1);
    CHECK(f.artworks[0].mime == "image/png");
  }

  TEST_CASE("ID3 of all three versions, with and without unsynchronisation") {
    const std::string utf16 = std::string("\x01\xff\xfe", 3) + std::string("P\0a\0p\0e\0r\0", 10);
    CHECK(tag(facts_with(chunk("id3 ", id3(id3_frame("TIT2", utf16)))).tags, "title") == "Paper");
    CHECK(tag(facts_with(chunk("id3 ", id3(id3_frame("TIT2", utf16, 0, true), 4))).tags, "title") == "Paper");
    const auto v2 = Maker().text("TT2").be(6, 3).text(latin("Paper")).bytes;
    CHECK(tag(facts_with(chunk("id3 ", id3(v2, 2))).tags, "title") == "Paper");
    // FF FE becomes FF 00 FE: once for the whole tag (2.3), once for a frame (2.4).
    const std::string unsync = std::string("\x01\xff\x00\xfe", 4) + std::string("P\0a\0p\0e\0r\0", 10);
    auto frame = id3_frame("TIT2", utf16);
    frame.replace(frame.find("\xff\xfe"), 2, std::string("\xff\x00\xfe", 3));
    CHECK(tag(facts_with(chunk("id3 ", id3(frame, 3, 0x80))).tags, "title") == "Paper");
    CHECK(tag(facts_with(chunk("id3 ", id3(id3_frame("TIT2", unsync, 0x0002, true), 4))).tags, "title") == "Paper");
    // A text longer than 127 bytes, its size written in the 2.3 manner into a 2.4 tag, as some programs do.
    const auto text = latin(std::string(300, 'x'));
    const auto wrong = id3_frame("TALB", text) + id3_frame("TIT2", latin("Paper"));
    CHECK(tag(facts_with(chunk("id3 ", id3(wrong, 4))).tags, "title") == "Paper");
  }

  TEST_CASE("hostile ID3 tags are bounded in memory and time") {
    const auto before = peak_memory_kib();
    // Sizes that promise gigabytes, frames marked as compressed with a made-up length, thousands of frames.
    const auto liar = Maker().text("TIT2").be(0x7fffffff, 4).be(0, 2).text("abc").bytes;
    CHECK(mentions(facts_with(chunk("id3 ", id3(liar))).contradictions, "the ID3v2 frame TIT2 claims"));
    facts_with(chunk("id3 ", id3(id3_frame("TIT2", Maker().be(0x7fffffff, 4).text("\x78\x9c\x03").bytes, 0x0080))));
    facts_with(
        chunk("id3 ", id3(id3_frame("TIT2", Maker().be(0x7f7f7f7f, 4).text("\x78\x9c\x03").bytes, 0x0009, true), 4)));
    std::string many;
    for (int i = 0; i < 20'000; ++i) many += id3_frame("TXXX", latin(std::string("k\0v", 3)));
    const auto f = facts_with(chunk("id3 ", id3(many)));
    CHECK(f.tags.size() <= 256);
    CHECK(f.text_fields.size() <= 256);
    facts_with(chunk("id3 ", id3(id3_frame("TXXX", latin(std::string(60'000, 'x'))) +
                                 id3_frame("ETCO", std::string(50'000, '\xff')))));
    facts_with(chunk("id3 ", Maker().text("ID3\x03").be(0, 2).text("\x7f\x7f\x7f\x7f").bytes));
    CHECK(peak_memory_kib() - before < 64 * 1024);
  }

  TEST_CASE("Vorbis comments of FLAC and Ogg are read, in names that TagLib and we agree on") {
    if (!makers::have("ffmpeg")) return;
    const Folder folder;
    for (const std::string extension : {"flac", "ogg", "opus", "mp3", "aiff", "wav"}) {
      const auto path = folder.file("x." + extension);
      REQUIRE(
          makers::run("ffmpeg -y -f lavfi -i sine=d=0.5 -metadata title='Paper Moonrise' -metadata artist='Jos\u00e9 "
                      "Example' -metadata track=4 -metadata date=2024 "
                      "-metadata genre=Folk " +
                      std::string(extension == "aiff" ? "-write_id3v2 1 " : "") + path));
      const auto opened = audio::open_file(path);
      REQUIRE_MESSAGE(opened.has_value(), opened.error().text);
      CAPTURE(extension);
      CHECK(tag(opened->facts.tags, "title") == "Paper Moonrise");
      CHECK(tag(opened->facts.tags, "artist") == "Jos\u00e9 Example");
      CHECK(tag(opened->facts.tags, "track") == "4");
      CHECK(tag(opened->facts.tags, "date") == "2024");
      CHECK(tag(opened->facts.tags, "genre") == "Folk");
    }
  }

  TEST_CASE("a picture in a FLAC file is weighed to the byte") {
    if (!makers::have("metaflac") || !makers::have("ffmpeg")) return;
    const Folder folder;
    const auto path = folder.file("x.flac");
    REQUIRE(makers::run("ffmpeg -y -f lavfi -i sine=d=0.1 " + path));
    REQUIRE(makers::run("ffmpeg -y -f lavfi -i color=red:s=64x64 -frames:v 1 " + folder.file("c.png")));
    REQUIRE(makers::run("metaflac --import-picture-from=" + folder.file("c.png") + " " + path));
    const auto opened = audio::open_file(path);
    REQUIRE(opened.has_value());
    const auto picture = makers::contents(folder.file("c.png"));
    CHECK(opened->facts.embedded_artwork_bytes == std::ssize(picture));
    REQUIRE(opened->facts.artworks.size() == 1);
    CHECK(opened->facts.artworks[0].mime == "image/png");
    CHECK(makers::contents(path).substr(static_cast<std::size_t>(opened->facts.artworks[0].byte_offset),
                                        picture.size()) == picture);
  }
}
