// From the sums of a leak, and of the same shifted by seconds, to what was found and what could have been.
#pragma once

#include <complex>
#include <cstdint>
#include <span>
#include <vector>

#include "dsp/fourier.h"
#include "pair/leak.h"
#include "pair/leak_sums.h"

namespace sendworthy::pair {

/// The delay, near none, at which the two sounds have most to do with each other.
struct LeakPeak {
  int delay = 0;      ///< frames of the clock by which the suspect's image lies later
  double tells = 0;   ///< numerator² over its variance: near 5 by chance, the best of all delays
  std::complex<double> leak;
  double error = 0;   ///< root of variance over denominator
};

class LeakPeaks {
 public:
  LeakPeaks(const Clock& clock, std::vector<OctaveLines> octaves);
  /// `weights`: what the numerator of each octave counts; `spreads`: how many times its variance it truly varies.
  [[nodiscard]] LeakPeak peak_of(const LeakSums& sums, std::span<const double> weights, std::span<const double> spreads);
  /// Each octave as much as it tells by itself.
  [[nodiscard]] LeakPeak peak_of(const LeakSums& sums);
  /// Mean over all delays of numerator² over variance, of one octave.
  [[nodiscard]] double spread_of(const LeakSums& sums, std::size_t octave);
  /// The leak of one octave at a delay.
  [[nodiscard]] std::complex<double> leak_of(const LeakSums& sums, std::size_t octave, int delay) const;
  [[nodiscard]] const std::vector<OctaveLines>& octaves() const { return octaves_; }

 private:
  void at_delays(const LeakSums& sums, std::span<const double> weights);

  Clock clock_;
  std::vector<OctaveLines> octaves_;
  int reach_;
  dsp::Fourier fourier_;
  std::vector<float> real_, imaginary_;
  std::vector<std::complex<double>> values_;  ///< the first belongs to −reach_
};

/// Two seconds, or more in a file of hours.
struct LeakBlock {
  double from_s = 0, to_s = 0;  ///< of the suspect's own file
  double energy = 0;            ///< of the source
  LeakPeak peak;
};

struct LeakEvidence {
  std::vector<double> shares;       ///< of the source's energy, octave by octave
  LeakSums straight, plain;         ///< unshifted; the same with what the source holds of the suspect left in
  std::vector<LeakSums> later;      ///< the source a frame's length earlier, and two of them: what rings on
  std::vector<LeakSums> shifted;
  std::vector<LeakBlock> blocks, shifted_blocks;
  bool difference = false;          ///< the source is what a mix has over the suspect, and so lacks what leaks
  double gain = 1;                  ///< of the suspect over that mix, signed
};
void judge(const LeakEvidence& evidence, LeakPeaks& peaks, Leak& leak);

}  // namespace sendworthy::pair
