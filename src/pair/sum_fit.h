// Least squares over sums of products: which gains bring the parts nearest to the mix, and how well are they known?
#pragma once

#include <cstddef>
#include <vector>

#include "pair/sum_input.h"

namespace sendworthy::pair {

/// A gain for each part in each channel of the mix.
struct Gains {
  std::size_t parts = 0;
  std::vector<double> values;  ///< channels × parts
  Gains() = default;
  Gains(std::size_t channels, std::size_t count, double value) : parts(count), values(channels * count, value) {}
  [[nodiscard]] double& at(std::size_t channel, std::size_t part) { return values[channel * parts + part]; }
  [[nodiscard]] double at(std::size_t channel, std::size_t part) const { return values[channel * parts + part]; }
};

/// One number that is looked for: a row's gain in one channel or, −1, in all of them.
struct Unknown {
  std::size_t row = 0;
  int channel = -1;
};

/// Energies over one piece: of the mix, of the sum at these gains, and the product of both, over all channels.
struct SumEnergies {
  double mix = 0, sum = 0, product = 0;
  [[nodiscard]] double left(double gain = 1) const;  ///< of mix − gain·sum
};
/// `products`: channels × pairs of rows, as of Grams.
[[nodiscard]] SumEnergies energies_of(const Grams& grams, const double* products, const Gains& gains);

struct Fit {
  std::vector<double> values;   ///< of each unknown
  std::vector<double> errors;   ///< standard errors, from how each block would have it
  std::vector<double> alone;    ///< energy of its row that no other row explains, over the row's own
  std::vector<int> tied_to;     ///< another unknown whose row explains this one's; −1: none
};

/// Gains next to `prior`: what the rows cannot tell stays as it was. `weights`: of each block, empty: all the same; as if the rows were
/// that much louder there, and the mix as it is.
[[nodiscard]] Fit fit_of(const Grams& grams, const std::vector<Unknown>& unknowns, const std::vector<double>& prior, const std::vector<double>& weights = {});

/// What is left of the mix when a gain that moves from block to block stands over the sum: the gains, 0 where the sum is silent.
[[nodiscard]] std::vector<double> moving_gain(const Grams& grams, const Gains& gains, double* left);
/// The same over one part alone, the others as they stand.
[[nodiscard]] std::vector<double> moving_part(const Grams& grams, const Gains& gains, std::size_t part, double* left);

}  // namespace sendworthy::pair
