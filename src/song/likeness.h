// Which sections of a song are the same part of it.
#pragma once

#include <vector>

#include "song/features.h"

namespace sendworthy::song {

/// For each stretch between neighbours of `borders` (seconds, in order, at most 257), which stretches sound alike in the mean: numbers
/// from 1 on in the order of the song.
[[nodiscard]] std::vector<int> likeness_of(const Features& features, const std::vector<double>& borders);

}  // namespace sendworthy::song
