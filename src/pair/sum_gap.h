// Does everything add up but for a while?
#pragma once

#include <vector>

#include "pair/sum.h"
#include "pair/sum_fit.h"
#include "pair/sum_input.h"

namespace sendworthy::pair {

struct Gaps {
  std::vector<SumGap> gaps;  ///< in order; empty: what is left is not a matter of a while
  double left = 0;           ///< energy, once a part that the mix does without there was taken out; else as before
  /// Each is told to be a part's.
  [[nodiscard]] bool named() const;
};

/// `allowed`: energy that may be left of the whole. A part that the mix does without for a while is one whose removal there leaves
/// nothing. What the files do without is in none of them: the part is then told by its silence, which begins or ends with the gap
/// while it sounds before and behind.
[[nodiscard]] Gaps find_gaps(const Grams& grams, const Gains& gains, const Sum& sum, double allowed);

/// The gain that most blocks of the mix would have, as far as the sum sounds in them: what happens for a while does not move it.
[[nodiscard]] double usual_gain(const Grams& grams, const Gains& gains);

}  // namespace sendworthy::pair
