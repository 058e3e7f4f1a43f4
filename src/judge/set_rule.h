// A rule that stands on no single measurement: what it looks at is a set of files, or a song and its plan. The tables of them
// stand where they are found; this is what all of them have in common.
#pragma once

#include <sendworthy/sheet.h>

#include <algorithm>
#include <span>
#include <string>
#include <string_view>
#include <vector>

namespace sendworthy::judge {

struct SetRule {
  std::string_view id;
  std::string_view title;   ///< in front of the value on a sheet
  Status severity;          ///< what lies outside is: fail, warn or note
  std::string_view what;    ///< what it says
  std::string_view how;     ///< how it is found
  std::string_view caveat;  ///< what it cannot know
  std::string_view why;     ///< why it matters
  std::string_view remedy;  ///< what to do
  std::string_view source;
};

/// The rule of an id that there is.
[[nodiscard]] inline const SetRule& rule_of(std::span<const SetRule> rules, std::string_view id) {
  const auto found = std::ranges::find(rules, id, &SetRule::id);
  return found != rules.end() ? *found : rules.front();
}

/// A finding with the words of its rule filled in; why and remedy stand where something is wrong. `ruleset`: the name under
/// which it stands on a sheet. `files`: as shown, the one that is at fault first.
[[nodiscard]] Finding finding_by(const SetRule& rule, std::string_view ruleset, Status status, std::string value, std::vector<std::string> files);

/// The same of what was not measured. `remedy`: what makes it measurable; empty: it follows from the reason. The rule's own
/// remedy is for a fault, and none was found.
[[nodiscard]] Finding unmeasured_by(const SetRule& rule, std::string_view ruleset, std::string reason, std::vector<std::string> files,
                                    std::string_view remedy = {});

/// What makes measurable what could not be, where a file gave no sheet.
inline constexpr std::string_view kMakeReadable = "Export the file that cannot be read again, then check again.";

}  // namespace sendworthy::judge
