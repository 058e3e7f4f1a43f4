// Songs of known sections, made by formula; markers; and what has no sections.
#include <doctest/doctest.h>
#include <sendworthy/song.h>

#include <atomic>
#include <cmath>
#include <cstdint>
#include <fstream>
#include <iterator>
#include <numbers>
#include <string>
#include <utility>
#include <vector>

#include "faults/sample.h"
#include "signals.h"
#include "song/beats.h"
#include "song/features.h"
#include "song/structure.h"

using namespace sendworthy;

namespace {

// One section: struck tones of some instrument on beats of half a second, over noise for drums.
struct Part {
  double seconds;
  std::vector<double> tones_hz;
  int partials;
  double level, drums;
};

const Part kVerse{16, {220, 261.6, 329.6}, 2, 0.05, 0.02}, kChorus{16, {174.6, 220, 261.6}, 12, 0.12, 0.15}, kBridge{12, {246.9, 293.7, 370}, 1, 0.03, 0};

test::Samples played(const std::vector<Part>& parts, int rate) {
  test::Samples out;
  test::Random random(7);
  for (const auto& part : parts) {
    const auto frames = static_cast<std::size_t>(part.seconds * rate), beat = static_cast<std::size_t>(rate / 2);
    test::Samples struck(beat, 0.0);
    for (std::size_t n = 0; n < beat; ++n) {
      const double t = static_cast<double>(n) / rate;
      for (const double hz : part.tones_hz) {
        for (int k = 1; k <= part.partials; ++k) struck[n] += part.level / k * std::exp(-t * 3) * std::sin(2 * std::numbers::pi * hz * k * t);
      }
    }
    for (std::size_t n = 0; n < frames; ++n) {
      const double drum = part.drums * std::exp(-static_cast<double>(n % beat) / rate * 40) + 1e-4;
      out.push_back(0.5 * (struck[n % beat] + drum * random.between(-1, 1)));
    }
  }
  return out;
}

std::string written(const test::Folder& folder, const std::string& name, int rate, std::vector<test::Samples> channels) {
  return test::write_sample(folder.path, name, {rate, std::move(channels)}, {});
}

song::Structure structure(const std::string& path) {
  const auto found = song::structure_of(path);
  REQUIRE_MESSAGE(found.has_value(), found.error().text);
  for (std::size_t i = 0; i + 1 < found->sections.size(); ++i) CHECK(found->sections[i].end_s == found->sections[i + 1].start_s);
  return *found;
}

void check_starts(const song::Structure& found, const std::vector<double>& starts, double within_s) {
  REQUIRE(found.sections.size() == starts.size());
  for (std::size_t i = 0; i < starts.size(); ++i) CHECK(std::abs(found.sections[i].start_s - starts[i]) <= within_s);
}

void append(const std::string& path, const std::string& chunks) {
  std::ifstream in(path, std::ios::binary);
  std::string bytes((std::istreambuf_iterator<char>(in)), {});
  in.close();
  bytes += chunks;
  const auto size = static_cast<std::uint32_t>(bytes.size() - 8);
  for (int i = 0; i < 4; ++i) bytes[static_cast<std::size_t>(4 + i)] = static_cast<char>(size >> 8 * i & 0xff);
  std::ofstream(path, std::ios::binary) << bytes;
}

std::string word(std::uint32_t value) {
  std::string bytes;
  for (int i = 0; i < 4; ++i) bytes += static_cast<char>(value >> 8 * i & 0xff);
  return bytes;
}

std::string cues(const std::vector<std::pair<std::uint32_t, std::string>>& points) {
  std::string cue = word(static_cast<std::uint32_t>(points.size())), list = "adtl";
  std::uint32_t id = 0;
  for (const auto& [frame, name] : points) {
    cue += word(++id) + word(frame) + "data" + word(0) + word(0) + word(frame);
    if (name.empty()) continue;
    auto text = word(id) + name + '\0';
    list += "labl" + word(static_cast<std::uint32_t>(text.size())) + text;
    if (text.size() % 2 != 0) list += '\0';
  }
  return "cue " + word(static_cast<std::uint32_t>(cue.size())) + cue + "LIST" + word(static_cast<std::uint32_t>(list.size())) + list;
}

}  // namespace

