#include "song/likeness.h"

#include <cmath>
#include <cstddef>
#include <vector>

#include "song/points.h"

namespace sendworthy::song {
namespace {

// Tried on the tuning half of tests/detection/arrangements.py. What reaches 1.2 is another part.
constexpr double kBandsApartDb = 4, kHarmonyApart = 0.4, kApart = 1.2;

double unlikeness(const Point& a, const Point& b) {
  const double bands_db = 10 * std::sqrt(static_cast<double>(distance(a, b, Aspect::timbre)) / kBands);
  return bands_db / kBandsApartDb + std::sqrt(static_cast<double>(distance(a, b, Aspect::harmony))) / kHarmonyApart;
}

}  // namespace

std::vector<int> likeness_of(const Features& features, const std::vector<double>& borders) {
  const std::size_t count = borders.size() < 2 ? 0 : borders.size() - 1;
  const Means means(points_of(features, 0, features.frames(), 1));
  std::vector<Point> sections;
  for (std::size_t i = 0; i < count; ++i) sections.push_back(means.of(features.frame_at(borders[i]), features.frame_at(borders[i + 1])));

  // Average linkage: the two groups that are nearest on average become one, until none are near. The sums between groups add up.
  std::vector<std::vector<std::size_t>> groups;
  std::vector<std::vector<double>> sums(count, std::vector<double>(count, 0.0));
  for (std::size_t i = 0; i < count; ++i) {
    groups.push_back({i});
    for (std::size_t k = 0; k < count; ++k) sums[i][k] = unlikeness(sections[i], sections[k]);
  }
  for (;;) {
    double least = kApart;
    std::size_t one = 0, other = 0;
    for (std::size_t a = 0; a < groups.size(); ++a) {
      for (std::size_t b = a + 1; b < groups.size() && !groups[a].empty(); ++b) {
        if (groups[b].empty()) continue;
        const double mean = sums[a][b] / static_cast<double>(groups[a].size() * groups[b].size());
        if (mean < least) least = mean, one = a, other = b;
      }
    }
    if (other == 0) break;
    groups[one].insert(groups[one].end(), groups[other].begin(), groups[other].end());
    groups[other].clear();
    for (std::size_t k = 0; k < count; ++k) sums[one][k] += sums[other][k];
    for (std::size_t k = 0; k < count; ++k) sums[k][one] = sums[one][k];
  }
  std::vector<int> alike(count, 0);
  int number = 0;
  for (const auto& group : groups) {
    if (!group.empty()) ++number;
    for (const auto i : group) alike[i] = number;
  }
  return alike;
}

}  // namespace sendworthy::song
