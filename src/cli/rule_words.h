// A rule in words and as the keys it was written with.
#pragma once

#include <sendworthy/catalog.h>
#include <sendworthy/rule_set.h>

#include <string>
#include <utility>
#include <vector>

namespace sendworthy::cli {

/// "fails above -1 dBTP", one per comparison.
[[nodiscard]] std::vector<std::string> comparisons_in_words(const Rule& rule, const Catalog& catalog);

/// "only stereo files", "only the role mix": when the rule applies. Empty: always.
[[nodiscard]] std::vector<std::string> conditions_in_words(const Rule& rule);

/// What does not fail though it is beyond a limit or unknown: a tolerance, a value that could not be measured.
[[nodiscard]] std::vector<std::string> allowances_in_words(const Rule& rule, const Catalog& catalog);

/// A rule's why or remedy as it reads without a file: the amounts that a sheet fills in become words.
[[nodiscard]] std::string without_amounts(std::string text);

struct RuleKey {
  std::string key;
  std::string value;   ///< as TOML
  std::string origin;  ///< the rule set it comes from
};
/// Every key of the effective rule as TOML, in the order people write them.
[[nodiscard]] std::vector<RuleKey> keys_of(const Rule& rule);

}  // namespace sendworthy::cli
