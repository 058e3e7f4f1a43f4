// Where one file's sound stands in another: offset, speed, and the places where both part and meet again.
#pragma once

#include <sendworthy/result.h>

#include <atomic>
#include <cstdint>
#include <functional>
#include <string>
#include <vector>

#include "pair/reader.h"

namespace sendworthy::pair {

/// Frames [from, to) of the old file whose sound stands in the new one, `lag` frames later.
struct Stretch {
  std::int64_t from = 0, to = 0;
  double lag = 0;
  double likeness = 0;  ///< median correlation, 0 … 1
};

/// All frames are of the old file's clock at `rate`, the lower of both sample rates.
struct Alignment {
  double rate = 0;
  int channels = 0;  ///< to which both were folded down; 0: they have equally many
  double speed = 1;  ///< seconds of the new file that one second of the old one takes
  std::int64_t old_frames = 0, new_frames = 0;
  std::vector<Stretch> stretches;  ///< in the old file's order; empty: the two share nothing that could be found
  std::string clock;               ///< where a known pair of rates explains the speed: "44.1 kHz material played at 48 kHz"
};

struct Hooks {
  std::function<void(double fraction)> progress;
  const std::atomic<bool>* stop = nullptr;
};

/// A file at the alignment's clock.
[[nodiscard]] Result<Reader> open_old(const std::string& path, const Alignment& alignment);
[[nodiscard]] Result<Reader> open_new(const std::string& path, const Alignment& alignment);

/// Coarse by onsets of both whole files, then fine by generalised cross-correlation in windows of a third of a second, and from
/// window to window on. Gain, polarity and swapped channels do not matter. A cut or a piece put in of up to a minute is
/// followed. Errors: as audio::open_file; interrupted.
[[nodiscard]] Result<Alignment> align(const std::string& old_path, const std::string& new_path, const Hooks& hooks = {});

}  // namespace sendworthy::pair
