#include "song/boundaries.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <numeric>
#include <utility>
#include <vector>

#include "song/points.h"

namespace sendworthy::song {
namespace {

// All of these were tried on the tuning half of tests/detection/arrangements.py, where none is steep.
constexpr double kStepS = 0.35;
constexpr double kLeastS = 6;          // common practice, no source: four bars at a fast tempo
constexpr double kThreshold = 0.1;     // of novelty, −1 … 1
constexpr double kUsual = 0.45;        // quantile of distances within reach that counts as the song's own unrest
constexpr double kRestS = 4, kHoldsS = 12;  // between strokes, and for how long a level stands (own): loops come back sooner
constexpr std::size_t kMost = 255;
struct Kernel {
  double half_s, weight;
};
constexpr std::array<Kernel, 2> kKernels{{{10, 0.3}, {18, 0.7}}};
struct Weight {
  Aspect aspect;
  double weight;
  float least;  // distance that means nothing: some 0.5 dB, or a chord's overtones
};
constexpr std::array<Weight, 3> kWeights{{{Aspect::timbre, 0.5, 0.05f}, {Aspect::harmony, 0.25, 0.02f}, {Aspect::level, 0.25, 0.0025f}}};

// Similarity, 0 … 1, of points no further apart than `reach`.
class Band {
 public:
  Band(const std::vector<Point>& points, const Weight& weight, std::size_t reach) : reach_(reach), values_(points.size() * (reach + 1)) {
    std::vector<float> distances;
    distances.reserve(values_.size());
    for (std::size_t i = 0; i < points.size(); ++i) {
      for (std::size_t d = 0; d <= reach && i + d < points.size(); ++d) {
        const float one = distance(points[i], points[i + d], weight.aspect);
        values_[i * (reach + 1) + d] = one;
        if (d > 0) distances.push_back(one);
      }
    }
    // By the usual distance, not by the mean: an intro unlike all the rest would hide every other change.
    float usual = weight.least;
    if (!distances.empty()) {
      const auto at = distances.begin() + static_cast<std::ptrdiff_t>(kUsual * static_cast<double>(distances.size()));
      std::nth_element(distances.begin(), at, distances.end());
      usual = std::max(usual, *at);
    }
    for (auto& value : values_) value = std::exp(-value / usual);
  }
  [[nodiscard]] double at(std::size_t i, std::size_t k) const {
    return static_cast<double>(i <= k ? values_[i * (reach_ + 1) + k - i] : values_[k * (reach_ + 1) + i - k]);
  }

