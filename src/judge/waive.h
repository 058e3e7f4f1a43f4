// Waivers: a fault that somebody accepted, with a reason and a last day. Never hides anything.
#pragma once

#include "judge/evaluate.h"

namespace sendworthy::judge {

/// Applies the set's waivers to the findings of one file, appends findings for waivers that have ended, and returns the
/// indexes of those that matched something.
[[nodiscard]] std::vector<std::size_t> apply_waivers(const RuleSet& rule_set, const Subject& subject,
                                                     std::vector<Finding>& findings);

}  // namespace sendworthy::judge
