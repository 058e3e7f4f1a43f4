#include "pair/summer.h"

#include <algorithm>
#include <cmath>
#include <string>
#include <utility>

namespace sendworthy::pair {
namespace {

constexpr double kBetweenDb = -50;     // so does what reads between frames
constexpr double kFilterBetter = 0.25; // left by a filter, over what delays leave: then they are none, where they leave as much as this
constexpr double kDelayedDb = -20;
constexpr double kFilterFarBetter = 0.01;  // likewise, where they leave more than reading between frames does: a shelf looks like fractions of a frame (own)
constexpr std::size_t kFewTogether = 3;  // parts that share a delay which others do not have
constexpr double kUnsureFrames = 2, kUnsureDb = -30;  // of delays, beside more that is left
constexpr int kShifts = 3;
constexpr double kSettled = 0.002, kSure = 4, kNearWhole = 0.01;  // frames
constexpr double kLeastOfFew = 0.1;
constexpr std::size_t kMostSlopes = 32;  // as many rows again, and four times the products

}  // namespace

Result<PartLags> Summer::few_frames(const std::vector<bool>& wanted) {
  PartLags shifts{std::vector<double>(lags_.size(), 0.0), std::vector<std::vector<double>>(lags_.size())};
  std::vector<std::size_t> moved;
  for (std::size_t i = 0; i < wanted.size(); ++i) {
    if (wanted[i]) moved.push_back(i);
  }
  if (moved.size() > kMostSlopes) return shifts;
  auto grams = grams_of(input_, moved, 0.55, 0.05, hooks_);
  if (!grams) return tl::unexpected(grams.error());
  const auto before = lags_;
  std::swap(grams_, *grams);
  (void)settle(moved, kFewFrames);
  for (std::size_t i = 0; i < lags_.size(); ++i) {
    if (std::abs(lags_[i] - before[i]) >= kLeastOfFew) shifts.found[i] = lags_[i] - before[i];
  }
  lags_ = before;
  std::swap(grams_, *grams);
  return shifts;
}

Result<void> Summer::shift(const PartLags& lags, double by_filter, double furthest) {
  const auto before = lags_;
  const auto old_grams = grams_;
  const auto old_ends = ends_;
  const auto old_chosen = chosen_, old_first = first_choice_;
  const double old_left = left();
  for (std::size_t i = 0; i < lags_.size(); ++i) lags_[i] += lags.found[i];
  bool asked = false;
  for (int round = 0;; ++round) {
    std::vector<std::size_t> moved;
    for (std::size_t i = 0; i < lags_.size(); ++i) {
      if (lags_[i] != 0) moved.push_back(i);
    }
    input_.set_lags(lags_);
    auto grams = grams_of(input_, moved, 0.55 + 0.1 * round, 0.1, hooks_);
    if (!grams) return tl::unexpected(grams.error());
    grams_ = std::move(*grams);
    totals_ = grams_.total();
    if (round < kShifts && settle(moved, furthest)) continue;
    if (asked) break;
    const auto nearer = prefer_nearer(lags.nearer);
    if (!nearer) return tl::unexpected(nearer.error());
    if (!*nearer || **nearer <= allowed()) break;
    asked = true, round = std::min(round, kShifts - 1);
  }
  const auto first = steps_.size();
  cut_ends();
  const std::string name = crossed_ ? "channels exchanged and delays" : "delays";
  try_gains(left_at_ends(plain_gains()) > allowed() ? name + " but for the ends" : name);
  const double left_db = power_db(left() / mix_);
  const bool filtered = (by_filter <= kFilterBetter * left() && left_db > kDelayedDb) || (by_filter <= kFilterFarBetter * left() && left_db > kBetweenDb);
  if ((left() <= kWorth * old_left && !filtered) || nulls()) {
    shifted_ = true;
    if (std::ranges::any_of(lags_, [](double lag) { return std::abs(lag - std::round(lag)) >= kWholeLag / 2; })) {
      sum_.limit_db = std::max(sum_.limit_db, kBetweenDb);
      choose();
    }
    return {};
  }
  steps_.resize(first);
  grams_ = old_grams, lags_ = before, chosen_ = old_chosen, first_choice_ = old_first, totals_ = grams_.total(), ends_ = old_ends;
  input_.set_lags(lags_);
  return {};
}

bool Summer::settle(const std::vector<std::size_t>& moved, double furthest) {
  auto all = unknowns(false);
  std::vector<std::pair<std::size_t, std::size_t>> slope_of(input_.count());  // first unknown, and how many
  for (std::size_t s = 0; s < moved.size(); ++s) {
    slope_of[moved[s]] = {all.size(), 0};
    for (std::size_t c = 0; c < grams_.channels; ++c) {
      if (!input_.mono(moved[s]) && c > 0) break;
      all.push_back({input_.count() + s, input_.mono(moved[s]) ? static_cast<int>(c) : -1});
      ++slope_of[moved[s]].second;
    }
  }
  std::vector<double> prior;
  for (const auto& one : all) prior.push_back(one.row < input_.count() ? 1 : 0);
  const auto fit = fit_of(grams_, all, prior);
  bool again = false;
  for (const auto i : moved) {
    double product = 0, energy = 0, error = 0;
    for (std::size_t k = 0; k < slope_of[i].second; ++k) {
      const auto u = slope_of[i].first + k;
      for (std::size_t v = 0; v < all.size(); ++v) {
        if (all[v].row != i || all[v].channel != all[u].channel) continue;
        product += fit.values[v] * fit.values[u], energy += fit.values[v] * fit.values[v], error += fit.errors[u] * fit.errors[u] * fit.values[v] * fit.values[v];
      }
    }
    if (energy <= 0) continue;
    const double off = std::clamp(product / energy, -furthest, furthest), unsure = std::sqrt(error) / energy;
    double lag = lags_[i] + off;
    if (std::abs(lag) < std::max(kLeastLag, kSure * unsure)) lag = 0;
    if (std::abs(lag - std::round(lag)) < std::clamp(kSure * unsure, kNearWhole, 0.1)) lag = std::round(lag);
    again = again || std::abs(lag - lags_[i]) > kSettled;
    lags_[i] = lag;
  }
  return again;
}

void Summer::read_lags() {
  std::vector<double> told;
  for (std::size_t i = 0; i < lags_.size(); ++i) {
    sum_.parts[i].delay_frames = lags_[i];
    if (!left_out(i)) told.push_back(lags_[i]);
  }
  if (told.empty()) return;
  // Beside what is left, fractions of a frame are not sure.
  std::ranges::sort(told);
  const double middle = told[told.size() / 2];
  const bool sure = sum_.nulls || sum_.residual_db <= kUnsureDb;
  const double common = sure ? middle : std::round(middle), unsure = sure ? kLeastLag : kUnsureFrames;
  std::size_t together = 0;
  for (std::size_t i = 0; i < lags_.size(); ++i) {
    if (!sure) sum_.parts[i].delay_frames = std::round(lags_[i]);
    if (left_out(i) || std::abs(lags_[i] - common) > unsure) continue;
    sum_.parts[i].delay_frames = common;
    ++together;
  }
  // Of two that differ, nobody knows which is where it should be.
  if (together == told.size() || (together >= kFewTogether && 2 * together > told.size())) sum_.common_delay_frames = common;
}

}  // namespace sendworthy::pair
