// Electric piano and pad.
#include <algorithm>
#include <array>

#include "players.h"

namespace demo {
namespace {

constexpr double kTurn = 0.5 / std::numbers::pi;  // one radian

/// A tine and its tone bar: one sine bent by another, plus a bell that dies at once.
void add_tine(Stereo& part, std::size_t start, std::size_t end, int note, double strength, Random& random) {
  const double hz = hz_of(note + random.around(0, 0.01));
  const double fall = decay_per_frame(1.5 * std::exp2((60 - note) / 24.0));
  const double bell_fall = decay_per_frame(0.07), bend_fall = decay_per_frame(0.45);
  const Pan pan(std::clamp((note - 61) / 22.0, -0.7, 0.7));
  double phase = 0, bell_phase = 0, envelope = 0.16 * strength, bell = 0.22 * strength, bend = 1.1 * strength,
         release = 1;
  for (std::size_t n = start; n < kFrames && release * envelope > 1e-7; ++n) {
    const double t = static_cast<double>(n - start) / kRate;
    phase += hz / kRate;
    bell_phase += 13.98 * hz / kRate;
    const double bell_tone = 13.98 * hz < 14000 ? bell * sine(bell_phase) : 0;
    // The sine is bent by at most a turn; a whole turn more keeps its argument positive.
    const double y =
        envelope * release * std::min(1.0, t / 0.002) * sine(phase + 1 + (bend * sine(phase) + bell_tone) * kTurn);
    // The amplifier's tremolo moves the sound between the loudspeakers.
    const double sway = 0.22 * sine(4.3 * static_cast<double>(n) / kRate);
    part.add(n, y * pan.left * (1 + sway), y * pan.right * (1 - sway));
    envelope *= fall;
    bell *= bell_fall;
    bend = 0.25 * strength + (bend - 0.25 * strength) * bend_fall;
    if (n >= end) release *= end == frame_of(kBars) ? 0.99996 : 0.9994;
  }
}

/// Three saws a voice, spread and detuned, under a slow filter.
void add_pad(Stereo& part, std::size_t start, std::size_t end, int note, double level, double open_hz, Random& random) {
  constexpr std::array<double, 3> kCents = {-7, 0, 8};
  for (std::size_t voice = 0; voice < kCents.size(); ++voice) {
    Saw saw(random.unit());
    const double hz = hz_of(note + kCents[voice] / 100);
    const Pan pan(0.75 * (static_cast<double>(voice) - 1));
    StateVariable tone(open_hz * random.around(1.0, 0.1), 0.7);
    const double attack = 0.35 * kRate;
    double release = 1;
    for (std::size_t n = start; n < kFrames && release > 1e-5; ++n) {
      const double y = level * std::min(1.0, static_cast<double>(n - start) / attack) * release * tone.low(saw(hz));
      part.add(n, y * pan.left, y * pan.right);
      if (n >= end) release *= end > frame_of(29) ? 0.99997 : 0.99988;
    }
  }
}

}  // namespace

Stereo play_keys() {
  Stereo part;
  Random random(301);
  for (int bar = 0; bar < kBars; ++bar) {
    const PlayerBar& play = players_at(bar);
    for (int step = 0; step < 16; ++step) {
      const double strength = strength_of(play.keys[static_cast<std::size_t>(step)]);
      if (strength == 0) continue;
      int last = step + 1;
      while (last < 16 && play.keys[static_cast<std::size_t>(last)] == '.') ++last;
      const std::size_t end = bar >= 28 ? frame_of(kBars) : frame_of(bar, last) - kSixteenth / 3;
      double at = static_cast<double>(frame_of(bar, step)) + random.unit() * 0.004 * kRate;
      for (const int note : chord_at(bar, step).keys) {
        add_tine(part, static_cast<std::size_t>(at), end, note, strength * random.around(1.0, 0.08), random);
        at += random.unit() * 0.004 * kRate;
      }
    }
    if (play.pad) {
      const bool big = part_of(bar) == Part::last_chorus;
      for (int half = 0; half < 16; half += 8) {
        const Chord& chord = chord_at(bar, half);
        if (half == 8 && &chord == &chord_at(bar, 0)) continue;
        const bool held = &chord_at(bar, 8) == &chord_at(bar, 0);
        const std::size_t end = bar >= 28 ? frame_of(kBars) - kBar / 4 : frame_of(bar, half) + (held ? kBar : kBar / 2);
        for (const int note : chord.keys)
          add_pad(part, frame_of(bar, half), end, note, 0.014, big ? 2600 : 1500, random);
        if (big) add_pad(part, frame_of(bar, half), end, chord.keys[3] + 12, 0.012, 3600, random);
      }
    }
  }
  return part;
}

}  // namespace demo
