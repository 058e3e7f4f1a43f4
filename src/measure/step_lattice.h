// Does a sound stand on a coarser grid than its file? The small values tell: there a grid of a few steps shows.
#pragma once

#include <cstdint>
#include <vector>

namespace sendworthy::measure {

/// Small magnitudes of one channel, in steps of 24 bits, and the widest grid through zero that they stand on.
class StepLattice {
 public:
  static constexpr int kReach = 16384;                     ///< −54 dBFS: sixteen teeth of the widest grid
  static constexpr double kNarrowest = 8, kWidest = 1100;  ///< 16 bits (256) from −30 to +12.7 dB

  /// Magnitude in steps of 24 bits, below kReach.
  void add(int magnitude) {
    if (counts_.empty()) counts_.resize(kReach);
    ++counts_[static_cast<std::size_t>(magnitude)];
  }

  struct Finding {
    std::int64_t samples = 0;  ///< that say something: three steps and more from zero
    int values = 0;            ///< how many different ones
    double width = 0;          ///< of the grid, in steps of 24 bits; 0: none found
    double share = 0;          ///< of the samples that stand on it
    double log10_chance = 0;   ///< bound on the logarithm of the chance that unrelated values look like this
  };
  /// `step`: the distance of codes in the file, in steps of 24 bits.
  [[nodiscard]] Finding look(double step) const;

 private:
  std::vector<std::uint32_t> counts_;
};

}  // namespace sendworthy::measure
