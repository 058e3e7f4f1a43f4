#include "song/points.h"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace sendworthy::song {
namespace {

constexpr std::size_t kCoefficients = 12;
constexpr double kDeepest = 1e-6, kSoftest = 1e-12;  // of the loudest frame's power; of full scale

struct Range {
  std::size_t first, last;
};
constexpr Range range_of(Aspect aspect) {
  switch (aspect) {
    case Aspect::timbre: return {0, kBands};
    case Aspect::harmony: return {kBands, kBands + kPitches};
    default: return {kBands + kPitches, kBands + kPitches + 1};
  }
}

// Orthonormal cosine transform: distances between all coefficients are those between the levels.
using Cosines = std::array<std::array<double, kBands>, kCoefficients>;
Cosines cosines() {
  Cosines rows{};
  for (std::size_t c = 0; c < kCoefficients; ++c) {
    for (std::size_t b = 0; b < kBands; ++b) {
      const double angle = std::numbers::pi * static_cast<double>(c) * (static_cast<double>(b) + 0.5) / kBands;
      rows[c][b] = std::cos(angle) * std::sqrt((c == 0 ? 1.0 : 2.0) / kBands);
    }
  }
  return rows;
}

template <std::size_t N>
double norm(const std::array<float, N>& values) {
  double square = 1e-18;
  for (const float value : values) square += static_cast<double>(value) * static_cast<double>(value);
  return std::sqrt(square);
}

}  // namespace

float distance(const Point& a, const Point& b, Aspect aspect) {
  const auto [first, last] = range_of(aspect);
  float sum = 0;
  for (auto k = first; k < last; ++k) sum += (a[k] - b[k]) * (a[k] - b[k]);
  return sum;
}

std::vector<Point> points_of(const Features& features, std::size_t from, std::size_t to, std::size_t per) {
  static const auto rows = cosines();
  double loudest = 0;
  for (auto i = from; i < to; ++i) loudest = std::max(loudest, static_cast<double>(features.level[i]));
  const double floor = loudest * kDeepest + kSoftest, share = 1 / static_cast<double>(per);
  std::vector<Point> points;
  points.reserve((to - from) / per);
  for (auto at = from; at + per <= to; at += per) {
    std::array<double, kBands> levels{};
    std::array<float, kPitches> harmony{};
    double level = 0;
    for (auto i = at; i < at + per; ++i) {
      for (std::size_t b = 0; b < kBands; ++b) levels[b] += share * static_cast<double>(features.timbre[i][b]);
      const double one = norm(features.harmony[i]);
      for (std::size_t p = 0; p < kPitches; ++p) harmony[p] += static_cast<float>(static_cast<double>(features.harmony[i][p]) / one);
      level += share * static_cast<double>(features.level[i]);
    }
    for (auto& power : levels) power = std::log10(power + floor / kBands);
    Point point{};
    for (std::size_t c = 0; c < kCoefficients; ++c) {
      double sum = 0;
      for (std::size_t b = 0; b < kBands; ++b) sum += rows[c][b] * levels[b];
      point[c] = static_cast<float>(sum);
    }
    const double all = norm(harmony);
    for (std::size_t p = 0; p < kPitches; ++p) point[kBands + p] = static_cast<float>(static_cast<double>(harmony[p]) / all);
    point[kBands + kPitches] = static_cast<float>(std::log10(level + floor));
    points.push_back(point);
  }
  return points;
}

Means::Means(const std::vector<Point>& points) : sums_(points.size() + 1) {
  for (std::size_t i = 0; i < points.size(); ++i) {
    for (std::size_t d = 0; d < points[i].size(); ++d) sums_[i + 1][d] = sums_[i][d] + static_cast<double>(points[i][d]);
  }
}

Point Means::of(std::size_t from, std::size_t to) const {
  Point mean{};
  if (from >= to) return mean;
  for (std::size_t d = 0; d < mean.size(); ++d) mean[d] = static_cast<float>((sums_[to][d] - sums_[from][d]) / static_cast<double>(to - from));
  return mean;
}

}  // namespace sendworthy::song
