// Waivers: a fault that somebody accepted, with a reason and a last day. Never hides anything.
#pragma once

#include "judge/evaluate.h"

namespace sendworthy::judge {

/// Applies the set's waivers to the findings of one file, appends findings for waivers that have ended, and returns the
/// indexes of those that matched something.
[[nodiscard]] std::vector<std::size_t> apply_waivers(const RuleSet& rule_set, const Subject& subject,
                                                     std::vector<Finding>& findings);

/// Waivers of an order or a plan: they reach the findings of a sheet's files and those about all of them, and what nobody used or
/// has run out is a finding. `ruleset`: the name under which that stands. `path`: of the order or plan, which stands for findings that
/// name no file.
void apply_waivers(const std::vector<Waiver>& waivers, std::string_view ruleset, const std::string& path, const std::string& today, Sheet& sheet);

}  // namespace sendworthy::judge