 private:
  std::size_t reach_;
  std::vector<float> values_;
};

// Foote, "Automatic audio segmentation using a measure of audio novelty" (ICME 2000): a checkerboard under a Gaussian, as how much more
// alike both sides are to themselves than to one another, −1 … 1.
void add_novelty(const Band& band, std::size_t half, double weight, std::vector<double>& novelty) {
  std::vector<double> taper(half);
  for (std::size_t k = 0; k < half; ++k) taper[k] = std::exp(-2 * std::pow((static_cast<double>(k) + 0.5) / static_cast<double>(half), 2));
  const auto count = novelty.size();
  for (std::size_t t = 1; t < count; ++t) {
    double within = 0, across = 0, within_weight = 0, across_weight = 0;
    const auto left = std::min(half, t), right = std::min(half, count - t);
    for (std::size_t a = 0; a < half; ++a) {
      for (std::size_t b = 0; b < half; ++b) {
        const double w = taper[a] * taper[b];
        if (a < b && b < left) within += w * band.at(t - 1 - b, t - 1 - a), within_weight += w;
        if (a < b && b < right) within += w * band.at(t + a, t + b), within_weight += w;
        if (a < left && b < right) across += w * band.at(t - 1 - a, t + b), across_weight += w;
      }
    }
    if (within_weight > 0 && across_weight > 0) novelty[t] += weight * (within / within_weight - across / across_weight);
  }
}

// Levels over `span` points from each on, in bels: of the loudest `kBeat` points among them.
constexpr std::size_t kBeat = 3;  // points, some second
std::vector<double> levels_over(const std::vector<Point>& points, std::size_t span) {
  std::vector<double> beats(points.size() - kBeat + 1), levels(points.size() - span + 1);
  for (std::size_t i = 0; i < beats.size(); ++i) {
    double power = 0;
    for (std::size_t k = 0; k < kBeat; ++k) power += std::pow(10.0, static_cast<double>(points[i + k].back()));
    beats[i] = std::log10(power / kBeat);
  }
  for (std::size_t i = 0; i < levels.size(); ++i) {
    const auto from = beats.begin() + static_cast<std::ptrdiff_t>(i);
    levels[i] = *std::max_element(from, from + static_cast<std::ptrdiff_t>(span - kBeat + 1));
  }
  return levels;
}

// A step of level that holds begins a section, however like the rest it sounds otherwise: where strokes are few, or much else moves,
// level alone is outweighed by the song's own unrest. Told from a swell by a gap that neither side enters for `hold` points; in all
// `span` of them something sounds. Of the places of each such stretch, the one of most novelty is raised above everything.
void raise_level_steps(const std::vector<Point>& points, std::size_t span, std::size_t hold, std::vector<double>& novelty) {
  constexpr double kLeastStep = 0.8, kLeastGap = 0.2;  // bels: far from what accents and fills do
  constexpr double kSurely = 1;                        // above any novelty
  if (points.size() < 2 * hold || hold <= span || span < kBeat) return;
  const auto levels = levels_over(points, span);
  const auto sides = static_cast<std::ptrdiff_t>(hold - span + 1);  // levels that lie on one side alone
  const auto mean = [&](auto from) { return std::accumulate(from, from + sides, 0.0) / static_cast<double>(sides); };
  const auto steps_at = [&](std::size_t t) {
    const auto before = levels.begin() + static_cast<std::ptrdiff_t>(t - hold), after = levels.begin() + static_cast<std::ptrdiff_t>(t);
    const auto [softest_before, loudest_before] = std::minmax_element(before, before + sides);
    const auto [softest_after, loudest_after] = std::minmax_element(after, after + sides);
    const double gap = std::max(*softest_after - *loudest_before, *softest_before - *loudest_after);
    return gap >= kLeastGap && std::abs(mean(after) - mean(before)) >= kLeastStep;
  };
  std::vector<std::size_t> raised;
  for (auto t = hold; t + hold <= points.size(); ++t) {
    if (!steps_at(t)) continue;
    const auto first = t;
    while (t + hold <= points.size() && steps_at(t)) ++t;
    // Strokes do not tell where between two of them it is.
    auto most = first;
    for (auto k = first - std::min(first, span); k < std::min(novelty.size(), t + span); ++k) {
      if (novelty[k] > novelty[most]) most = k;
    }
    raised.push_back(most);
  }
  for (const auto t : raised) novelty[t] += kSurely;
}

// Among the peaks, the set with the largest sum above the threshold of which none stand too near to one another.
std::vector<std::size_t> peaks_of(const std::vector<double>& novelty, std::size_t apart) {
  std::vector<std::size_t> peaks;
  for (std::size_t t = apart; t + apart <= novelty.size() && t + 1 < novelty.size(); ++t) {
    if (novelty[t] > kThreshold && novelty[t] > novelty[t - 1] && novelty[t] >= novelty[t + 1]) peaks.push_back(t);
  }
  std::vector<double> best(peaks.size() + 1, 0.0);  // of the first n peaks
  std::vector<std::size_t> before(peaks.size());
  for (std::size_t n = 0; n < peaks.size(); ++n) {
    std::size_t k = n;
    while (k > 0 && peaks[k - 1] + apart > peaks[n]) --k;
    before[n] = k;
    best[n + 1] = std::max(best[n], best[k] + novelty[peaks[n]] - kThreshold);
  }
  std::vector<std::size_t> chosen;
  for (auto n = peaks.size(); n > 0;) {
    if (best[n] == best[n - 1]) {
      --n;
    } else {
      chosen.push_back(peaks[n - 1]);
      n = before[n - 1];
    }
  }
  std::ranges::stable_sort(chosen, [&](std::size_t a, std::size_t b) { return novelty[a] > novelty[b]; });
  chosen.resize(std::min(chosen.size(), kMost));
  std::ranges::sort(chosen);
  return chosen;
}

}  // namespace

std::vector<double> boundaries_of(const Features& features, double from_s, double to_s) {
  const auto from = features.frame_at(from_s);
  const auto per = static_cast<std::size_t>(std::max(1.0, std::round(kStepS / features.step_s)));
  const auto points = points_of(features, from, features.frame_at(to_s), per);
  const double step = features.step_s * static_cast<double>(per);
  const auto steps = [step](double seconds) { return static_cast<std::size_t>(std::max(2.0, std::round(seconds / step))); };
  std::vector<double> novelty(points.size(), 0.0);
  for (const auto& weight : kWeights) {
    const Band band(points, weight, 2 * steps(kKernels.back().half_s));
    for (const auto& kernel : kKernels) add_novelty(band, steps(kernel.half_s), weight.weight * kernel.weight, novelty);
  }
  raise_level_steps(points, steps(kRestS), steps(kHoldsS), novelty);
  std::vector<double> boundaries;
  for (const auto t : peaks_of(novelty, steps(kLeastS))) boundaries.push_back((static_cast<double>(from + t * per) - 0.5) * features.step_s);
  return on_the_beat(features, from_s, to_s, std::move(boundaries));
}

}  // namespace sendworthy::song
