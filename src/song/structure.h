// A song's sections, found by itself: where the sound changes for good, or where the file's own markers say so.
#pragma once

#include <sendworthy/result.h>

#include <string>
#include <vector>

#include "pair/align.h"

namespace sendworthy::song {

struct FoundSection {
  double start_s = 0, end_s = 0;  ///< in the file
  std::string name;               ///< a marker's, on one line; else "section 1", … in the order of the song. No two are alike
  int alike = 0;                  ///< sections of one number, from 1 on in the order of the song, sound alike
  /// Guess of the integrated loudness, LUFS, for telling loud sections from quiet ones: see Features::loudness_lufs. Lowest −120.
  double loudness_lufs = -120;
  bool fades_out = false;  ///< the song's last, of whose halves the second lies 6 dB and more under the first
};

struct Structure {
  double duration_s = 0;
  bool from_markers = false;
  std::vector<FoundSection> sections;  ///< in order; each begins where the last one ends. None in a silent file
};

/// Reads the file once. Markers decide where at least one lies inside the sound. Otherwise: peaks of novelty on the self-similarity of
/// timbre, harmony and level, each put on the beat and the onset nearby. Silence before the first sound and after the last belongs to no
/// section. A file of less than 10 s, or at less than 8 kHz, is one section. What it finds is a guess, and the same every time.
/// Errors: as audio::open_file; interrupted.
[[nodiscard]] Result<Structure> structure_of(const std::string& path, const pair::Hooks& hooks = {});

}  // namespace sendworthy::song
