#include "desk/page_words.h"

#include <array>
#include <string_view>
#include <utility>

#include "song/findings.h"

namespace sendworthy::desk {
namespace {

/// In this order: what is longer first.
constexpr std::array<std::pair<std::string_view, std::string_view>, 22> kWords{{
    {"Say in the plan what is meant: [[question]].", "Add questions under Plan."},
    {"Say in the plan what is meant: priority = 1 and on for [[stem]].", "Give the stems ranks under Plan, Stems."},
    {"Say in the plan what is meant: [[section]] with name, start and biggest = true.", "Begin sections under Plan, and choose the biggest one."},
    {"Say in the plan what is meant: biggest = true in one [[section]], and quietest = true in another.", "Choose the biggest and the quietest section under Plan, Sections."},
    {"Say in the plan what is meant: biggest = true in one [[section]].", "Choose the biggest section under Plan, Sections."},
    {"Say in the plan what is meant: quietest = true in one [[section]].", "Choose the quietest section under Plan, Sections."},
    {"Write feeling and approach into [song], and mark", "Say under Plan, Intent, what a listener should feel and how the mix serves that, and choose"},
    {"Write feeling and approach into [song].", "Say under Plan, Intent, what a listener should feel and how the mix serves that."},
    {"Write feeling into [song].", "Say under Plan, Intent, what a listener should feel."},
    {"Write approach into [song].", "Say under Plan, Intent, how the mix serves what a listener should feel."},
    {"Write biggest = true into the [[section]] that is meant to be the biggest, and quietest = true into the [[section]] that is meant to be the quietest.", "Choose the biggest and the quietest section under Plan, Sections."},
    {"Write biggest = true into the [[section]] that is meant to be the biggest.", "Choose the biggest section under Plan, Sections."},
    {"Write quietest = true into the [[section]] that is meant to be the quietest.", "Choose the quietest section under Plan, Sections."},
    {"Correct the section's start and end in the plan, or take its range out of [vocal] sections.", "Correct the section's start and end under Plan, Sections, or empty its range there."},
    {"Correct the section's start and end in the plan.", "Correct the section's start and end under Plan, Sections."},
    {"Give the plan the song's other sections.", "Begin the song's other sections under Plan."},
    {"Give the plan the song's sections.", "Begin the song's sections under Plan."},
    {"Give the stems priorities that differ, 1 for what matters most.", "Give the stems ranks that differ under Plan, Stems, what matters most first."},
    {"Run \"sendworthy listen PLAN\" on this bounce", "Listen it through under Listen on this bounce"},
    {"or raise [low_end] below_hz", "or raise under Plan where the low end begins"},
    {"below below_hz", "below where the low end begins"},
    {", which \"sendworthy plan check\" lists", ", which the sheet lists"},
}};

void replace(std::string& words, std::string_view from, std::string_view to) {
  for (auto at = words.find(from); at != std::string::npos; at = words.find(from, at + to.size())) words.replace(at, from.size(), to);
}

}  // namespace

std::string on_the_page(std::string words) {
  for (const auto& [from, to] : kWords) replace(words, from, to);
  constexpr std::string_view kMeant = "Say in the plan what is meant: [", kPrint = "Print ", kAdd = " and add it to the plan", kAddAll = " and add them to the plan", kWrite = "write ", kUnder = " under [severity]";
  if (words.starts_with(kMeant)) return "Say it under Plan, among what is wanted as numbers.";
  const bool one = words.find(kAdd) != std::string::npos;
  if (words.starts_with(kPrint) && (one || words.find(kAddAll) != std::string::npos)) {
    replace(words, one ? kAdd : kAddAll, one ? " and start a plan with it" : " and start a plan with them");
    if (one) words = "Choose the role of its stem under Plan, Stems; where the plan has no such stem, p" + words.substr(1);
  }
  // What only the file can say.
  constexpr std::string_view kWriteIntoFile = "write into the plan's file, with a text editor, ";
  if (words.find(kUnder) != std::string::npos && words.find(kWriteIntoFile) == std::string::npos) replace(words, kWrite, kWriteIntoFile);
  return words;
}

bool put_on_the_page(Sheet& sheet) {
  bool other = false;
  for (auto& finding : sheet.findings) {
    if (finding.ruleset != song::kPlanRules) continue;
    auto words = on_the_page(finding.remedy);
    other = other || words != finding.remedy;
    finding.remedy = std::move(words);
  }
  return other;
}

}  // namespace sendworthy::desk
