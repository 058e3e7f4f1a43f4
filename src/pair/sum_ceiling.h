// Was the sum clipped?
#pragma once

#include <sendworthy/result.h>

#include <optional>

#include "pair/sum.h"
#include "pair/sum_fit.h"
#include "pair/sum_input.h"

namespace sendworthy::pair {

/// Whether it may have been: nothing is left at `gain` but in blocks in which the mix reaches its peak. `allowed`: energy that may be
/// left of the whole.
[[nodiscard]] bool may_be_clipped(const Grams& grams, const Gains& gains, double allowed);

/// The gain that fits best in all blocks in which the mix does not reach its peak; 1 where there are none.
[[nodiscard]] double quiet_gain(const Grams& grams, const Gains& gains);

struct Clipped {
  SumCeiling ceiling;
  double left = 0;  ///< energy where the mix does not stand at its peak
};
/// Reads all once more. Nothing where samples elsewhere hold part of what is left, or the sum does not go beyond. Errors: as grams_of.
[[nodiscard]] Result<std::optional<Clipped>> clipped(SumInput& input, const Grams& grams, const Gains& gains, double allowed, const Hooks& hooks);

}  // namespace sendworthy::pair
