// One channel late behind the other: found coarsely on a slow copy of the whole file, then to the sample.
#pragma once

#include <cstdint>
#include <optional>
#include <vector>

#include "dsp/planar.h"
#include "measure/meter.h"

namespace sendworthy::measure {

/// Coarse: signs of the first differences of left and right at 8 … 32 kHz, compared at every lag within ±20 ms over the
/// whole file; the share p of equal signs gives the correlation sin(π(p − 1/2)) (arcsine law). Fine: correlation of first
/// differences at the file's rate, around the coarse lag. A heuristic; tried: parabola on the coarse peak alone, which
/// misses by up to two samples. A lag so found counts only where the sound itself fits there, too: drums under two microphones
/// have attacks with one lag and bodies with another.
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
  /// Of the fine lags: adds up how the sound itself fits there, and without any lag.
  void correlate_sound(const std::vector<float>& left, const std::vector<float>& right);
  /// Correlation of the first differences at one of the fine lags, 0 … 1.
  [[nodiscard]] double fit_of_differences(std::size_t at) const;
  /// Which of the fine lags fits best; whether it does so clearly better than none, which must be among them.
  [[nodiscard]] std::size_t best_fine() const;
  [[nodiscard]] bool better_than_none(std::size_t top) const;
  [[nodiscard]] bool sound_fits(std::size_t top) const;
  [[nodiscard]] std::int64_t margin_frames() const;

  const int sample_rate_, factor_, range_;
  std::vector<float> slow_left_{0}, slow_right_{0};  ///< the sample before, then what does not fill a word yet
  std::vector<std::uint64_t> left_, right_, valid_;  ///< signs, 64 to a word
  std::vector<std::uint64_t> equal_;
  std::uint64_t counted_ = 0;
  Peak peak_;                               ///< best() of what was compared so far

  std::optional<int> candidate_;            ///< slow samples
  std::vector<double> fine_;                ///< sums for lags candidate·factor − reach … + reach
  std::int64_t fine_frames_ = 0;
  double left_moves_ = 0, right_moves_ = 0;    ///< squares of the first differences over the same frames
  std::vector<double> sound_;                  ///< the same sums of the sound itself, where a lag other than 0 is in sight
  dsp::PairSums here_, shifted_;               ///< of the sound: without a lag, at the candidate
  std::int64_t sound_frames_ = 0;
  std::vector<float> left_differences_, right_differences_;
  std::vector<float> near_left_, near_right_;  ///< what is being correlated, at full rate
  std::vector<float> head_left_, head_right_;  ///< the file's beginning, for files that end before the lag is known
};

}  // namespace sendworthy::measure
