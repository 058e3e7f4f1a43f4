// The words of a sheet that are neither a measurement nor a rule: statuses, findings of the program itself, and why an input has
// no sheet.
#pragma once

#include <span>
#include <string_view>

namespace sendworthy::cli {

struct WordEntry {
  std::string_view kind;  ///< "status", "word", "finding" or "error"
  std::string_view id;
  std::string_view what;  ///< what it says
  std::string_view how;   ///< when it is given
  std::string_view caveat;
  std::string_view act;  ///< what to do
};

[[nodiscard]] std::span<const WordEntry> sheet_words();

}  // namespace sendworthy::cli
