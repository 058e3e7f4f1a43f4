// ITU-R BS.1770-5 at 48 kHz as its text reads: two filters, mean squares, gates. No blocks, no vectors, nothing shared
// with the library; the gates can be left out one by one.
#pragma once

#include <cmath>
#include <vector>

#include "check/test_signals.h"

namespace sendworthy::test {

enum class Gates { both, no_relative, no_absolute };

/// Stereo, 48 kHz, equal channel weights. LUFS.
inline double plain_integrated_lufs(const signals::Signal& signal, Gates gates) {
  // Annex 1, Tables 1 and 2.
  const double b[2][3] = {{1.53512485958697, -2.69169618940638, 1.19839281085285}, {1, -2, 1}};
  const double a[2][2] = {{-1.69065929318241, 0.73248077421585}, {-1.99004745483398, 0.99007225036621}};
  constexpr std::int64_t kStep = 4800, kBlock = 19200;
  double x1[2][2] = {}, x2[2][2] = {}, y1[2][2] = {}, y2[2][2] = {};  // [channel][stage]
  std::vector<double> steps;                                          // sum of squares of each 100 ms
  std::vector<double> buffer(2 * kStep);
  for (std::int64_t first = 0; first + kStep <= signal.frames; first += kStep) {
    signal.fill(first, kStep, buffer.data());
    double sum = 0;
    for (std::size_t i = 0; i < buffer.size(); ++i) {
      const std::size_t channel = i % 2;
      double x = buffer[i];
      for (std::size_t stage = 0; stage < 2; ++stage) {
        const double y = b[stage][0] * x + b[stage][1] * x1[channel][stage] + b[stage][2] * x2[channel][stage] -
                         a[stage][0] * y1[channel][stage] - a[stage][1] * y2[channel][stage];
        x2[channel][stage] = x1[channel][stage];
        x1[channel][stage] = x;
        y2[channel][stage] = y1[channel][stage];
        y1[channel][stage] = y;
        x = y;
      }
      sum += x * x;
    }
    steps.push_back(sum);
  }
  // Equations 3 to 7.
  const auto loudness = [](double z) { return -0.691 + 10 * std::log10(z); };
  std::vector<double> blocks;
  for (std::size_t j = 0; j + 4 <= steps.size(); ++j)
    blocks.push_back((steps[j] + steps[j + 1] + steps[j + 2] + steps[j + 3]) / kBlock);
  const auto mean_above = [&](double threshold_lufs) {
    double sum = 0;
    int count = 0;
    for (const double z : blocks) {
      if (loudness(z) > threshold_lufs) sum += z, ++count;
    }
    return sum / count;
  };
  const double absolute_lufs = gates == Gates::no_absolute ? -1000 : -70;
  const double first = mean_above(absolute_lufs);
  if (gates == Gates::no_relative) return loudness(first);
  return loudness(mean_above(std::max(absolute_lufs, loudness(first) - 10)));
}

}  // namespace sendworthy::test
