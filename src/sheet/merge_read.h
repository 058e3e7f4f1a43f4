// One line of JSONL back into the model. The text is hostile: bounded in size and depth before it is parsed, and every
// member is checked for its type and range. Members this version does not know are passed over.
#pragma once

#include <sendworthy/result.h>
#include <sendworthy/sheet.h>

#include <cstddef>
#include <map>
#include <string>
#include <string_view>
#include <vector>

namespace sendworthy::sheet {

inline constexpr std::size_t kLongestLine = std::size_t{16} << 20;  ///< bytes; a day of timelines fits many times
inline constexpr std::string_view kWholeDocument =
    "it is one document, and merge reads one line a file, as check, measure and deliver check write it with --format jsonl; what compare writes "
    "cannot be merged";
inline constexpr int kDeepest = 32;                                 ///< our own lines are 7 levels deep

struct Line {
  std::string tool_version;
  std::map<std::string, std::string> libraries;
  std::vector<RulesUsed> rules;
  std::vector<Finding> of_the_set;
  bool judged = true;
  FileSheet file;  ///< its verdict is made anew from its findings and is never better than the one stated
};

/// `text`: one line without its line end. Errors (ErrorCode::unrecognised) say what is wrong, without the place.
[[nodiscard]] Result<Line> read_line(std::string_view text, const Catalog& catalog);

}  // namespace sendworthy::sheet
