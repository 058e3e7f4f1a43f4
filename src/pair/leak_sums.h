// The sums that a leak is estimated from, frame by frame and at any shift of the source against the suspect.
#pragma once

#include <cstddef>
#include <span>
#include <utility>
#include <vector>

#include "pair/octaves.h"
#include "pair/spectra.h"

namespace sendworthy::pair {

/// One channel of a frame: its lines, their powers, and 1 over the power thereabouts, which is what a line of the other signal counts by.
struct LeakLines {
  std::vector<float> real, imaginary, power, weight;
  std::vector<float> counts;  ///< Σ weight·power, octave by octave
};
struct LeakFrame {
  bool known = false;
  double energy = 0;  ///< of all lines
  std::vector<LeakLines> channels;
};

/// Powers below which a line counts no more than that: by channel and octave.
using Floors = std::vector<std::vector<float>>;

/// Fills `frame` from a spectrum, whose rows go into it.
void prepare(Spectrum& spectrum, std::span<const OctaveLines> octaves, const Floors& floors, LeakFrame& frame);

/// All channels together. The leak is numerator / denominator; `variance` is that of the numerator where the two sounds have nothing to
/// do with each other and lines are independent.
struct LeakSums {
  std::vector<float> real, imaginary;          ///< the numerator, line by line
  std::vector<double> denominator, variance;   ///< octave by octave
  std::vector<float> line_denominator;         ///< the denominator line by line, where it has room for it
  double energy = 0;                           ///< of the source
  LeakSums() = default;
  LeakSums(std::size_t lines, std::size_t octaves) : real(lines, 0.0f), imaginary(real), denominator(octaves, 0.0), variance(denominator) {}
  void add(const LeakSums& other);
  void clear();
};

/// Frames of the source and of the suspect that are held against each other, in order of time, and where that is added up.
struct LeakPairs {
  LeakSums* sums = nullptr;
  bool plain = false;
  std::vector<std::pair<const LeakFrame*, const LeakFrame*>> frames;
};

/// With x = v + β·y in the source and y = b + ε·v in the suspect, x*·y is ε·|v|² + β*·|b|² in the mean. Two sums of it over the lines
/// of an octave, one weighted by how little of the suspect sounds, one by how little of the source, are two equations; β, which may
/// differ from frame to frame and from octave to octave, is taken out of the first by the second, and what remains is added up. `plain` leaves β in.
void accumulate(std::span<const LeakPairs> all, std::span<const OctaveLines> octaves);

}  // namespace sendworthy::pair
