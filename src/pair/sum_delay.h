// Where does each part stand in the mix?
#pragma once

#include <cstddef>
#include <cstdint>
#include <vector>

#include "pair/sum_input.h"
#include "pair/sum_rest.h"

namespace sendworthy::pair {

/// Pieces of each part where it is strongest, and what the mix holds in places where they may stand: near where they are, and where
/// onsets agree. `lags`: where the parts are held against the mix now; `wanted`: which parts are looked at.
[[nodiscard]] std::vector<Excerpt> places_of(const SumInput& input, const Grams& grams, const SumOnsets& onsets, const std::vector<double>& lags,
                                             const std::vector<bool>& wanted);

/// Frames of a window.
inline constexpr std::int64_t kPartWindow = 32768;
/// The first frames of the windows in which a part is strongest, the strongest first, none within another; at most two.
[[nodiscard]] std::vector<std::int64_t> strongest_windows(const Grams& grams, std::size_t part);

struct PartLags {
  std::vector<double> found;                ///< by how much each part stands later in its file than in the mix, frames; 0 where nothing tells
  std::vector<std::vector<double>> nearer;  ///< of each part: places nearer to where it stands that suit it about as well; whole frames
};
/// Cross-correlation half-way to the phase transform over the pieces together, fractions by the slope. Where a part repeats, the pieces
/// alone cannot tell one place from another a period away: what else sounds in them makes either fit a little better.
[[nodiscard]] PartLags lags_in(const std::vector<Excerpt>& excerpts, std::size_t parts, double rate);

}  // namespace sendworthy::pair
