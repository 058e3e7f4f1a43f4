// Where a version stands that shares only a part of its sound with the main mix: quickly, at a few places.
#pragma once

#include <sendworthy/result.h>
#include <sendworthy/sheet.h>

#include <optional>
#include <string>

#include "pair/align.h"

namespace sendworthy::pair {

/// Lines up two files of one rate and layout at two dozen places along them, each within a third of a second and some within five, by
/// correlation; one stretch, or a few where places in a row agree on another lag. Nothing where fewer than seven in ten of the places
/// agree with their neighbours to the frame, or the two are so alike that they should be held against each other sample by sample: then
/// align() has to say. Errors: as audio::open_file; interrupted.
[[nodiscard]] Result<std::optional<Alignment>> quick_alignment(const FileSheet& old_file, const FileSheet& new_file, const Hooks& hooks = {});

/// Frames by which each of two channels lies later in the new file than in the old one, and which of them are upside down.
struct ChannelLags {
  double left = 0, right = 0;
  bool left_inverted = false, right_inverted = false;
  [[nodiscard]] bool apart() const { return left != right; }
  [[nodiscard]] bool one_inverted() const { return left_inverted != right_inverted; }
};
/// By correlation of each channel with its own at sixteen places near where the alignment puts them, of which six in ten must agree. Nothing where they do not, or the files do
/// not both have two channels at one rate. Errors: as audio::open_file; interrupted.
[[nodiscard]] Result<std::optional<ChannelLags>> channel_lags(const std::string& old_path, const std::string& new_path, const Alignment& alignment, const Hooks& hooks = {});

/// "its right channel 5 frames late".
[[nodiscard]] std::string in_words(const ChannelLags& lags);

}  // namespace sendworthy::pair
