// Text that somebody else wrote, for a Markdown page.
#pragma once

#include <string>
#include <string_view>

namespace sendworthy::sheet {

/// One line that Markdown leaves alone, in a table too. An underscore inside a word is harmless and stays readable.
[[nodiscard]] std::string md(std::string_view bytes);

}  // namespace sendworthy::sheet
