// Whether two stretches are one and the same sound, by the fine course of their motion.
#pragma once

#include <vector>

namespace sendworthy::measure {

/// `one`, `other`: motion by sub-block, mean squares. True where their decibels, less the mean over nine sub-blocks, correlate
/// by 0.4 and more, ten sub-blocks off at most.
[[nodiscard]] bool same_sound(const std::vector<float>& one, const std::vector<float>& other);
/// Both hold enough for an answer: 64 sub-blocks.
[[nodiscard]] bool long_enough(const std::vector<float>& one, const std::vector<float>& other);

}  // namespace sendworthy::measure
