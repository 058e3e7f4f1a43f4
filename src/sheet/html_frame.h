// What every page has around its content: head, style, script, the last line.
#pragma once

#include <string>
#include <string_view>

namespace sendworthy::sheet {

/// Clean and escaped.
[[nodiscard]] std::string safe(std::string_view text);
/// Up to and with <body>; `title` as plain text.
[[nodiscard]] std::string page_head(std::string_view title);
enum class PageScript { none, of_the_sheet };
/// From <footer> on.
[[nodiscard]] std::string page_foot(std::string_view tool_version, PageScript script = PageScript::of_the_sheet);
/// The buttons that move through pictures over time; `back` where findings lead to them.
[[nodiscard]] std::string picture_tools(bool back);

}  // namespace sendworthy::sheet
