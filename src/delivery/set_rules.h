// What a set of files is judged by, beside the rule sets of its single files: one entry for each finding about the set.
#pragma once

#include <sendworthy/sheet.h>

#include <span>
#include <string>
#include <string_view>
#include <vector>

namespace sendworthy::delivery {

struct SetRule {
  std::string_view id;
  std::string_view title;   ///< in front of the value on a sheet
  Status severity;          ///< fail or warn: what lies outside is
  std::string_view what;    ///< what it says
  std::string_view how;     ///< how it is found
  std::string_view caveat;  ///< what it cannot know
  std::string_view why;     ///< why it matters
  std::string_view remedy;  ///< what to do
  std::string_view source;
};

[[nodiscard]] std::span<const SetRule> set_rules();
/// Of an id that there is.
[[nodiscard]] const SetRule& set_rule(std::string_view id);

/// The name under which these findings stand on a sheet: Finding::ruleset.
inline constexpr std::string_view kOrderRules = "order";

/// Findings with the words of their rule filled in. `files`: as shown, the one that is at fault first.
[[nodiscard]] Finding passed(std::string_view id, std::string value, std::vector<std::string> files);
[[nodiscard]] Finding faulted(std::string_view id, std::string value, std::vector<std::string> files);
[[nodiscard]] Finding with_status(std::string_view id, Status status, std::string value, std::vector<std::string> files);
/// `remedy`: what makes it measurable; empty: it follows from the reason. The rule's own remedy is for a fault, and none was found.
[[nodiscard]] Finding unmeasured(std::string_view id, std::string reason, std::vector<std::string> files, std::string_view remedy = {});

/// What makes measurable what could not be: for `remedy` of `unmeasured`.
inline constexpr std::string_view kMakeReadable = "Export the file that cannot be read again, then check again.";
inline constexpr std::string_view kAddMain =
    "Put the main mix into the folder and on the order, or name in the item's against what it is held against; then check again.";
inline constexpr std::string_view kListFolder = "Make the order's folder one that can be listed as a whole, or correct folder in the order; then check again.";

}  // namespace sendworthy::delivery
