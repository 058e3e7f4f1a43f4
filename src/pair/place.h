// Where a version stands that shares only a part of its sound with the main mix: quickly, at a few places.
#pragma once

#include <sendworthy/result.h>
#include <sendworthy/sheet.h>

#include <optional>

#include "pair/align.h"

namespace sendworthy::pair {

/// Lines up two files of one rate and layout at a dozen places along them, each within a third of a second and some within five, by
/// correlation; one stretch, or a few where places in a row agree on another lag. Nothing where fewer than seven in ten of the places
/// agree with their neighbours to the frame, or the two are so alike that they should be held against each other sample by sample: then
/// align() has to say. Errors: as audio::open_file; interrupted.
[[nodiscard]] Result<std::optional<Alignment>> quick_alignment(const FileSheet& old_file, const FileSheet& new_file, const Hooks& hooks = {});

}  // namespace sendworthy::pair
