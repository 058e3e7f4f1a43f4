// When a part plays.
#pragma once

#include <cmath>
#include <span>
#include <vector>

namespace sendworthy::song {

/// From the power of each frame: it plays from a frame 20 dB under the mean of its louder frames until one 26 dB under it. The louder
/// frames are those less than 10 dB under the mean of all that sound.
[[nodiscard]] inline std::vector<bool> frames_that_play(std::span<const float> powers) {
  const auto mean_above = [&](double least) {
    double sum = 0, count = 0;
    for (const float power : powers) {
      if (static_cast<double>(power) > least) sum += static_cast<double>(power), ++count;
    }
    return count > 0 ? sum / count : 0;
  };
  const double reference = mean_above(mean_above(0) * 0.1);
  const double on = reference * 0.01, off = reference * std::pow(10, -2.6);
  std::vector<bool> plays;
  bool now = false;
  for (const float power : powers) {
    now = power > 0 && static_cast<double>(power) >= (now ? off : on);
    plays.push_back(now);
  }
  return plays;
}

}  // namespace sendworthy::song
