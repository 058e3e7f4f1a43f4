#include "cli/judging.h"

#include <sendworthy/catalog.h>

#include <algorithm>
#include <string_view>

#include "base/text.h"
#include "cli/console.h"

namespace sendworthy::cli {

Result<std::vector<RuleSet>> judging_rules(const std::vector<std::string>& rules, const std::vector<std::string>& expect,
                                           const Config& config) {
  auto rule_sets = rule_sets_of(rules, config);
  if (!rule_sets || expect.empty()) return rule_sets;
  auto expected = expectations(expect, catalog());
  if (!expected) return tl::unexpected(expected.error());
  rule_sets->push_back(std::move(*expected));
  return rule_sets;
}

void question_role(const std::string& role, const std::vector<RuleSet>& rule_sets) {
  if (role.empty()) return;
  std::vector<std::string_view> roles;
  for (const auto& rule_set : rule_sets) {
    for (const auto& rule : rule_set.rules)
      roles.insert(roles.end(), rule.conditions.roles.begin(), rule.conditions.roles.end());
  }
  if (std::find(roles.begin(), roles.end(), role) != roles.end()) return;
  const auto nearest = base::nearest(role, roles);
  if (nearest.empty()) return;
  complain("no rule asks for the role \"" + role + "\"; did you mean \"" + std::string(nearest) + "\"?");
}

}  // namespace sendworthy::cli
