// Where a song changes for good.
#pragma once

#include <vector>

#include "song/features.h"

namespace sendworthy::song {

/// Seconds between `from_s` and `to_s` at which another section begins, in order: at least 6 s from one another and from both ends before
/// each is put on the beat, which moves it by up to 1.5 s. At most 255, those of most novelty.
[[nodiscard]] std::vector<double> boundaries_of(const Features& features, double from_s, double to_s);

/// The same moved to where the sound changes most within 1.5 s, from a bar before a beat to a bar after it; and to the first beat of a
/// bar where most of them agree on one. In what has no beat, to the frame.
[[nodiscard]] std::vector<double> on_the_beat(const Features& features, double from_s, double to_s, std::vector<double> boundaries);

}  // namespace sendworthy::song
