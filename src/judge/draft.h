// Rule sets on their way from text to RuleSet: rules are kept as keys and values until every set they extend is known,
// because "later wins" works key by key. Values stay nodes of their documents, so that errors found late name the
// right file, line and column.
#pragma once

#include <sendworthy/catalog.h>
#include <sendworthy/rule_set.h>

#include <array>
#include <cstddef>
#include <map>
#include <optional>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "base/document.h"

namespace sendworthy::judge {

struct DraftKey {
  std::string written;  ///< as in the file, for messages and origins
  base::Node value;
  std::string origin;  ///< name of the rule set
};

struct DraftRule {
  std::string id;
  Place place;                                        ///< where it first appears
  std::map<std::string, DraftKey, std::less<>> keys;  ///< by canonical name: `forbid` is `fail_forbid`
};

/// One file, read and checked as far as one file can be.
struct DraftSet {
  std::string name, title, purpose;
  std::vector<std::string> sources;
  std::vector<std::string> extends;
  std::vector<Place> extends_places;
  std::vector<DraftRule> rules;
  std::vector<Waiver> waivers;
};

/// `fail_above` → {fail, above}; nothing for keys that are no comparison. Unprefixed forms must be canonical already.
struct ComparisonKey {
  Status status;
  LimitKind kind;
};
[[nodiscard]] std::optional<ComparisonKey> comparison_key(std::string_view canonical);

/// Reads one document. `expected_name` is what [ruleset] name must be; empty: anything.
[[nodiscard]] Result<DraftSet> read_draft(const base::Document& document, std::string_view expected_name,
                                          const Catalog& catalog);

/// The tables of an array such as [[rule]]; none where the key is not there.
[[nodiscard]] Result<std::vector<base::Node>> tables_of(const base::Node& root, std::string_view key);

/// Every [[waiver]] of a document.
[[nodiscard]] Result<std::vector<Waiver>> read_waivers(const base::Node& root);

/// Lays `later` over `rules`, key by key.
[[nodiscard]] Result<void> lay_over(std::vector<DraftRule>& rules, const DraftSet& later);

/// Checks a merged rule against the catalog and makes the final one.
[[nodiscard]] Result<Rule> build_rule(const DraftRule& draft, const Catalog& catalog);

/// Words for errors: the texts in quotes, cut to a line's length.
[[nodiscard]] std::string in_quotes(std::string_view text);

/// `; did you mean "x"?` or "".
[[nodiscard]] std::string did_you_mean(std::string_view word, const std::vector<std::string_view>& candidates);

/// The error at `node` that no `what` is called `word`, with the nearest of those known and all of them.
[[nodiscard]] tl::unexpected<Error> no_such(const base::Node& node, std::string_view what, std::string_view word,
                                            const std::vector<std::string_view>& known);

/// The value whose word stands at `node`.
template <class T, std::size_t N>
[[nodiscard]] Result<T> choice(const base::Node& node, std::string_view what, const std::array<std::pair<T, std::string_view>, N>& choices) {
  const auto text = node.text();
  if (!text) return tl::unexpected(text.error());
  std::vector<std::string_view> known;
  for (const auto& [value, word] : choices) {
    if (*text == word) return value;
    known.push_back(word);
  }
  return no_such(node, what, *text, known);
}

[[nodiscard]] std::vector<std::string_view> ids_of(const Catalog& catalog);

/// Ids of rules: lower-case letters and digits in parts joined by single hyphens, at most 64.
[[nodiscard]] bool is_rule_id(std::string_view text);

}  // namespace sendworthy::judge
