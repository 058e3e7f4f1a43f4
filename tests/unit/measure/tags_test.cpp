// Codes and texts in tags, against published examples; then whole files that carry them.
#include <doctest/doctest.h>
#include <sys/resource.h>

#include <chrono>
#include <cmath>
#include <string>
#include <utility>
#include <vector>

#include "measure/name_checks.h"
#include "measure/tag_checks.h"
#include "standards/reading.h"
#include "unit/audio/makers.h"

using namespace sendworthy;
using namespace sendworthy::measure;
using makers::chunk;
using makers::Maker;

namespace {

test::Reading file(const std::string& chunks, const std::string& path = "x.wav", const makers::Wave& wave = {}, std::int64_t frames = 48'000) {
  const auto bytes = makers::riff(chunk("fmt ", makers::format_body(wave)) + chunks + chunk("data", makers::tone(frames, wave.channels, wave.bits / 8)));
  auto opened = audio::open_bytes(makers::kept(bytes), path);
  REQUIRE_MESSAGE(opened.has_value(), opened.error().text);
  return test::measured(std::move(*opened));
}
std::string text(const test::Reading& r, std::string_view id) { return std::get<std::string>(std::get<Value>(r.measurement(id).outcome)); }
bool applies(const test::Reading& r, std::string_view id) { return !std::holds_alternative<NotApplicable>(r.measurement(id).outcome); }

std::string info(const std::vector<std::pair<std::string, std::string>>& items) {
  std::string body = "INFO";
  for (const auto& [id, value] : items) body += chunk(id, value + std::string(1, '\0'));
  return chunk("LIST", body);
}

std::string synchsafe(std::size_t size) {
  return Maker().be(size >> 21 & 127, 1).be(size >> 14 & 127, 1).be(size >> 7 & 127, 1).be(size & 127, 1).bytes;
}
std::string frame(const std::string& id, const std::string& body) { return Maker().text(id).be(body.size(), 4).be(0, 2).text(body).bytes; }
// Encoding 3 is UTF-8 (ID3v2.4, which readers take in 2.3 too); 0 is Latin-1.
std::string latin(const std::string& text) { return std::string(1, '\0') + text; }
std::string id3(const std::string& frames) { return chunk("id3 ", Maker().text("ID3\x03").be(0, 2).text(synchsafe(frames.size())).text(frames).bytes); }
std::string own(const std::string& name, const std::string& value) { return frame("TXXX", latin(name + std::string(1, '\0') + value)); }

std::string bext(std::uint64_t start, const std::string& history = "", std::optional<int> loudness = {}, const std::string& description = "") {
  Maker m;
  auto fixed = description;
  fixed.resize(256, '\0');
  m.text(fixed).fill(82).le(start, 8).le(loudness ? 2 : 1, 2).fill(64);
  m.le(static_cast<std::uint16_t>(loudness.value_or(0x7fff)), 2);
  for (int i = 0; i < 4; ++i) m.le(0x7fff, 2);
  return chunk("bext", m.fill(180).text(history).bytes);
}
std::string ixml(const std::string& inside) { return chunk("iXML", "<?xml version=\"1.0\"?><BWFXML>" + inside + "</BWFXML>"); }
std::string stamp(std::uint64_t samples, const std::string& rate) {
  return "<SPEED><FILE_SAMPLE_RATE>" + rate + "</FILE_SAMPLE_RATE><TIMESTAMP_SAMPLE_RATE>" + rate +
         "</TIMESTAMP_SAMPLE_RATE><TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_HI>" + std::to_string(samples >> 32) +
         "</TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_HI><TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_LO>" + std::to_string(samples & 0xffffffff) +
         "</TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_LO></SPEED>";
}

std::int64_t peak_memory_kib() {
  struct rusage usage {};
  getrusage(RUSAGE_SELF, &usage);
  return usage.ru_maxrss;
}

}  // namespace

