#include "desk/api.h"

#include <sendworthy/catalog.h>

#include <algorithm>
#include <array>
#include <charconv>
#include <set>
#include <utility>

#include "base/files.h"
#include "base/os.h"
#include "base/text.h"
#include "desk/order_api.h"
#include "desk/page.h"
#include "desk/plan_api.h"
#include "desk/plans_here.h"
#include "desk/sheet_forms.h"
#include "desk/sheet_parts.h"
#include "sheet/html_assets.h"

namespace sendworthy::desk {
namespace {

int status_of(const Error& error) {
  switch (error.code) {
    case ErrorCode::usage:
    case ErrorCode::rules:
      return 400;
    case ErrorCode::missing:
    case ErrorCode::no_audio:
      return 404;
    case ErrorCode::output:
      return 507;
    default:
      return 403;
  }
}

/// A sheet is a page of its own, with the style and script it carries.
std::string sheet_policy() {
  return "default-src 'none'; style-src '" + std::string(sheet::kPageStyleDigest) + "'; script-src '" +
         std::string(sheet::kPageScriptDigest) + "'; base-uri 'none'; form-action 'none'; frame-ancestors 'self'";
}

std::string last_part(const std::string& path) { return path.substr(path.rfind('/') + 1); }

/// What the sheet of a check is of, where that is one thing: a plan, an order, a file, or the newer one of two.
std::string subject_of(const Json& check) {
  for (const char* made_of : {"plan", "order"}) {
    if (check.contains(made_of)) return last_part(check[made_of].get<std::string>());
  }
  const auto& files = check["files"];
  const bool one = files.size() == 1 || (files.size() == 2 && check["kind"] == "compare");
  return one ? last_part(files.back()["name"].get<std::string>()) : std::string();
}

/// For a browser's folder of downloads: plain letters only.
std::string saved_name(std::string_view name, std::string_view ending) {
  std::string stem;
  for (const char c : name.substr(0, std::min<std::size_t>(name.rfind('.'), 80))) {
    const bool plain = (c >= '0' && c <= '9') || (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || c == '-';
    if (plain || (!stem.empty() && stem.back() != '_')) stem += plain ? c : '_';
  }
  while (!stem.empty() && (stem.back() == '_' || stem.back() == '-')) stem.pop_back();
  return (stem.empty() ? "sheet" : stem + "-sheet") + "." + std::string(ending);
}

}  // namespace

std::string_view page_policy() {
  return "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' blob:; media-src 'self' blob:; connect-src 'self'; "
         "frame-src 'self'; worker-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'";
}

std::string_view mime_of(std::string_view name) {
  const auto ending = name.substr(std::min(name.rfind('.'), name.size()));
  if (ending == ".html") return "text/html; charset=utf-8";
  if (ending == ".css") return "text/css; charset=utf-8";
  if (ending == ".js") return "text/javascript; charset=utf-8";
  if (ending == ".svg") return "image/svg+xml";
  return "application/octet-stream";
}

std::string path_in(const Target& target) {
  const auto id = target.of("id");
  return id.empty() ? std::string(target.of("path")) : base::percent_decoded(id);
}

Answer json_answer(const Json& json, int status) { return {status, "application/json", written(json), {}, {}}; }

Answer refusal_of(const Error& error) { return refusal(status_of(error), to_string(error.code), to_string(error)); }

Answer refusal(const UploadRefusal& refused) { return refusal(refused.status, refused.code, refused.text); }

Answer no_such_page() { return refusal(404, "no_page", "there is nothing at this address; load the page again"); }

Answer Api::get(const Target& target, std::string_view range) const {
  const auto& parts = target.segments;
  const auto file = [&](std::string_view name) {
    for (const auto& one : page_files()) {
      if (one.name == name) return Answer{200, std::string(mime_of(name)), std::string(one.content), {}, {}};
    }
    return no_such_page();
  };
  if (parts.size() == 1 && parts[0].empty()) return file("index.html");
  if (parts.size() == 2 && parts[0] == "page") return file(parts[1]);
  if (parts.size() < 2 || parts[0] != "api") return no_such_page();
  if (parts.size() == 2 && parts[1] == "state") return state();
  if (parts.size() == 2 && parts[1] == "folder") return list(target);
  if (parts.size() == 2 && parts[1] == "uploads") return list_uploads();
  if (parts.size() == 2 && parts[1] == "played") return sound_.played();
  if (parts[1] == "sound") return sound_.get(target, range);
  if (parts.size() == 2 && parts[1] == "plan") return show_plan(folder_, target);
  if (parts.size() == 2 && parts[1] == "order") return show_order(folder_, rules_.folders, target);
  if (parts[1] != "checks") return no_such_page();
  if (parts.size() == 2) return json_answer({{"checks", checks_.tell_all()}});
  const auto told = checks_.tell(parts[2]);
  if (!told) return refusal(404, "no_check", "there is no such check any more; load the page again");
  if (parts.size() == 3) return json_answer(*told);
  if (parts.size() == 4 && (parts[3] == "pair" || parts[3] == "listening")) {
    const auto asked = parts[3] == "pair" ? checks_.pair(parts[2]) : checks_.listening(parts[2]);
    return asked ? json_answer(*asked) : refusal(asked.error());
  }
  return parts.size() == 4 ? sheet(parts[2], parts[3], target) : no_such_page();
}

Answer Api::post(const Target& target) {
  const auto& parts = target.segments;
  if (parts.size() != 4 || parts[0] != "api" || parts[1] != "checks" || parts[3] != "stop") return no_such_page();
  if (!checks_.stop(parts[2])) return refusal(404, "no_check", "there is no such check any more; load the page again");
  const auto told = checks_.tell(parts[2]);
  return json_answer(told ? *told : Json::object());
}

Answer Api::remove(const Target& target) {
  const auto& parts = target.segments;
  if (parts.size() == 2 && parts[0] == "api" && parts[1] == "upload") {
    if (!uploads_.remove(target.of("upload"))) return refusal(404, "no_upload", "this dropped file is not there any more");
    return json_answer(Json::object());
  }
  if (parts.size() != 3 || parts[0] != "api" || parts[1] != "checks") return no_such_page();
  if (!checks_.remove(parts[2])) return refusal(404, "no_check", "there is no such check any more; load the page again");
  return json_answer(Json::object());
}

Answer Api::state() const {
  Json json;
  json["version"] = version();
  json["folder"]["name"] = base::clean_utf8(folder_.name());
  json["folder"]["path"] = base::clean_utf8(folder_.real_path());
  json["rules"] = Json::array();
  for (const auto& set : list_rule_sets(rules_.folders, catalog())) {
    if (set.error) continue;
    json["rules"].push_back({{"name", base::clean_utf8(set.name)}, {"title", base::clean_utf8(set.title)}, {"about", base::clean_utf8(set.purpose)}});
  }
  json["default_rules"] = Json::array();
  for (const auto& name : rules_.defaults) json["default_rules"].push_back(base::clean_utf8(name));
  const auto& limits = uploads_.limits();
  json["limits"] = {{"upload_bytes", limits.file_bytes}, {"upload_files", limits.files}, {"upload_total_bytes", limits.total_bytes}};
  json["titles"] = Json::object();
  for (const auto* entry : catalog().entries) json["titles"][std::string(entry->id)] = entry->title;
  sound_.put_state(json);
  return json_answer(json);
}

Answer Api::list(const Target& target) const {
  const auto path = path_in(target);
  const auto listing = folder_.list(path);
  if (!listing) return refusal_of(listing.error());
  Json json;
  put_path(json, path);
  json["folders"] = Json::array();
  for (const auto& folder : listing->folders) {
    Json entry;
    entry["name"] = base::clean_utf8(folder.name);
    put_path(entry, folder.path);
    json["folders"].push_back(std::move(entry));
  }
  json["files"] = Json::array();
  for (const auto& file : listing->files) {
    Json entry;
    entry["name"] = base::clean_utf8(file.name);
    put_path(entry, file.path);
    entry["bytes"] = file.bytes;
    entry["modified"] = utc_time(file.modified_ns);
    json["files"].push_back(std::move(entry));
  }
  json["left_off"] = listing->left_off;
  const auto here = plans_here(folder_, path);
  for (const auto& [key, found] : {std::pair{"plans", &here.plans}, {"orders", &here.orders}}) {
    json[key] = Json::array();
    for (const auto& one : *found) {
      Json entry;
      entry["name"] = base::clean_utf8(one.name);
      put_path(entry, one.path);
      entry["title"] = base::for_terminal(one.title);
      json[key].push_back(std::move(entry));
    }
  }
  return json_answer(json);
}

Answer Api::list_uploads() const {
  Json json;
  json["uploads"] = Json::array();
  for (const auto& one : uploads_.list()) json["uploads"].push_back({{"upload", one.id}, {"name", base::clean_utf8(one.name)}, {"bytes", one.bytes}});
  return json_answer(json);
}

Result<std::vector<RuleSet>> Api::rule_sets(std::vector<std::string> names) const {
  if (names.empty()) names = rules_.defaults;
  const auto known = list_rule_sets(rules_.folders, catalog());
  std::vector<RuleSet> sets;
  std::set<std::string> seen;
  for (const auto& name : names) {
    if (!seen.insert(name).second) continue;
    // A path is taken from the user's own configuration only, never from a page.
    const bool may = std::find(rules_.defaults.begin(), rules_.defaults.end(), name) != rules_.defaults.end() ||
                     std::any_of(known.begin(), known.end(), [&](const RuleSetListing& set) { return set.name == name; });
    if (!may) return fail(ErrorCode::usage, "there is no rule set called \"" + name + "\"; load the page again");
    auto set = load_rule_set(name, rules_.folders, catalog());
    if (!set) return tl::unexpected(Error{set.error().code, to_string(set.error()), {}});
    sets.push_back(std::move(*set));
  }
  return sets;
}

Answer Api::part_of_sheet(const std::string& path, std::string_view part) const {
  std::size_t number = 0;
  const auto [end, error] = std::from_chars(part.data(), part.data() + part.size(), number);
  const auto places = base::read_text(path.substr(0, path.rfind('.')) + ".parts");
  if (error != std::errc() || end != part.data() + part.size() || !places) return refusal(404, "no_file", "the sheet has no such file; load the page again");
  auto page = page_of_part(path, *places, number);
  if (!page) return refusal(404, "no_file", page.error().text);
  return {200, "text/html; charset=utf-8", std::move(*page), {}, {{"Content-Security-Policy", sheet_policy()}}};
}

Answer Api::sheet(const std::string& id, std::string_view name, const Target& target) const {
  constexpr std::string_view kStem = "sheet.";
  const auto* const form = name.starts_with(kStem) ? sheet_form(name.substr(kStem.size())) : nullptr;
  if (form == nullptr) return no_such_page();
  auto path = checks_.sheet_path(id, form->ending);
  if (!path) return refusal(path.error());
  if (form->ending == "html" && target.of("save").empty()) {
    // In the page's words, where they are others.
    auto shown = path->substr(0, path->rfind('/')) + "/shown.html";
    if (base::state_of(shown)) *path = std::move(shown);
  }
  if (form->ending == "html" && target.query.contains("file")) return part_of_sheet(*path, target.of("file"));
  auto file = base::InputFile::open(*path);
  if (!file) return refusal(404, "no_check", "there is no such check any more; load the page again");
  Answer answer;
  answer.type = form->mime;
  answer.file = std::make_shared<base::InputFile>(std::move(*file));
  if (form->ending == "html") answer.headers["Content-Security-Policy"] = sheet_policy();
  if (!target.of("save").empty()) {
    const auto told = checks_.tell(id);
    answer.headers["Content-Disposition"] = "attachment; filename=\"" + saved_name(told ? subject_of(*told) : std::string(), form->ending) + "\"";
  }
  return answer;
}

}  // namespace sendworthy::desk
