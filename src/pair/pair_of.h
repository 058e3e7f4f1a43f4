// Two files that were checked, held against each other: what `compare` and a set of versions both ask for.
#pragma once

#include <sendworthy/sheet.h>

#include <optional>

#include "pair/align.h"

namespace sendworthy::pair {

/// Kind, offset, gain, polarity, speed, edits and what is left; neither changes nor turns. Both sheets have facts, digests and
/// measurements. `found`: where to put the alignment; it stays as it is where the sound is one, and where none was found.
/// Errors: as audio::open_file; interrupted.
[[nodiscard]] Result<Pair> pair_of(const FileSheet& before, const FileSheet& after, const Hooks& hooks = {}, std::optional<Alignment>* found = nullptr);

}  // namespace sendworthy::pair
