#include "measure/texture.h"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <iterator>

namespace sendworthy::measure {
namespace {

constexpr std::size_t kLeast = 64;  // sub-blocks
constexpr std::ptrdiff_t kGrainMean = 4, kGrainOff = 10;
constexpr double kSameGrain = 0.4;

// Decibels less their mean over nine sub-blocks.
std::vector<double> texture(const std::vector<float>& grain) {
  std::vector<double> level, fine;
  for (const float motion : grain) level.push_back(10 * std::log10(static_cast<double>(motion) + 1e-20));
  for (std::ptrdiff_t n = kGrainMean; n + kGrainMean < std::ssize(level); ++n) {
    double sum = 0;
    for (auto k = n - kGrainMean; k <= n + kGrainMean; ++k) sum += level[static_cast<std::size_t>(k)];
    fine.push_back(level[static_cast<std::size_t>(n)] - sum / (2 * kGrainMean + 1));
  }
  return fine;
}

}  // namespace

bool same_sound(const std::vector<float>& one, const std::vector<float>& other) {
  const auto a = texture(one), b = texture(other);
  for (auto off = -kGrainOff; off <= kGrainOff; ++off) {
    double aa = 0, bb = 0, ab = 0;
    for (std::ptrdiff_t n = std::max<std::ptrdiff_t>(0, -off); n < std::ssize(a) && n + off < std::ssize(b); ++n) {
      const double x = a[static_cast<std::size_t>(n)], y = b[static_cast<std::size_t>(n + off)];
      aa += x * x, bb += y * y, ab += x * y;
    }
    if (ab > 0 && ab >= kSameGrain * std::sqrt(aa * bb)) return true;
  }
  return false;
}

bool long_enough(const std::vector<float>& one, const std::vector<float>& other) {
  return std::min(one.size(), other.size()) >= kLeast;
}

}  // namespace sendworthy::measure
