// Two bounces held against each other, as a page.
#pragma once

#include <sendworthy/sheet.h>

#include <string>

namespace sendworthy::sheet {

/// Of a sheet with a pair.
[[nodiscard]] std::string pair_page(const Sheet& sheet, const Catalog& catalog);

}  // namespace sendworthy::sheet
