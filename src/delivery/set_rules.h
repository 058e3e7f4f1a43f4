// What a set of files is judged by, beside the rule sets of its single files: one entry for each finding about the set.
#pragma once

#include <sendworthy/sheet.h>

#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "judge/set_rule.h"

namespace sendworthy::delivery {

using judge::SetRule;

[[nodiscard]] std::span<const SetRule> set_rules();
/// Of an id that there is.
[[nodiscard]] const SetRule& set_rule(std::string_view id);

/// The name under which these findings stand on a sheet: Finding::ruleset.
inline constexpr std::string_view kOrderRules = "order";

/// Findings as judge::finding_by and unmeasured_by make them.
[[nodiscard]] Finding passed(std::string_view id, std::string value, std::vector<std::string> files);
[[nodiscard]] Finding faulted(std::string_view id, std::string value, std::vector<std::string> files);
[[nodiscard]] Finding with_status(std::string_view id, Status status, std::string value, std::vector<std::string> files);
[[nodiscard]] Finding unmeasured(std::string_view id, std::string reason, std::vector<std::string> files, std::string_view remedy = {});

/// What makes measurable what could not be: for `remedy` of `unmeasured`.
using judge::kMakeReadable;
inline constexpr std::string_view kAddMain =
    "Put the main mix into the folder and on the order, or name in the item's against what it is held against; then check again.";
inline constexpr std::string_view kListFolder = "Make the order's folder one that can be listed as a whole, or correct folder in the order; then check again.";

}  // namespace sendworthy::delivery
