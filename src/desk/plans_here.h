// The plans and orders of a folder, told from other TOML files by what stands in them.
#pragma once

#include <string>
#include <string_view>
#include <vector>

#include "desk/folder.h"

namespace sendworthy::desk {

struct PlansHere {
  struct One {
    std::string name, path;  ///< the path relative to the opened folder; any bytes
    std::string title;       ///< of the song, as written; empty where it has none, or the file is no TOML
  };
  std::vector<One> plans, orders;  ///< by the bytes of their names
};

inline constexpr std::size_t kMostTomlFiles = 200, kMostTomlBytes = 4u << 20;  ///< looked at in one folder, by name

/// What has a table [song], or [order]. A file that is no TOML counts by its headings, so that it can be put right. Hidden files and
/// those of which the bytes lie outside of the opened folder are left away. Nothing where the folder cannot be listed.
[[nodiscard]] PlansHere plans_here(const Folder& folder, std::string_view relative);

}  // namespace sendworthy::desk
