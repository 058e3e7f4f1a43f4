#include "pair/sum_sides.h"

#include <algorithm>
#include <cmath>

#include "dsp/products.h"

namespace sendworthy::pair {
namespace {

constexpr std::size_t kMiddle = 0, kSide = 1;
constexpr double kOpposite = 0.25;     // by how much a side's gain over the middle's may miss −1 before it is tried (own)
constexpr double kUnsure = 0.1;        // a standard error, over the gain: more, and the part cannot be told apart (as in sum_reading.cpp)
constexpr double kMirror = 0.02;       // by how much the ratio of two gains may miss that of the levels, 0.2 dB (own)
constexpr double kNoSide = 1e-5;       // of the middle's energy, −50 dB: dither of 16 bits in a soft part stays below (own)
constexpr double kMiddleLeft = 0.01;   // of what is left: more, and it is not a matter of sides alone (own)
constexpr double kExplained = 0.25;    // of the side that is left: other sides explain it with other gains, 6 dB (as in sum.cpp)
constexpr double kRests = 1e-6;        // −60 dB under its loudest block a part rests (as in sum_reading.cpp)
constexpr double kWhileItRests = 0.01; // of the side that is left: a part does not leave a side behind where it rests (own)
constexpr double kTogether = 0.2;     // correlation of levels by block: less, and it is not this part's side; 0.4 in music of a steady level (own)
constexpr double kClearly = 0.1;       // by how much the best must be better than the next to be the one (own)

double product(const double* products, std::size_t j, std::size_t k) { return products[j <= k ? dsp::product_at(j, k) : dsp::product_at(k, j)]; }

double total_of(const Grams& grams, const std::vector<double>& totals, std::size_t channel, std::size_t part) {
  return totals[channel * grams.pairs() + dsp::product_at(part, part)];
}

bool has_side(const Grams& turned, const std::vector<double>& totals, std::size_t i) {
  return total_of(turned, totals, kSide, i) > kNoSide * total_of(turned, totals, kMiddle, i);
}

// Gains in the middle and, of parts that have one, in the side.
struct Turned {
  Gains gains, errors;
};
Turned fitted(const Grams& turned, const std::vector<bool>& looked_at, const std::vector<double>& totals) {
  std::vector<Unknown> unknowns;
  for (std::size_t i = 0; i < looked_at.size(); ++i) {
    if (!looked_at[i]) continue;
    unknowns.push_back({i, static_cast<int>(kMiddle)});
    if (has_side(turned, totals, i)) unknowns.push_back({i, static_cast<int>(kSide)});
  }
  const auto fit = fit_of(turned, unknowns, std::vector<double>(unknowns.size(), 1.0));
  Turned out{Gains(turned.channels, looked_at.size(), 0), Gains(turned.channels, looked_at.size(), 0)};
  for (std::size_t u = 0; u < unknowns.size(); ++u) {
    const auto c = static_cast<std::size_t>(unknowns[u].channel);
    out.gains.at(c, unknowns[u].row) = fit.values[u];
    out.errors.at(c, unknowns[u].row) = fit.tied_to[u] >= 0 ? std::abs(fit.values[u]) : fit.errors[u];
  }
  return out;
}

// Energy left of one of both over all blocks; `gains` of each part.
double left_of(const Grams& grams, const double* products, std::size_t channel, const std::vector<double>& gains) {
  const double* here = products + channel * grams.pairs();
  const auto mix = grams.rows - 1;
  double left = product(here, mix, mix);
  for (std::size_t i = 0; i < gains.size(); ++i) {
    if (gains[i] == 0) continue;
    left += gains[i] * gains[i] * product(here, i, i) - 2 * gains[i] * product(here, i, mix);
    for (std::size_t j = 0; j < i; ++j) left += 2 * gains[i] * gains[j] * product(here, j, i);
  }
  return std::max(0.0, left);
}

std::vector<double> row_of(const Gains& gains, std::size_t channel) {
  std::vector<double> row;
  for (std::size_t i = 0; i < gains.parts; ++i) row.push_back(gains.at(channel, i));
  return row;
}

}  // namespace

std::vector<std::size_t> find_crossed(const Grams& turned, const std::vector<bool>& looked_at) {
  const auto totals = turned.total();
  const auto fit = fitted(turned, looked_at, totals);
  std::vector<std::size_t> crossed;
  for (std::size_t i = 0; i < looked_at.size(); ++i) {
    if (!looked_at[i] || !has_side(turned, totals, i)) continue;
    const double middle = fit.gains.at(kMiddle, i), side = fit.gains.at(kSide, i);
    if (fit.errors.at(kMiddle, i) > kUnsure * std::abs(middle) || fit.errors.at(kSide, i) > kUnsure * std::abs(side)) continue;
    if (std::abs(side + middle) <= kOpposite * std::abs(middle)) crossed.push_back(i);
  }
  return crossed;
}

std::vector<std::size_t> find_mirrored(const SumInput& input, const Grams& grams, const Gains& gains, const std::vector<bool>& looked_at) {
  std::vector<std::size_t> crossed;
  if (grams.channels != 2) return crossed;
  const auto totals = grams.total();
  for (std::size_t i = 0; i < looked_at.size(); ++i) {
    if (!looked_at[i] || input.mono(i)) continue;
    const double left = total_of(grams, totals, 0, i), right = total_of(grams, totals, 1, i), ratio = gains.at(0, i) / gains.at(1, i);
    if (left <= 0 || right <= 0 || std::abs(right / left - 1) <= kMirror) continue;
    if (ratio > 0 && std::abs(ratio * left / right - 1) <= kMirror) crossed.push_back(i);
  }
  return crossed;
}

std::optional<Folded> find_folded(const Grams& turned, const std::vector<bool>& looked_at, double allowed) {
  const auto totals = turned.total();
  const auto count = looked_at.size();
  const auto fit = fitted(turned, looked_at, totals);
  for (const bool own_gains : {false, true}) {
    Folded found;
    for (std::size_t i = 0; i < count; ++i) found.gains.push_back(!looked_at[i] ? 0 : own_gains ? fit.gains.at(kMiddle, i) : 1);
    const double middle = left_of(turned, totals.data(), kMiddle, found.gains), side = left_of(turned, totals.data(), kSide, found.gains);
    if (2 * side <= allowed || 2 * middle > std::max(allowed, kMiddleLeft * 2 * (middle + side))) continue;
    if (left_of(turned, totals.data(), kSide, row_of(fit.gains, kSide)) <= kExplained * side) return std::nullopt;
    const auto size = turned.pairs() * turned.channels;
    std::vector<double> left;
    for (std::size_t b = 0; b < turned.blocks(); ++b) left.push_back(left_of(turned, turned.values.data() + b * size, kSide, found.gains));
    std::vector<std::pair<double, std::size_t>> likely;
    for (std::size_t i = 0; i < count; ++i) {
      if (!looked_at[i] || has_side(turned, totals, i)) continue;
      double loudest = 0, behind = 0, all = 0, n = 0, x = 0, y = 0, xx = 0, yy = 0, xy = 0;
      for (std::size_t b = 0; b < left.size(); ++b) loudest = std::max(loudest, turned.at(b, kMiddle)[dsp::product_at(i, i)]);
      for (std::size_t b = 0; b < left.size(); ++b) {
        const double energy = turned.at(b, kMiddle)[dsp::product_at(i, i)], own = std::sqrt(energy), other = std::sqrt(left[b]);
        all += left[b], behind += energy <= kRests * loudest ? left[b] : 0;
        ++n, x += own, y += other, xx += energy, yy += left[b], xy += own * other;
      }
      const double spread = (n * xx - x * x) * (n * yy - y * y), together = spread > 0 ? (n * xy - x * y) / std::sqrt(spread) : 0;
      if (behind <= kWhileItRests * all && together >= kTogether) likely.emplace_back(together, i);
    }
    if (likely.empty()) return std::nullopt;
    std::ranges::sort(likely, std::greater<>{});
    for (const auto& [together, i] : likely) {
      if (together > likely.front().first - kClearly) found.parts.push_back(i);
    }
    std::ranges::sort(found.parts);
    found.left = 2 * middle;
    return found;
  }
  return std::nullopt;
}

}  // namespace sendworthy::pair
