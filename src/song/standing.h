// Whether stems stand in the mix as they stand in their files: what is told of parts by their files holds for the mix only then.
#pragma once

#include <cstddef>
#include <string>
#include <string_view>

#include "song/song_findings.h"

namespace sendworthy::song {

inline constexpr std::string_view kPrintAgain = "Print the stems again together with the mix; see stems-sum-to-mix.";
inline constexpr double kGoneDb = -30;  ///< gain in the mix by least squares: less, and the stem is not in it

/// "6.0 dB softer in the mix than in its stem": of the gain at which it stands there.
[[nodiscard]] std::string beside_its_stem(double gain_db);

struct Standing {
  std::string why;      ///< how the stem stands otherwise in the mix, or why that is not known; empty: as in its file
  bool little = false;  ///< by so little that a fault told by its file stays one: 1 dB, or 10 ms
};

/// Of the plan's stem; by the sum, against the gain and the place that all stems share.
[[nodiscard]] Standing standing_of(const Measured& song, std::size_t stem);

/// The stems are all of the mix, and each of them stands in it as in its file, but for what the mix bus does to all of them.
[[nodiscard]] bool stems_tell_the_mix(const Measured& song);

/// What all stems share and the mix does not have as they have it, so that the mix less one of them means nothing; empty: nothing.
[[nodiscard]] std::string shared_by_all(const Measured& song);

/// Findings told by stems that stand otherwise in the mix are not measured: a pass by any of them, a fault by much.
void hold_to_the_mix(const Measured& song, Findings& findings);

}  // namespace sendworthy::song
