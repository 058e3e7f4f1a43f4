// Paths of dropped files as they were called where they came from, and not where their copies lie.
#pragma once

#include <sendworthy/sheet.h>

#include <string>
#include <string_view>
#include <vector>

namespace sendworthy::desk {

/// `text` without the way to the folder `folder`/f, wherever it stands in it.
[[nodiscard]] std::string with_shown_paths(std::string_view text, std::string_view folder);

/// The same in every place of a sheet that may name a file; the files are in the order of their shown paths afterwards. Where each
/// of them lies, in that order.
std::vector<std::string> show_paths(Sheet& sheet, std::string_view folder);

}  // namespace sendworthy::desk
