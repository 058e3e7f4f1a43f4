// What the lines of two spectra have to do with each other, as weighted sums.
#pragma once

#include <span>

namespace sendworthy::dsp {

/// Lines of a spectrum: real and imaginary parts, and what a line of another spectrum is weighted by beside it.
struct Lines {
  const float *real, *imaginary, *weight;
};
/// Two spectra held against each other, and what is taken off the second one's weights: that share of the first one's.
struct CrossPair {
  Lines x, y;
  float share;
};
struct CrossSums {
  float denominator = 0, variance = 0;
};
/// With w = y.weight − share·x.weight of each line and pair: real, imaginary += w·x*·y line by line; returns Σ w·|x|², and Σ |w·x*·y|².
CrossSums add_cross_lines(std::span<const CrossPair> pairs, int first, int count, float* real, float* imaginary);

/// Σ weight·power.
[[nodiscard]] float weighted_power(const float* weight, const float* power, int count);

}  // namespace sendworthy::dsp
