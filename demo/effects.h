// Room, echo and faders: printed into each stem, so that the stems add up to the mix.
#pragma once

#include <span>

#include "sound.h"

namespace demo {

struct Room {
  double decay_s = 1.6;  ///< to −60 dB
  double pre_delay_s = 0.015;
  double low_cut_hz = 250;  ///< keeps the bottom of the mix dry and in the middle
  double damping_hz = 6000;
  double level_db = -16;
  std::uint64_t seed = 1;
};

/// Adds the reverberation of `part` to itself: a feedback network of eight delay lines (Hadamard matrix).
void add_room(Stereo& part, const Room& room);

/// Adds echoes a dotted eighth apart that change sides, fed only between the frames of each span given.
struct Throw {
  std::size_t start_frame, end_frame;
};
void add_echo(Stereo& part, std::span<const Throw> throws, double level_db, double feedback);

/// Takes the side signal out below `hz` (first order).
void narrow_low_end(Stereo& part, double hz);

/// Rides the part's level: straight lines in dB between the points.
void ride_fader(Stereo& part, std::span<const FaderPoint> points);

}  // namespace demo
