// The rule sets of the folder rules/, compiled in so that the program needs no data files.
#pragma once

#include <span>
#include <string_view>

namespace sendworthy::judge {

struct ShippedSet {
  std::string_view name;
  std::string_view toml;
};

/// In the order in which they are listed in CMakeLists.txt.
[[nodiscard]] std::span<const ShippedSet> shipped_sets();

}  // namespace sendworthy::judge
