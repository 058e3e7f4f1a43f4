// A song plan as the page reads and edits it.
#pragma once

#include <sendworthy/result.h>

#include <string>
#include <string_view>
#include <vector>

#include "desk/json.h"
#include "song/plan_edit.h"
#include "song/plan_notes.h"

namespace sendworthy::desk {

/// `folder`: in which the plan lies, from the opened one; "" for that itself. What is not stated is left out. Every file has, beside
/// the path as it is written, the one from the opened folder where it lies in there.
[[nodiscard]] Json json_of(const song::Plan& plan, const std::string& folder);

/// Beside what is meant, what a starting plan's comments say: "measured": {KEY: {"words", "to"?: as an edit takes it}}; of a section
/// "measured" and "guess": ["biggest"]; of a stem "measured" and "guess": its priority.
void put_notes(Json& plan, const song::PlanNotes& notes);

struct PlanEditWish {
  std::string digest;  ///< of the text that the edits are meant for
  std::vector<song::PlanEdit> edits;
};

inline constexpr std::size_t kMostPlanEdits = 200;

/// {"digest": …, "edits": [EDIT, …]}. An EDIT is one of
///   {"set": "song.feeling", "to": TEXT | NUMBER | BOOL | {"low", "high"} | null}
///   {"sections": [{"was"?, "name", "start_s", "end_s"?, "biggest"?, "quietest"?, "vocal"?: {"low", "high"} | null}, …]}
///   {"stems": [{"name", "priority"?: NUMBER | null, "role"?}, …]}
///   {"question": ID, "to": {"text"?, "section"?: NAME | null, "stem"?: NAME | null, "heard"?}}
///   {"add_question": {"id"?, "text", "section"?, "stem"?, "heard"?}}
///   {"remove_question": ID}
/// as song/plan_edit.h says of each; of a stem and a question what is left out stays as it is. Error: usage.
[[nodiscard]] Result<PlanEditWish> read_plan_edits(std::string_view body);

}  // namespace sendworthy::desk
