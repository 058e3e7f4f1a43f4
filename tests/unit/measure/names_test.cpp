// What a name says: pure functions first, then the measurements on files with such names.
#include <doctest/doctest.h>

#include <string>
#include <vector>

#include "measure/name_checks.h"
#include "standards/reading.h"
#include "unit/audio/makers.h"

using namespace sendworthy;
using namespace sendworthy::measure;

namespace {

std::string refused(std::string_view name) {
  std::string all;
  for (const auto& text : name_trouble(name).refused) all += text + "|";
  return all;
}
std::string odd(std::string_view name) {
  std::string all;
  for (const auto& text : name_trouble(name).odd) all += text + "|";
  return all;
}
std::string vague(std::string_view name) {
  std::string all;
  for (const auto& text : vague_words(name)) all += (all.empty() ? "" : ",") + text;
  return all;
}
std::string claims(std::string_view name, bool lossy = false) {
  const auto c = name_claims(name, lossy);
  return (c.rate_hz ? std::to_string(static_cast<int>(*c.rate_hz)) : "-") + "/" + (c.bits ? std::to_string(*c.bits) : "-") +
         (c.floating ? "f" : "") + "/" + (c.channels ? std::to_string(*c.channels) : "-");
}

test::Reading named(const std::string& path, const makers::Wave& wave = {}) {
  auto opened = audio::open_bytes(makers::kept(makers::wav(wave, makers::tone(4800, wave.channels, wave.bits / 8))), path);
  REQUIRE(opened.has_value());
  return test::measured(std::move(*opened));
}
std::string text(const test::Reading& r, std::string_view id) { return std::get<std::string>(std::get<Value>(r.measurement(id).outcome)); }
bool yes(const test::Reading& r, std::string_view id) { return std::get<bool>(std::get<Value>(r.measurement(id).outcome)); }

}  // namespace

