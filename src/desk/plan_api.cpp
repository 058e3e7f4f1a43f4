#include "desk/plan_api.h"

#include <mutex>
#include <string>
#include <utility>

#include "base/bounds.h"
#include "base/files.h"
#include "base/table.h"
#include "base/text.h"
#include "desk/api.h"
#include "desk/json.h"
#include "desk/plan_json.h"
#include "desk/saving.h"
#include "desk/text_digest.h"

namespace sendworthy::desk {
namespace {

constexpr std::size_t kLargest = 1u << 20;

/// The page hands the text back as it is shown, never to be written: what is no UTF-8 in it may be shown as such.
Answer told(const std::string& relative, const std::string& text) {
  Json json;
  auto clean = base::clean_utf8(relative);
  if (clean != relative) json["id"] = base::percent_encoded(relative);
  json["path"] = std::move(clean);
  json["digest"] = digest_of(text);
  json["text"] = base::clean_utf8(text);
  json["roles"] = Json::array();
  for (const auto role : song::roles()) json["roles"].push_back(to_string(role));
  json["heard"] = Json::array();
  for (const auto heard : song::ways_to_hear()) json["heard"].push_back(to_string(heard));
  if (const auto plan = song::parse_plan(text, {})) {
    json["plan"] = json_of(*plan, base::folder_of(relative));
    put_notes(json["plan"], song::plan_notes(text));
  } else {
    const auto& [code, words, place] = plan.error();
    json["fault"] = (place.line > 0 ? "line " + std::to_string(place.line) + ", column " + std::to_string(place.column) + ": " : std::string()) + words;
    json["fault_line"] = place.line;
    json["fault_column"] = place.column;
  }
  return {200, "application/json", written(json), {}, {}};
}

Result<std::string> path_of(const Folder& folder, const std::string& relative) {
  if (!relative.ends_with(".toml")) return fail(ErrorCode::usage, "\"" + relative + "\": the name of a song plan ends in .toml; choose one that does");
  return folder.real_path_of(relative);
}

}  // namespace

Answer show_plan(const Folder& folder, const Target& target) {
  const auto relative = path_in(target);
  const auto path = path_of(folder, relative);
  if (!path) return refusal_of(path.error());
  const auto text = base::read_text_in_bounds(*path, kLargest);
  return text ? told(relative, *text) : refusal_of(text.error());
}

Answer edit_plan(const Folder& folder, const Target& target, std::string_view body) {
  static std::mutex one_at_a_time;
  const auto wish = read_plan_edits(body);
  if (!wish) return refusal(400, "request", wish.error().text);
  const auto relative = path_in(target);
  const std::lock_guard lock(one_at_a_time);
  const auto path = path_of(folder, relative);
  if (!path) return refusal_of(path.error());
  const auto text = base::read_text_in_bounds(*path, kLargest);
  if (!text) return refusal_of(text.error());
  if (digest_of(*text) != wish->digest) return changed_elsewhere("plan");
  const auto edited = song::edit_plan(*text, wish->edits);
  if (!edited) return refusal(400, edited.error().code == ErrorCode::rules ? "plan" : "request", edited.error().text);
  if (*edited == *text) return told(relative, *text);
  // Another program may have written while this one edited.
  const auto refused = save_edited("plan", relative, *path, *text, *edited);
  return refused ? *refused : told(relative, *edited);
}

}  // namespace sendworthy::desk
