// The order in which every renderer walks a sheet.
#pragma once

#include <sendworthy/sheet.h>

#include <algorithm>
#include <tuple>
#include <vector>

namespace sendworthy::sheet {

/// Files by path, then role; measurements by key, the first of each key only.
[[nodiscard]] inline std::vector<const FileSheet*> in_order(const std::vector<FileSheet>& files) {
  std::vector<const FileSheet*> sorted;
  sorted.reserve(files.size());
  for (const auto& file : files) sorted.push_back(&file);
  std::stable_sort(sorted.begin(), sorted.end(), [](const FileSheet* a, const FileSheet* b) {
    return std::tie(a->path, a->role) < std::tie(b->path, b->role);
  });
  return sorted;
}

[[nodiscard]] inline std::vector<const Measurement*> in_order(const std::vector<Measurement>& measurements) {
  std::vector<const Measurement*> sorted;
  sorted.reserve(measurements.size());
  for (const auto& measurement : measurements) sorted.push_back(&measurement);
  std::stable_sort(sorted.begin(), sorted.end(),
                   [](const Measurement* a, const Measurement* b) { return a->key < b->key; });
  sorted.erase(std::unique(sorted.begin(), sorted.end(),
                           [](const Measurement* a, const Measurement* b) { return a->key == b->key; }),
               sorted.end());
  return sorted;
}

}  // namespace sendworthy::sheet
