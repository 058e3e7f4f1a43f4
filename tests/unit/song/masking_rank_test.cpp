// Arrangements of invented music, rendered with a General MIDI soundfont and packaged loops, each with a written truth: which of
// several maskers was placed in the range of the part that matters. Nothing was tuned on them. Where another is named, it lies on the
// part's overtones.
#include <doctest/doctest.h>
#include <sndfile.h>

#include <cmath>
#include <cstdlib>
#include <fstream>
#include <string>
#include <vector>

#include "base/text.h"
#include "faults/sample.h"
#include "signals.h"
#include "song/masking.h"
#include "unit/song/bands.h"

using namespace sendworthy;

namespace {

constexpr double kSeconds = 16;

// A part: an instrument that plays in thirds and fifths from a note on, or a packaged loop.
struct Part {
  int program = 0;     ///< General MIDI, from 0
  int lowest = 60;     ///< MIDI note
  bool chords = false; ///< held for a bar; else a line of eighths and quarters
  std::string loop;
};

struct Arrangement {
  std::string name;
  Part target;
  double target_db;  ///< against each of the others
  std::vector<Part> maskers;
  std::size_t truth;
};

std::string midi(const Part& part, std::uint64_t seed) {
  test::Random random(seed);
  std::string track;
  const auto event = [&](int delta, int status, int a, int b) {
    if (delta > 127) track += static_cast<char>(0x80 | (delta >> 7));
    track += static_cast<char>(delta & 127), track += static_cast<char>(status), track += static_cast<char>(a);
    if (b >= 0) track += static_cast<char>(b);
  };
  event(0, 0xC0, part.program, -1);
  constexpr int kScale[] = {0, 2, 4, 5, 7, 9, 11};
  // 96 ticks a quarter, 120 quarters a minute: 8 bars of 2 s.
  if (part.chords) {
    for (int bar = 0; bar < 8; ++bar) {
      const auto root = random.below(5);
      const auto note = [&](int k) { return part.lowest + kScale[(root + 2 * k) % 7]; };
      for (int k = 0; k < 3; ++k) event(0, 0x90, note(k), 90);
      for (int k = 0; k < 3; ++k) event(k == 0 ? 376 : 0, 0x80, note(k), 0);
      event(8, 0xB0, 1, 0);
    }
  } else {
    for (int tick = 0; tick < 8 * 384;) {
      const int length = random.below(2) == 0 ? 48 : 96;
      const int note = part.lowest + kScale[random.below(7)];
      event(0, 0x90, note, 100), event(length - 6, 0x80, note, 0), event(6, 0xB0, 1, 0);
      tick += length;
    }
  }
  track += std::string("\x00\xFF\x2F\x00", 4);
  const auto length = static_cast<std::uint32_t>(track.size());
  std::string head("MThd\0\0\0\6\0\0\0\1\0\x60MTrk", 18);
  for (int shift = 24; shift >= 0; shift -= 8) head += static_cast<char>(length >> shift & 255);
  return head + track;
}

test::Channels rendered(const Part& part, std::uint64_t seed, const std::string& folder) {
  std::string path = "/usr/share/sonic-pi/samples/" + part.loop + ".flac";
  if (part.loop.empty()) {
    const auto score = folder + "/part.mid";
    path = folder + "/part.wav";
    std::ofstream(score, std::ios::binary) << midi(part, seed);
    const auto command = "fluidsynth -ni -q -R 0 -C 0 -r 44100 -F " + path + " /usr/share/sounds/sf2/TimGM6mb.sf2 " + score + " >/dev/null 2>&1";
    REQUIRE_MESSAGE(std::system(command.c_str()) == 0, "install the packages fluidsynth and timgm6mb-soundfont");
  }
  SF_INFO info{};
  SNDFILE* file = sf_open(path.c_str(), SFM_READ, &info);
  REQUIRE_MESSAGE(file != nullptr, path);
  std::vector<double> x(static_cast<std::size_t>(info.frames * info.channels));
  const auto frames = sf_readf_double(file, x.data(), info.frames);
  sf_close(file);
  REQUIRE(info.samplerate == 44100);
  REQUIRE(frames > 0);
  // Loops go round; all parts are of one length and of one level.
  const auto wanted = static_cast<std::int64_t>(kSeconds * info.samplerate);
  test::Channels out(static_cast<std::size_t>(info.channels), test::silence(wanted));
  double sum = 0;
  for (std::int64_t n = 0; n < wanted; ++n) {
    for (std::size_t c = 0; c < out.size(); ++c) {
      const auto from = part.loop.empty() ? n : n % frames;
      const double value = from < frames ? x[static_cast<std::size_t>(from) * out.size() + c] : 0;
      out[c][static_cast<std::size_t>(n)] = value;
      sum += value * value;
    }
  }
  REQUIRE(sum > 0);
  for (auto& channel : out) channel = test::scaled(std::move(channel), 0.1 / std::sqrt(sum / static_cast<double>(wanted)));
  return out;
}

// Programs: 0 piano, 11 vibraphone, 18 organ, 25 guitar, 32 bass, 38 synth bass, 40 violin, 42 cello, 48 strings, 52 choir, 56 trumpet,
// 60 horn, 65 saxophone, 71 clarinet, 73 flute, 81 sawtooth, 89 warm pad.
std::vector<Arrangement> arrangements() {
  const Part bass{32, 28, false, {}}, synth_bass{38, 28, false, {}}, drums{0, 0, false, "loop_amen"}, shaker{0, 0, false, "loop_safari"};
  return {
      {"flute under strings", {73, 72, false, {}}, 0, {{48, 72, true, {}}, bass, {0, 48, true, {}}}, 0},
      {"sung line under an organ", {52, 60, false, {}}, 0, {synth_bass, {18, 60, true, {}}, {11, 84, false, {}}}, 1},
      {"trumpet under a sawtooth", {56, 62, false, {}}, -3, {bass, {11, 91, false, {}}, {81, 62, true, {}}}, 2},
      {"cello under a piano's left hand", {42, 41, false, {}}, -3, {{73, 84, false, {}}, {0, 41, true, {}}, {11, 86, false, {}}}, 1},
      {"saxophone under guitar chords", {65, 58, false, {}}, -3, {{25, 58, true, {}}, bass, {73, 88, false, {}}}, 0},
      {"violin under a pad and drums far away", {40, 67, false, {}}, -3, {{0, 36, true, {}}, bass, {89, 67, true, {}}}, 2},
      {"clarinet under horns", {71, 55, false, {}}, 0, {{60, 55, true, {}}, {11, 89, false, {}}, synth_bass, {73, 91, false, {}}}, 0},
      {"bass under a synth bass", {32, 31, false, {}}, -8, {{48, 67, true, {}}, {38, 31, false, {}}, {73, 84, false, {}}}, 1},
      {"guitar under the piano", {25, 55, false, {}}, -3, {bass, {0, 55, true, {}}, {40, 88, false, {}}}, 1},
      {"choir under strings, with a beat", {52, 64, true, {}}, -6, {shaker, {48, 64, true, {}}, bass}, 1},
      {"flute under a high organ, with drums", {73, 79, false, {}}, 0, {drums, bass, {18, 79, true, {}}}, 2},
      {"vibraphone under a flute", {11, 72, false, {}}, -3, {bass, {73, 72, false, {}}, {42, 43, true, {}}}, 1},
      {"horn under a cello", {60, 50, false, {}}, -3, {{48, 84, true, {}}, {42, 50, false, {}}, shaker}, 1},
      {"violin under a trumpet", {40, 69, false, {}}, 0, {{56, 69, false, {}}, synth_bass, {0, 40, true, {}}}, 0},
      {"piano under guitar chords", {0, 57, true, {}}, -3, {{32, 33, false, {}}, {11, 93, false, {}}, {25, 57, true, {}}}, 2},
      {"saxophone under a clarinet", {65, 64, false, {}}, -3, {{71, 64, false, {}}, {89, 36, true, {}}, drums}, 0},
      {"organ under a sawtooth", {18, 60, true, {}}, -6, {bass, {81, 60, true, {}}, {11, 96, false, {}}}, 1},
      {"choir line under a pad", {52, 67, false, {}}, -3, {{32, 28, false, {}}, {42, 40, false, {}}, {89, 67, true, {}}}, 2},
      {"trumpet under a saxophone, with a beat", {56, 65, false, {}}, -3, {{65, 65, false, {}}, shaker, bass}, 0},
      {"a hat pattern under a beat", {0, 0, false, "loop_safari"}, -9, {bass, drums, {89, 48, true, {}}}, 1},
  };
}

}  // namespace

