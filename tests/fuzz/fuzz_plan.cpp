// Song plans and orders from anybody: reading them must end in a value that keeps its promises, or in an error that says why;
// and starting plans are read whatever the names in them. What is read can be edited, in whatever form it stands.
#include <cstddef>
#include <cstdint>
#include <cstdlib>
#include <string>
#include <string_view>
#include <vector>

#include "base/text.h"
#include "delivery/order.h"
#include "song/new_plan.h"
#include "song/plan_edit.h"
#include "song/plan.h"

namespace {

using namespace sendworthy;

void require(bool holds) {
  if (!holds) std::abort();
}

void require_sound(const song::Plan& plan) {
  require(!plan.mix.empty() && plan.sections.size() <= 200 && plan.stems.size() <= 200 && plan.questions.size() <= 500 && plan.references.size() <= 50);
  int biggest = 0, quietest = 0;
  for (std::size_t i = 0; i < plan.sections.size(); ++i) {
    const auto& one = plan.sections[i];
    const bool last = i + 1 == plan.sections.size();
    require(one.start_s >= 0 && one.start_s < 86400 && (last || one.end_s));
    require(!one.end_s || *one.end_s > one.start_s);
    require(last || *one.end_s <= plan.sections[i + 1].start_s);
    biggest += one.biggest ? 1 : 0;
    quietest += one.quietest ? 1 : 0;
    const auto range = song::vocal_range(plan, one);
    require(!range || range->low <= range->high);
  }
  require(biggest <= 1 && quietest <= 1);
  for (const auto& stem : plan.stems) require(!stem.name.empty() && !stem.file.empty() && stem.priority.value_or(1) >= 1 && stem.priority.value_or(1) <= 99);
  for (const auto& question : plan.questions) {
    require(!question.section || *question.section < plan.sections.size());
    require(!question.stem || *question.stem < plan.stems.size());
  }
  require(plan.quiet.level_db_spl < plan.quiet.reference_db_spl && plan.low_end.below_hz >= 40 && plan.low_end.below_hz <= 250);
  for (const auto& [id, severity] : plan.severities) require(song::plan_rule(id).id == id && severity != Status::pass);
}

/// Each edit of a plan that was read ends in a plan, or in an error that says why.
void require_editable(std::string_view text, const song::Plan& plan) {
  using namespace song;
  const auto edit = [&](const std::vector<PlanEdit>& edits) {
    auto after = edit_plan(text, edits);
    require(after ? parse_plan(*after, "").has_value() : !after.error().text.empty());
    return after;
  };
  const auto same = edit({});
  require(same && *same == text);
  const auto titled = edit({SetKey{"song.title", std::string("\" # x")}});
  require(titled && parse_plan(*titled, "")->title == "\" # x");
  for (const char* key : {"song.feeling", "vocal.above_band", "dynamics.movement", "quiet.small_speaker", "low_end.lowest"}) require(edit({SetKey{key, {}}}).has_value());
  (void)edit({SetKey{"vocal.above_band", Range{-1, 1}}, SetKey{"masking.most", 3.0}, SetKey{"song.approach", std::string(text.substr(0, 40)) + "\n"}});
  SetSections sections;
  for (const auto& one : plan.sections) sections.sections.push_back({sections.sections.size(), one.name + "2", one.start_s + 0.001, one.own_end ? one.end_s : std::nullopt, one.quietest, one.biggest});
  (void)edit({sections});
  if (!sections.sections.empty()) sections.sections.erase(sections.sections.begin());
  sections.sections.push_back({{}, "new", 86000, {}, false, false});
  (void)edit({sections, AddQuestion{{}, {"Is it?", "new", {}, {}}}});
  if (!plan.stems.empty()) (void)edit({SetStems{{{plan.stems.back().name, Role::pad, std::optional(7)}}}});
  if (!plan.questions.empty()) (void)edit({RemoveQuestion{plan.questions.front().id}});
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  const std::string_view text(reinterpret_cast<const char*>(data), size);
  const auto plan = song::parse_plan(text, "fuzz/plan.toml");
  if (plan) {
    require_sound(*plan);
    if (size < 100000) require_editable(text, *plan);
  }
  require(plan || !plan.error().text.empty());
  const auto order = delivery::parse_order(text, "fuzz/order.toml");
  require(order ? !order->items.empty() : !order.error().text.empty());
  const auto seconds = song::seconds_in(text);
  require(!seconds || (*seconds >= 0 && *seconds < 86400));
  // Any bytes, written as a TOML text, are read as themselves where they are UTF-8.
  if (size < 200) {
    const auto feeling = song::parse_plan("[song]\nmix = \"m\"\nfeeling = " + base::toml_text("x" + std::string(text)), "");
    require(feeling && feeling->feeling == "x" + base::clean_utf8(text));
    const std::string any(text);
    song::PlanDraft draft{any, any, any, {{0, 10, any, any, any, true, true}, {5, 20, any, any, any, false, false}}, {}, {any}, false, false, false, {{"vocal.above_band", {"", any}}}};
    for (const auto role : song::guess_roles({any, "a" + any, any + "b", any + "c.wav"})) draft.stems.push_back({any + std::to_string(draft.stems.size()), role, std::nullopt, any});
    const auto started = song::parse_plan(song::starting_plan(draft), "");
    require(started && started->sections.size() == 2 && started->feeling.empty());
  }
  return 0;
}
