#include "desk/json.h"

#include <utility>

#include "base/text.h"
#include "desk/answer.h"

namespace sendworthy::desk {
namespace {

tl::unexpected<Error> wrong(std::string text) { return fail(ErrorCode::usage, std::move(text)); }

Result<NamedFile> read_file(const Json& entry) {
  if (!entry.is_object() || entry.size() != 1 || !entry.begin().value().is_string())
    return wrong("each of \"files\" wants to be an object with a text called \"path\", \"id\" or \"upload\"");
  const auto& key = entry.begin().key();
  const auto& value = entry.begin().value().get_ref<const std::string&>();
  if (key == "path") return NamedFile{value, {}};
  if (key == "id") return NamedFile{base::percent_decoded(value), {}};
  if (key == "upload" && !value.empty()) return NamedFile{{}, value};
  return wrong("each of \"files\" wants to be an object with a text called \"path\", \"id\" or \"upload\"");
}

}  // namespace

Answer refusal(int status, std::string_view code, std::string_view text) {
  Json json;
  json["error"]["code"] = code;
  json["error"]["text"] = base::for_terminal(text);
  return {status, "application/json", written(json), {}, {}};
}

std::string written(const Json& json) { return json.dump(-1, ' ', false, Json::error_handler_t::replace) + "\n"; }

Result<CheckWish> read_check_wish(std::string_view body) {
  const auto json = Json::parse(body, nullptr, false);
  if (json.is_discarded()) return wrong("what the page sent is no JSON");
  if (!json.is_object()) return wrong("what the page sent is no JSON object");
  CheckWish wish;
  const auto files = json.find("files"), rules = json.find("rules");
  if (files == json.end() || !files->is_array() || files->empty()) return wrong("\"files\" wants to be a list of at least one file");
  if (files->size() > kMostFilesOfACheck)
    return wrong("one check takes at most " + std::to_string(kMostFilesOfACheck) + " files; check them in parts");
  for (const auto& entry : *files) {
    auto file = read_file(entry);
    if (!file) return tl::unexpected(file.error());
    wish.files.push_back(std::move(*file));
  }
  if (rules == json.end()) return wish;
  if (!rules->is_array() || rules->size() > kMostRulesOfACheck) return wrong("\"rules\" wants to be a list of names of rule sets");
  for (const auto& name : *rules) {
    if (!name.is_string() || name.get_ref<const std::string&>().empty()) return wrong("\"rules\" wants to be a list of names of rule sets");
    wish.rules.push_back(name.get<std::string>());
  }
  return wish;
}

}  // namespace sendworthy::desk
