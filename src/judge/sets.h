// Rule sets whose names another gave than the user or this program: an order that came from somebody.
#pragma once

#include <sendworthy/rule_set.h>

#include <string_view>

namespace sendworthy::judge {

/// As load_rule_set. A set that is named by its path is read within the bounds only (base/bounds.h), and so are those that it extends
/// by theirs; one that is called by its name is the user's own or a shipped one, wherever it and what it extends lie.
[[nodiscard]] Result<RuleSet> load_named_by_another(std::string_view name_or_path, const RuleSetFolders& folders, const Catalog& catalog);

}  // namespace sendworthy::judge
