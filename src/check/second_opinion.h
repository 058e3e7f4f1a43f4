// Our loudness readings beside those of libebur128, as findings.
#pragma once

#include <vector>

#include <sendworthy/sheet.h>

namespace sendworthy {

/// Findings with rule set "second-meter": integrated loudness and momentary loudness within 0.1 LU, loudness range
/// (both from a 1 Hz series) within 0.3 LU, true peak at most 0.1 dB above ours. Disagreement warns. Nothing to
/// compare on either side is a note.
[[nodiscard]] std::vector<Finding> second_opinion(const std::vector<Measurement>& measurements);

}  // namespace sendworthy
