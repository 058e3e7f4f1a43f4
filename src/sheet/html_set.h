// A set of files against its order, as a part of a page: items against findings, and what is left between versions over time.
#pragma once

#include <sendworthy/sheet.h>

#include <string>

namespace sendworthy::sheet {

/// The table of items against findings. `anchors`: finding n of the set has the id "set-n" on the page, n from 1.
[[nodiscard]] std::string set_matrix(const Sheet& sheet, const Catalog& catalog);

/// Pairs of versions that share a mix: their null over time.
[[nodiscard]] std::string set_pairs(const Sheet& sheet);

}  // namespace sendworthy::sheet
