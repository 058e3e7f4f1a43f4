// What a set of gains leaves of the mix, sample by sample: when, where, in which octave, and whether a gain that moves or a filter
// over the sum would take it away.
#pragma once

#include <sendworthy/result.h>

#include <cstddef>
#include <cstdint>
#include <vector>

#include "pair/sum.h"
#include "pair/sum_fit.h"
#include "pair/sum_input.h"

namespace sendworthy::pair {

/// A piece of one part, or of the mix without all other parts.
struct Excerpt {
  std::size_t part = 0;
  bool of_mix = false;
  std::int64_t from = 0, frames = 0;
  Rows rows;  ///< of the channels in which the part stands, two at most
};

struct RestPass {
  double left = 0;                  ///< energy
  SumRest rest;                     ///< `like` only where asked for
  double moving_left = 0;           ///< energy that a gain leaves which runs straight from knot to knot
  std::vector<double> moving;       ///< that gain where a block begins; knots stand in the middle of each, too
  std::vector<double> sum_energy;   ///< of the sum at the gains, by block
  double filter_left = 0;           ///< energy that any filter of a third of a second over the sum leaves
};

/// Fills `excerpts`. `grams` tell the block and the length. Errors: interrupted; what reading met.
[[nodiscard]] Result<RestPass> rest_of(SumInput& input, const Grams& grams, const Gains& gains, std::vector<Excerpt>& excerpts, bool like, double from_share,
                                       double share, const Hooks& hooks);

}  // namespace sendworthy::pair
