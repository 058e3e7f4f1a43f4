// Mains hum: lines at multiples of 50 or 60 Hz that stand through the quiet parts.
#pragma once

#include <array>
#include <cstdint>
#include <string>
#include <vector>

#include "dsp/fourier.h"

namespace sendworthy::measure {

/// Two channels at a slow rate (3 … 6 kHz), in windows of about 1.4 s, each half over the one before.
class HumFinder {
 public:
  static constexpr int kHarmonics = 8;
  struct Found {
    bool measured = false;
    std::string reason;   ///< why not
    double over_db = 0;   ///< mean of the two strongest harmonics over their neighbourhood, of the worse mains
    int mains_hz = 0;
    std::string lines;    ///< "50, 100 and 150 Hz"
  };
  explicit HumFinder(double rate_hz);
  void take(const std::vector<float>& first, const std::vector<float>& second);
  [[nodiscard]] Found finish() const;

 private:
  struct Window {
    float power = 0;
    std::array<float, 2 * kHarmonics> over{}, level{};  ///< dB: over the neighbourhood; of the line itself
  };
  void look();

  const double rate_hz_;
  const int size_;
  dsp::Fourier fourier_;
  std::vector<float> first_, second_, window_, real_, imaginary_, lines_;
  std::vector<Window> windows_;  ///< those that may be quiet
  double sum_ = 0, count_ = 0, loudest_ = 0;  ///< of all that are no digital silence: mean squares
};

}  // namespace sendworthy::measure
