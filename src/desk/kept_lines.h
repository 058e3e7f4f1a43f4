// A text that a browser's field hands back, with the lines that nobody touched as they were.
#pragma once

#include <string>
#include <string_view>

namespace sendworthy::desk {

/// `edited` with the line ends of `before`, and with its bytes in every line that was kept: a browser hands a text back with line
/// feeds alone, and with what is no UTF-8 replaced. A line that was changed ends as the one in its place did, one that was added as
/// the one above it. Where more than a thousand lines were changed (fewer in a text of more than some 30000), only the
/// lines before the first change and behind the last count as kept: looking for others would take long.
[[nodiscard]] std::string with_lines_of(std::string_view before, std::string_view edited);

}  // namespace sendworthy::desk
