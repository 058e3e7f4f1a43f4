#include "desk/plan_json.h"

#include <algorithm>
#include <filesystem>
#include <initializer_list>
#include <utility>

#include "base/text.h"

namespace sendworthy::desk {
namespace {

using namespace song;

// ---- out ----

void put(Json& json, const char* key, const std::optional<double>& value) {
  if (value) json[key] = *value;
}

void put(Json& json, const char* key, const std::optional<Range>& range) {
  if (range) json[key] = {{"low", range->low}, {"high", range->high}};
}

/// Where it lies below the opened folder; nothing where it lies elsewhere.
void put_below(Json& json, const std::string& name, const std::string& folder, const std::string& file) {
  if (file.empty() || file.starts_with('/')) return;
  const auto path = (std::filesystem::path(folder) / file).lexically_normal().string();
  if (path == "." || path == ".." || path.starts_with("../") || path.ends_with('/')) return;
  auto clean = base::clean_utf8(path);
  if (clean != path) json[name + "id"] = base::percent_encoded(path);
  json[name + "path"] = std::move(clean);
}

Json song_of(const Plan& plan, const std::string& folder) {
  Json json{{"title", plan.title}, {"artist", plan.artist}, {"feeling", plan.feeling}, {"approach", plan.approach}, {"mix", plan.mix}, {"previous", plan.previous}};
  put_below(json, "mix_", folder, plan.mix);
  put_below(json, "previous_", folder, plan.previous);
  return json;
}

Json sections_of(const Plan& plan) {
  auto json = Json::array();
  for (const auto& one : plan.sections) {
    Json section{{"name", one.name}, {"start_s", one.start_s}};
    if (one.own_end) section["end_s"] = *one.end_s;
    section["biggest"] = one.biggest;
    section["quietest"] = one.quietest;
    put(section, "vocal", one.vocal_lu);
    json.push_back(std::move(section));
  }
  return json;
}

Json stems_of(const Plan& plan, const std::string& folder) {
  auto json = Json::array();
  for (const auto& one : plan.stems) {
    Json stem{{"name", one.name}, {"file", one.file}};
    put_below(stem, "", folder, one.file);
    stem["role"] = to_string(one.role);
    if (one.priority) stem["priority"] = *one.priority;
    json.push_back(std::move(stem));
  }
  return json;
}

Json questions_of(const Plan& plan) {
  auto json = Json::array();
  for (const auto& one : plan.questions) {
    Json question{{"id", one.id}, {"text", one.text}};
    if (one.section) question["section"] = plan.sections[*one.section].name;
    if (one.stem) question["stem"] = plan.stems[*one.stem].name;
    question["heard"] = to_string(one.heard);
    json.push_back(std::move(question));
  }
  return json;
}

// ---- in ----

tl::unexpected<Error> wrong(std::string text) { return fail(ErrorCode::usage, std::move(text)); }

/// An object of the page's, read key by key. The first error is kept, and everything after it does nothing.
class Fields {
 public:
  Fields(const Json& json, std::string what, std::initializer_list<std::string_view> known) : json_(json), what_(std::move(what)) {
    if (!json.is_object()) refuse("wants to be an object");
    for (const auto& [key, value] : json.items()) {
      if (std::ranges::find(known, std::string_view(key)) == known.end()) refuse("has no \"" + key + "\"");
    }
  }
  [[nodiscard]] bool has(const char* key) const { return json_.is_object() && json_.contains(key); }
  [[nodiscard]] bool is_null(const char* key) const { return has(key) && json_[key].is_null(); }
  std::string text(const char* key) {
    if (has(key) && json_[key].is_string()) return json_[key].get<std::string>();
    refuse("wants a text as \"" + std::string(key) + "\"");
    return {};
  }
  double number(const char* key) {
    if (has(key) && json_[key].is_number()) return json_[key].get<double>();
    refuse("wants a number as \"" + std::string(key) + "\"");
    return 0;
  }
  /// From 0 to 1,000,000.
  int whole(const char* key) {
    if (has(key) && json_[key].is_number_integer()) {
      const double value = json_[key].get<double>();
      if (value >= 0 && value <= 1'000'000) return static_cast<int>(value);
    }
    refuse("wants a whole number as \"" + std::string(key) + "\"");
    return 0;
  }
  bool flag(const char* key) {
    if (has(key) && json_[key].is_boolean()) return json_[key].get<bool>();
    refuse("wants true or false as \"" + std::string(key) + "\"");
    return false;
  }
  /// One of the words of to_string.
  template <class T>
  T word(const char* key, std::span<const T> choices) {
    const auto given = text(key);
    for (const auto choice : choices) {
      if (to_string(choice) == given) return choice;
    }
    refuse("has no such \"" + std::string(key) + "\": " + given);
    return choices.front();
  }
  void refuse(const std::string& why) {
    if (!error_) error_ = Error{ErrorCode::usage, what_ + " " + why, {}};
  }
  template <class T>
  Result<T> done(T value) const {
    if (error_) return tl::unexpected(*error_);
    return value;
  }

