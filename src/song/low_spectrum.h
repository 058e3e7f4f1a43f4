// Where in the low end a part's power lies.
#pragma once

#include <cstddef>
#include <span>
#include <vector>

#include "dsp/fourier.h"

namespace sendworthy::song {

/// Adds up spectra of stretches of slow rows; lines about 1 Hz apart.
class LowSpectrum {
 public:
  static constexpr double kFromHz = 25, kToHz = 160;
  explicit LowSpectrum(double rate_hz);
  /// Hann's; or even for what begins with the stretch, so that what it holds on to counts as much as how it begins: full weight but for
  /// the last tenth, which half of Hann's takes to nothing.
  enum class Window { hann, even };
  /// Samples [from, from + count) of all rows; what lies outside of them is silent. At most `longest()` samples.
  void add(std::span<const std::vector<float>> rows, std::ptrdiff_t from, std::size_t count, Window window);
  [[nodiscard]] std::size_t longest() const { return static_cast<std::size_t>(fourier_.size()); }
  /// Centre of the power from kFromHz to kToHz, and the frequency there that holds the most; 0 where there is none.
  [[nodiscard]] double centre_hz() const;
  [[nodiscard]] double highest_hz() const;

 private:
  [[nodiscard]] std::size_t line(double hz) const;
  dsp::Fourier fourier_;
  double line_hz_;
  std::vector<float> lines_, real_, imaginary_;
};

}  // namespace sendworthy::song
