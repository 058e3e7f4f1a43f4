// A finding as an entry of a page's list.
#pragma once

#include <sendworthy/catalog.h>
#include <sendworthy/sheet.h>

#include <cstddef>
#include <functional>
#include <string>
#include <string_view>

#include "sheet/file_plots.h"

namespace sendworthy::sheet {

inline constexpr std::size_t kPlacesOnPage = 4;  ///< of one finding

struct FindingEntry {
  Numbered one;
  int channels = 0;          ///< of the file; 0: of no single one
  bool look = false;         ///< with a button that leads to its first place in the pictures, which the page's script shows
  std::string anchor;        ///< the entry's id before its number; empty: none
  bool rule_set = false;     ///< name the rule set as well
  std::function<std::string(const std::string& path)> name;  ///< how a file is called; empty: by its path
};

/// One li element of an ol with the class findings.
[[nodiscard]] std::string finding_entry(const FindingEntry& entry, const Catalog& catalog);

/// A dt and its dd, or nothing where `html` is empty.
[[nodiscard]] std::string about_row(std::string_view label, const std::string& html);

/// "fail", "warn" or "note": how an entry and its number are set.
[[nodiscard]] std::string_view gravity_of(const Finding& finding);

}  // namespace sendworthy::sheet