TEST_SUITE("song/structure") {
  TEST_CASE("sections begin where the music changes, and the same parts are told to be alike") {
    const test::Folder folder;
    const auto sound = test::concatenated({test::silence(48000), played({kVerse, kChorus, kVerse, kChorus, kBridge, kChorus}, 48000), test::silence(96000)});
    const auto found = structure(written(folder, "song", 48000, {sound, sound}));
    CHECK(found.duration_s == doctest::Approx(95));
    CHECK_FALSE(found.from_markers);
    check_starts(found, {1, 17, 33, 49, 65, 77}, 0.5);
    CHECK(found.sections.back().end_s == doctest::Approx(93).epsilon(0.005));
    const std::vector<int> alike{1, 2, 1, 2, 3, 2};
    for (std::size_t i = 0; i < alike.size(); ++i) {
      CHECK(found.sections[i].alike == alike[i]);
      CHECK(found.sections[i].name == "section " + std::to_string(i + 1));
    }
    CHECK(found.sections[1].loudness_lufs > found.sections[0].loudness_lufs + 5);
    CHECK(found.sections[4].loudness_lufs < found.sections[0].loudness_lufs);
  }

  TEST_CASE("a fade at the end is told, and not guessed to be the quietest section; a letter that one section alone has is left out") {
    const test::Folder folder;
    auto fade = played({kChorus}, 48000);
    for (std::size_t n = 0; n < fade.size(); ++n) fade[n] *= std::pow(10, -2.5 * static_cast<double>(n) / static_cast<double>(fade.size()));
    const auto sound = test::concatenated({played({kVerse, kChorus, kVerse, kBridge, kChorus}, 48000), fade});
    const auto path = written(folder, "song", 48000, {sound, sound});
    auto text = new_plan(path, {});
    REQUIRE(text);
    const auto letters = [&](const char* words) {
      int count = 0;
      for (auto at = text->find(words); at != std::string::npos; at = text->find(words, at + 1)) ++count;
      return count;
    };
    CHECK(letters("letter A") != 1);
    CHECK(letters("letter B") != 1);
    CHECK(letters("letter C") != 1);
    // With markers it is known which section is which.
    append(path, cues({{0, "verse"}, {16 * 48000, "chorus"}, {32 * 48000, "verse again"}, {48 * 48000, "bridge"}, {60 * 48000, "chorus again"}, {76 * 48000, "fade"}}));
    const auto found = structure(path);
    REQUIRE(found.sections.size() == 6);
    CHECK(found.sections[5].fades_out);
    for (std::size_t i = 0; i < 5; ++i) CHECK_FALSE(found.sections[i].fades_out);
    text = new_plan(path, {});
    REQUIRE(text);
    const auto quietest = text->find("# quietest = true "), bridge = text->find("\"bridge\""), last = text->find("\"fade\"");
    REQUIRE(quietest != std::string::npos);
    CHECK(bridge < quietest);
    CHECK(quietest < last);
    CHECK(text->find("LUFS, fades out") > last);
    CHECK(text->find("letter") == std::string::npos);
  }

  TEST_CASE("mono, surround and 96 kHz: the same sections") {
    const test::Folder folder;
    const std::vector<Part> parts{kVerse, kChorus, kBridge, kChorus};
    const auto at48 = played(parts, 48000), none = test::silence(test::length(at48));
    check_starts(structure(written(folder, "mono", 48000, {at48})), {0, 16, 32, 44}, 0.5);
    check_starts(structure(written(folder, "surround", 48000, {at48, at48, none, none, none, none})), {0, 16, 32, 44}, 0.5);
    const auto opposite = test::scaled(at48, -1);
    check_starts(structure(written(folder, "opposite", 48000, {at48, opposite})), {0, 16, 32, 44}, 0.5);
    const auto at96 = played(parts, 96000);
    check_starts(structure(written(folder, "96k", 96000, {at96, at96})), {0, 16, 32, 44}, 0.5);
  }

  TEST_CASE("a change of level alone, and of harmony alone") {
    const test::Folder folder;
    auto louder = kVerse, other = kVerse;
    louder.level *= 3, louder.drums *= 3, other.tones_hz = {233.1, 277.2, 349.2};
    const auto level = played({kVerse, louder}, 48000);
    check_starts(structure(written(folder, "level", 48000, {level, level})), {0, 16}, 0.5);
    const auto harmony = played({kVerse, other}, 48000);
    check_starts(structure(written(folder, "harmony", 48000, {harmony, harmony})), {0, 16}, 0.5);
  }

  TEST_CASE("a large step of level that holds, of few strokes in one harmony, is a border; a stroke that is louder, and a swell, are none") {
    const test::Folder folder;
    // A stroke every four seconds that dies away by far: from moment to moment the level moves by more than the step of 16 dB.
    const auto strokes = [](double gain_db, int count) {
      test::Samples out;
      test::Random random(9);
      for (int stroke = 0; stroke < count; ++stroke) {
        for (std::size_t n = 0; n < 4 * 48000; ++n) {
          const double t = static_cast<double>(n) / 48000;
          double x = 0.002 * random.between(-1, 1);
          for (const double hz : {220.0, 261.6, 329.6}) x += std::sin(2 * std::numbers::pi * hz * t) + 0.5 * std::sin(4 * std::numbers::pi * hz * t);
          out.push_back(std::pow(10, gain_db / 20) * 0.1 * std::exp(-3 * t) * x);
        }
      }
      return out;
    };
    for (const double first_db : {-16.0, 0.0}) {
      const auto step = test::concatenated({strokes(first_db, 10), strokes(-16 - first_db, 10)});
      const auto found = structure(written(folder, "step", 48000, {step, step}));
      REQUIRE(found.sections.size() == 2);
      CHECK(std::abs(found.sections[1].start_s - 40) <= 3);  // between two strokes
      CHECK(std::abs(found.sections[0].loudness_lufs - found.sections[1].loudness_lufs) == doctest::Approx(16).epsilon(0.05));
    }
    const auto accent = test::concatenated({strokes(-16, 7), strokes(0, 1), strokes(-16, 7)});
    CHECK(structure(written(folder, "accent", 48000, {accent, accent})).sections.size() == 1);
    auto swell = strokes(0, 20);
    for (std::size_t n = 0; n < swell.size(); ++n) swell[n] *= std::pow(10, -16.0 / 20 * static_cast<double>(n) / static_cast<double>(swell.size()));
    CHECK(structure(written(folder, "swell", 48000, {swell, swell})).sections.size() == 1);
  }

  TEST_CASE("what does not change is one section: music, noise, a tone; and what is short") {
    const test::Folder folder;
    auto steady = kChorus;
    steady.seconds = 60;
    for (const auto& one : {std::pair{"music", played({steady}, 48000)}, std::pair{"noise", test::noise(3, 0.2, 48000 * 60)},
                                      std::pair{"tone", test::sine(48000, 997, 0.3, 48000 * 60)}}) {
      const std::string name = one.first;
      const auto& sound = one.second;
      CAPTURE(name);
      const auto found = structure(written(folder, name, 48000, {sound}));
      REQUIRE(found.sections.size() == 1);
      CHECK(found.sections[0].start_s < 0.2);
      CHECK(found.sections[0].end_s == doctest::Approx(60).epsilon(0.005));
      CHECK(found.sections[0].alike == 1);
    }
    const auto five = test::concatenated({test::sine(48000, 300, 0.1, 120000), test::noise(4, 0.5, 120000)});
    CHECK(structure(written(folder, "five", 48000, {five})).sections.size() == 1);
    const auto low_rate = test::noise(5, 0.5, 4000 * 30);
    CHECK(structure(written(folder, "low", 4000, {low_rate})).sections.size() == 1);
  }

  TEST_CASE("silence has no section; one frame has one") {
    const test::Folder folder;
    const auto silent = structure(written(folder, "silent", 48000, {test::silence(48000 * 20)}));
    CHECK(silent.sections.empty());
    CHECK(silent.duration_s == 20);
    CHECK(structure(written(folder, "frame", 48000, {test::constant(0.5, 1)})).sections.size() == 1);
  }

  TEST_CASE("the guessed loudness is that of BS.1770 for a steady tone") {
    const test::Folder folder;
    // 997 Hz at full scale on one channel reads -3.01 LUFS (BS.1770, Annex 1), on two 0; at -20 dBFS 20 less.
    const auto tone = test::sine(48000, 997, 0.1, 48000 * 20);
    const auto one = structure(written(folder, "one", 48000, {tone})), two = structure(written(folder, "two", 48000, {tone, tone}));
    REQUIRE(one.sections.size() == 1);
    REQUIRE(two.sections.size() == 1);
    CHECK(one.sections[0].loudness_lufs == doctest::Approx(-23.01).epsilon(0.002));
    CHECK(two.sections[0].loudness_lufs == doctest::Approx(-20.0).epsilon(0.002));
  }

  TEST_CASE("markers decide: in order, on one line, each name once") {
    const test::Folder folder;
    const auto sound = played({kVerse, kChorus, kBridge}, 48000);
    const auto path = written(folder, "marked", 48000, {sound});
    append(path, cues({{48000 * 30, "chorus"}, {0, "in\ntro\x1b[31m"}, {48000 * 10, ""}, {48000 * 10 + 30, "verse"}, {48000 * 20, "chorus"}, {48000 * 35, ""}, {4'000'000'000u, "far away"}}));
    const auto found = structure(path);
    CHECK(found.from_markers);
    check_starts(found, {0, 10, 20, 30, 35}, 0.001);
    CHECK(found.sections[0].name == "in tro [31m");
    CHECK(found.sections[1].name == "verse");
    CHECK(found.sections[2].name == "chorus");
    CHECK(found.sections[3].name == "chorus 2");
    CHECK(found.sections[4].name == "section 5");
    CHECK(found.sections[4].end_s == doctest::Approx(44).epsilon(0.005));
  }

  TEST_CASE("before the first marker there is a section; markers at the ends alone decide nothing") {
    const test::Folder folder;
    const auto sound = played({kVerse, kChorus}, 48000);
    const auto late = written(folder, "late", 48000, {sound}), ends = written(folder, "ends", 48000, {sound});
    append(late, cues({{48000 * 12, "section 1"}}));
    const auto found = structure(late);
    check_starts(found, {0, 12}, 0.001);
    CHECK(found.sections[0].name != "section 1");
    CHECK(found.sections[1].name == "section 1");
    append(ends, cues({{0, "start"}, {48000 * 32, "end"}}));
    const auto heard = structure(ends);
    CHECK_FALSE(heard.from_markers);
    check_starts(heard, {0, 16}, 0.5);
  }

  TEST_CASE("what cannot be read, and what is stopped") {
    const test::Folder folder;
    const auto missing = song::structure_of(folder.path + "/nothing.wav");
    REQUIRE_FALSE(missing.has_value());
    CHECK(missing.error().code == ErrorCode::missing);
    const auto path = written(folder, "song", 48000, {test::noise(1, 0.1, 480000)});
    const std::atomic<bool> stop = true;
    const auto stopped = song::structure_of(path, {.progress = {}, .stop = &stop});
    REQUIRE_FALSE(stopped.has_value());
    CHECK(stopped.error().code == ErrorCode::interrupted);
    double last = 0;
    bool rising = true;
    CHECK(song::structure_of(path, {.progress = [&](double done) { rising = rising && done >= last, last = done; }, .stop = nullptr}).has_value());
    CHECK(rising);
    CHECK(last == 1);
  }

  TEST_CASE("two hours take no more room than one and a half, and their sections are where they are") {
    const test::Folder folder;
    // Mono, 8 kHz, 16 bits, written a part at a time.
    const std::string path = folder.path + "/long.wav";
    {
      constexpr std::uint32_t kBytes = 7200 * 8000 * 2;
      std::ofstream out(path, std::ios::binary);
      out << "RIFF" << word(36 + kBytes) << "WAVEfmt " << word(16) << word(1 << 16 | 1) << word(8000) << word(16000) << word(16 << 16 | 2) << "data" << word(kBytes);
      for (int i = 0; i < 12; ++i) {
        std::string bytes;
        for (const double x : i % 2 == 0 ? test::noise(static_cast<std::uint64_t>(i), 0.02, 8000 * 600) : test::sine(8000, 500, 0.3, 8000 * 600)) {
          const auto code = static_cast<std::uint16_t>(std::lround(x * 32767));
          bytes += static_cast<char>(code & 0xff);
          bytes += static_cast<char>(code >> 8);
        }
        out << bytes;
      }
    }
    const auto features = song::features_of(path, {});
    REQUIRE(features.has_value());
    CHECK(features->frames() <= 1 << 16);
    CHECK(features->onsets.empty());
    CHECK(features->step_s * static_cast<double>(features->frames()) == doctest::Approx(7200).epsilon(0.001));
    const auto found = structure(path);
    REQUIRE(found.sections.size() == 12);
    for (std::size_t i = 0; i < 12; ++i) CHECK(std::abs(found.sections[i].start_s - 600.0 * static_cast<double>(i)) < 1);
  }

  TEST_CASE("beats: a steady pulse with every third onset left out, and none where nothing repeats") {
    std::vector<float> onsets(6000, 0.01f);
    for (std::size_t beat = 0; beat * 53 + 20 < onsets.size(); ++beat) {
      if (beat % 3 != 2) onsets[beat * 53 + 20] = 1;
    }
    const auto beats = song::beats_of(onsets);
    REQUIRE(beats.size() > 100);
    for (std::size_t i = 4; i + 4 < beats.size(); ++i) {
      CHECK(beats[i + 1] - beats[i] == doctest::Approx(0.53).epsilon(0.05));
      CHECK(std::abs(std::remainder(beats[i] - 0.2, 0.53)) < 0.025);
    }
    CHECK(song::beats_of({}).empty());
    CHECK(song::beats_of(std::vector<float>(6000, 0.0f)).empty());
    CHECK(song::beats_of(std::vector<float>(200, 1.0f)).empty());
  }
}
