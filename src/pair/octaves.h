// The lines of a spectrum, octave by octave.
#pragma once

#include <cstddef>
#include <vector>

#include "pair/spectra.h"

namespace sendworthy::pair {

struct OctaveLines {
  double centre_hz = 0;
  std::size_t first = 0, last = 0;  ///< lines [first, last)
};

/// From 63 Hz on, nominal mid-band frequencies that double, as far as the clock's lines reach; none of fewer than four lines.
[[nodiscard]] inline std::vector<OctaveLines> octaves_of(const Clock& clock) {
  std::vector<OctaveLines> octaves;
  const double line_hz = clock.rate / clock.size;
  for (double centre = 62.5; centre < clock.hz(clock.bins); centre *= 2) {
    const auto line = [&](double hz) { return static_cast<std::size_t>(hz / line_hz + 1); };
    OctaveLines one{centre, line(centre / 1.41421356), line(centre * 1.41421356)};
    if (one.last > static_cast<std::size_t>(clock.bins)) one.last = static_cast<std::size_t>(clock.bins);
    if (one.last >= one.first + 4) octaves.push_back(one);
  }
  return octaves;
}

}  // namespace sendworthy::pair
