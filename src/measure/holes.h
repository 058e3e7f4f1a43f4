// Holes in the highs, as codecs leave them: places of 20 ms and 180 Hz that are empty while all around them stays up.
#pragma once

#include <cstdint>
#include <span>
#include <vector>

#include "dsp/fourier.h"

namespace sendworthy::measure {

class HoleFinder {
 public:
  /// Looks at stretches of `size` frames, a power of two from 2048 on.
  HoleFinder(int sample_rate, int size);

  /// All channels' mean over one stretch, and where its sound ends.
  void look(std::span<const float> sound, double end_hz);

  [[nodiscard]] std::int64_t holes() const { return holes_; }
  /// How many places could have shown one.
  [[nodiscard]] std::int64_t places() const { return places_; }

 private:
  void transform(std::span<const float> sound);
  void add(std::size_t spectrum, std::size_t line, float power) { power_[spectrum * row_ + line / kLines] += power; }
  [[nodiscard]] float at(std::size_t spectrum, std::size_t cell) const { return power_[spectrum * row_ + cell]; }

  static constexpr std::size_t kLines = 4;
  const double cell_hz_;
  const std::size_t size_, step_, spectra_, row_;
  float scale_ = 0;
  dsp::Fourier fourier_;
  std::vector<float> window_, real_, imaginary_;
  std::vector<float> power_;  ///< of the cells, spectrum by spectrum
  std::int64_t holes_ = 0, places_ = 0;
};

}  // namespace sendworthy::measure
