// What somebody expects of a file, as a rule set.
#pragma once

#include <sendworthy/rule_set.h>

#include <string>
#include <string_view>
#include <vector>

namespace sendworthy::judge {

/// As expectations() of rule_set.h, in the words of whoever expects it: "the order".
[[nodiscard]] Result<RuleSet> expectations_of(std::string_view who, const std::vector<std::string>& key_values, const Catalog& catalog);

}  // namespace sendworthy::judge