TEST_SUITE("measure/tags") {
  TEST_CASE("G07: the example of the ISRC registration authority, as it is written and as it is shown") {
    for (const char* good : {"AA6Q72000047", "ISRC AA-6Q7-20-00047", "AA-6Q7-20-00047", "aa6q72000047", "ISRC: AA6Q72000047", " AA6Q72000047 "}) {
      CAPTURE(good);
      CHECK(isrc_trouble(good) == "");
      CHECK(isrc_code(good) == "AA6Q72000047");
    }
    CHECK(isrc_trouble("AA6Q7200004") == "11 characters where 12 belong");
    CHECK(isrc_trouble("") == "0 characters where 12 belong");
    CHECK(isrc_trouble("AA6Q7200O047") == "character 9 is the letter O; the digit 0 may be meant");
    CHECK(isrc_trouble("AA6Q72I00047") == "character 7 is a letter; the digit 1 may be meant");
    CHECK(isrc_trouble("A06Q72000047") == "character 2 is the digit 0; the letter O may be meant");
    CHECK(isrc_trouble("1A6Q72000047") == "character 1 is the digit 1; the letter I may be meant");
    CHECK(isrc_trouble("AA6Q72X00047") == "character 7 is not a digit");
    CHECK(isrc_trouble("AA6Q7X200047") == "character 6 is not a digit");
    CHECK(isrc_trouble("AA6Q2200004X") == "character 12 is not a digit");
    CHECK(isrc_trouble("AAAAA2000047") == "");
    CHECK(isrc_trouble("AA.Q72000047") == "character 3 is not a letter or digit");
    CHECK(isrcs_in_name("01 Song AA6Q72000047 x") == std::vector<std::string>{"AA6Q72000047"});
    CHECK(isrcs_in_name("AA-6Q7-20-00047_song") == std::vector<std::string>{"AA6Q72000047"});
    CHECK(isrcs_in_name("XAA6Q72000047").empty());
    CHECK(isrcs_in_name("AA6Q720000471").empty());
    CHECK(isrcs_in_name("AA--6Q7-20-00047").empty());
  }

  TEST_CASE("G07: the code in the file, in one place and in several") {
    CHECK(text(file(""), "isrc") == "none");
    CHECK(text(file(""), "tag_isrc") == "");
    CHECK(text(file(id3(frame("TSRC", latin("AA6Q72000047")))), "isrc") == "ok");
    CHECK(text(file(id3(frame("TSRC", latin("AA6Q72000047")))), "tag_isrc") == "AA6Q72000047");
    CHECK(text(file(info({{"ISRC", "AA-6Q7-20-00047"}})), "isrc") == "ok");
    CHECK(text(file(info({{"ISRC", "AA6Q7200O047"}})), "isrc") == "\"AA6Q7200O047\" in INFO: character 9 is the letter O; the digit 0 may be meant");
    // There the field means the source of a recording, by the book.
    CHECK(text(file(info({{"ISRC", "Example tape archive"}})), "isrc") == "none");
    CHECK(text(file(info({{"ISRC", "AA6Q72000047"}}) + id3(frame("TSRC", latin("AA-6Q7-20-00047")))), "isrc") == "ok");
    CHECK(text(file(info({{"ISRC", "AA6Q72000047"}}) + id3(frame("TSRC", latin("AA6Q72000048")))), "isrc") ==
          "different codes: AA6Q72000047 in INFO, AA6Q72000048 in ID3v2");
    CHECK(text(file(id3(frame("TSRC", latin("AA6Q72000047"))), "AA6Q72000048.wav"), "isrc") ==
          "different codes: AA6Q72000047 in ID3v2, AA6Q72000048 in name");
    // EBU Tech 3352: in the axml chunk.
    CHECK(text(file(chunk("axml", "<ebucore><dc:identifier>ISRC:AA6Q72000047</dc:identifier></ebucore>")), "isrc") == "ok");
  }

  TEST_CASE("GTIN: the worked examples of GS1, and each other digit in the last place is wrong") {
    // GS1's calculator page: 629104150021 → 3; GS1 Sweden: 730001100001 → 7; the UPC-A 03600024145 → 7.
    for (const char* good : {"6291041500213", "7300011000017", "036000241457", "0036000241457", "629104-1500213"}) CHECK(gtin_trouble(good) == "");
    for (char last = '0'; last <= '9'; ++last) CHECK((gtin_trouble(std::string("629104150021") + last) == "") == (last == '3'));
    CHECK(gtin_trouble("6291041500214") == "the check digit is 4, by the other digits it must be 3");
    CHECK(gtin_trouble("62910415002") == "11 digits where 8, 12, 13 or 14 belong");
    CHECK(gtin_trouble("62910415X0213") == "holds what is no digit");
    CHECK(gtin_trouble("00000000") == "");  // sum 0: the digit is 0
    CHECK(text(file(""), "gtin") == "none");
    CHECK(text(file(id3(own("BARCODE", "6291041500213"))), "gtin") == "ok");
    CHECK(text(file(id3(own("UPC", "036000241457") + own("BARCODE", "0036000241457"))), "gtin") == "ok");  // one number, two lengths
    CHECK(text(file(id3(own("BARCODE", "6291041500214"))), "gtin").find("must be 3") != std::string::npos);
  }

  TEST_CASE("G08: titles, their absence, and what is garbled") {
    const auto r = file(id3(frame("TIT2", latin("Paper Moonrise")) + frame("TPE1", latin("The Example")) + frame("TALB", latin("Tin")) +
                            frame("TRCK", latin("3/9"))),
                        "Paper Moonrise.wav");
    CHECK(text(r, "tag_title") == "Paper Moonrise");
    CHECK(text(r, "tag_artist") == "The Example");
    CHECK(text(r, "tag_album") == "Tin");
    CHECK(text(r, "tag_track") == "3/9");
    CHECK(r.measurement("tag_title").note == "from ID3v2");
    CHECK(r("tag_faults") == 0);
    for (const char* id : {"tag_title", "tag_artist", "tag_album", "tag_track"}) CHECK(text(file(""), id) == "");
    // UTF-8 that is none, in a frame that says it is: what can be read stays, and the loss is counted.
    const auto broken = file(id3(frame("TIT2", "\x03" "Bl\xfc" "e")));
    CHECK(text(broken, "tag_title") == "Bl\xef\xbf\xbd" "e");
    CHECK(broken("tag_faults") == 1);
    CHECK(file(id3(frame("TIT2", "\x03" "Bl\xc3\xbc" "e")))("tag_faults") == 0);
    CHECK(file(id3(frame("TIT2", latin(""))))("tag_faults") == 0);  // empty: nobody asked for one

    CHECK(garbled("Caf\xc3\x83\xc2\xa9"));              // Ã© for é
    CHECK(garbled("don\xc3\xa2\xe2\x82\xac\xe2\x84\xa2t"));  // â€™ for ’
    CHECK(garbled("lost \xef\xbf\xbd"));
    CHECK_FALSE(garbled("Caf\xc3\xa9"));
    CHECK_FALSE(garbled("\xc3\x83 \xc3\x82"));
    CHECK_FALSE(garbled("na\xc3\xafve \xe6\xad\x8c \xc3\xa9\xc3\xa8"));
    CHECK_FALSE(garbled("plain"));
    CHECK(file(id3(frame("TIT2", latin("Caf\xc3\xa9"))))("tag_faults") == 1);
    CHECK(file(info({{"INAM", "Caf\xe9"}}))("tag_faults") == 0);  // INFO has no stated encoding
    CHECK(file(info({{"INAM", "Caf\xe9"}})).measurement("tag_title").note.find("not UTF-8") != std::string::npos);
  }

  TEST_CASE("G08: tags come from each kind of file") {
    if (!makers::have("ffmpeg")) return;
    const makers::Folder folder;
    const std::string tags = "-metadata title='Paper Moonrise' -metadata artist='The Example' -metadata album=Tin -metadata track=7 ";
    for (const std::string name : {"a.flac", "a.ogg", "a.opus", "a.wav", "a.caf", "a.aiff", "two.mp3", "one.mp3"}) {
      CAPTURE(name);
      const bool old = name == "one.mp3";
      const std::string kind = old ? "-id3v2_version 0 " : name == "a.aiff" ? "-write_id3v2 1 " : "";
      REQUIRE(makers::run("ffmpeg -y -f lavfi -i sine=d=0.5 " + (old ? "" : tags) + kind + folder.file(name)));
      if (old) {  // ID3v1.1: the track's number is the last byte of the comment
        const auto field = [](std::string value, std::size_t size) { return value.resize(size, '\0'), value; };
        folder.write(name, makers::contents(folder.file(name)) + "TAG" + field("Paper Moonrise", 30) + field("The Example", 30) + field("Tin", 30) +
                               field("2024", 4) + field("n/a", 29) + '\x07' + '\x0c');
      }
      auto opened = audio::open_file(folder.file(name));
      REQUIRE(opened.has_value());
      const auto r = test::measured(std::move(*opened));
      CHECK(text(r, "tag_title") == "Paper Moonrise");
      CHECK(text(r, "tag_artist") == "The Example");
      CHECK(text(r, "tag_album") == "Tin");
      CHECK(text(r, "tag_track") == "7");
      CHECK(r("tag_faults") == 0);
      CHECK(text(r, "text_fields").find("Paper Moonrise") != std::string::npos);
    }
  }

  TEST_CASE("G08: two kinds of tags that contradict each other") {
    const auto both = [](const std::string& a, const std::string& b) { return file(info({{"INAM", a}}) + id3(frame("TIT2", latin(b))))("tag_faults"); };
    CHECK(both("Paper Moonrise", "Paper Moonrise") == 0);
    CHECK(both("Paper Moonrise", "paper moonrise ") == 0);
    CHECK(both("Paper Moonrise", "Glass Harbour") == 1);
    CHECK(file(info({{"ITRK", "3"}}) + id3(frame("TRCK", latin("03/9"))))("tag_faults") == 0);
    CHECK(file(info({{"ITRK", "4"}}) + id3(frame("TRCK", latin("3/9"))))("tag_faults") == 1);
  }

  TEST_CASE("G08: title and track number against the name of the file") {
    const auto fits = [](const char* title, const char* name, std::vector<std::string> others = {}) {
      const auto answer = title_fits_name(title, name, others);
      return !answer ? '-' : *answer ? 'y' : 'n';
    };
    CHECK(fits("Blue Hour", "03 Green Door.wav") == 'n');
    CHECK(fits("Blue Hour", "The Example - Green Door_mix03_48k24.wav", {"The Example"}) == 'n');
    CHECK(fits("Glass Harbour", "GreenDoor_v2.wav") == 'n');
    for (const char* same : {"Blue Hour.wav", "blue_hour_mix03.wav", "BlueHour.wav", "BLUEHOUR.wav", "The Example - 03 - Blue Hour (Instrumental) 48k24.wav",
                             "Hour.wav", "BluHr.wav", "blue-hours.wav"}) {
      CAPTURE(same);
      CHECK(fits("Blue Hour", same) == 'y');
    }
    CHECK(fits("F\xc3\xbcr \xc3\x89lise", "Fur Elise.wav") == 'y');
    CHECK(fits("F\xc3\xbcr", "Fuer.wav") == 'y');
    CHECK(fits("F\xc3\xbcr", "Fu\xcc\x88r.wav") == 'y');  // decomposed, as some systems store names
    CHECK(fits("It's Over", "Its.wav") == 'y');
    CHECK(fits("Blue Hour Again", "EM_BHA_mix.wav") == 'y');  // initials
    // A name or a title that holds no words of its own.
    for (const char* silent : {"03.wav", "mix03.wav", "Track 03.wav", "AA6Q72000048.wav", "Drums.wav", "Chapter 04.wav", "x.wav", "48k24.wav", "untitled.wav",
                               "EM_BH_mix.wav", "\xe5\xa4\x9c.wav", "The Example 03.wav"}) {
      CAPTURE(silent);
      CHECK(fits("Blue Hour", silent, {"The Example"}) == '-');
    }
    CHECK(fits("Track 3", "Green Door.wav") == '-');
    CHECK(fits("\xe5\xa4\x9c", "Green Door.wav") == '-');
    CHECK(fits("", "Green Door.wav") == '-');
    CHECK(fits("R", "Green Door.wav") == '-');

    CHECK(track_in_name("03 Green Door.wav", "Green Door") == 3);
    CHECK(track_in_name("3. Green Door.wav", "") == 3);
    CHECK(track_in_name("Track 3.wav", "") == 3);
    for (const char* none : {"7 Rings.wav", "1-03 Green Door.wav", "2026-05-01 mix.wav", "Green Door 3.wav", "03.wav", "192 kHz.wav"}) {
      CAPTURE(none);
      CHECK(!track_in_name(none, ""));
    }
    CHECK(!track_in_name("24 Hours.wav", "24 Hours"));

    const auto tags = [](const char* title, const char* track) { return id3(frame("TIT2", latin(title)) + frame("TRCK", latin(track))); };
    CHECK(text(file(tags("Blue Hour", "7"), "a/03 Green Door.wav"), "tags_match_name") ==
          "the title \"Blue Hour\" and the name \"03 Green Door.wav\" have no word in common; the track is 7 in the tags and 3 in the name");
    CHECK(text(file(tags("Green Door", "3/9"), "03 Green Door.wav"), "tags_match_name") == "ok");
    CHECK(text(file(tags("Green Door", "4/9"), "03 Green Door.wav"), "tags_match_name") == "the track is 4 in the tags and 3 in the name");
    CHECK(text(file(tags("Green Door", "A3"), "03 Green Door.wav"), "tags_match_name") == "ok");
    CHECK(text(file(tags("Green Door", "99999999999999999999"), "03 Green Door.wav"), "tags_match_name") == "ok");
    CHECK(text(file("", "03 Green Door.wav"), "tags_match_name") == "none");
    CHECK(text(file(tags("Blue Hour", "3"), "mix.wav"), "tags_match_name") == "none");
    // One of several titles that fits is enough: that they differ is counted elsewhere.
    CHECK(text(file(info({{"INAM", "Green Door"}}) + tags("Blue Hour", "3"), "03 Green Door.wav"), "tags_match_name") == "ok");
  }

  TEST_CASE("G09: free texts are listed, and those that tell of a computer or a person are counted") {
    for (const char* trace : {"/Users/somebody/Music/a.wav", "made in /home" "/somebody/x", "C:\\Sessions\\a.wav", "D:/Audio/x.wav", "\\\\server\\share\\x",
                              "file:///tmp/x", "(/Volumes/Disk 1/x)", "Macintosh HD:Sessions:Blue", "from Macintosh HD:x", "Audio Two:Sessions:Blue Hour:mix 3.aif"}) {
      CAPTURE(trace);
      CHECK(personal_trace(trace) == "a path");
    }
    for (const char* trace : {"ask somebody@example.org", "<a.b+c@mail.example.com>"}) CHECK(personal_trace(trace) == "an e-mail address");
    for (const char* trace : {"DESKTOP-A1B2C3D", "rendered on LAPTOP-9X8Y7Z6W", "studio-b.local", "host studio.local, today"})
      CHECK(personal_trace(trace) == "a machine's name");
    for (const char* fine : {"https://example.org/home/page", "A=PCM,F=48000,W=24,M=stereo,T=x", "either/or", "feat. X / Y", "5:1 ratio", "Note: take 3",
                             "L:/R: swapped", "a@b", "me @ home", "@example.org", "10:30/11:00", "local.", "Lavf59.27.100", "reference libFLAC 1.3.1 20141125",
                             "DESKTOP-STUDIO", "AC/DC\\", "", "take 1: ok; C: major", "10:00:00:00", "Song:Blue:Live", "urn:ebu:metadata-schema:ebuCore", "a:b:c", "Macintosh HD: full",
                             "http://example.org:8080/a:b.wav", "ISRC:AA6Q72000047"}) {
      CAPTURE(fine);
      CHECK(personal_trace(fine) == "");
    }
    const auto r = file(info({{"ICMT", "/Users/somebody/a, b.wav"}, {"IENG", "Anon"}}) + bext(0, "", {}, "by somebody@example.org"));
    CHECK(r("leftover_texts") == 2);
    CHECK(text(r, "text_fields") ==
          "INFO ICMT: /Users/somebody/a; b.wav [a path], INFO IENG: Anon, bext Description: by somebody@example.org [an e-mail address]");
    REQUIRE(r.measurement("leftover_texts").where.size() == 2);
    CHECK(r.measurement("leftover_texts").where[0].note == "INFO ICMT holds a path: /Users/somebody/a, b.wav");
    CHECK(file("")("leftover_texts") == 0);
    // XMP keeps paths in attributes.
    CHECK(file(chunk("_PMX", "<x stRef:filePath=\"C:\\Projects\\a.prproj\"/>"))("leftover_texts") == 1);
    CHECK(file(ixml("<NOTE>/Users/somebody/x</NOTE>"))("leftover_texts") == 1);
  }

  TEST_CASE("G10: start times of bext, iXML and XMP") {
    constexpr std::uint64_t kHour = 48'000ull * 3600;
    CHECK(text(file(""), "timecode_consistency") == "none");
    CHECK(text(file(bext(kHour)), "timecode_consistency") == "ok");
    CHECK(file(bext(kHour)).measurement("timecode_consistency").note == "bext starts at 1:00:00.000");
    CHECK(text(file(bext(kHour) + ixml(stamp(kHour, "48000"))), "timecode_consistency") == "ok");
    CHECK(text(file(bext(kHour) + ixml(stamp(kHour + 1, "48000"))), "timecode_consistency").starts_with("apart: bext starts at"));
    // The same instant at another rate is the same; the same count of samples is not.
    CHECK(text(file(bext(kHour) + ixml(stamp(96'000ull * 3600, "96000"))), "timecode_consistency") ==
          "odd: the iXML says 96000 Hz, the header 48000");
    CHECK(text(file(bext(kHour) + ixml(stamp(kHour, "44100"))), "timecode_consistency").starts_with("apart: "));
    // Beyond 32 bits: 25 h at 48 kHz would be behind midnight.
    CHECK(text(file(bext(48'000ull * 90'000)), "timecode_consistency") == "odd: the start lies behind midnight");
    const auto xmp = [](const std::string& value, const std::string& format) {
      return chunk("_PMX", "<rdf:RDF><xmpDM:startTimecode xmpDM:timeFormat=\"" + format + "\" xmpDM:timeValue=\"" + value + "\"/></rdf:RDF>");
    };
    CHECK(text(file(bext(kHour) + xmp("01:00:00:00", "25Timecode")), "timecode_consistency") == "ok");
    CHECK(text(file(bext(kHour) + xmp("01:00:00:10", "25Timecode")), "timecode_consistency").starts_with("apart: bext starts at 1:00:00.000, XMP"));
    // 24/1.001 frames a second: an hour of frames takes 3603.6 s, and some programs write the plain hour.
    CHECK(text(file(bext(48'000ull * 36036 / 10) + xmp("01:00:00:00", "23976Timecode")), "timecode_consistency") == "ok");
    CHECK(text(file(bext(kHour) + xmp("01:00:00:00", "23976Timecode")), "timecode_consistency") == "ok");
    // Drop frame keeps to the wall's hour: 107 892 frames at 30/1.001 (SMPTE ST 12-1).
    CHECK(text(file(bext(kHour) + xmp("01:00:00;00", "2997DropTimecode")), "timecode_consistency") == "ok");
    const auto elements = chunk("_PMX", "<xmpDM:startTimecode><xmpDM:timeFormat>25Timecode</xmpDM:timeFormat><xmpDM:timeValue>02:00:00:00"
                                        "</xmpDM:timeValue></xmpDM:startTimecode>");
    CHECK(text(file(bext(kHour) + elements), "timecode_consistency").starts_with("apart"));
  }

  TEST_CASE("G10, G11: the coding history's last row and the iXML against the header; the frame rate is told") {
    const std::string history = "A=ANALOGUE,M=mono,T=example\r\nA=PCM,F=48000,W=16,M=stereo,T=example\r\n";
    CHECK(text(file(bext(0, history)), "timecode_consistency") == "ok");
    CHECK(text(file(bext(0, "A=PCM,F=44100,W=24,M=mono\r\n")), "timecode_consistency") ==
          "odd: the coding history ends at 44100 Hz, the header says 48000; the coding history ends at 24 bits, the header says 16; the coding "
          "history ends in mono, the file has 2 channels");
    CHECK(text(file(ixml("<AUDIO_BIT_DEPTH>24</AUDIO_BIT_DEPTH>")), "timecode_consistency") == "odd: the iXML says 24 bits, the header 16");
    const auto r = file(ixml(stamp(0, "48000") + "<TIMECODE_RATE>24000/1001</TIMECODE_RATE><TIMECODE_FLAG>NDF</TIMECODE_FLAG>"));
    CHECK(r.measurement("timecode_consistency").note.find("frame rate 24000/1001 NDF") != std::string::npos);
  }

  TEST_CASE("L21: loudness declared in bext, in gain tags, and the measured one") {
    const double is = file("")("integrated_loudness");
    const int words = static_cast<int>(std::lround(is * 100));
    CHECK(!applies(file(""), "declared_loudness_error"));
    // Tech 3285 v2, 2.4: hundredths, rounded half away from zero; compared in that rounding it is 0 and not nearly 0.
    CHECK(file(bext(0, "", words))("declared_loudness_error") == doctest::Approx(0).epsilon(1e-9).scale(1));
    CHECK(file(bext(0, "", words + 50))("declared_loudness_error") == doctest::Approx(0.5));
    CHECK(file(bext(0, "", words - 300))("declared_loudness_error") == doctest::Approx(-3));
    CHECK(!applies(file(bext(0)), "declared_loudness_error"));  // 7FFFh: unused
    const auto gain = [&](double db) { return id3(own("REPLAYGAIN_TRACK_GAIN", (db > 0 ? "+" : "") + std::to_string(db) + " dB")); };
    CHECK(std::abs(file(gain(-18 - is))("declared_loudness_error")) < 0.011);
    CHECK(file(gain(-18 - is + 2))("declared_loudness_error") == doctest::Approx(-2).epsilon(0.01));
    // RFC 7845, 5.2.1: 1/256 dB towards -23 LUFS.
    const auto r128 = id3(own("R128_TRACK_GAIN", std::to_string(std::lround((-23 - is) * 256))));
    CHECK(std::abs(file(r128)("declared_loudness_error")) < 0.003);
    CHECK(file(bext(0, "", words + 50) + gain(-18 - is + 2))("declared_loudness_error") == doctest::Approx(-2).epsilon(0.01));  // the worst
    CHECK(!applies(file(id3(own("REPLAYGAIN_TRACK_GAIN", "-3.1 dB") + own("REPLAYGAIN_REFERENCE_LOUDNESS", "89.0 dB"))), "declared_loudness_error"));
    CHECK(file(id3(own("REPLAYGAIN_TRACK_GAIN", "loud"))).reason("declared_loudness_error").find("cannot be read") != std::string::npos);
    CHECK(!file(id3(own("REPLAYGAIN_TRACK_GAIN", "1e999 dB"))).measured("declared_loudness_error"));
    CHECK(!file(id3(own("REPLAYGAIN_TRACK_GAIN", "nan"))).measured("declared_loudness_error"));
    // Too short to have a loudness: nothing to compare with.
    CHECK(file(bext(0, "", -2300), "x.wav", {}, 480).reason("declared_loudness_error").find("cannot be compared") != std::string::npos);
    // One channel, declared as heard on two loudspeakers.
    const makers::Wave mono{.channels = 1};
    const double one = file("", "x.wav", mono)("integrated_loudness");
    for (const double declared : {one, one + 3.0103})
      CHECK(std::abs(file(bext(0, "", static_cast<int>(std::lround(declared * 100))), "x.wav", mono)("declared_loudness_error")) < 0.011);
  }

  TEST_CASE("L21: true peak and loudness range declared in bext") {
    const auto is = file("", "x.wav", {}, 48'000 * 5);
    const auto declared = [](int range, int peak) {
      Maker m;
      m.fill(256 + 82).le(0, 8).le(2, 2).fill(64).le(0x7fff, 2).le(static_cast<std::uint16_t>(range), 2).le(static_cast<std::uint16_t>(peak), 2);
      return file(chunk("bext", m.le(0x7fff, 2).le(0x7fff, 2).fill(180).bytes), "x.wav", {}, 48'000 * 5);
    };
    constexpr int kUnused = 0x7fff;
    const int peak = static_cast<int>(std::lround(is("true_peak") * 100)), range = static_cast<int>(std::lround(is("loudness_range") * 100));
    CHECK(declared(kUnused, peak)("declared_true_peak_error") == doctest::Approx(0).scale(1));
    CHECK(declared(kUnused, peak + 75)("declared_true_peak_error") == doctest::Approx(0.75));
    CHECK(declared(kUnused, peak - 500)("declared_true_peak_error") == doctest::Approx(-5));
    CHECK(declared(range, kUnused)("declared_loudness_range_error") == doctest::Approx(0).scale(1));
    CHECK(declared(range + 1500, kUnused)("declared_loudness_range_error") == doctest::Approx(15));
    // Each field has an id of its own, and none speaks for another.
    const auto only_peak = declared(kUnused, peak);
    CHECK(!applies(only_peak, "declared_loudness_error"));
    CHECK(!applies(only_peak, "declared_loudness_range_error"));
    CHECK(!applies(is, "declared_true_peak_error"));
    CHECK(file(ixml("<LOUDNESS><MAX_TRUE_PEAK_LEVEL>loud</MAX_TRUE_PEAK_LEVEL></LOUDNESS>")).reason("declared_true_peak_error").find("cannot be read") !=
          std::string::npos);
  }

  TEST_CASE("G13: a frame for a picture with nothing in it is no absent picture") {
    CHECK(text(file(id3(frame("APIC", std::string("\0image/png\0\3\0", 13)))), "cover_art") == "unreadable: its place is there, the picture is not");
    CHECK(text(file(""), "cover_art") == "none");
  }

  TEST_CASE("hostile tags: thousands of them, huge ones, embedded zeros, entities that would explode") {
    const auto before = peak_memory_kib();
    const auto start = std::chrono::steady_clock::now();
    std::string many;
    for (int i = 0; i < 10'000; ++i) many += own("k" + std::to_string(i), "v");
    const auto crowded = file(id3(many + frame("TIT2", latin("Paper Moonrise"))));
    // A list that was cut off proves neither that something is absent nor that nothing is wrong.
    CHECK(crowded.reason("tag_title").find("more than 256") != std::string::npos);
    CHECK(!crowded.measured("leftover_texts"));
    CHECK(!crowded.measured("isrc"));
    // Hundreds of markers with names are no hostile file: its tags are all there.
    std::string labels = "adtl";
    for (int i = 0; i < 400; ++i) labels += chunk("labl", Maker().le(static_cast<unsigned>(i), 4).text("take " + std::to_string(i)).fill(1).bytes);
    const auto marked = file(chunk("LIST", labels) + id3(frame("TIT2", latin("Paper Moonrise"))));
    CHECK(text(marked, "tag_title") == "Paper Moonrise");
    CHECK(text(marked, "isrc") == "none");
    CHECK(!marked.measured("leftover_texts"));
    std::string items;
    for (int i = 0; i < 10'000; ++i) items += chunk("ICMT", std::string("/home") + "/somebody/" + std::to_string(i));
    const auto r = file(chunk("LIST", "INFO" + items));
    CHECK(r("leftover_texts") == 256);
    CHECK(r.measurement("leftover_texts").where.size() == kMaxWhere);
    CHECK(r.measurement("leftover_texts").where_total == 256);
    const std::string bomb = "<!DOCTYPE x [<!ENTITY a \"aaaaaaaaaa\"><!ENTITY b \"&a;&a;&a;&a;&a;&a;&a;&a;\"><!ENTITY c \"&b;&b;&b;&b;&b;&b;&b;\">]>"
                             "<BWFXML><NOTE>&c;</NOTE></BWFXML>";
    CHECK(text(file(chunk("iXML", bomb)), "text_fields") == "iXML NOTE: &c;");
    CHECK(text(file(id3(frame("TIT2", latin(std::string(60'000, 'x'))))), "tag_title").size() == 1000);
    CHECK(text(file(id3(frame("TSRC", latin(std::string("AA6Q7\0" "2000047", 13))))), "isrc") != "ok");
    CHECK(text(file(ixml(std::string(70'000, ' '))), "name_words") == "none");
    CHECK(!file(ixml(std::string(70'000, ' ') + stamp(0, "48000"))).measured("timecode_consistency"));
    CHECK(text(file(ixml(stamp(~0ull, "nan"))), "timecode_consistency") == "odd: the start lies behind midnight");
    file(bext(~0ull, std::string(60'000, '=') + ",,,=,F=,W=99999999999999999999"));
    file(chunk("_PMX", "xmpDM:startTimecode xmpDM:timeValue"));
    file(chunk("_PMX", "xmpDM:startTimecode xmpDM:timeValue=\"" + std::string(60'000, '"')));
#if !defined(SENDWORTHY_SANITIZED)  // a sanitizer keeps what was freed
    CHECK(peak_memory_kib() - before < 64 * 1024);
#else
    (void)before;
#endif
    CHECK(std::chrono::steady_clock::now() - start < std::chrono::seconds(20));
  }
}
