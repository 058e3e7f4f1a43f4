// Parts that judged and merely measured sheets share.
#pragma once

#include <sendworthy/render.h>

#include <functional>
#include <string>
#include <vector>

#include "sheet/layout.h"

namespace sendworthy::sheet {

/// The first `shown` names, and how many more there are.
[[nodiscard]] std::string list_names(const std::vector<std::string>& names, std::size_t shown);

/// Bytes of a folder, its slash included, that all paths start with.
[[nodiscard]] std::size_t common_folder(const std::vector<const FileSheet*>& files);

/// The cautions of all files, each text once.
void cautions(Page& page, const std::vector<const FileSheet*>& files);

/// A sheet without a verdict: a table of measurements by group.
[[nodiscard]] std::string measured_text(const Sheet& sheet, const Catalog& catalog, const TextOptions& options);

/// How a file is named on the page.
using FileNames = std::function<std::string(const std::string& path)>;
/// Findings about a set or a song, by status.
void finding_groups(Page& page, const std::vector<Finding>& findings, const Catalog& catalog, const FileNames& name);

/// A song against its plan. Quiet: the verdict's line alone.
[[nodiscard]] std::string song_text(const Sheet& sheet, const Catalog& catalog, const TextOptions& options, bool quiet);

/// A set against its order: what is there for each item, then what speaks against the set, what is in order last. `common`: bytes
/// of a folder that the paths shown start with.
void set_section(Page& page, const Sheet& sheet, const Catalog& catalog, std::size_t common);

/// Two files held against each other.
[[nodiscard]] std::string pairs_text(const Sheet& sheet, const Catalog& catalog, const TextOptions& options);

}  // namespace sendworthy::sheet
