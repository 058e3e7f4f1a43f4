// A song held against its plan, as a page.
#pragma once

#include <sendworthy/sheet.h>

#include <string>

namespace sendworthy::sheet {

/// Of a sheet with a song. The page needs no script.
[[nodiscard]] std::string song_page(const Sheet& sheet, const Catalog& catalog);

}  // namespace sendworthy::sheet