TEST_SUITE("song/masking") {
  TEST_CASE("of several maskers in arrangements, the one that was placed in the part's range is named") {
    const test::Folder folder;
    int right = 0, all = 0;
    std::string lines;
    for (const auto& one : arrangements()) {
      std::vector<song::BandFrames> bands;
      auto target = rendered(one.target, 100, folder.path);
      for (auto& channel : target) channel = test::scaled(std::move(channel), test::from_db(one.target_db));
      bands.push_back(test::bands_of(target, 44100));
      song::MaskingCase asked{{0}, {}};
      for (const auto& masker : one.maskers) {
        asked.maskers.push_back(bands.size());
        bands.push_back(test::bands_of(rendered(masker, 200 + bands.size(), folder.path), 44100));
      }
      std::vector<const song::BandFrames*> parts;
      for (const auto& part : bands) parts.push_back(&part);
      const auto result = song::measure_masking(parts, std::vector{asked}, {}).front();
      const bool hit = result.named == one.truth;
      right += hit, ++all;
      lines += "\n" + std::string(hit ? "right " : "WRONG ") + one.name + ": covered " + base::fixed(100 * result.together.share, 0) + " %; uncovered without, alone:";
      for (const auto& masker : result.each)
        lines += " " + base::fixed(100 * masker.uncovered, 0) + "/" + base::fixed(100 * masker.alone.share, 0);
    }
    MESSAGE(right << " of " << all << lines);
    CHECK(all >= 8);
    CHECK(right * 10 >= all * 7);
  }
}
