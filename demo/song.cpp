// Synthesises the demo: stems, mix, instrumental, the song's plan, an earlier bounce, and a folder of broken exports. The same bytes on every run.
#include <array>
#include <cstdio>
#include <exception>
#include <filesystem>
#include <functional>
#include <optional>
#include <stdexcept>
#include <string>
#include <string_view>
#include <vector>

#include "delivery.h"
#include "effects.h"
#include "exports.h"
#include "plan.h"
#include "players.h"
#include "wav.h"

namespace demo {
namespace {

enum class Bus { rhythm, instruments, voices };

/// One channel strip of the mix. There is nothing on the bus: the mix is the sum of the stems, to the bit.
struct Strip {
  std::string_view name;
  Bus bus;
  Stereo (*play)();
  double fader_db;
  std::vector<FaderPoint> rides;
  std::function<void(Stereo&)> effects;
};

std::vector<Strip> strips() {
  // The lead's echo opens on the ends of lines only.
  static const std::array<Throw, 5> kThrows = {{{frame_of(7, 2), frame_of(7, 12)},
                                                {frame_of(11, 4), frame_of(11, 15)},
                                                {frame_of(13, 10), frame_of(13, 15)},
                                                {frame_of(18, 4), frame_of(19, 12)},
                                                {frame_of(28, 0), frame_of(28, 14)}}};
  return {
      {"01-kick", Bus::rhythm, play_kick, -14.0, {}, [](Stereo&) {}},
      {"02-snare",
       Bus::rhythm,
       play_snare,
       -12.5,
       {},
       [](Stereo& s) {
         add_room(s, {0.9, 0.008, 350, 7000, -19, 11});
       }},
      {"03-percussion",
       Bus::rhythm,
       play_percussion,
       -7.5,
       {{0, 0}, {4, 1.5}, {12, 0}, {16, 1}, {20, 0}},
       [](Stereo& s) {
         add_room(s, {0.7, 0.005, 800, 9000, -24, 12});
       }},
      {"04-bass", Bus::rhythm, play_bass, -16.5, {{4, -1}, {12, 0}, {16, -1}, {20, 0.5}}, [](Stereo&) {}},
      {"05-keys",
       Bus::instruments,
       play_keys,
       -9.5,
       {{0, 2}, {4, 0.5}, {12, 0}, {20, 1.5}},
       [](Stereo& s) {
         add_room(s, {1.7, 0.018, 300, 5000, -17, 13});
         narrow_low_end(s, 160);
       }},
      {"06-guitar",
       Bus::instruments,
       play_guitar,
       -7.0,
       {{0, 4}, {4, 2}, {12, -0.5}, {16, 2}, {20, 0.5}},
       [](Stereo& s) {
         add_room(s, {1.4, 0.012, 300, 6500, -19, 14});
         narrow_low_end(s, 160);
       }},
      {"07-lead-voice",
       Bus::voices,
       sing_lead,
       -1.0,
       {{4, 0}, {12, 0.5}, {16, -0.5}, {20, 1.5}},
       [](Stereo& s) {
         add_echo(s, kThrows, -13, 0.42);
         add_room(s, {1.8, 0.035, 300, 6000, -17, 15});
       }},
      {"08-backing-high",
       Bus::voices,
       sing_high_backing,
       -9.0,
       {{12, -1}, {20, 0}},
       [](Stereo& s) {
         add_room(s, {2.1, 0.03, 350, 5500, -12, 16});
       }},
      {"09-backing-low",
       Bus::voices,
       sing_low_backing,
       -8.5,
       {{12, -1}, {20, 0}},
       [](Stereo& s) {
         add_room(s, {2.1, 0.03, 350, 5500, -12, 17});
       }},
  };
}

/// To 24 bits with triangular dither, once, here and nowhere later.
Audio quantise(const Stereo& part, double gain, std::uint64_t seed) {
  Random random(seed);
  Audio audio;
  audio.codes.resize(2 * part.left.size());
  const double scale = gain * (1 << 23);
  OnePole offset_left(12), offset_right(12);  // saturation leaves a little DC behind
  for (std::size_t n = 0; n < part.left.size(); ++n) {
    double l = part.left[n], r = part.right[n];
    l -= offset_left(l);
    r -= offset_right(r);
    const std::uint64_t bits = random.bits();  // four 16-bit numbers: two triangles
    const auto piece = [&](int at) { return static_cast<double>(bits >> at & 0xFFFF) * 0x1.0p-16; };
    audio.codes[2 * n] = static_cast<std::int32_t>(std::lrint(l * scale + piece(0) - piece(16)));
    audio.codes[2 * n + 1] = static_cast<std::int32_t>(std::lrint(r * scale + piece(32) - piece(48)));
  }
  return audio;
}

/// Integers have no room above full scale: a mix that needs it must not be written.
void expect_room(const Audio& audio) {
  for (const std::int32_t code : audio.codes) {
    if (std::abs(code) >= 1 << 23) throw std::runtime_error("the mix is louder than full scale");
  }
}

void add(Audio& sum, const Audio& part) {
  for (std::size_t i = 0; i < sum.codes.size(); ++i) sum.codes[i] += part.codes[i];
}

void make_demo(const std::string& folder, bool broken) {
  std::filesystem::create_directories(folder + "/stems");
  const std::string words = std::string(kArtist) + ": " + std::string(kTitle) + ", " + std::string(kLabel) + ", ";
  Audio mix, instrumental, tuned;
  Parts parts;
  for (Audio* sum : {&mix, &instrumental, &tuned, &parts.drums, &parts.bass, &parts.instruments, &parts.lead, &parts.backing}) sum->codes.assign(2 * kFrames, 0);
  std::optional<Draft> draft;
  if (broken) draft.emplace(folder + "/draft");
  std::uint64_t seed = 1000;
  for (const Strip& strip : strips()) {
    Stereo part = strip.play();
    ride_fader(part, strip.rides);
    strip.effects(part);
    const Audio stem = quantise(part, from_db(strip.fader_db), ++seed);
    write_wav(folder + "/stems/" + std::string(strip.name) + ".wav", stem);
    add(mix, stem);
    if (strip.bus != Bus::voices) add(instrumental, stem);
    if (strip.bus != Bus::rhythm) add(tuned, stem);
    add(strip.bus == Bus::instruments      ? parts.instruments
        : strip.name.ends_with("bass")       ? parts.bass
        : strip.bus == Bus::rhythm           ? parts.drums
        : strip.name.ends_with("lead-voice") ? parts.lead
                                             : parts.backing,
        stem);
    if (draft) draft->add(strip.name, stem);
  }
  expect_room(mix);
  write_wav(folder + "/mix.wav", mix, {.description = words + "mix 4, ISRC AA6Q72000047"});
  write_wav(folder + "/instrumental.wav", instrumental, {.description = words + "instrumental of mix 4"});
  write_plan(folder);
  if (broken) {
    draft->finish();
    std::filesystem::create_directories(folder + "/broken");
    write_broken_exports(folder + "/broken", mix, tuned);
    write_delivery(folder + "/delivery", mix, parts, words);
  }
}

}  // namespace
}  // namespace demo

int main(int argc, char** argv) {
  const bool broken = !(argc == 3 && std::string_view(argv[2]) == "--without-broken");
  if (argc < 2 || argv[1][0] == '-' || (broken && argc != 2)) {
    std::fputs(
        "usage: sendworthy_demo_song FOLDER [--without-broken]\n"
        "Writes mix.wav, instrumental.wav, stems/, song.toml, draft/, broken/ and delivery/ into FOLDER.\n",
        stderr);
    return 2;
  }
  try {
    demo::make_demo(argv[1], broken);
  } catch (const std::exception& error) {
    std::fprintf(stderr, "sendworthy_demo_song: %s\n", error.what());
    return 3;
  }
  return 0;
}
