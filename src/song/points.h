// Moments of a song as points, so that distances between them tell how differently they sound.
#pragma once

#include <array>
#include <cstddef>
#include <tuple>
#include <vector>

#include "song/features.h"

namespace sendworthy::song {

/// Cepstrum of the bands' levels, of which the first 12 coefficients are kept: they tell instruments and density, the others which
/// notes are played; then harmony as a unit vector; then the level. Levels in bels (a tenfold power is 1).
using Point = std::array<float, kBands + kPitches + 1>;

enum class Aspect { timbre, harmony, level };
inline constexpr std::array kAspects{Aspect::timbre, Aspect::harmony, Aspect::level};

/// Square of the distance. Timbre: divided by kBands, the mean square of the level differences of all bands, in bels.
[[nodiscard]] float distance(const Point& a, const Point& b, Aspect aspect);

/// Frames [from, to), `per` of them to a point; what is left at the end is left out. Levels more than 60 dB under the loudest frame
/// count as that.
[[nodiscard]] std::vector<Point> points_of(const Features& features, std::size_t from, std::size_t to, std::size_t per);

/// Means over any stretch of points.
class Means {
 public:
  explicit Means(const std::vector<Point>& points);
  /// Of points [from, to); all zero where there are none.
  [[nodiscard]] Point of(std::size_t from, std::size_t to) const;
  [[nodiscard]] std::size_t size() const { return sums_.size() - 1; }

 private:
  std::vector<std::array<double, std::tuple_size_v<Point>>> sums_;  ///< of all points before each
};

}  // namespace sendworthy::song
