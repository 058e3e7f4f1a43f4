#include "song/low_spectrum.h"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace sendworthy::song {
namespace {

constexpr int kSize = 1024;
constexpr double kEvenTo = 0.9;

}  // namespace

LowSpectrum::LowSpectrum(double rate_hz) : fourier_(kSize), line_hz_(rate_hz / kSize), lines_(kSize / 2 + 1, 0.0f) {}

void LowSpectrum::add(std::span<const std::vector<float>> rows, std::ptrdiff_t from, std::size_t count, Window window) {
  count = std::min(count, longest());
  const auto fill = [&](const std::vector<float>& row, std::vector<float>& out) {
    out.assign(kSize, 0.0f);
    for (std::size_t n = 0; n < count; ++n) {
      const auto at = from + static_cast<std::ptrdiff_t>(n);
      if (at < 0 || at >= static_cast<std::ptrdiff_t>(row.size())) continue;
      const double turn = (static_cast<double>(n) + 0.5) / static_cast<double>(count);
      const double weight = window == Window::hann ? 0.5 - 0.5 * std::cos(2 * std::numbers::pi * turn) : turn < kEvenTo ? 1.0 : 0.5 + 0.5 * std::cos(std::numbers::pi * (turn - kEvenTo) / (1 - kEvenTo));
      out[n] = static_cast<float>(weight) * row[static_cast<std::size_t>(at)];
    }
  };
  for (std::size_t c = 0; c < rows.size(); c += 2) {
    fill(rows[c], real_);
    if (c + 1 < rows.size()) {
      fill(rows[c + 1], imaginary_);
    } else {
      imaginary_.assign(kSize, 0.0f);
    }
    fourier_.forward(real_, imaginary_);
    dsp::add_pair_powers(real_, imaginary_, lines_);
  }
}

std::size_t LowSpectrum::line(double hz) const { return static_cast<std::size_t>(std::lround(hz / line_hz_)); }

double LowSpectrum::centre_hz() const {
  double sum = 0, moment = 0;
  for (auto k = line(kFromHz); k <= line(kToHz); ++k) {
    sum += static_cast<double>(lines_[k]);
    moment += static_cast<double>(lines_[k]) * static_cast<double>(k) * line_hz_;
  }
  return sum > 0 ? moment / sum : 0;
}

double LowSpectrum::highest_hz() const {
  auto best = line(kFromHz);
  for (auto k = best; k <= line(kToHz); ++k)
    if (lines_[k] > lines_[best]) best = k;
  if (!(lines_[best] > 0)) return 0;
  // The top of a parabola through the logarithms of three lines.
  const double a = std::log(static_cast<double>(lines_[best - 1]) + 1e-30), b = std::log(static_cast<double>(lines_[best])),
               c = std::log(static_cast<double>(lines_[best + 1]) + 1e-30);
  const double bend = a - 2 * b + c, shift = bend < 0 ? std::clamp((a - c) / (2 * bend), -0.5, 0.5) : 0;
  return (static_cast<double>(best) + shift) * line_hz_;
}

}  // namespace sendworthy::song
