// What is left of the new file once the old one was taken out of it: where, when, and in which octave.
#pragma once

#include <sendworthy/result.h>

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "pair/align.h"

namespace sendworthy::pair {

/// How the new file's channels follow from the old one's.
struct Mapping {
  bool swapped = false;         ///< first and second channel changed about
  std::vector<double> gains;    ///< of each channel, linear; negative: polarity inverted; 0: silent in the new file
  std::vector<bool> known;      ///< false: silent in the old file, so that there is no gain
  [[nodiscard]] double gain_db() const;  ///< of all channels together
};

/// A piece in which the two part, frames at the alignment's clock. Old: what stood there; new: what stands there now.
struct Island {
  std::int64_t old_from = 0, old_to = 0, new_from = 0, new_to = 0;
  std::optional<double> level_db;  ///< where a level of its own is all that differs: over the common gain
};

struct Octave {
  double centre_hz = 0;
  double null_db = 0;  ///< energy left over the old file's, in this octave; at least −144
  double change_db = 0;  ///< level of the new file over that of the old one, after the common gain
};

struct Null {
  Mapping mapping;
  double speed = 1;                 ///< the alignment's, to the last digit that the residual tells
  std::vector<Stretch> stretches;   ///< likewise, and with their ends where the sounds part
  double null_db = 0;           ///< over all that was paired: energy left over the old file's; at least −144
  double outside_db = 0;        ///< the same outside of the islands
  double largest_left = 0;      ///< outside of the islands, full scale 1
  double left_dbfs = 0;         ///< mean level of what is left outside of the islands
  double worst_channel_db = -144;  ///< the null of the channel that nulls worst by itself, of those in which more is left than `floor_dbfs`
  double steady_db = 144;       ///< how far what is left outside of the islands moves, from the softest twentieth of its blocks to the loudest
  double step = 0;              ///< of the coarser word length, full scale 1; real samples count as 24 bits
  double floor_dbfs = 0;        ///< what two dithered words of that length leave, and a gain between them
  bool converted = false;       ///< another rate or speed: held against each other below three eighths of the lower rate
  std::vector<Island> islands;  ///< in order, the first 256
  std::int64_t island_total = 0, island_frames = 0;  ///< how many there are, and of the old file's frames how many in them
  bool exact = false;           ///< both files hold samples that a 32-bit float keeps, at one rate: "nothing left" means equal
  double step_s = 0;            ///< of `over_time`
  std::vector<float> over_time; ///< null depth, dB, along the old file; NaN where it is silent or not paired
  std::vector<Octave> octaves;  ///< outside of the islands, 31.5 Hz … as far as the rate reaches
};

/// Residual b − g·a in blocks of 10 ms with g by least squares over all stretches, fractions of a frame by windowed sinc.
/// An island is where the residual stands 15 dB and more over the file's usual, to 10 ms; pieces nearer than 0.15 s are one.
[[nodiscard]] Result<Null> null_of(const std::string& old_path, const std::string& new_path, const Alignment& alignment, const Hooks& hooks = {});

}  // namespace sendworthy::pair
