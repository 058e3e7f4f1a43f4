// Every id in the table of ways is one that there is: a misspelt one would silently be heard as it is.
#include "desk/hearing.h"

#include <doctest/doctest.h>
#include <sendworthy/catalog.h>

#include <algorithm>
#include <set>
#include <string>

#include "delivery/set_rules.h"
#include "song/findings.h"
#include "song/plan.h"

using namespace sendworthy;
using namespace sendworthy::desk;

namespace {

bool is_way(std::string_view name) { return std::ranges::find(ways_to_hear(), name, &WayToHear::name) != ways_to_hear().end(); }

}  // namespace

TEST_CASE("hearing: there are nine ways, the first of them as it is") {
  CHECK(ways_to_hear().front().name == "as-it-is");
  std::set<std::string_view> names, words;
  for (const auto& way : ways_to_hear()) names.insert(way.name), words.insert(way.words);
  CHECK(names == std::set<std::string_view>{"as-it-is", "quiet", "mono", "below-100", "below-120", "small-speaker", "left", "right", "side"});
  CHECK(words.size() == names.size());
}

TEST_CASE("hearing: ids are those of the catalog, of plans and of questions, each once") {
  std::set<std::string_view> seen;
  for (const auto& one : heard_measurements()) {
    CHECK_MESSAGE(catalog().find(one.id) != nullptr, one.id);
    CHECK_MESSAGE(is_way(one.way), one.way);
    CHECK_MESSAGE(seen.insert(one.id).second, one.id);
  }
  for (const auto& one : heard_findings()) {
    const bool of_plan = std::ranges::find(song::plan_rules(), one.id, &judge::SetRule::id) != song::plan_rules().end();
    const bool of_order = std::ranges::find(delivery::set_rules(), one.id, &judge::SetRule::id) != delivery::set_rules().end();
    CHECK_MESSAGE((of_plan || of_order), one.id);
    CHECK_MESSAGE(is_way(one.way), one.way);
    CHECK_MESSAGE(seen.insert(one.id).second, one.id);
  }
  for (const auto id : heard_by_channel()) {
    CHECK_MESSAGE(catalog().find(id) != nullptr, id);
    CHECK_MESSAGE(seen.insert(id).second, id);
  }
}

TEST_CASE("hearing: a plan's questions have a way each, but for the one that is heard as it is") {
  for (const auto heard : song::ways_to_hear()) {
    const auto words = song::to_string(heard);
    const auto found = std::ranges::find(heard_questions(), words, &HeardBy::id);
    CHECK_MESSAGE((found != heard_questions().end()) == (heard != song::Heard::full), words);
    if (found != heard_questions().end()) CHECK(is_way(found->way));
  }
  CHECK(heard_questions().size() + 1 == song::ways_to_hear().size());
}

TEST_CASE("hearing: the page is told all of it") {
  Json state;
  put_hearing(state);
  CHECK(state["ways"].size() == 9);
  CHECK(state["ways"][3]["words"] == "below 100 Hz");
  CHECK(state["heard"]["mono_fold_loss"] == "mono");
  CHECK(state["heard"]["quiet-listening"] == "quiet");
  CHECK(state["asked"]["small speaker"] == "small-speaker");
  CHECK(state["quiet_db"] == 20);
  CHECK(state["before_s"] > 0);
  CHECK(state["after_s"] > 0);
  CHECK(state["by_channel"].is_array());
}
