// At which lag do two stretches of sound agree?
#pragma once

#include <cstdint>
#include <span>
#include <vector>

#include "dsp/fourier.h"

namespace sendworthy::pair {

/// Σ a[n]·b[n + lag] for every lag at once, by the Fourier transform.
class Correlator {
 public:
  /// Room for a and b together: a power of two, 256 … 2^20.
  explicit Correlator(int size);
  [[nodiscard]] int size() const { return fourier_.size(); }

  /// values[k] belongs to lag k − (a's length − 1), k = 0 … a's length + b's length − 2. `half_white`: every frequency counts by
  /// the root of its amplitudes, half-way to the phase transform of generalised cross-correlation.
  void correlate(std::span<const float> a, std::span<const float> b, bool half_white, std::vector<float>& values);

 private:
  dsp::Fourier fourier_;
  std::vector<float> real_, imaginary_;
};

/// How strongly sound sets in, every 10 ms: rises of level, of all channels together and of what changes from sample to
/// sample. Neither gain nor polarity nor swapped channels matter to it.
class Onsets {
 public:
  static constexpr double kStepS = 0.01;
  explicit Onsets(double sample_rate) : sample_rate_(sample_rate) {}
  /// `rows`: `frames` samples of each channel.
  void push(std::span<const float* const> rows, std::int64_t frames);
  [[nodiscard]] std::vector<float> finish();

 private:
  double sample_rate_, energy_ = 0;
  std::int64_t at_ = 0, border_ = 0, hop_ = 0;
  std::vector<float> last_, levels_, squares_;
  [[nodiscard]] std::int64_t border(std::int64_t hop) const;
};

/// A sound's middle, thinned out: sums of so many frames, more in a long file, so that there are at most 2^19 of them.
class Thinned {
 public:
  void push(std::span<const float* const> rows, std::int64_t frames);
  /// How one sum differs from the last, each of 2^`doublings` times 16 frames: at least as many as there are now.
  [[nodiscard]] std::vector<float> differences(int doublings) const;
  [[nodiscard]] int doublings() const { return doublings_; }
  static constexpr int kFrames = 16;

 private:
  std::vector<float> sums_;
  float sum_ = 0;
  std::int64_t taken_ = 0;
  int doublings_ = 0;
};

/// A place where two series agree.
struct Candidate {
  double lag = 0;       ///< of b behind a, in steps of the series
  double likeness = 0;  ///< 0 … 1: the correlation there, over the series' lengths
};
/// Frames by which b lies behind a where their waveforms agree best, whatever the polarity: the `most` best, the best first. In music
/// that repeats they tell what onsets do not.
[[nodiscard]] std::vector<double> waveform_lags(const Thinned& a, const Thinned& b, std::size_t most);
/// The most likely lags of b behind a, the best first, none within `apart` steps of another. Series of more than 2^19 steps are
/// looked at more coarsely.
[[nodiscard]] std::vector<Candidate> likely_lags(const std::vector<float>& a, const std::vector<float>& b, double apart, std::size_t most);

/// The series as it would be with `factor` times as many steps.
[[nodiscard]] std::vector<float> stretched(const std::vector<float>& series, double factor);

}  // namespace sendworthy::pair
