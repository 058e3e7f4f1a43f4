#include <algorithm>
#include <cmath>
#include <tuple>
#include <utility>

#include "pair/summer.h"

namespace sendworthy::pair {
namespace {

constexpr double kShorterS = 2;        // by which files are shorter: more is a gap of its own (own)
constexpr double kMostOfMix = 0.1;     // of its length, that files which are late or early do not reach
constexpr std::int64_t kConverted = 8; // frames, by which lengths of converted files may miss

}  // namespace

std::pair<std::int64_t, std::int64_t> Summer::beyond_files() {
  const auto frames = grams_.frames;
  std::pair<std::int64_t, std::int64_t> most;
  for (std::size_t i = 0; i < input_.count(); ++i) {
    auto& part = sum_.parts[i];
    part.missing_at_start = part.missing_at_end = 0;
    if (left_out(i)) continue;
    auto& file = input_.reader(i);
    const auto little = file.step() == 1 ? 0 : kConverted;
    const auto start = static_cast<std::int64_t>(std::ceil(-lags_[i])), end = static_cast<std::int64_t>(std::ceil(lags_[i])) + frames - file.length();
    if (start > little) part.missing_at_start = std::min(start, frames);
    if (end > little) part.missing_at_end = std::min(end, frames);
    most = {std::max(most.first, part.missing_at_start), std::max(most.second, part.missing_at_end)};
  }
  return most;
}

bool Summer::cut_ends() {
  const auto frames = grams_.frames;
  ends_ = {};
  std::tie(ends_.start, ends_.end) = beyond_files();
  const bool moved = std::ranges::any_of(lags_, [](double lag) { return lag != 0; });
  const double most = std::min(kMostOfMix * static_cast<double>(frames), moved ? static_cast<double>(frames) : kShorterS * input_.rate());
  if (ends_.start + ends_.end == 0 || static_cast<double>(ends_.start + ends_.end) > most) {
    ends_ = {};
    return false;
  }
  // What reads between frames reaches into its neighbours.
  const auto reach = [&](std::int64_t count) { return count > 0 && std::ranges::any_of(lags_, [](double lag) { return lag != std::round(lag); }) ? count + kTapsReach : count; };
  const auto size = grams_.pairs() * grams_.channels;
  const auto first = static_cast<std::size_t>((reach(ends_.start) + grams_.block - 1) / grams_.block);
  const auto last = static_cast<std::size_t>(std::max<std::int64_t>(0, frames - reach(ends_.end)) / grams_.block);
  ends_.products.assign(size, 0.0);
  for (std::size_t b = 0; b < grams_.blocks(); ++b) {
    if (b >= first && (b < last || ends_.end == 0)) continue;
    for (std::size_t k = 0; k < size; ++k) ends_.products[k] += std::exchange(grams_.values[b * size + k], 0.0);
  }
  return true;
}

double Summer::left_at_ends(const Gains& gains) const {
  return ends_.products.empty() ? 0 : energies_of(grams_, ends_.products.data(), gains).left();
}

bool Summer::explain_ends() {
  if (beyond_files() == std::pair<std::int64_t, std::int64_t>()) return false;
  const auto old_grams = grams_;
  if (!cut_ends()) return false;
  const auto first = steps_.size(), old_chosen = chosen_, old_first = first_choice_;
  try_gains("but for the ends");
  if (nulls()) return true;
  steps_.resize(first);
  grams_ = old_grams, chosen_ = old_chosen, first_choice_ = old_first, totals_ = grams_.total(), ends_ = {};
  return false;
}

}  // namespace sendworthy::pair
