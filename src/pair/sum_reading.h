// From gains to what is the matter with each part.
#pragma once

#include <cstddef>
#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "pair/sum.h"
#include "pair/sum_fit.h"
#include "pair/sum_input.h"

namespace sendworthy::pair {

/// One rung: the gains it found, and how well.
struct Step {
  std::string name;
  Gains gains, errors;
  std::vector<std::optional<std::size_t>> tied_to;  ///< of each part
  bool fitted = false;                              ///< a gain per part, so that there are errors
  bool leaves_out = false;                          ///< one part, and is not to be read by how gains of their own would share its sound
  double left = 0;                                  ///< energy
};

/// Level, activity, silence; copies of others.
void describe_parts(const SumInput& input, const Grams& grams, Sum& sum);
/// Parts that are the whole mix, of those that sound.
void find_whole_mixes(const Grams& grams, Sum& sum);

/// Writes the gains of `step` to the parts, and what is off with them: in order of how much it explains. `allowed`: energy that may be
/// left.
[[nodiscard]] std::vector<SumCause> read_parts(const SumInput& input, const Grams& grams, const Step& step, double allowed, Sum& sum);

/// A part and its copy at h times its level were fitted as one. Where that gain is nearer to 1 + h of the others' gain than to it, both
/// are in the mix and share it.
void share_with_copies(const SumInput& input, const Grams& grams, const Sum& sum, Step& step);

/// `gains` and the energy they stand over, block by block.
[[nodiscard]] SlowGain slow_gain_of(const std::vector<double>& gains, const std::vector<double>& energy, double step_s);

/// Whether the level of what is left goes with the sum's, and faster: of a cubic bend three dB for each, once the block's own gain, which
/// is lower where it is loud, was taken out.
[[nodiscard]] bool rest_follows(const Grams& grams, const Gains& gains);

/// Two parts that share a sound which the mix has once: what is left at `gains` is minus that sound.
[[nodiscard]] std::optional<std::pair<std::size_t, std::size_t>> find_doubled(const Grams& grams, const Gains& gains, double left);

}  // namespace sendworthy::pair
