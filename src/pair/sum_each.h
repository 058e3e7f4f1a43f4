// Did the parts and the mix each go through a gain of their own?
#pragma once

#include <sendworthy/result.h>

#include "pair/sum_fit.h"
#include "pair/sum_input.h"

namespace sendworthy::pair {

/// Of more parts a hundredth of a second cannot tell the gains (own).
inline constexpr std::size_t kMostEach = 16;

struct EachMoving {
  double all = 0;        ///< energy left at the gains that stand
  double left = 0;       ///< with a gain for each part in each piece
  double by_chance = 0;  ///< with gains for what the parts held some time before, which explains nothing but by chance
};
/// Reads all once more; pieces of a hundredth of a second. `gains`: of each part for the whole mix. Errors: as grams_of.
[[nodiscard]] Result<EachMoving> each_moving(SumInput& input, const Gains& gains, double from_share, double share, const Hooks& hooks);

}  // namespace sendworthy::pair
