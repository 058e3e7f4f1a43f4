// What is wrong with a vocal's recording: harsh esses, popped plosives, noise between phrases. Numbers and places, no verdict.
// Clipping is measured on the file, as clipped_runs.
#pragma once

#include <cstdint>
#include <optional>
#include <vector>

#include "song/band_frames.h"

namespace sendworthy::song {

/// Levels are those of all channels' power. All from common practice, no source; recordings of clean speech stay under them.
struct VocalLimits {
  /// Least level between 5 and 9.7 kHz over the middle, 312 Hz to 3.1 kHz, of what is sung within a second around: clean voices reach
  /// −8 to 0 dB in their sharpest esses.
  double ess_over_middle_db = 3;
  /// Least level between 26 and 87 Hz against that middle: clean voices stay under −10 dB for 99 % of the time.
  double plosive_over_middle_db = -3;
  /// And over the 90th percentile of the voice's own level there.
  double plosive_over_own_low_db = 12;
};

struct VocalPlace {
  double start_s = 0, end_s = 0;
  double value = 0;  ///< what it is, the list says
};

/// Places in the order of time. Of more than kMostPlaces, those with the highest value.
struct VocalPlaces {
  static constexpr std::size_t kMostPlaces = 200;
  std::int64_t count = 0;  ///< of all
  std::vector<VocalPlace> places;
};

struct VocalCondition {
  double active_s = 0;  ///< how long it sings: with 0 nothing was measured
  VocalPlaces esses;    ///< level over the middle, in dB; two frames and more that are louder between 5 and 9.7 kHz than in the middle
  /// Level over the middle, in dB; less than 0.3 s long, where the middle rises by 6 dB or more about the burst.
  VocalPlaces plosives;
  /// Pauses in which noise stays, of 1 s and more, their level against that of what is sung, in dB. The first 0.3 s and the last 0.2 s of a
  /// pause are left out, for reverb and breath; then the quietest half second counts, where it does not fall or rise by 3 dB within.
  VocalPlaces noise;
  /// Median of these over time; none where there are none.
  std::optional<double> noise_db;
  /// Where no pause with noise was found: the longest stretch of a second and more, among what counts as sung, in which the level stands within
  /// 4 dB while nothing before or after it is softer and a second is 3 dB louder, as noise or hum does that hides the pauses; its level as above.
  std::optional<VocalPlace> steady;
  double noise_s = 0, silent_s = 0;  ///< pauses with noise, and those with half a second of digital silence and more
};

/// `vocal`: the lead vocal's frames; it sings from a frame 20 dB under the mean of its louder frames until one 26 dB under it.
[[nodiscard]] VocalCondition vocal_condition(const BandFrames& vocal, const VocalLimits& limits = {});

}  // namespace sendworthy::song
