#include "measure/holes.h"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace sendworthy::measure {
namespace {

constexpr int kPart = 8;  // a spectrum is an eighth of a stretch: about 20 ms, as long as a codec's own blocks
constexpr double kFromHz = 6000;
constexpr float kDeep = 100;           // 20 dB
constexpr float kLeast = 3.1623e-10f;  // −95 dBFS: a hole under less would lie in the rounding of 16 bits
constexpr std::size_t kBeside = 2;     // cells and spectra on each side

}  // namespace

HoleFinder::HoleFinder(int sample_rate, int size)
    : cell_hz_(static_cast<double>(kLines) * kPart * sample_rate / size),
      size_(static_cast<std::size_t>(size / kPart)),
      step_(size_ / 2),
      spectra_(2 * kPart - 1),
      row_(size_ / 2 / kLines),
      fourier_(size / kPart),
      real_(size_),
      imaginary_(size_),
      power_(spectra_ * row_) {
  double square = 0;
  for (std::size_t n = 0; n < size_; ++n) {
    const double w = 0.5 - 0.5 * std::cos(2 * std::numbers::pi * static_cast<double>(n) / static_cast<double>(size_));
    window_.push_back(static_cast<float>(w));
    square += w * w;
  }
  scale_ = static_cast<float>(2 / (square * static_cast<double>(size_)));
}

// Two spectra go through one transform as real and imaginary part, and are taken apart by their symmetry.
void HoleFinder::transform(std::span<const float> sound) {
  std::fill(power_.begin(), power_.end(), 0.0f);
  for (std::size_t s = 0; s < spectra_; s += 2) {
    dsp::multiply(window_, sound.data() + s * step_, real_.data());
    if (s + 1 < spectra_) {
      dsp::multiply(window_, sound.data() + (s + 1) * step_, imaginary_.data());
    } else {
      std::fill(imaginary_.begin(), imaginary_.end(), 0.0f);
    }
    fourier_.forward(real_, imaginary_);
    for (std::size_t k = 1; k < size_ / 2; ++k) {
      const auto m = size_ - k;
      const float even_real = real_[k] + real_[m], odd_real = real_[k] - real_[m];
      const float even_imaginary = imaginary_[k] + imaginary_[m], odd_imaginary = imaginary_[k] - imaginary_[m];
      add(s, k, 0.25f * scale_ * (even_real * even_real + odd_imaginary * odd_imaginary));
      if (s + 1 < spectra_) add(s + 1, k, 0.25f * scale_ * (even_imaginary * even_imaginary + odd_real * odd_real));
    }
  }
}

void HoleFinder::look(std::span<const float> sound, double end_hz) {
  const auto from = std::max(kBeside, static_cast<std::size_t>(std::ceil(kFromHz / cell_hz_)));
  const auto end = std::min(static_cast<std::size_t>(end_hz / cell_hz_), row_);
  if (end < from + kBeside + 1) return;
  transform(sound);
  for (std::size_t s = kBeside; s + kBeside < spectra_; ++s) {
    for (std::size_t c = from; c + kBeside < end; ++c) {
      const float before = std::max(at(s - 1, c), at(s - 2, c)), after = std::max(at(s + 1, c), at(s + 2, c));
      const float below = std::max(at(s, c - 1), at(s, c - 2)), above = std::max(at(s, c + 1), at(s, c + 2));
      const float around = std::min(std::min(before, after), std::min(below, above));
      if (around <= kLeast) continue;
      ++places_;
      holes_ += at(s, c) * kDeep < around ? 1 : 0;
    }
  }
}

}  // namespace sendworthy::measure
