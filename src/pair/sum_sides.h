// Are the sides of a part the wrong way about, or gone?
#pragma once

#include <cstddef>
#include <optional>
#include <vector>

#include "pair/sum.h"
#include "pair/sum_fit.h"
#include "pair/sum_input.h"

namespace sendworthy::pair {

/// Of sums of products in the middle and the side of two channels (grams_of while SumInput::turn is on): parts that need their side the
/// other way up than their middle, which is what exchanging left and right comes to. `looked_at`: whether a part can be one.
[[nodiscard]] std::vector<std::size_t> find_crossed(const Grams& turned, const std::vector<bool>& looked_at);

/// The same from gains of each channel that leave nothing: a panned sound is crossed where these exchange its levels.
[[nodiscard]] std::vector<std::size_t> find_mirrored(const SumInput& input, const Grams& grams, const Gains& gains, const std::vector<bool>& looked_at);

struct Folded {
  std::vector<std::size_t> parts;  ///< the one, or those of which it is one
  std::vector<double> gains;       ///< of each part
  double left = 0;                 ///< energy in the middle, as it counts in two channels
};
/// A part without a side, where nothing is left but a side that comes and goes with it and that no other side explains.
[[nodiscard]] std::optional<Folded> find_folded(const Grams& turned, const std::vector<bool>& looked_at, double allowed);

}  // namespace sendworthy::pair
