#include "pair/summer.h"

#include <algorithm>
#include <cmath>
#include <utility>

#include "dsp/products.h"
#include "pair/sum_ceiling.h"
#include "pair/sum_each.h"
#include "pair/sum_gap.h"
#include "pair/sum_sides.h"

namespace sendworthy::pair {
namespace {

constexpr double kFilterDb = -14;      // left over the mix: more is no filter
constexpr double kOverChance = 0.4;    // likewise, over what gains leave that move over what sounded before: 0.2 and less under limiters (own)
constexpr double kMaybe = 0.5;         // likewise in blocks: worth a look
constexpr double kNearlyAll = 0.05;    // likewise: worth no other
constexpr double kMissingDb = -40;     // over the mix: less may be distortion of the sum
constexpr int kRounds = 8;
constexpr int kFewTimes = 3;
constexpr double kLeastSpanDb = 0.2;
constexpr double kUsualDb = 0.01;         // nearer to one that was tried, a gain is the same (own)
constexpr std::size_t kLeastBlocks = 16;  // of a gain that moves

}  // namespace

Result<bool> Summer::explain_sides() {
  if (grams_.channels != 2) return false;
  input_.turn(true);
  auto turned = grams_of(input_, {}, 0.35, 0.1, hooks_);
  input_.turn(false);
  if (!turned) return tl::unexpected(turned.error());
  const auto exchanged = exchange(find_crossed(*turned, wanted()));
  if (!exchanged) return tl::unexpected(exchanged.error());
  if (*exchanged) return nulls();
  const auto folded = find_folded(*turned, wanted(), allowed());
  if (!folded) return false;
  for (const auto i : folded->parts) sum_.parts[i].folded = true;
  cause_ = SumCause::folded;
  auto gains = plain_gains();
  for (std::size_t i = 0; i < input_.count(); ++i) gains.at(0, i) = gains.at(1, i) = folded->gains[i];
  add_step("but for the sides of parts in mono", gains);
  chosen_ = steps_.size() - 1;
  std::vector<Excerpt> none;
  if (auto done = rest(gains, none, false, 0.5); !done) return tl::unexpected(done.error());
  return true;
}

Result<bool> Summer::explain_places() {
  std::vector<double> tried;
  for (const double gain : {1.0, usual_gain(grams_, plain_gains()), quiet_gain(grams_, plain_gains())}) {
    if (std::ranges::any_of(tried, [&](double other) { return std::abs(20 * std::log10(gain / other)) < kUsualDb; })) continue;
    tried.push_back(gain);
    const auto gains = plain_gains(gain);
    const auto step = [&](const char* name, double left) {
      add_known_step(name, gains, left);
      chosen_ = steps_.size() - 1;
    };
    if (const auto gaps = find_gaps(grams_, gains, sum_, allowed()); !gaps.gaps.empty()) {
      sum_.gaps = gaps.gaps;
      if (gaps.named()) {
        cause_ = SumCause::gap;
        step(sum_.gaps.front().in_mix ? "without a part for a while" : "as they are but for a while", gaps.left);
        std::vector<Excerpt> none;
        if (auto done = rest(gains, none, false, 0.35); !done) return tl::unexpected(done.error());
        return true;
      }
    }
    if (!may_be_clipped(grams_, gains, allowed())) continue;
    const auto found = clipped(input_, grams_, gains, allowed(), hooks_);
    if (!found) return tl::unexpected(found.error());
    if (!*found) continue;
    sum_.ceiling = (*found)->ceiling, cause_ = SumCause::bus_distortion;
    step("clipped", (*found)->left);
    std::vector<Excerpt> none;
    if (auto done = rest(gains, none, false, 0.35); !done) return tl::unexpected(done.error());
    return true;
  }
  return false;
}

Result<void> Summer::explain() {
  if (explain_ends()) return {};
  const auto placed = explain_places();
  if (!placed) return tl::unexpected(placed.error());
  if (*placed) return {};
  // Something that two parts share comes first: gains of their own would smear it over everything.
  for (const auto k : {std::size_t{0}, std::size_t{1}}) {
    if (const auto pair = find_doubled(grams_, steps_[k].gains, steps_[k].left)) {
      sum_.doubled = pair, chosen_ = k;
      cause_ = SumCause::doubled;
      std::vector<Excerpt> none;
      return rest(steps_[k].gains, none, false, 0.35);
    }
  }
  auto moved = moving_gains();
  // Delays first, unless a gain that moves explains nearly all.
  if (!moved || moved->left > kNearlyAll * left()) {
    const auto sides = explain_sides();
    if (!sides) return tl::unexpected(sides.error());
    if (*sides) return {};
    if (crossed_) moved = moving_gains();
    const auto onsets = onsets_of(input_, hooks_);
    if (!onsets) return tl::unexpected(onsets.error());
    input_.set_lags(lags_);
    auto excerpts = places_of(input_, grams_, *onsets, lags_, wanted());
    if (auto done = rest(steps_[chosen_].gains, excerpts, !moved, 0.35); !done) return done;
    const auto shifts = lags_in(excerpts, input_.count(), input_.rate());
    const double by_filter = rest_->filter_left;
    const auto any = [](const std::vector<double>& lags) { return std::ranges::any_of(lags, [](double lag) { return lag != 0; }); };
    if (any(shifts.found)) {
      if (auto done = shift(shifts, by_filter); !done) return done;
    }
    // Sounds without an edge, late by a few frames, have no onset that tells; a low one gives away some frames at a time.
    for (int round = 0; round < kFewTimes && !nulls(); ++round) {
      const auto few = few_frames(wanted());
      if (!few) return tl::unexpected(few.error());
      const double before = left();
      if (any(few->found)) {
        if (auto done = shift(*few, by_filter, kFewFrames); !done) return done;
      }
      if (left() > kWorth * before) break;
    }
    if (shifted_) {
      if (nulls()) {
        rest_.reset();
        return {};
      }
      moved = moving_gains(), rest_.reset();
    }
  }
  std::vector<Excerpt> none;
  if (moved) {
    if (auto done = rest(moved->gains, none, false, 0.8); !done) return done;
    // Knots tell it finer than blocks did.
    if (rest_->moving_left > kExplained * left()) moved.reset(), rest_.reset();
  }
  if (!rest_) {
    if (auto done = rest(steps_[chosen_].gains, none, true, 0.9); !done) return done;
  }
  if (auto done = name_the_rest(moved); !done) return done;
  if (cause_ != SumCause::unexplained && cause_ != SumCause::missing) return {};
  const auto found = shift_far();
  if (!found) return tl::unexpected(found.error());
  if (!*found) return {};
  cause_.reset(), rest_.reset(), sum_.rest.reset();
  if (nulls()) return {};
  if (auto done = rest(steps_[chosen_].gains, none, true, 0.9); !done) return done;
  return name_the_rest(std::nullopt);
}

Result<void> Summer::rest(const Gains& gains, std::vector<Excerpt>& excerpts, bool like, double from_share) {
  auto pass = rest_of(input_, grams_, gains, excerpts, like, from_share, std::min(0.2, 1 - from_share), hooks_);
  if (!pass) return tl::unexpected(pass.error());
  rest_ = std::move(*pass);
  return {};
}

std::optional<Summer::Moved> Summer::moving_gains() const {
  if (grams_.blocks() < kLeastBlocks) return std::nullopt;
  auto start = plain_gains();
  for (std::size_t i = 0; i < input_.count(); ++i) {
    for (std::size_t c = 0; c < grams_.channels && left_out(i); ++c) start.at(c, i) = 0;
  }
  double as_they_are = 0, own = 0;
  auto weights = moving_gain(grams_, start, &as_they_are);
  auto gains = start;
  for (int round = 0; round < kRounds; ++round) {
    gains = fitted("", unknowns(false), gains, weights).gains;
    weights = moving_gain(grams_, gains, &own);
  }
  if (std::min(as_they_are, own) > kMaybe * left()) return std::nullopt;
  if (as_they_are <= kAsGood * kAsGood * own) return Moved{start, as_they_are};
  // The moving gain stands at 0 dB for the most part.
  std::vector<double> middle = weights;
  std::nth_element(middle.begin(), middle.begin() + static_cast<std::ptrdiff_t>(middle.size() / 2), middle.end());
  return Moved{times(gains, middle[middle.size() / 2] != 0 ? middle[middle.size() / 2] : 1), own};
}

Result<void> Summer::name_the_rest(const std::optional<Moved>& moved) {
  const double base = left();
  if (rest_->moving_left <= kExplained * base && moved && rest_->moving_left <= rest_->filter_left) {
    sum_.slow = slow_gain_of(rest_->moving, rest_->sum_energy, static_cast<double>(grams_.block) / input_.rate());
    if (sum_.slow->highest_db - sum_.slow->lowest_db >= kLeastSpanDb) {
      cause_ = SumCause::bus_processing;
      add_step(shifted_ ? "delays and a gain that moves" : "a gain that moves", moved->gains);
      steps_.back().left = rest_->moving_left;
      chosen_ = steps_.size() - 1;
      return {};
    }
    sum_.slow.reset();
  }
  if (rest_->filter_left <= kExplained * base && power_db(rest_->filter_left / mix_) <= kFilterDb && grams_.blocks() >= kLeastBlocks) {
    cause_ = SumCause::bus_filter;
    auto gains = steps_[chosen_].gains;
    if (steps_[chosen_].fitted) {
      // Gains of their own may be nothing but the filter's, which stands in other bands with each part.
      auto one = plain_gains();
      for (std::size_t i = 0; i < input_.count(); ++i) {
        for (std::size_t c = 0; c < grams_.channels && left_out(i); ++c) one.at(c, i) = 0;
      }
      one = times(one, best_common(one));
      std::vector<Excerpt> none;
      auto pass = rest_of(input_, grams_, one, none, false, 0.95, 0.05, hooks_);
      if (!pass) return tl::unexpected(pass.error());
      if (pass->filter_left <= rest_->filter_left) rest_ = std::move(*pass), gains = std::move(one);
    }
    add_step(shifted_ ? "delays and a filter" : "a filter", std::move(gains));
    steps_.back().left = rest_->filter_left;
    chosen_ = steps_.size() - 1;
    return {};
  }
  if (moving_part_found(base)) return {};
  const bool like = rest_->rest.like.has_value();
  if (!like && rest_follows(grams_, steps_[chosen_].gains)) {
    cause_ = SumCause::bus_distortion;
    return {};
  }
  const auto each = each_found(base);
  if (!each) return tl::unexpected(each.error());
  if (*each) return {};
  if (like) cause_ = SumCause::unexplained;
  else cause_ = power_db(base / mix_) > kMissingDb ? SumCause::missing : SumCause::unexplained;
  return {};
}

Result<bool> Summer::each_found(double base) {
  if (input_.count() > kMostEach || grams_.blocks() < kLeastBlocks) return false;
  const auto gains = steps_[chosen_].gains;
  const auto each = each_moving(input_, gains, 0.95, 0.05, hooks_);
  if (!each) return tl::unexpected(each.error());
  const double left = each->left / each->all;
  if (!(left <= kExplained) || each->left > kOverChance * each->by_chance || (rest_->rest.like && 1 - left <= rest_->rest.like_share)) return false;
  cause_ = SumCause::each_processing;
  add_step(shifted_ ? "delays and gains that move over each part" : "gains that move over each part", gains);
  steps_.back().left = left * base, chosen_ = steps_.size() - 1;
  rest_->rest.like.reset();
  return true;
}

bool Summer::moving_part_found(double base) {
  if (grams_.blocks() < kLeastBlocks) return false;
  const auto gains = steps_[chosen_].gains;
  double least = kExplained * base;
  std::optional<std::size_t> which;
  std::vector<double> best;
  for (std::size_t i = 0; i < input_.count(); ++i) {
    if (left_out(i)) continue;
    double here = 0;
    auto moving = moving_part(grams_, gains, i, &here);
    if (here <= least) least = here, which = i, best = std::move(moving);
  }
  if (!which) return false;
  std::vector<double> energy;
  for (std::size_t b = 0; b < grams_.blocks(); ++b) {
    double sum = 0;
    for (std::size_t c = 0; c < grams_.channels; ++c) sum += grams_.at(b, c)[dsp::product_at(*which, *which)];
    energy.push_back(sum);
  }
  sum_.slow = slow_gain_of(best, energy, static_cast<double>(grams_.block) / input_.rate());
  sum_.parts[*which].moving_db = sum_.slow->highest_db - sum_.slow->lowest_db;
  cause_ = SumCause::part_processing;
  add_step(shifted_ ? "delays and a gain that moves over one part" : "a gain that moves over one part", gains);
  steps_.back().left = least, chosen_ = steps_.size() - 1;
  return true;
}

}  // namespace sendworthy::pair
