// Where a song changes for good.
#pragma once

#include <vector>

#include "song/features.h"

namespace sendworthy::song {

/// Seconds between `from_s` and `to_s` at which another section begins, in order, none nearer than 6 s to another or to either end.
[[nodiscard]] std::vector<double> boundaries_of(const Features& features, double from_s, double to_s);

/// For each stretch between neighbours of `borders`, which stretches sound alike: numbers from 1 on in the order of the song.
[[nodiscard]] std::vector<int> likeness_of(const Features& features, const std::vector<double>& borders);

}  // namespace sendworthy::song