 private:
  const Json& json_;
  std::string what_;
  std::optional<Error> error_;
};

Result<Range> read_range(const Json& json) {
  Fields range(json, "a range", {"low", "high"});
  const Range read{range.number("low"), range.number("high")};
  return range.done(read);
}

Result<PlanEdit> read_set(const Json& json) {
  Fields fields(json, "\"set\"", {"set", "to"});
  SetKey set;
  set.key = fields.text("set");
  const auto to = json.find("to");
  if (to == json.end()) return wrong("\"set\" wants a \"to\"; null takes the value away");
  if (to->is_string()) {
    set.to = to->get<std::string>();
  } else if (to->is_number()) {
    set.to = to->get<double>();
  } else if (to->is_boolean()) {
    set.to = to->get<bool>();
  } else if (!to->is_null()) {
    const auto read = read_range(*to);
    if (!read) return tl::unexpected(read.error());
    set.to = *read;
  }
  return fields.done(PlanEdit(std::move(set)));
}

Result<WantedSection> read_section(const Json& json) {
  // What was measured comes with what the page was told, and is not changed here.
  Fields fields(json, "a section", {"was", "name", "start_s", "end_s", "biggest", "quietest", "vocal", "measured", "guess"});
  WantedSection section;
  if (fields.has("was") && !fields.is_null("was")) section.was = static_cast<std::size_t>(fields.whole("was"));
  section.name = fields.text("name");
  section.start_s = fields.number("start_s");
  if (fields.has("end_s") && !fields.is_null("end_s")) section.end_s = fields.number("end_s");
  if (fields.has("biggest")) section.biggest = fields.flag("biggest");
  if (fields.has("quietest")) section.quietest = fields.flag("quietest");
  if (fields.is_null("vocal")) {
    section.vocal_lu = std::optional<Range>();
  } else if (fields.has("vocal")) {
    const auto range = read_range(json["vocal"]);
    if (!range) return tl::unexpected(range.error());
    section.vocal_lu = *range;
  }
  return fields.done(std::move(section));
}

Result<PlanEdit> read_sections(const Json& json) {
  const auto& list = json["sections"];
  if (json.size() != 1 || !list.is_array() || list.size() > kMostSections) return wrong("\"sections\" wants to be a list of at most 200 sections");
  SetSections set;
  for (const auto& one : list) {
    auto section = read_section(one);
    if (!section) return tl::unexpected(section.error());
    set.sections.push_back(std::move(*section));
  }
  return PlanEdit(std::move(set));
}

Result<StemChange> read_stem(const Json& json) {
  Fields fields(json, "a stem", {"name", "priority", "role"});
  StemChange set;
  set.name = fields.text("name");
  if (fields.has("priority")) set.priority = fields.is_null("priority") ? std::optional<int>() : std::optional(fields.whole("priority"));
  if (fields.has("role")) set.role = fields.word("role", roles());
  return fields.done(std::move(set));
}

QuestionChange read_question(Fields& fields) {
  QuestionChange change;
  if (fields.has("text")) change.text = fields.text("text");
  if (fields.has("section")) change.section = fields.is_null("section") ? std::string() : fields.text("section");
  if (fields.has("stem")) change.stem = fields.is_null("stem") ? std::string() : fields.text("stem");
  if (fields.has("heard")) change.heard = fields.word("heard", ways_to_hear());
  return change;
}

Result<PlanEdit> read_set_question(const Json& json) {
  Fields fields(json, "\"question\"", {"question", "to"});
  const auto id = fields.text("question");
  if (!fields.has("to")) return wrong("\"question\" wants a \"to\"");
  Fields to(json["to"], "a question", {"text", "section", "stem", "heard"});
  auto change = to.done(read_question(to));
  if (!change) return tl::unexpected(change.error());
  return fields.done(PlanEdit(SetQuestion{id, std::move(*change)}));
}

Result<PlanEdit> read_add_question(const Json& json) {
  if (json.size() != 1) return wrong("\"add_question\" wants to stand alone");
  Fields fields(json["add_question"], "a question", {"id", "text", "section", "stem", "heard"});
  AddQuestion add;
  if (fields.has("id")) add.id = fields.text("id");
  if (!fields.has("text")) fields.refuse("wants a text as \"text\"");
  add.question = read_question(fields);
  return fields.done(PlanEdit(std::move(add)));
}

Result<void> read_edit(const Json& json, std::vector<PlanEdit>& edits) {
  const auto take = [&](Result<PlanEdit> edit) -> Result<void> {
    if (!edit) return tl::unexpected(edit.error());
    edits.push_back(std::move(*edit));
    return {};
  };
  if (!json.is_object()) return wrong("each of \"edits\" wants to be an object");
  if (json.contains("set")) return take(read_set(json));
  if (json.contains("sections")) return take(read_sections(json));
  if (json.contains("question")) return take(read_set_question(json));
  if (json.contains("add_question")) return take(read_add_question(json));
  if (json.contains("remove_question")) {
    Fields fields(json, "\"remove_question\"", {"remove_question"});
    return take(fields.done(PlanEdit(RemoveQuestion{fields.text("remove_question")})));
  }
  const auto stems = json.find("stems");
  if (stems == json.end() || json.size() != 1 || !stems->is_array() || stems->size() > kMostStems)
    return wrong("each of \"edits\" wants to have one of \"set\", \"sections\", \"stems\", \"question\", \"add_question\" and \"remove_question\"");
  SetStems set;
  for (const auto& one : *stems) {
    auto stem = read_stem(one);
    if (!stem) return tl::unexpected(stem.error());
    set.stems.push_back(std::move(*stem));
  }
  return take(PlanEdit(std::move(set)));
}

}  // namespace

Json json_of(const Plan& plan, const std::string& folder) {
  Json json;
  json["song"] = song_of(plan, folder);
  json["sections"] = sections_of(plan);
  json["stems"] = stems_of(plan, folder);
  put(json, "vocal", plan.above_band_lu);
  put(json, "backing", plan.under_lead_lu);
  auto& dynamics = json["dynamics"] = Json::object();
  put(dynamics, "quiet_to_loud", plan.dynamics.quiet_to_loud_lu);
  dynamics["biggest_margin"] = plan.dynamics.biggest_margin_lu;
  put(dynamics, "movement", plan.dynamics.movement_db);
  auto& low = json["low_end"] = Json::object();
  low["below_hz"] = plan.low_end.below_hz;
  low["lowest"] = to_string(plan.low_end.lowest);
  put(low, "kick_over_bass", plan.low_end.kick_over_bass_db);
  put(low, "bass_steadiness", plan.low_end.bass_steadiness_db);
  auto& masking = json["masking"] = Json::object();
  put(masking, "most", plan.most_masked_percent);
  json["quiet"] = {{"level_db_spl", plan.quiet.level_db_spl}, {"reference_db_spl", plan.quiet.reference_db_spl}, {"small_speaker", plan.quiet.small_speaker}, {"moved", plan.quiet.moved_db}};
  json["references"] = Json::array();
  for (const auto& one : plan.references) {
    Json reference{{"file", one.file}};
    put_below(reference, "", folder, one.file);
    json["references"].push_back(std::move(reference));
  }
  json["questions"] = questions_of(plan);
  return json;
}

void put_notes(Json& plan, const PlanNotes& notes) {
  auto& keys = plan["measured"] = Json::object();
  for (const auto& [key, note] : notes.keys) {
    auto& told = keys[key] = {{"words", base::clean_utf8(note.words)}};
    if (const auto* range = std::get_if<Range>(&note.value)) told["to"] = {{"low", range->low}, {"high", range->high}};
    if (const auto* number = std::get_if<double>(&note.value)) told["to"] = *number;
    if (const auto* text = std::get_if<std::string>(&note.value)) told["to"] = base::clean_utf8(*text);
  }
  for (auto& section : plan["sections"]) {
    const auto note = notes.sections.find(section["name"].get<std::string>());
    if (note == notes.sections.end()) continue;
    if (!note->second.measured.empty()) section["measured"] = base::clean_utf8(note->second.measured);
    auto guess = Json::array();
    if (note->second.biggest) guess.push_back("biggest");
    if (note->second.quietest) guess.push_back("quietest");
    if (!guess.empty()) section["guess"] = std::move(guess);
  }
  for (auto& stem : plan["stems"]) {
    const auto note = notes.stems.find(stem["name"].get<std::string>());
    if (note == notes.stems.end()) continue;
    if (!note->second.measured.empty()) stem["measured"] = base::clean_utf8(note->second.measured);
    if (note->second.priority) stem["guess"] = *note->second.priority;
  }
}

Result<PlanEditWish> read_plan_edits(std::string_view body) {
  const auto json = parsed_body(body);
  if (json.is_discarded() || !json.is_object()) return wrong("what the page sent is no JSON object");
  Fields fields(json, "the request", {"digest", "edits"});
  PlanEditWish wish;
  wish.digest = fields.text("digest");
  const auto edits = json.find("edits");
  if (edits == json.end() || !edits->is_array() || edits->empty() || edits->size() > kMostPlanEdits)
    return wrong("\"edits\" wants to be a list of at least one edit, and at most " + std::to_string(kMostPlanEdits));
  for (const auto& one : *edits) {
    if (const auto ok = read_edit(one, wish.edits); !ok) return tl::unexpected(ok.error());
  }
  return fields.done(std::move(wish));
}

}  // namespace sendworthy::desk
