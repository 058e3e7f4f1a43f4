// What a request asks for: the path and the query of its first line, taken apart.
#pragma once

#include <map>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace sendworthy::desk {

struct Target {
  std::vector<std::string> segments;  ///< "/a/b/" is "a", "b", ""; decoded, any bytes but NUL and slashes
  std::map<std::string, std::string, std::less<>> query;  ///< decoded; of a name given twice the first stands

  /// The value of a name in the query; empty where it is not given.
  [[nodiscard]] std::string_view of(std::string_view name) const;
};

/// Nothing for what no page of ours sends: no slash at its start, a control character or a byte beyond ASCII, a % without two
/// digits, an encoded NUL, or in the path a backslash, or a slash that is encoded.
[[nodiscard]] std::optional<Target> parse_target(std::string_view target);

}  // namespace sendworthy::desk
