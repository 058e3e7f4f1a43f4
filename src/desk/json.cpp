#include "desk/json.h"

#include <algorithm>
#include <array>
#include <cstdint>
#include <ctime>
#include <utility>

#include "base/text.h"
#include "desk/answer.h"

namespace sendworthy::desk {
namespace {

tl::unexpected<Error> wrong(std::string text) { return fail(ErrorCode::usage, std::move(text)); }

constexpr std::string_view kFileWanted = "wants to be an object with a text called \"path\", \"id\" or \"upload\"";
constexpr double kLongestPlayed = 7 * 86400.0;  // seconds, as in the passes file

/// Told before anything is made of it: the text itself takes no more room however deep it goes.
bool goes_too_deep(std::string_view json) {
  int depth = 0;
  bool in_text = false;
  for (std::size_t i = 0; i < json.size(); ++i) {
    const char c = json[i];
    if (c == '"') in_text = !in_text;
    if (in_text) {
      if (c == '\\') ++i;
    } else if (c == '[' || c == '{') {
      if (++depth > kDeepestBody) return true;
    } else if (c == ']' || c == '}') {
      --depth;
    }
  }
  return false;
}

Result<Json> object_in(std::string_view body) {
  auto json = parsed_body(body);
  if (json.is_discarded()) return wrong("what the page sent is no JSON");
  if (!json.is_object()) return wrong("what the page sent is no JSON object");
  return json;
}

Result<NamedFile> read_file(const Json& entry, std::string_view where) {
  const auto bad = [&] { return wrong("each of \"" + std::string(where) + "\" " + std::string(kFileWanted)); };
  if (!entry.is_object() || entry.size() != 1 || !entry.begin().value().is_string()) return bad();
  const auto& key = entry.begin().key();
  const auto& value = entry.begin().value().get_ref<const std::string&>();
  if (key == "path") return NamedFile{value, {}};
  if (key == "id") return NamedFile{base::percent_decoded(value), {}};
  if (key == "upload" && !value.empty()) return NamedFile{{}, value};
  return bad();
}

/// A path of the opened folder. `needed`: else it may be left away, and then is empty.
Result<std::string> read_path(const Json& json, const char* key, bool needed) {
  const auto found = json.find(key);
  const auto bad = [&] { return wrong("\"" + std::string(key) + "\" wants to be a path in the opened folder"); };
  if (found == json.end()) return needed ? Result<std::string>(bad()) : std::string();
  if (found->is_string()) {
    if (needed && found->get_ref<const std::string&>().empty()) return bad();
    return found->get<std::string>();
  }
  const auto file = read_file(*found, key);
  if (!file || !file->upload.empty() || file->path.empty()) return bad();
  return file->path;
}

/// A name of a file that is to be made.
Result<std::string> read_new_name(const Json& json, const char* key) {
  auto path = read_path(json, key, true);
  if (!path) return path;
  const auto name = path->substr(path->rfind('/') + 1);
  if (!name.ends_with(".toml") || name.starts_with('.')) return wrong("\"" + std::string(key) + "\" names a TOML file: let it end in .toml, with a name before that");
  if (base::for_terminal(*path) != *path) return wrong("\"" + std::string(key) + "\" holds characters that cannot be shown; name it otherwise");
  return path;
}

Result<std::string> read_text(const Json& json, const char* key) {
  const auto found = json.find(key);
  if (found == json.end()) return std::string();
  if (!found->is_string()) return wrong("\"" + std::string(key) + "\" wants to be text");
  return found->get<std::string>();
}

Result<std::vector<std::string>> read_rules(const Json& json) {
  std::vector<std::string> names;
  const auto rules = json.find("rules");
  if (rules == json.end()) return names;
  const auto bad = [] { return wrong("\"rules\" wants to be a list of names of rule sets"); };
  if (!rules->is_array() || rules->size() > kMostRulesOfACheck) return bad();
  for (const auto& name : *rules) {
    if (!name.is_string() || name.get_ref<const std::string&>().empty()) return bad();
    names.push_back(name.get<std::string>());
  }
  return names;
}

}  // namespace

Answer refusal(int status, std::string_view code, std::string_view text) {
  Json json;
  json["error"]["code"] = code;
  json["error"]["text"] = base::for_terminal(text);
  return {status, "application/json", written(json), {}, {}};
}

std::string utc_time(std::int64_t ns) {
  constexpr std::int64_t kSecond = 1'000'000'000;
  const auto seconds = static_cast<std::time_t>(ns >= 0 ? ns / kSecond : -((-ns + kSecond - 1) / kSecond));
  std::tm parts{};
  if (::gmtime_r(&seconds, &parts) == nullptr) return {};
  std::array<char, 40> text{};
  return std::string(text.data(), std::strftime(text.data(), text.size(), "%Y-%m-%dT%H:%M:%SZ", &parts));
}

Json parsed_body(std::string_view body) {
  if (goes_too_deep(body)) return Json(Json::value_t::discarded);
  return Json::parse(body, nullptr, false);
}

std::string written(const Json& json) { return json.dump(-1, ' ', false, Json::error_handler_t::replace) + "\n"; }

void put_path(Json& json, std::string_view path, const char* key, const char* id_key) {
  auto clean = base::clean_utf8(path);
  if (clean != path) json[id_key] = base::percent_encoded(path);
  json[key] = std::move(clean);
}

Result<CheckWish> read_check_wish(std::string_view body) {
  using enum CheckWish::Kind;
  const auto json = object_in(body);
  if (!json) return tl::unexpected(json.error());
  constexpr std::array<std::pair<const char*, CheckWish::Kind>, 4> kKinds{{{"files", files}, {"compare", compare}, {"plan", plan}, {"order", order}}};
  CheckWish wish;
  const char* key = nullptr;
  for (const auto& [name, kind] : kKinds) {
    if (!json->contains(name)) continue;
    if (key != nullptr) return wrong("a check is of files, of two bounces, of a plan or of an order: give one of them");
    key = name;
    wish.kind = kind;
  }
  if (key == nullptr) return wrong("a check wants \"files\", \"compare\", \"plan\" or \"order\"");
  if (wish.kind == plan || wish.kind == order) {
    auto path = read_path(*json, key, true);
    if (!path) return tl::unexpected(path.error());
    wish.files.push_back({std::move(*path), {}});
  } else {
    const auto& list = (*json)[key];
    if (!list.is_array() || list.empty()) return wrong("\"" + std::string(key) + "\" wants to be a list of at least one file");
    if (wish.kind == compare && list.size() != 2) return wrong("\"compare\" wants two files, the old one and the new one; " + std::to_string(list.size()) + " given");
    if (list.size() > kMostFilesOfACheck)
      return wrong("one check takes at most " + std::to_string(kMostFilesOfACheck) + " files; check them in parts");
    for (const auto& entry : list) {
      auto file = read_file(entry, key);
      if (!file) return tl::unexpected(file.error());
      wish.files.push_back(std::move(*file));
    }
  }
  auto rules = read_rules(*json);
  if (!rules) return tl::unexpected(rules.error());
  if (wish.kind == order && !rules->empty()) return wrong("an order names the rules of its items itself: leave \"rules\" away");
  wish.rules = std::move(*rules);
  return wish;
}

Result<AnswerWish> read_answer_wish(std::string_view body) {
  const auto json = object_in(body);
  if (!json) return tl::unexpected(json.error());
  AnswerWish wish;
  std::string word;
  for (const auto& [key, target] : {std::pair{"question", &wish.question}, {"answer", &word}, {"note", &wish.note}, {"by", &wish.by}}) {
    auto text = read_text(*json, key);
    if (!text) return tl::unexpected(text.error());
    *target = std::move(*text);
  }
  constexpr std::array kAnswers{sendworthy::Answer::holds, sendworthy::Answer::tweak, sendworthy::Answer::skip};
  const auto answer = std::find_if(kAnswers.begin(), kAnswers.end(), [&](auto one) { return to_string(one) == word; });
  if (answer == kAnswers.end()) return wrong("\"answer\" wants to be holds, tweak or skip");
  wish.answer = *answer;
  if (wish.question.empty()) return wrong("\"question\" wants to be the id of a question");
  if (const auto played = json->find("played_s"); played != json->end() && !played->is_null()) {
    wish.played_s = played->is_number() ? played->get<double>() : -1;
    if (!(*wish.played_s >= 0 && *wish.played_s <= kLongestPlayed)) return wrong("\"played_s\" wants to be seconds, from 0 to 604800");
  }
  if (const auto pass = json->find("pass"); pass != json->end() && !pass->is_null()) {
    if (!pass->is_number_unsigned() || pass->get<std::uint64_t>() > 1'000'000) return wrong("\"pass\" wants to be a whole number, as it was told");
    wish.pass = pass->get<int>();
  }
  if (const auto again = json->find("again"); again != json->end()) {
    if (!again->is_boolean()) return wrong("\"again\" wants to be true or false");
    wish.again = again->get<bool>();
  }
  return wish;
}

Result<PlanWish> read_plan_wish(std::string_view body) {
  const auto json = object_in(body);
  if (!json) return tl::unexpected(json.error());
  auto mix = read_path(*json, "mix", true), stems = read_path(*json, "stems", false), plan = read_new_name(*json, "plan");
  for (const auto* one : {&mix, &stems, &plan}) {
    if (!*one) return tl::unexpected(one->error());
  }
  return PlanWish{std::move(*mix), std::move(*stems), std::move(*plan)};
}

Result<OrderWish> read_order_wish(std::string_view body) {
  const auto json = object_in(body);
  if (!json) return tl::unexpected(json.error());
  auto folder = read_path(*json, "folder", false), order = read_new_name(*json, "order");
  if (!folder) return tl::unexpected(folder.error());
  if (!order) return tl::unexpected(order.error());
  return OrderWish{std::move(*folder), std::move(*order)};
}

}  // namespace sendworthy::desk