TEST_SUITE("measure/names") {
  TEST_CASE("G03: each character that Windows forbids is refused, and ordinary names are fine") {
    // Microsoft, Naming Files, Paths, and Namespaces.
    for (const char c : std::string("<>:\"/\\|?*")) {
      CAPTURE(c);
      CHECK(refused(std::string("song") + c + "a.wav") == std::string("the character ") + c + "|");
    }
    for (const char* fine : {"Night Ferry_mix03.wav", "B\xc3\xa9same (Live) [24-96] & more, vol. 2.wav", "\xe6\xad\x8c.flac", "a'b`c~d#e%f+g=h@i!.wav",
                             "compass.wav", "Console.wav", "COM10.wav", "auxiliary.wav", "x"}) {
      CAPTURE(fine);
      CHECK(refused(fine) == "");
      CHECK(odd(fine) == "");
    }
    CHECK(refused("a\x01.wav") == "the control character U+0001|");
    CHECK(refused("a\nb.wav") == "the control character U+000A|");
    CHECK(refused("a\x7f.wav") == "the control character U+007F|");
    CHECK(refused("caf\xe9.wav") == "bytes that are no UTF-8|");
  }

  TEST_CASE("G03: names that Windows keeps for devices, with and without ending") {
    for (const char* name : {"CON", "con.wav", "Prn.tar.gz", "AUX .wav", "nul.wav", "COM1.wav", "com9", "LPT1.flac", "lpt0.wav", "COM\xc2\xb9.wav"}) {
      CAPTURE(name);
      CHECK(refused(name).find("Windows keeps") != std::string::npos);
    }
  }

  TEST_CASE("G03: beginnings and ends") {
    CHECK(refused("song.wav.") == "a point at the end|");
    CHECK(refused("song.wav ") == "a space at the end|");
    CHECK(odd(" song.wav") == "a space at the beginning|");
    CHECK(odd("-song.wav") == "a dash at the beginning|");
    CHECK(odd(".song.wav") == "a point at the beginning, which hides the file|");
    CHECK(odd("song .wav") == "a space before the ending|");
    CHECK(odd("song \xf0\x9f\x8e\xb5\xf0\x9f\x8e\xb6.wav") == "an emoji or other picture sign|");
    CHECK(odd("so\xe2\x80\x8bng.wav") == "the unseen character U+200B|");
    CHECK(name_trouble("Cafe\xcc\x81.wav").note.find("decomposed") != std::string::npos);
    CHECK(name_trouble("Caf\xc3\xa9.wav").note.find("beyond A to Z") != std::string::npos);
    CHECK(name_trouble("Cafe.wav").note == "");
  }

  TEST_CASE("G06: vague words are found whole, and only where they are meant") {
    CHECK(vague("song_final.wav") == "final");
    CHECK(vague("Song Final Mix 3.wav") == "final");
    CHECK(vague("song final2.wav") == "final2");
    CHECK(vague("song_final_new.wav") == "final,new");
    CHECK(vague("NightFerryFinal_48k24.wav") == "final");
    CHECK(vague("song copy.wav") == "copy");
    CHECK(vague("song copy 2.wav") == "copy");
    CHECK(vague("Copy of song.wav") == "copy");
    CHECK(vague("song (1).wav") == "(1)");
    CHECK(vague("song(12).wav") == "(12)");
    CHECK(vague("song final (1) 96k24.wav") == "final,(1)");
    CHECK(vague("untitled.wav") == "untitled");
    CHECK(vague("Untitled-3.wav") == "untitled");
    CHECK(vague("mixdown.wav") == "mixdown");
    CHECK(vague("Stereo Out.wav") == "stereo out");
    CHECK(vague("song-bounce-01.wav") == "bounce");
    CHECK(vague("export(2).wav") == "export,(2)");
    CHECK(vague("new2.wav") == "new2");
    CHECK(vague("song test.wav") == "test");
    CHECK(vague("song - Copy.wav") == "copy");
    CHECK(vague("Song - Copy (2).wav") == "copy,(2)");
    CHECK(vague("song_copy2.wav") == "copy2");
    CHECK(vague("Song_final_v3_REAL.wav") == "final,real");
    CHECK(vague("song_last.wav") == "last");
    CHECK(vague("Song v2 FINAL mix.wav") == "final");
    CHECK(vague("Track 01.wav") == "track 01");
    CHECK(vague("Track01.wav") == "track01");
    CHECK(vague("Audio 1-1.wav") == "audio 1 1");
    CHECK(vague("Audio 2_48k24.wav") == "audio 2 48k24");
    CHECK(vague("New Recording 3.wav") == "new recording 3");
    CHECK(vague("new mix.wav") == "new mix");
    for (const char* fine : {"Finality.wav", "Copycat.wav", "The Final Hour_mix03.wav", "song_v3.wav", "song mix2.wav", "song r4.wav", "song_48k24.wav",
                             "Testament.wav", "Something New.wav", "New Boots.wav", "Bouncer.wav", "Song (2024).wav", "Renderings.wav", "Part (2) of Three.wav",
                             "Copy That Down.wav", "mix.wav", "master.wav", "a.wav", "", "Final.wav", "final.flac", "Carbon Copy.wav", "Last Dance.wav",
                             "At Last.wav", "For Real.wav", "New York.wav", "Soundtrack 3.wav", "Track Record.wav", "Tracks.wav", "Audiophile 2.wav",
                             "Take 5.wav", "Track 48k24.wav", "Something New Mix.wav"}) {
      CAPTURE(fine);
      CHECK(vague(fine) == "");
    }
  }

  TEST_CASE("G02: what a name promises") {
    CHECK(claims("song_48k24.wav") == "48000/24/-");
    CHECK(claims("song 44.1k16.wav") == "44100/16/-");
    CHECK(claims("song_96kHz.wav") == "96000/-/-");
    CHECK(claims("song_88.2 kHz.wav") == "88200/-/-");
    CHECK(claims("song_24bit.wav") == "-/24/-");
    CHECK(claims("song 24-bit.wav") == "-/24/-");
    CHECK(claims("song_48_24.wav") == "48000/24/-");
    CHECK(claims("song_44.1-16.wav") == "44100/16/-");
    CHECK(claims("song_4824.wav") == "48000/24/-");
    CHECK(claims("song_19224.wav") == "192000/24/-");
    CHECK(claims("song_32f.wav") == "-/32f/-");
    CHECK(claims("song 48k 32 bit float.wav") == "48000/32f/-");
    CHECK(claims("song_48k32f.wav") == "48000/32f/-");
    CHECK(claims("song_mono.wav") == "-/-/1");
    CHECK(claims("Song (Stereo) 48k24.wav") == "48000/24/2");
    CHECK(claims("film_mx_5.1_v2.wav") == "-/-/6");
    CHECK(claims("film_7.1.wav") == "-/-/8");
    CHECK(claims("film mix03 7.1.wav") == "-/-/8");
    CHECK(claims("film 5.1 48k24.wav") == "48000/24/6");
    CHECK(claims("Song_24-96.wav") == "96000/24/-");
    CHECK(claims("Song_24_96.wav") == "96000/24/-");
    CHECK(claims("song-44100-16.wav") == "44100/16/-");
    CHECK(claims("song 44.1-16.wav") == "44100/16/-");
    CHECK(claims("song_16-44100_v2.wav") == "44100/16/-");
    CHECK(claims("Song_96-24 (Instrumental).wav") == "96000/24/-");
    CHECK(claims("song_44100Hz.wav") == "44100/-/-");
    CHECK(claims("song_24bit_loud.wav") == "-/24/-");
    CHECK(claims("Song 48k24 for Anna.wav") == "48000/24/-");
    CHECK(claims("48k24_song.wav") == "48000/24/-");
    // Bit rates of lossy files, and numbers that mean something else.
    CHECK(claims("song_192k.mp3", true) == "-/-/-");
    CHECK(claims("song_96kHz.mp3", true) == "96000/-/-");
    for (const char* nothing : {"song.wav", "Stereo Hearts.wav", "Mono.wav", "2024-06-24.wav", "song v5.1b.wav", "1999.wav", "10k race.wav",
                                "Opus 48 No 24.wav", "24 hours.wav", "4824 miles.wav",
                                // Titles, or what may be one: not judged.
                                "Love 5.1.wav", "32 Bit Kid.wav", "My_32_Bit_Kid.wav", "16bit Heart.wav", "Route 4816.wav", "4816.wav", "20 bits and pieces.wav",
                                "96kHz Dreams.wav", "Take 5 at 96.wav", "1624 Broadway.wav", "2448 Hours.wav", "Mono Lake.wav", "Going Mono.wav",
                                "song 24-96.wav", "24-96.wav", "song_12-24-96.wav", "song_2026_24_48.wav", "32-Bit Kid.wav", "Stereo Heart_mix2.wav"}) {
      CAPTURE(nothing);
      CHECK(claims(nothing) == "-/-/-");
    }
  }

  TEST_CASE("G02: the promise is held against the header") {
    CHECK(yes(named("a/song_48k16.wav"), "name_matches_header"));
    CHECK_FALSE(yes(named("a/song_48k24.wav"), "name_matches_header"));
    CHECK_FALSE(yes(named("a/song_96kHz.wav"), "name_matches_header"));
    CHECK(named("a/song_48k24.wav").measurement("name_matches_header").note == "the name says 48 kHz, 24 bits; the file has 48 kHz, 16 bits");
    CHECK_FALSE(yes(named("song_stereo.wav", {.channels = 1}), "name_matches_header"));
    CHECK(yes(named("song_mono.wav", {.channels = 1}), "name_matches_header"));
    CHECK(std::holds_alternative<NotApplicable>(named("song.wav").measurement("name_matches_header").outcome));
    CHECK_FALSE(yes(named("song_32f.wav"), "name_matches_header"));
    // The tone is the same on both sides: mono delivered as two channels.
    const bool same = yes(named("song_mono.wav"), "dual_mono");
    CHECK(yes(named("song_mono.wav"), "name_matches_header") == same);
  }

  TEST_CASE("G01, G04: name, parts and length of the path") {
    const auto r = named("some/where/Night Ferry_mix03.wav");
    CHECK(text(r, "file_name") == "Night Ferry_mix03.wav");
    CHECK(text(r, "name_parts") == "night, ferry, mix03");
    CHECK(r("path_length") == 32);
    CHECK(text(r, "name_characters") == "ok");
    CHECK(text(r, "name_words") == "none");
    // UTF-16: a letter outside the basic plane takes two, an accent that stands alone one of its own.
    CHECK(utf16_units("\xf0\x9f\x8e\xb5") == 2);
    CHECK(utf16_units("e\xcc\x81") == 2);
    CHECK(utf16_units("\xc3\xa9") == 1);
    CHECK(utf16_units("\xff\xfe") == 2);
    CHECK(text(named("a/x:y .wav"), "name_characters") == "refused: the character :; odd: a space before the ending");
    CHECK(named(std::string(100'000, 'x') + ".wav")("path_length") == 100'004);
  }

  TEST_CASE("M07: one side of a pair is told by its name and its sister") {
    CHECK(name_side("Guitar.L.wav").side == 'L');
    CHECK(name_side("Guitar.L.wav").other == "Guitar.R.wav");
    CHECK(name_side("Guitar_R.wav").other == "Guitar_L.wav");
    CHECK(name_side("mix-left.wav").other == "mix-right.wav");
    CHECK(name_side("mix_Right.wav").other == "mix_Left.wav");
    for (const char* none : {"Gabriel.wav", "Copyright.wav", "L.wav", "_L.wav", "song.wav", "Exit Left.wav", "bright.wav"}) {
      CAPTURE(none);
      CHECK(name_side(none).side == 0);
    }
    const makers::Folder folder;
    const auto mono = makers::wav({.channels = 1}, makers::tone(4800, 1, 2));
    const auto left = folder.write("mix.L.wav", mono);
    const auto read = [&] { return test::measured(std::move(*audio::open_file(left))); };
    CHECK_FALSE(yes(read(), "half_of_stereo"));
    folder.write("mix.R.wav", mono);
    CHECK(yes(read(), "half_of_stereo"));
    CHECK(std::holds_alternative<NotApplicable>(named("mix.L.wav").measurement("half_of_stereo").outcome));
  }
}
