// When a kick hits: onsets of its own stem.
#pragma once

#include <cstdint>
#include <span>
#include <vector>

namespace sendworthy::song {

/// Takes the full band of a kick. Power, all channels added, and the power of its slope, which shows attacks over a low tail, are
/// kept for every millisecond or so. A hit begins where the power rises over all that stood 15 … 60 ms before, by 6 dB, or by 3 dB
/// and the slope with it; or where the slope rises 10 dB over all that stood 3 … 60 ms before and the power 1.5 dB within 50 ms. A
/// tail only falls, so that it is none. Rises within 80 ms are one hit, which begins with the first that comes within 12 dB of its
/// strongest. What lies 24 dB under the loudest tenth, as other drums do that a microphone picked up, is none. A soft hit on a tail
/// that is about as strong is not found. Common practice, no source.
class KickHits {
 public:
  KickHits(double sample_rate_hz, int channels);
  /// The next `frames` of all channels.
  void take(std::span<const float* const> rows, int frames);
  /// When hits begin, seconds, ascending. At the end, once.
  [[nodiscard]] std::vector<double> finish();

  static constexpr double kRefractoryS = 0.08;
  static constexpr double kFaintestDb = -24;  ///< re the loudest tenth

 private:
  void close_block();

  const double sample_rate_;
  const int block_;  ///< frames
  int filled_ = 0;
  double power_sum_ = 0, slope_sum_ = 0;  ///< of the block at hand
  std::vector<float> before_;             ///< last sample of each channel
  std::vector<float> differences_;
  std::vector<float> power_, slope_;  ///< by block
};

}  // namespace sendworthy::song
