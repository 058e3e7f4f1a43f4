#include "pair/sum_fit.h"

#include <algorithm>
#include <cmath>

#include "dsp/products.h"

namespace sendworthy::pair {
namespace {

constexpr double kTied = 1e-6;  // of a row's energy: less than that of its own, and its gain is anybody's guess
constexpr double kFaint = 1e-20;

struct System {
  std::size_t size = 0;
  std::vector<double> matrix, right;
};

double product(const double* products, std::size_t j, std::size_t k) { return products[j <= k ? dsp::product_at(j, k) : dsp::product_at(k, j)]; }

void add_system(const Grams& grams, const double* products, const std::vector<Unknown>& unknowns, double weight, System& system) {
  const auto n = unknowns.size(), mix = grams.rows - 1;
  for (std::size_t c = 0; c < grams.channels; ++c) {
    const double* here = products + c * grams.pairs();
    const auto counts = [&](const Unknown& one) { return one.channel < 0 || static_cast<std::size_t>(one.channel) == c; };
    for (std::size_t u = 0; u < n; ++u) {
      if (!counts(unknowns[u])) continue;
      system.right[u] += weight * product(here, unknowns[u].row, mix);
      for (std::size_t v = 0; v <= u; ++v) {
        if (!counts(unknowns[v])) continue;
        const double value = weight * weight * product(here, unknowns[u].row, unknowns[v].row);
        system.matrix[u * n + v] += value;
        if (v != u) system.matrix[v * n + u] += value;
      }
    }
  }
}

System empty_system(std::size_t n) { return {n, std::vector<double>(n * n, 0.0), std::vector<double>(n, 0.0)}; }

}  // namespace

double SumEnergies::left(double gain) const { return std::max(0.0, mix - 2 * gain * product + gain * gain * sum); }

SumEnergies energies_of(const Grams& grams, const double* products, const Gains& gains) {
  SumEnergies energies;
  const auto mix = grams.rows - 1;
  for (std::size_t c = 0; c < grams.channels; ++c) {
    const double* here = products + c * grams.pairs();
    energies.mix += product(here, mix, mix);
    for (std::size_t i = 0; i < gains.parts; ++i) {
      const double a = gains.at(c, i);
      if (a == 0) continue;
      energies.product += a * product(here, i, mix);
      energies.sum += a * a * product(here, i, i);
      for (std::size_t j = 0; j < i; ++j) energies.sum += 2 * a * gains.at(c, j) * product(here, j, i);
    }
  }
  return energies;
}

Fit fit_of(const Grams& grams, const std::vector<Unknown>& unknowns, const std::vector<double>& prior, const std::vector<double>& weights) {
  const auto n = unknowns.size();
  const auto size = grams.pairs() * grams.channels;
  const auto weight = [&](std::size_t b) { return weights.empty() ? 1.0 : weights[b]; };
  auto system = empty_system(n);
  for (std::size_t b = 0; b < grams.blocks(); ++b) add_system(grams, grams.values.data() + b * size, unknowns, weight(b), system);

  // Cholesky over rows of unit energy, in order; rows that those before them explain are left out and keep the gain they had.
  Fit fit;
  fit.values = prior, fit.errors.assign(n, 0.0), fit.alone.assign(n, 0.0), fit.tied_to.assign(n, -1);
  double most = 0;
  for (std::size_t u = 0; u < n; ++u) most = std::max(most, system.matrix[u * n + u]);
  std::vector<std::size_t> kept;
  std::vector<double> scale(n, 0.0), factor(n * n, 0.0);
  const auto scaled = [&](std::size_t u, std::size_t v) { return scale[u] * scale[v] * system.matrix[u * n + v]; };
  for (std::size_t u = 0; u < n; ++u) {
    const double energy = system.matrix[u * n + u];
    if (energy <= kFaint * most || energy <= 0) continue;
    scale[u] = 1 / std::sqrt(energy);
    double rest = 1;
    for (std::size_t k = 0; k < kept.size(); ++k) {
      double sum = scaled(u, kept[k]);
      for (std::size_t m = 0; m < k; ++m) sum -= factor[u * n + m] * factor[kept[k] * n + m];
      factor[u * n + k] = sum / factor[kept[k] * n + k];
      rest -= factor[u * n + k] * factor[u * n + k];
    }
    if (rest < kTied) {
      double nearest = 0;
      for (const auto v : kept) {
        if (std::abs(scaled(u, v)) > nearest) nearest = std::abs(scaled(u, v)), fit.tied_to[u] = static_cast<int>(v);
      }
      continue;
    }
    factor[u * n + kept.size()] = std::sqrt(rest);
    kept.push_back(u);
  }
  const auto m = kept.size();
  const auto solve = [&](std::vector<double> x) {
    for (std::size_t k = 0; k < m; ++k) {
      for (std::size_t j = 0; j < k; ++j) x[k] -= factor[kept[k] * n + j] * x[j];
      x[k] /= factor[kept[k] * n + k];
    }
    for (std::size_t k = m; k-- > 0;) {
      for (std::size_t j = k + 1; j < m; ++j) x[k] -= factor[kept[j] * n + k] * x[j];
      x[k] /= factor[kept[k] * n + k];
    }
    return x;
  };
  // Twice: the second round takes back what rounding left in the first.
  for (int round = 0; round < 2; ++round) {
    std::vector<double> right(m);
    for (std::size_t k = 0; k < m; ++k) {
      double sum = system.right[kept[k]];
      for (std::size_t v = 0; v < n; ++v) sum -= system.matrix[kept[k] * n + v] * fit.values[v];
      right[k] = sum * scale[kept[k]];
    }
    const auto step = solve(std::move(right));
    for (std::size_t k = 0; k < m; ++k) fit.values[kept[k]] += step[k] * scale[kept[k]];
  }

  std::vector<std::vector<double>> inverse;
  for (std::size_t k = 0; k < m; ++k) {
    std::vector<double> unit(m, 0.0);
    unit[k] = 1;
    inverse.push_back(solve(std::move(unit)));
    fit.alone[kept[k]] = 1 / inverse[k][k];
  }
  std::vector<double> squares(m, 0.0), pull(m);
  for (std::size_t b = 0; b < grams.blocks(); ++b) {
    auto here = empty_system(n);
    add_system(grams, grams.values.data() + b * size, unknowns, weight(b), here);
    for (std::size_t k = 0; k < m; ++k) {
      pull[k] = here.right[kept[k]];
      for (std::size_t v = 0; v < n; ++v) pull[k] -= here.matrix[kept[k] * n + v] * fit.values[v];
      pull[k] *= scale[kept[k]];
    }
    for (std::size_t k = 0; k < m; ++k) {
      double change = 0;
      for (std::size_t j = 0; j < m; ++j) change += inverse[k][j] * pull[j];
      squares[k] += change * change;
    }
  }
  for (std::size_t k = 0; k < m; ++k) fit.errors[kept[k]] = std::sqrt(squares[k]) * scale[kept[k]];
  return fit;
}

std::vector<double> moving_gain(const Grams& grams, const Gains& gains, double* left) {
  const auto size = grams.pairs() * grams.channels;
  std::vector<double> moving(grams.blocks(), 0.0);
  *left = 0;
  for (std::size_t b = 0; b < grams.blocks(); ++b) {
    const auto energies = energies_of(grams, grams.values.data() + b * size, gains);
    if (energies.sum > 0) moving[b] = energies.product / energies.sum;
    *left += energies.left(moving[b]);
  }
  return moving;
}

std::vector<double> moving_part(const Grams& grams, const Gains& gains, std::size_t part, double* left) {
  const auto size = grams.pairs() * grams.channels;
  std::vector<double> moving(grams.blocks(), 0.0);
  *left = 0;
  for (std::size_t b = 0; b < grams.blocks(); ++b) {
    const double* products = grams.values.data() + b * size;
    const double all = energies_of(grams, products, gains).left();
    double pull = 0, energy = 0;
    for (std::size_t c = 0; c < grams.channels; ++c) {
      const double* here = products + c * grams.pairs();
      const double own = gains.at(c, part);
      double rest = product(here, part, grams.rows - 1);
      for (std::size_t i = 0; i < gains.parts; ++i) rest -= gains.at(c, i) * product(here, part, i);
      pull += own * rest, energy += own * own * product(here, part, part);
    }
    if (energy > 0) moving[b] = 1 + pull / energy;
    *left += energy > 0 ? std::max(0.0, all - pull * pull / energy) : all;
  }
  return moving;
}

}  // namespace sendworthy::pair
