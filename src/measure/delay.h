// One channel late behind the other: found coarsely on a slow copy of the whole file, then to the sample.
#pragma once

#include <cstdint>
#include <optional>
#include <vector>

#include "measure/meter.h"

namespace sendworthy::measure {

/// Coarse: signs of the first differences of left and right at 8 … 32 kHz, compared at every lag within ±20 ms over the
/// whole file; the share p of equal signs gives the correlation sin(π(p − 1/2)) (arcsine law). Fine: correlation of first
/// differences at the file's rate, around the coarse lag. A heuristic; tried: parabola on the coarse peak alone, which
/// misses by up to two samples.
class DelayFinder {
 public:
  DelayFinder(int sample_rate, int factor);
  /// Mid and side at the slow rate, in order.
  void coarse(const std::vector<float>& mid, const std::vector<float>& side);
  /// The block the last coarse samples came from, at full rate.
  void refine(const Block& block);
  void report(Report& report);

 private:
  void append_words();
  void compare();
  /// Lag with the highest magnitude of correlation, in slow samples; correlation at a lag.
  struct Peak {
    int lag = 0;
    double value = 0;
  };
  [[nodiscard]] Peak best() const;
  [[nodiscard]] double correlation_at(int lag) const;
  [[nodiscard]] bool worth_refining(const Peak& peak) const;
  void start_fine(int lag);
  void correlate(const std::vector<float>& left, const std::vector<float>& right);

  const int sample_rate_, factor_, range_;
  std::vector<float> slow_left_{0}, slow_right_{0};  ///< the sample before, then what does not fill a word yet
  std::vector<std::uint64_t> left_, right_, valid_;  ///< signs, 64 to a word
  std::vector<std::uint64_t> equal_;
  std::uint64_t counted_ = 0;
  Peak peak_;                               ///< best() of what was compared so far

  std::optional<int> candidate_;            ///< slow samples
  std::vector<double> fine_;                ///< sums for lags candidate·factor − reach … + reach
  std::int64_t fine_frames_ = 0;
  float last_left_ = 0, last_right_ = 0;       ///< at full rate
  std::vector<float> block_left_, block_right_;  ///< first differences of this block, at full rate
  std::vector<float> near_left_, near_right_;  ///< those around what is being correlated
  std::vector<float> head_left_, head_right_;  ///< those of the file's beginning, for files that end before the lag is known
};

}  // namespace sendworthy::measure
