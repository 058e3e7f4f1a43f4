// JSON of the page's requests and answers.
#pragma once

#include <sendworthy/result.h>

#include <nlohmann/json.hpp>
#include <string>
#include <string_view>
#include <vector>

namespace sendworthy::desk {

using Json = nlohmann::ordered_json;

/// Compact; whatever is no UTF-8 in it becomes U+FFFD.
[[nodiscard]] std::string written(const Json& json);

/// A file as the page names it: one that lies below the opened folder, or one that was uploaded.
struct NamedFile {
  std::string path;    ///< relative, any bytes
  std::string upload;  ///< then `path` is empty
};

/// What a check is asked to do.
struct CheckWish {
  std::vector<NamedFile> files;
  std::vector<std::string> rules;
};

inline constexpr std::size_t kMostBodyBytes = 1u << 20;
inline constexpr std::size_t kMostFilesOfACheck = 2000;
inline constexpr std::size_t kMostRulesOfACheck = 50;

/// {"files": [{"path": …} | {"id": …} | {"upload": …}, …], "rules": [NAME, …]}; an id is a path, percent-encoded. Error: usage.
[[nodiscard]] Result<CheckWish> read_check_wish(std::string_view body);

}  // namespace sendworthy::desk
