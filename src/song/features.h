// What a song sounds like from moment to moment: timbre, harmony, level and onsets, small enough to be held for a day of sound.
#pragma once

#include <sendworthy/result.h>

#include <array>
#include <cstddef>
#include <span>
#include <string>
#include <vector>

#include "pair/align.h"

namespace sendworthy::song {

inline constexpr std::size_t kBands = 24;
inline constexpr std::size_t kPitches = 12;

/// Frame i is centred on i·step_s.
struct Features {
  double step_s = 0;      ///< 85 ms at 48 kHz; doubled as often as a long file needs
  double duration_s = 0;  ///< of the file
  std::vector<std::array<float, kBands>> timbre;     ///< power in bands equally wide on the ERB-rate scale, 40 Hz … 15 kHz
  std::vector<std::array<float, kPitches>> harmony;  ///< amplitude by pitch class from C on (A = 440 Hz), 110 … 1760 Hz
  std::vector<float> level;                          ///< K-weighted mean square, channels added up
  std::vector<float> onsets;                         ///< how strongly sound sets in, every 10 ms (pair::Onsets); none beyond 90 minutes

  [[nodiscard]] std::size_t frames() const { return level.size(); }
  [[nodiscard]] std::size_t frame_at(double seconds) const;
  /// By the method of ITU-R BS.1770-5, with these frames of 0.17 s in place of blocks of 0.4 s, K-weighting applied to the spectrum, all
  /// channels but the LFE at weight 1. −120 where nothing passes the gate.
  [[nodiscard]] double loudness_lufs(double from_s, double to_s) const;
};

/// One pass. Errors: as audio::open_file; interrupted.
[[nodiscard]] Result<Features> features_of(const std::string& path, const pair::Hooks& hooks);

}  // namespace sendworthy::song
