// What several commands share of the rules that files are judged by.
#pragma once

#include <sendworthy/result.h>
#include <sendworthy/rule_set.h>

#include <string>
#include <vector>

#include "cli/config.h"

namespace sendworthy::cli {

/// The rule sets of --rules, and one more of --expect where that was given. Errors: as rule_sets_of.
[[nodiscard]] Result<std::vector<RuleSet>> judging_rules(const std::vector<std::string>& rules,
                                                         const std::vector<std::string>& expect, const Config& config);

/// A misspelt role would switch rules off without a word: says so where one is near that a rule asks for.
void question_role(const std::string& role, const std::vector<RuleSet>& rule_sets);

}  // namespace sendworthy::cli
