// The players. Each reads the score and returns its whole part, dry, at a level of its own; the faders are in song.cpp.
#pragma once

#include "sound.h"

namespace demo {

[[nodiscard]] Stereo play_kick();
[[nodiscard]] Stereo play_snare();       ///< snare and side stick
[[nodiscard]] Stereo play_percussion();  ///< hats, shaker, tambourine, crash
[[nodiscard]] Stereo play_bass();
[[nodiscard]] Stereo play_keys();    ///< electric piano and pad
[[nodiscard]] Stereo play_guitar();  ///< plucked strings: picked in the middle, strummed twice at the sides
[[nodiscard]] Stereo sing_lead();
[[nodiscard]] Stereo sing_high_backing();
[[nodiscard]] Stereo sing_low_backing();

}  // namespace demo
