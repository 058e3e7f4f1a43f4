// The pictures of one file: from its timelines, pictures, measurements and findings to plots.
#pragma once

#include <sendworthy/catalog.h>
#include <sendworthy/sheet.h>

#include <string>
#include <vector>

#include "sheet/plot.h"

namespace sendworthy::sheet {

/// A finding with the number under which the page lists it.
struct Numbered {
  int number = 0;
  const Finding* finding = nullptr;
};

/// `prefix` starts every id. A picture whose data are not there is left out.
[[nodiscard]] std::vector<Plot> plots_of(const FileSheet& file, const std::vector<Numbered>& findings,
                                         const Catalog& catalog, const std::string& prefix);

}  // namespace sendworthy::sheet
