// Parts that judged and merely measured sheets share.
#pragma once

#include <sendworthy/render.h>

#include <string>
#include <vector>

#include "sheet/layout.h"

namespace sendworthy::sheet {

/// The cautions of all files, each text once.
void cautions(Page& page, const std::vector<const FileSheet*>& files);

/// A sheet without a verdict: a table of measurements by group.
[[nodiscard]] std::string measured_text(const Sheet& sheet, const Catalog& catalog, const TextOptions& options);

}  // namespace sendworthy::sheet
