// What a song is judged by, beside the rule sets of its files: one entry for each finding about a song and its plan.
#pragma once

#include <sendworthy/sheet.h>

#include <map>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "judge/set_rule.h"

namespace sendworthy::song {

/// In the order of the checklist.
[[nodiscard]] std::span<const judge::SetRule> plan_rules();
/// Of an id that there is.
[[nodiscard]] const judge::SetRule& plan_rule(std::string_view id);

/// The name under which these findings stand on a sheet: Finding::ruleset.
inline constexpr std::string_view kPlanRules = "plan";

/// [severity] of a plan: id of a finding → fail, warn or note.
using Severities = std::map<std::string, Status, std::less<>>;
/// The plan's, else the rule's own.
[[nodiscard]] Status severity_of(std::string_view id, const Severities& severities);

/// Findings with the words of their rule filled in. `files`: as shown, the one that is at fault first.
[[nodiscard]] Finding passed(std::string_view id, std::string value, std::vector<std::string> files);
[[nodiscard]] Finding noted(std::string_view id, std::string value, std::vector<std::string> files);
/// With the severity of the plan.
[[nodiscard]] Finding faulted(std::string_view id, const Severities& severities, std::string value, std::vector<std::string> files);
/// Optional, so that it fails no verdict, only where the plan makes the finding a note. `remedy`: what makes it measurable; empty:
/// it follows from the reason.
[[nodiscard]] Finding unmeasured(std::string_view id, const Severities& severities, std::string reason, std::vector<std::string> files,
                                 std::string_view remedy = {});
/// Not measured since the plan does not say what is meant. `key`: where to write it, such as "[vocal] above_band".
/// `measured`: what was measured all the same, which is then told in place of "not stated" alone.
[[nodiscard]] Finding not_stated(std::string_view id, const Severities& severities, std::string_view key, std::vector<std::string> files, const std::string& measured = {});

}  // namespace sendworthy::song
