// The beat a song is played on.
#pragma once

#include <vector>

namespace sendworthy::song {

/// Seconds of each beat, in order, from the series that pair::Onsets gives: dynamic programming after Ellis, "Beat tracking by dynamic
/// programming", Journal of New Music Research 36 (2007). None where no period between 0.3 and 1.2 s stands out.
[[nodiscard]] std::vector<double> beats_of(const std::vector<float>& onsets);

}  // namespace sendworthy::song
