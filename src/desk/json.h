// JSON of the page's requests and answers.
#pragma once

#include <sendworthy/listening.h>
#include <sendworthy/result.h>

#include <cstdint>
#include <nlohmann/json.hpp>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace sendworthy::desk {

using Json = nlohmann::ordered_json;

/// Compact; whatever is no UTF-8 in it becomes U+FFFD.
[[nodiscard]] std::string written(const Json& json);

/// Nanoseconds since 1970 as "2026-05-04T13:22:31Z".
[[nodiscard]] std::string utc_time(std::int64_t ns);

/// A file as the page names it: one that lies below the opened folder, or one that was uploaded.
struct NamedFile {
  std::string path;    ///< relative, any bytes
  std::string upload;  ///< then `path` is empty
};

/// What a check is asked to do. Of plans and orders `files` has the one that names all the others.
struct CheckWish {
  enum class Kind { files, compare, plan, order };
  Kind kind = Kind::files;
  std::vector<NamedFile> files;
  std::vector<std::string> rules;
};

/// What is to be kept of one question.
struct AnswerWish {
  std::string question, note, by;
  sendworthy::Answer answer = sendworthy::Answer::skip;
  std::optional<double> played_s;  ///< 0 to a week
  std::optional<int> pass;         ///< the pass that the page was told of; nothing: it does not say
  bool again = false;
};

/// Paths below the opened folder; any bytes.
struct PlanWish {
  std::string mix, stems, plan;  ///< `stems` may be empty
};
struct OrderWish {
  std::string folder, order;  ///< `folder` may be empty: the opened one
};

inline constexpr std::size_t kMostBodyBytes = 1u << 20;
inline constexpr std::size_t kMostOrderBodyBytes = 4u << 20;  // the whole text of 1 MiB, of which JSON makes two bytes where it has a line end or a quote
inline constexpr int kDeepestBody = 32;                       // objects and lists within each other
inline constexpr std::size_t kMostFilesOfACheck = 2000;
inline constexpr std::size_t kMostRulesOfACheck = 50;

/// What the page sent; discarded where it is no JSON, or goes deeper.
[[nodiscard]] Json parsed_body(std::string_view body);

/// One of {"files": [FILE, …]}, {"compare": [FILE, FILE]}, {"plan": PATH} and {"order": PATH}, all but the last also with
/// "rules": [NAME, …]. A FILE is {"path": …}, {"id": …} or {"upload": …}; an id is a path, percent-encoded; a PATH is a text or
/// one of the first two. Error: usage, as of all of these.
[[nodiscard]] Result<CheckWish> read_check_wish(std::string_view body);
/// {"question", "answer": "holds" | "tweak" | "skip", "by", "note"?, "played_s"?, "pass"?, "again"?}
[[nodiscard]] Result<AnswerWish> read_answer_wish(std::string_view body);
/// {"mix": PATH, "stems"?: PATH, "plan": NAME.toml}
[[nodiscard]] Result<PlanWish> read_plan_wish(std::string_view body);
/// {"folder"?: PATH, "order": NAME.toml}
[[nodiscard]] Result<OrderWish> read_order_wish(std::string_view body);

/// A name as the page shows it, a path as it hands it back: under `key`. What is no UTF-8 would not come back as it was: hence
/// the percent-encoded one, under `id_key`.
void put_path(Json& json, std::string_view path, const char* key = "path", const char* id_key = "id");

}  // namespace sendworthy::desk
