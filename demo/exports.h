// Exports of the same mix that went wrong, each by one small fault.
#pragma once

#include <string>

#include "wav.h"

namespace demo {

/// Writes `folder`/*.wav and `folder`/faults.txt, which says what is wrong with each.
/// `tuned` is the sum of the stems beside drums and bass (keys, guitar, voices).
void write_broken_exports(const std::string& folder, const Audio& mix, const Audio& tuned);

/// Highest value between the samples, as a factor of full scale: 16 points a sample round the largest samples.
[[nodiscard]] double true_peak_of(const Audio& audio);

}  // namespace demo
