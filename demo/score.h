// The song as data: where its sections lie, its chords, its tune and its words. No sound is made here.
//
// "Lamps Along the Weir", by Vesper Nallow, for Quillmoor Tapes, mixed at Brindlewick Rooms: all of them invented.
#pragma once

#include <array>
#include <cstddef>
#include <span>
#include <string_view>
#include <vector>

namespace demo {

inline constexpr int kRate = 48000;              ///< Hz
inline constexpr std::size_t kSixteenth = 7500;  ///< frames; 96 beats a minute at 48 kHz, so every step is whole
inline constexpr std::size_t kBar = 16 * kSixteenth;
inline constexpr std::size_t kHead = kRate;  ///< one second of room before the first note
inline constexpr int kBars = 30;
inline constexpr std::size_t kTail = 6 * kRate;  ///< room after the last bar, in which the chord rings out
inline constexpr std::size_t kFrames = kHead + kBars * kBar + kTail;

inline constexpr std::string_view kArtist = "Vesper Nallow";
inline constexpr std::string_view kTitle = "Lamps Along the Weir";
inline constexpr std::string_view kLabel = "Quillmoor Tapes";
inline constexpr std::string_view kStudio = "Brindlewick Rooms";

/// First frame of a sixteenth (may lie beyond the bar: step 20 is step 4 of the next bar).
[[nodiscard]] constexpr std::size_t frame_of(int bar, int sixteenth = 0) {
  return kHead + static_cast<std::size_t>(bar) * kBar + static_cast<std::size_t>(sixteenth) * kSixteenth;
}

enum class Part { intro, verse, chorus, bridge, last_chorus, outro };

struct Section {
  Part part;
  std::string_view name;
  int first_bar;
  int bars;
};
[[nodiscard]] std::span<const Section> sections();
[[nodiscard]] Part part_of(int bar);

/// A chord as each player takes it. MIDI note numbers; 0 = string not played.
struct Chord {
  std::string_view name;
  int bass;
  std::array<int, 6> strings;  ///< low to high
  std::array<int, 4> keys;
};
[[nodiscard]] const Chord& chord_at(int bar, int sixteenth);

inline constexpr std::string_view kRest = "................";

/// One bar of the drums, sixteen steps: X loud, x medium, o soft, . nothing.
struct DrumBar {
  std::string_view kick = kRest, snare = kRest, side_stick = kRest;
  std::string_view hat = kRest, open_hat = kRest, shaker = kRest, tambourine = kRest;
  bool crash = false;
};
[[nodiscard]] const DrumBar& drums_at(int bar);

/// Sixteen steps for the pitched players.
/// Bass: R root, 5 fifth, 8 octave, - hold. Picking: 0…5 a string. Strum: D d down, U u up. Keys: X x o a chord.
struct PlayerBar {
  std::string_view bass = kRest, picking = kRest, strum = kRest, keys = kRest;
  bool pad = false;
};
[[nodiscard]] const PlayerBar& players_at(int bar);

/// A sung note. `syllable` is spelled in the small alphabet of voice.cpp: consonants, one or two vowels, consonants.
struct Sung {
  int bar;
  int step;    ///< sixteenths from the start of the bar
  int length;  ///< sixteenths
  int note;    ///< MIDI
  std::string_view syllable;
  double strength = 1.0;  ///< amplitude, 0…1
};
[[nodiscard]] std::vector<Sung> lead_line();
[[nodiscard]] std::vector<Sung> high_backing_line();
[[nodiscard]] std::vector<Sung> low_backing_line();

/// A fader move: level in dB from this bar on, reached in a straight line over one bar.
struct FaderPoint {
  int bar;
  double level_db;
};

}  // namespace demo
