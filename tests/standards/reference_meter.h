// libebur128 on a signal: the outside reference for signals and meters alike. Used straight, not through the library.
#pragma once

#include <ebur128.h>

#include <algorithm>
#include <cmath>
#include <cstdint>
#include <vector>

#include "audio/file.h"

namespace sendworthy::test {

struct ReferenceReading {
  double integrated_lufs = 0;
  double loudness_range_lu = 0;
  double max_momentary_lufs = 0;  ///< on the grid of `hop_frames`
  double max_short_term_lufs = 0;
  double min_short_term_lufs_after_3_s = 0;
  double min_momentary_lufs_after_1_s = 0;
  double true_peak_dbtp = 0;
  double sample_peak_dbfs = 0;
};

/// Plays a float source to its end. `modes` are libebur128's; what was not asked for stays 0. The hop sets how finely
/// the maxima are slid; each step adds up a whole window, so the hop is what the reading costs.
inline ReferenceReading reference_reading(audio::Source& source, int modes, std::int64_t hop_frames) {
  const auto& format = source.format();
  const auto channels = static_cast<unsigned>(format.channels);
  const auto rate = static_cast<unsigned long>(format.sample_rate);
  auto* state = ebur128_init(channels, rate, modes);
  // Each mode includes those below it, bit by bit.
  const auto asked = [modes](int mode) { return (modes & mode) == mode; };
  for (unsigned c = 0; c < channels; ++c) {
    auto position = EBUR128_UNUSED;
    switch (format.speakers[c]) {
      case audio::Speaker::left:
        position = EBUR128_LEFT;
        break;
      case audio::Speaker::right:
        position = EBUR128_RIGHT;
        break;
      case audio::Speaker::centre:
        position = EBUR128_CENTER;
        break;
      case audio::Speaker::left_surround:
        position = EBUR128_LEFT_SURROUND;
        break;
      case audio::Speaker::right_surround:
        position = EBUR128_RIGHT_SURROUND;
        break;
      default:
        break;
    }
    ebur128_set_channel(state, c, position);
  }
  ReferenceReading reading;
  double max_momentary = -INFINITY, max_short_term = -INFINITY;
  double min_momentary = INFINITY, min_short_term = INFINITY;
  std::vector<double> block(static_cast<std::size_t>(hop_frames) * channels);
  std::int64_t at = 0;
  while (const auto frames = source.read_reals(block.data(), hop_frames)) {
    ebur128_add_frames_double(state, block.data(), static_cast<std::size_t>(frames));
    at += frames;
    double momentary = 0, short_term = 0;
    ebur128_loudness_momentary(state, &momentary);
    max_momentary = std::max(max_momentary, momentary);
    if (at >= format.sample_rate) min_momentary = std::min(min_momentary, momentary);
    if (asked(EBUR128_MODE_S)) {
      ebur128_loudness_shortterm(state, &short_term);
      max_short_term = std::max(max_short_term, short_term);
      if (at >= 3 * format.sample_rate) min_short_term = std::min(min_short_term, short_term);
    }
  }
  reading.max_momentary_lufs = max_momentary;
  reading.min_momentary_lufs_after_1_s = min_momentary;
  if (asked(EBUR128_MODE_S)) {
    reading.max_short_term_lufs = max_short_term;
    reading.min_short_term_lufs_after_3_s = min_short_term;
  }
  if (asked(EBUR128_MODE_I)) ebur128_loudness_global(state, &reading.integrated_lufs);
  if (asked(EBUR128_MODE_LRA)) ebur128_loudness_range(state, &reading.loudness_range_lu);
  double true_peak = 0, sample_peak = 0;
  for (unsigned c = 0; c < channels && asked(EBUR128_MODE_TRUE_PEAK); ++c) {
    double peak = 0;
    ebur128_true_peak(state, c, &peak);
    true_peak = std::max(true_peak, peak);
    ebur128_sample_peak(state, c, &peak);
    sample_peak = std::max(sample_peak, peak);
  }
  if (asked(EBUR128_MODE_TRUE_PEAK)) {
    reading.true_peak_dbtp = 20 * std::log10(true_peak);
    reading.sample_peak_dbfs = 20 * std::log10(sample_peak);
  }
  ebur128_destroy(&state);
  return reading;
}

}  // namespace sendworthy::test
