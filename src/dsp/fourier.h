// Discrete Fourier transform of a power of two, and the sums a spectrum is made of.
#pragma once

#include <span>
#include <vector>

namespace sendworthy::dsp {

/// Radix-4 transform after Stockham (Cochran et al., "What is the fast Fourier transform?", 1967, IEEE Transactions on
/// Audio and Electroacoustics 15): every pass writes its results in order, so that vectors hold neighbours.
class Fourier {
 public:
  /// `size`: a power of two, 256 … 2^20.
  explicit Fourier(int size);
  [[nodiscard]] int size() const { return size_; }

  /// X[k] = Σ x[n]·e^(−2πi·nk/size), in place; `size` real and as many imaginary parts.
  void forward(std::vector<float>& real, std::vector<float>& imaginary);

 private:
  int size_;
  std::vector<float> twiddles_;  ///< of all passes: real and imaginary parts of w, w², w³, each a row
  std::vector<float> real_, imaginary_;
};

/// out[n] = window[n]·x[n].
void multiply(std::span<const float> window, const float* x, float* out);

/// Two real signals a, b went through one transform as a + ib: lines[k] += |A[k]|² + |B[k]|², k = 0 … size/2.
void add_pair_powers(const std::vector<float>& real, const std::vector<float>& imaginary, std::span<float> lines);

[[nodiscard]] double sum_of(std::span<const float> values);

}  // namespace sendworthy::dsp
