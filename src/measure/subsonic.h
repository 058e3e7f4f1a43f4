// What moves below hearing: the energy under 20 Hz, from the slow copy of the low-band meter.
#pragma once

#include <cstdint>
#include <memory>
#include <vector>

#include "dsp/low_band.h"
#include "dsp/pair_cascade.h"

namespace sendworthy::measure {

/// Two channels at a slow rate (3 … 6 kHz) → their mean squares from 2 to 20 Hz. The first second is left out: there an
/// offset that begins with the file rings in the filters.
class SubsonicBand {
 public:
  static constexpr double kLowestHz = 2, kHighestHz = 20;
  /// Below some 2 kHz there is no room for the filters.
  [[nodiscard]] static bool possible(double rate_hz);
  explicit SubsonicBand(double rate_hz);
  void take(const std::vector<float>& first, const std::vector<float>& second);
  /// Of both together.
  [[nodiscard]] double mean_square() const { return counted_ > 0 ? energy_ / static_cast<double>(counted_) : 0; }

 private:
  int factor_;
  dsp::Decimator first_, second_, slow_first_, slow_second_;
  std::unique_ptr<dsp::PairCascade> cascade_;
  std::vector<float> middle_first_, middle_second_, low_first_, low_second_;
  std::int64_t skip_, counted_ = 0;
  double energy_ = 0;
};

}  // namespace sendworthy::measure
