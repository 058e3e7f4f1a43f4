// What the lines of two spectra have to do with each other, as weighted sums.
#pragma once

namespace sendworthy::dsp {

/// Lines of a spectrum: real and imaginary parts, their power, and what a line of another spectrum is weighted by beside it.
struct Lines {
  const float *real, *imaginary, *power, *weight;
};
/// Σ x.weight·y.power.
[[nodiscard]] float weighted_power(Lines x, Lines y, int count);

struct CrossSums {
  float denominator = 0, variance = 0;
};
/// With w = y.weight − share·x.weight of each line: real, imaginary += w·x*·y line by line; returns Σ w·x.power, and Σ |w·x*·y|².
CrossSums add_cross_lines(Lines x, Lines y, float share, int count, float* real, float* imaginary);

}  // namespace sendworthy::dsp
