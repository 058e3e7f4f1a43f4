// The gain between two files from sums over pieces of both, whatever edits lie between them.
#pragma once

#include <span>
#include <vector>

namespace sendworthy::pair {

/// What gains follow from, over a piece of both files: energies, and products of a new channel with the old one of the same number and, of
/// the first two, with the other.
struct PieceSums {
  double old_square = 0, new_square = 0, straight = 0, crossed = 0;
};

/// Whether the old channel sounds in a piece of so many frames.
[[nodiscard]] bool is_heard(const PieceSums& piece, double frames);

/// Least squares over the pieces that the usual gain explains, so that an edit does not bend the gain of everything else; linear, signed. A
/// piece has `frames` frames. Unless it nulls half of the pieces, it leaves no more than no gain does over all that are alike: ±1 is
/// preferred where it is as good, and least squares over all of those where they leave less than half as much.
[[nodiscard]] double gain_of(const std::vector<PieceSums>& pieces, double frames);

/// Where half of the pieces leave nothing there is no fraction of a frame to look for.
[[nodiscard]] bool half_are_equal(std::span<const PieceSums> pieces, double frames);

}  // namespace sendworthy::pair
