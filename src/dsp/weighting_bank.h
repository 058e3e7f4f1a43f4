// Two channels through K- and A-weighting at once, four double lanes wide, summed as powers on the way.
#pragma once

#include <array>
#include <vector>

#include "dsp/biquad.h"

namespace sendworthy::dsp {

class WeightingBank {
 public:
  explicit WeightingBank(double sample_rate_hz);

  /// Sums over the frames given: of squares of the K-weighted channels, of their product, of squares A-weighted.
  struct Sums {
    double k0 = 0, k1 = 0, k01 = 0, a0 = 0, a1 = 0;
  };

  /// `first` and `second`: `frames` samples each, full scale ±1. State carries over to the next call, so any split into
  /// calls gives the same filter output.
  [[nodiscard]] Sums process(const float* first, const float* second, int frames);

  /// Call now and then: state that has decayed to nothing is set to zero.
  void flush_denormals();

  /// What the kernels read and write: per section and lane; lanes are K0 K1 A0 A1.
  struct alignas(32) State {
    double b1[3][4], b2[3][4], a1[3][4], a2[3][4];  ///< b0 is 1; b of section 0 is 1 −2 1
    double x1[4], step1[4];                         ///< the sample before, and its step from the one before it
    double y1[3][4], y2[3][4];                      ///< output history by section
  };

 private:
  State state_{};
  double k_gain_ = 1, a_gain_ = 1;  ///< what the sections' b0 make of power
  std::vector<double> pairs_;  ///< scratch: frames × 2, interleaved
};

}  // namespace sendworthy::dsp
