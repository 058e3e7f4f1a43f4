// The songs of an album held against each other: loudness, running order, gaps and joins.
#pragma once

#include <vector>

#include "delivery/members.h"

namespace sendworthy::delivery {

/// Findings album-loudness and album-order; none where the order has no album. Wants the timeline "momentary" of each song.
[[nodiscard]] std::vector<Finding> album_findings(const Members& members);

/// Integrated loudness of several songs as one programme, LUFS: the 400 ms blocks of all of them through the two gates of
/// ITU-R BS.1770-5 (-70 LUFS, then 10 LU under what is left). Blocks that reach from one song into the next do not exist here.
/// `momentary`: of each song, LUFS every 100 ms, not a number before the first full block. Nothing where no block is loud enough.
[[nodiscard]] std::optional<double> loudness_of_all(const std::vector<std::vector<float>>& momentary);

/// How the end of one song meets the start of the next. What was cut out between them is not in either of them.
struct Join {
  double step = 0;        ///< the largest from sample to sample among the few at the join, full scale 1, the worst channel
  double usual_step = 0;  ///< likewise around them
  std::int64_t silent_frames = 0;  ///< digital silence right at the join, looked for in a second on either side
  std::int64_t quiet_frames = 0;   ///< likewise under -80 dBFS
  double dip_db = 0;      ///< by how much the level at the join lies under the lowest nearby, on that side where it does so less
  std::int64_t repeated_frames = 0;  ///< so many of the first's last frames are the second's first ones too; up to a second
};
/// Errors: as audio::open_file.
[[nodiscard]] Result<Join> join_of(const std::string& before, const std::string& after);

}  // namespace sendworthy::delivery
