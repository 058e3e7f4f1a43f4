#include "pair/summer.h"

#include <algorithm>
#include <limits>
#include <utility>

namespace sendworthy::pair {

void Summer::add_known_step(std::string name, Gains gains, double left) {
  Step step;
  step.name = std::move(name), step.gains = std::move(gains), step.left = left;
  step.errors = plain_gains(0), step.tied_to.assign(input_.count(), std::nullopt);
  steps_.push_back(std::move(step));
}

void Summer::add_step(std::string name, Gains gains) {
  const double left = energies_of(grams_, totals_.data(), gains).left();
  add_known_step(std::move(name), std::move(gains), left);
}

std::optional<Gains> Summer::one_too_many(const Gains& all) const {
  for (std::size_t i = 0; i < input_.count(); ++i) {
    if (left_out(i)) continue;
    auto fewer = all;
    for (std::size_t c = 0; c < grams_.channels; ++c) fewer.at(c, i) = 0;
    if (power_db(energies_of(grams_, totals_.data(), fewer).left() / mix_) <= sum_.limit_db) return fewer;
  }
  return std::nullopt;
}

double Summer::best_common(const Gains& shape) const {
  const auto energies = energies_of(grams_, totals_.data(), shape);
  return energies.sum > 0 ? energies.product / energies.sum : 1;
}

Gains Summer::times(Gains gains, double factor) {
  for (auto& one : gains.values) one *= factor;
  return gains;
}

std::vector<Unknown> Summer::unknowns(bool by_channel) const {
  std::vector<Unknown> all;
  for (std::size_t i = 0; i < input_.count(); ++i) {
    if (left_out(i)) continue;
    if (!by_channel && !input_.mono(i)) {
      all.push_back({i, -1});
      continue;
    }
    for (std::size_t c = 0; c < grams_.channels; ++c) {
      if (input_.stands_in(i, c)) all.push_back({i, static_cast<int>(c)});
    }
  }
  return all;
}

Step Summer::fitted(std::string name, const std::vector<Unknown>& unknowns, const Gains& start, const std::vector<double>& weights) const {
  Step step;
  step.name = std::move(name), step.gains = start, step.errors = plain_gains(0), step.tied_to.assign(input_.count(), std::nullopt), step.fitted = true;
  std::vector<double> prior;
  for (const auto& one : unknowns) prior.push_back(start.at(static_cast<std::size_t>(std::max(0, one.channel)), one.row));
  const auto fit = fit_of(grams_, unknowns, prior, weights);
  for (std::size_t u = 0; u < unknowns.size(); ++u) {
    const auto& one = unknowns[u];
    for (std::size_t c = 0; c < grams_.channels; ++c) {
      if (one.channel < 0 || static_cast<std::size_t>(one.channel) == c) step.gains.at(c, one.row) = fit.values[u], step.errors.at(c, one.row) = fit.errors[u];
    }
    if (fit.tied_to[u] >= 0) step.tied_to[one.row] = unknowns[static_cast<std::size_t>(fit.tied_to[u])].row;
  }
  share_with_copies(input_, grams_, sum_, step);
  step.left = energies_of(grams_, totals_.data(), step.gains).left();
  return step;
}

void Summer::try_gains(const std::string& before) {
  totals_ = grams_.total();
  const auto first = steps_.size();
  first_choice_ = first;
  const auto named = [&](const char* name) { return before.empty() ? std::string(name) : before + " and " + name; };
  add_step(before.empty() ? "as they are" : before, plain_gains());
  const bool all_is_well = power_db(steps_.back().left / mix_) <= sum_.limit_db;
  if (!all_is_well && before.empty()) find_whole_mixes(grams_, sum_);
  add_step(named("one gain"), plain_gains(best_common(plain_gains())));
  if (power_db(std::min(steps_.back().left, steps_[first].left) / mix_) > sum_.limit_db) {
    auto without = plain_gains();
    bool fewer = false;
    for (std::size_t i = 0; i < input_.count(); ++i) {
      if (!left_out(i)) continue;
      for (std::size_t c = 0; c < grams_.channels; ++c) without.at(c, i) = 0;
      fewer = fewer || !sum_.parts[i].silent;
    }
    if (fewer) {
      // Gains that lean on a whole mix say nothing of the parts.
      if (std::ranges::any_of(sum_.parts, [](const SumPart& part) { return part.whole_mix; })) first_choice_ = steps_.size();
      add_step(named("without copies and whole mixes"), without);
      add_step(named("one gain without copies and whole mixes"), times(without, best_common(without)));
    }
    if (const auto one = one_too_many(without)) {
      add_step(named("without one part"), *one);
      steps_.back().leaves_out = true;
    }
    const auto start = times(without, best_common(without));
    steps_.push_back(fitted(named("a gain per part"), unknowns(false), start));
    if (grams_.channels > 1) steps_.push_back(fitted(named("a gain per part and channel"), unknowns(true), start));
  }
  choose();
}

void Summer::choose() {
  double least = std::numeric_limits<double>::infinity();
  for (auto k = first_choice_; k < steps_.size(); ++k) {
    if (power_db(steps_[k].left / mix_) <= sum_.limit_db) {
      chosen_ = k;
      return;
    }
    least = std::min(least, steps_[k].left);
  }
  for (chosen_ = first_choice_; steps_[chosen_].left > kAsGood * least; ++chosen_) {}
}

std::vector<bool> Summer::wanted() const {
  std::vector<bool> all;
  for (std::size_t i = 0; i < input_.count(); ++i) all.push_back(!left_out(i));
  return all;
}

Result<bool> Summer::exchange(const std::vector<std::size_t>& parts) {
  if (parts.empty()) return false;
  const auto turn = [&] {
    for (const auto i : parts) input_.cross(i);
  };
  turn();
  auto grams = grams_of(input_, {}, 0.5, 0.1, hooks_);
  if (!grams) return tl::unexpected(grams.error());
  std::swap(grams_, *grams);
  const auto first = steps_.size(), old_chosen = chosen_, old_first = first_choice_;
  const double old_left = left();
  const bool nulled = nulls();
  try_gains("channels exchanged");
  // Where two gains did it before, only fewer are better.
  const bool simpler = nulls() && (!nulled || grams_.channels != 2 || !steps_[chosen_].fitted);
  if (simpler || (!nulled && left() <= kWorth * old_left)) {
    for (const auto i : parts) sum_.parts[i].crossed = true;
    crossed_ = true;
    return true;
  }
  turn();
  steps_.resize(first);
  std::swap(grams_, *grams);
  chosen_ = old_chosen, first_choice_ = old_first, totals_ = grams_.total();
  return false;
}

}  // namespace sendworthy::pair
