#include <algorithm>
#include <cmath>
#include <limits>
#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "dsp/products.h"
#include "pair/summer.h"

namespace sendworthy::pair {
namespace {

constexpr double kAsWell = 1e-3;        // of a part's energy: no more is left at a nearer place, and it fits as well there (own)
constexpr double kNearWhole = 0.3;      // of a frame: a whole frame this near is asked for as well (own)
constexpr std::size_t kMostTwins = 24;  // each is a file that is decoded once more
constexpr int kRounds = 4;

// The rows of some parts and of the mix, as if nothing else had been read.
Grams picked(const Grams& grams, const std::vector<std::size_t>& rows) {
  Grams out;
  out.rows = rows.size() + 1, out.channels = grams.channels, out.block = grams.block, out.frames = grams.frames, out.peaks = grams.peaks;
  out.values.reserve(grams.blocks() * grams.channels * out.pairs());
  auto all = rows;
  all.push_back(grams.rows - 1);
  for (std::size_t b = 0; b < grams.blocks(); ++b) {
    for (std::size_t c = 0; c < grams.channels; ++c) {
      const double* here = grams.at(b, c);
      for (std::size_t k = 0; k < all.size(); ++k) {
        for (std::size_t j = 0; j <= k; ++j) out.values.push_back(here[all[j] <= all[k] ? dsp::product_at(all[j], all[k]) : dsp::product_at(all[k], all[j])]);
      }
    }
  }
  return out;
}

}  // namespace

Result<std::optional<double>> Summer::prefer_nearer(const std::vector<std::vector<double>>& nearer) {
  // Rows behind those of the parts: the same parts elsewhere.
  struct Place {
    double lag = 0;
    std::size_t row = 0;
  };
  std::vector<std::vector<Place>> places(input_.count());
  auto paths = paths_;
  auto lags = lags_;
  std::vector<std::size_t> again;
  for (std::size_t i = 0; i < input_.count(); ++i) {
    places[i].push_back({lags_[i], i});
    if (left_out(i) || lags_[i] == 0) continue;
    auto some = nearer[i];
    if (const double whole = std::round(lags_[i]); whole != lags_[i] && std::abs(lags_[i] - whole) <= kNearWhole) some.push_back(whole);
    for (const double lag : some) {
      if (paths.size() == input_.count() + kMostTwins) break;
      if (std::ranges::any_of(places[i], [&](const Place& one) { return one.lag == lag; })) continue;
      places[i].push_back({lag, paths.size()});
      paths.push_back(paths_[i]), lags.push_back(lag), again.push_back(i);
    }
    std::ranges::stable_sort(places[i], {}, [](const Place& one) { return std::pair(std::abs(one.lag) >= 1, std::abs(one.lag - std::round(one.lag)) + 1e-3 * std::abs(one.lag)); });
  }
  if (again.empty()) return std::optional<double>();
  auto both = SumInput::open(input_.mix_path(), paths);
  if (!both) return tl::unexpected(both.error());
  both->set_lags(lags);
  for (std::size_t row = 0; row < paths.size(); ++row) {
    if (sum_.parts[row < input_.count() ? row : again[row - input_.count()]].crossed) both->cross(row);
  }
  auto grams = grams_of(*both, {}, 0.9, 0.05, hooks_);
  if (!grams) return tl::unexpected(grams.error());
  std::vector<std::size_t> rows(input_.count());
  for (std::size_t i = 0; i < rows.size(); ++i) rows[i] = i;
  // Gains follow from the sums over all blocks.
  Grams whole;
  whole.rows = grams->rows, whole.channels = grams->channels, whole.block = whole.frames = grams->frames, whole.values = grams->total();
  const auto left_at = [&](const std::vector<std::size_t>& some) {
    const auto here = picked(whole, some);
    const auto totals = here.total();
    double least = std::numeric_limits<double>::infinity();
    for (const bool fit : {false, true}) {
      auto gains = plain_gains();
      for (std::size_t i = 0; i < gains.parts; ++i) {
        for (std::size_t c = 0; c < here.channels && left_out(i); ++c) gains.at(c, i) = 0;
      }
      if (fit) {
        const auto all = unknowns(false);
        const auto values = fit_of(here, all, std::vector<double>(all.size(), 1.0)).values;
        for (std::size_t u = 0; u < all.size(); ++u) {
          for (std::size_t c = 0; c < here.channels; ++c) {
            if (all[u].channel < 0 || static_cast<std::size_t>(all[u].channel) == c) gains.at(c, all[u].row) = values[u];
          }
        }
      }
      least = std::min(least, energies_of(here, totals.data(), gains).left());
    }
    return std::max(least, allowed());
  };
  std::vector<double> energy;  // of each part, as far as a little of it is no matter
  for (std::size_t i = 0; i < input_.count(); ++i) {
    energy.push_back(0);
    for (std::size_t c = 0; c < whole.channels; ++c) energy.back() += kAsWell * whole.at(0, c)[dsp::product_at(i, i)];
  }
  double now = left_at(rows);
  // All at once first: what one is said to be off may lean on what another is.
  auto nearest = rows;
  double little = 0;
  for (std::size_t i = 0; i < rows.size(); ++i) nearest[i] = places[i].front().row, little += nearest[i] != i ? energy[i] : 0;
  if (const double there = left_at(nearest); there <= now + little) rows = nearest, now = there;
  for (int round = 0; round < kRounds; ++round) {
    const auto before = rows;
    for (std::size_t i = 0; i < rows.size(); ++i) {
      if (places[i].size() < 2) continue;
      std::vector<double> left;
      for (const auto& place : places[i]) {
        auto some = rows;
        some[i] = place.row, left.push_back(place.row == rows[i] ? now : left_at(some));
      }
      const double least = *std::ranges::min_element(left);
      for (std::size_t k = 0; k < left.size(); ++k) {
        if (left[k] > least + energy[i]) continue;
        rows[i] = places[i][k].row, now = left[k];
        break;
      }
    }
    if (rows == before) break;
  }
  bool changed = false;
  for (std::size_t i = 0; i < rows.size(); ++i) changed = changed || rows[i] != i, lags_[i] = lags[rows[i]];
  if (!changed) return std::optional<double>();
  input_.set_lags(lags_);
  grams_ = picked(*grams, rows), totals_ = grams_.total();
  return std::optional(now);
}

}  // namespace sendworthy::pair
