// Half seconds of a part that is covered, and the passages that stand out of them.
#pragma once

#include <array>
#include <cstdint>
#include <vector>

#include "song/masking.h"

namespace sendworthy::song {

inline constexpr std::int64_t kSlotFrames = 25;  ///< half a second

/// One number a band; one more, always 0, fills the last vector.
using Bands = std::array<float, BandFrames::kBands + 1>;

/// How much the part counts in each half second, and which part of that is covered, in 255ths.
using SlotWeights = std::vector<std::array<float, BandFrames::kBands>>;
using SlotShares = std::vector<std::array<std::uint8_t, BandFrames::kBands>>;

/// Around the half second with most that is covered, as far as at least half as much of the part stays covered, rests of up to a second
/// bridged; then the next, while it has a tenth of the first one's; none of which less than half a percent is covered. Bands: around the one with most, down to a third of it.
[[nodiscard]] std::vector<CoveredPassage> covered_passages(const SlotWeights& weights, const SlotShares& shares);

}  // namespace sendworthy::song
