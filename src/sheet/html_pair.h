// Two bounces held against each other, as a page.
#pragma once

#include <sendworthy/sheet.h>

#include <string>

namespace sendworthy::sheet {

/// Of a sheet with a pair.
[[nodiscard]] std::string pair_page(const Sheet& sheet, const Catalog& catalog);

/// The picture of what is left over time, with an id of its own on the page.
[[nodiscard]] std::string null_figure(const Pair& pair, const std::string& id);

}  // namespace sendworthy::sheet
