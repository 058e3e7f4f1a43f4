#include "pair/sum.h"

#include <algorithm>
#include <cmath>
#include <limits>
#include <utility>

#include "base/text.h"
#include "dsp/products.h"
#include "pair/sum_ceiling.h"
#include "pair/sum_delay.h"
#include "pair/sum_each.h"
#include "pair/sum_fit.h"
#include "pair/sum_gap.h"
#include "pair/sum_input.h"
#include "pair/sum_reading.h"
#include "pair/sum_rest.h"
#include "pair/sum_sides.h"

namespace sendworthy::pair {
namespace {

constexpr std::size_t kMostParts = 128;
constexpr double kNullDb = -90;        // identical up to dither and word length (own reading)
constexpr double kOverFloorDb = 10;    // truncation in place of dither, and its offset in many parts
constexpr double kConvertedDb = -40;   // converters differ near the top
constexpr double kBetweenDb = -50;     // so does what reads between frames
constexpr double kDither = 0.25;       // of a step squared: a dithered word's error
constexpr double kSilent = 1e-9;       // mean square of the loudest block: −90 dBFS
constexpr double kAsGood = 2;          // energy left, over the least that any step leaves: as good
constexpr double kWorth = 0.5;         // energy left, over that of the steps before: delays are worth it
constexpr double kFilterDb = -14;      // left over the mix: more is no filter
constexpr double kFilterBetter = 0.25; // left by a filter, over what delays leave: then they are none, where they leave as much as this
constexpr double kDelayedDb = -20;
constexpr std::size_t kFewTogether = 3;  // parts that share a delay which others do not have
constexpr double kUnsureFrames = 2, kUnsureDb = -30;  // of delays, beside more that is left
constexpr double kExplained = 0.25;    // likewise: a gain that moves or a filter explains it, 6 dB
constexpr double kOverChance = 0.4;    // likewise, over what gains leave that move over what sounded before: 0.2 and less under limiters (own)
constexpr double kMaybe = 0.5;         // likewise in blocks: worth a look
constexpr double kNearlyAll = 0.05;    // likewise: worth no other
constexpr double kMissingDb = -40;     // over the mix: less may be distortion of the sum
constexpr double kHopeless = 1e-2, kLevelsAlike = 0.9999;  // energy left, over the mix's; a correlation, squared
constexpr int kRounds = 8, kShifts = 3;
constexpr double kSettled = 0.002, kLeastLag = 0.02, kSure = 4, kNearWhole = 0.01;  // frames
constexpr double kFewFrames = 6, kLeastOfFew = 0.1;
constexpr std::size_t kMostSlopes = 32;  // as many rows again, and four times the products
constexpr double kLeastSpanDb = 0.2;
constexpr double kUsualDb = 0.01;         // nearer to one that was tried, a gain is the same (own)
constexpr std::size_t kLeastBlocks = 16;  // of a gain that moves

double db(double ratio) { return ratio <= 1e-16 ? -160 : 10 * std::log10(ratio); }

double step_of(const Reader& file) {
  const auto& format = file.format();
  const int bits = format.lossy || format.kind == audio::SampleKind::real ? 24 : std::clamp(format.container_bits, 8, 24);
  return std::ldexp(1.0, 1 - bits);
}

class Summer {
 public:
  Summer(SumInput input, const std::vector<std::string>& paths, const Hooks& hooks) : input_(std::move(input)), paths_(paths), hooks_(hooks) {}

  Result<Sum> run() {
    lags_.assign(input_.count(), 0.0);
    const auto as_they_are = add_up();
    if (!as_they_are) return tl::unexpected(as_they_are.error());
    if (*as_they_are) return std::move(sum_);
    auto heard = grams_of(input_, {}, 0.1, 0.25, hooks_);
    if (!heard) return tl::unexpected(heard.error());
    grams_ = std::move(*heard);
    if (!describe()) return std::move(sum_);
    try_gains("");
    if (!nulls()) {
      if (auto found = explain(); !found) return tl::unexpected(found.error());
    } else if (chosen_ > 1) {
      // A sound that was panned alone stands in line by two gains as well; exchanged channels need none.
      if (auto found = exchange(find_mirrored(input_, grams_, steps_[chosen_].gains, wanted())); !found) return tl::unexpected(found.error());
    }
    conclude();
    return std::move(sum_);
  }

 private:
  [[nodiscard]] Gains plain_gains(double gain = 1) const { return {grams_.channels, input_.count(), gain}; }
  [[nodiscard]] bool left_out(std::size_t i) const { return sum_.parts[i].silent || sum_.parts[i].whole_mix || sum_.parts[i].copy_of.has_value(); }
  [[nodiscard]] bool nulls() const { return db(steps_[chosen_].left / mix_) <= sum_.limit_db; }
  [[nodiscard]] double left() const { return steps_[chosen_].left; }
  [[nodiscard]] double allowed() const { return mix_ * std::pow(10, sum_.limit_db / 10); }

  // Parts that add up as they are need no products of each with each. Copies do: whether both stand in the mix is asked by their gains.
  Result<bool> add_up() {
    auto plain = plain_sums_of(input_, kHopeless, 0, 0.1, hooks_);
    if (!plain) return tl::unexpected(plain.error());
    if (!*plain) return false;
    grams_ = std::move((*plain)->grams);
    if (!describe()) return true;
    const bool copies = std::ranges::any_of(sum_.parts, [&](const SumPart& part) { return may_be_a_copy(static_cast<std::size_t>(&part - sum_.parts.data())); });
    if (copies || db((*plain)->left() / mix_) > sum_.limit_db) {
      mix_ = 0;
      return false;
    }
    const double product = (*plain)->product, energy = (*plain)->sum, gain = product / energy;
    add_known_step("as they are", plain_gains(), (*plain)->left());
    add_known_step("one gain", plain_gains(gain), std::max(0.0, (*plain)->mix - gain * product));
    chosen_ = 0;
    conclude();
    return true;
  }

  // Whether another part's level stands block by block where this one's does.
  [[nodiscard]] bool may_be_a_copy(std::size_t i) const {
    const auto energy = [&](std::size_t block, std::size_t part) {
      double sum = 0;
      for (std::size_t c = 0; c < grams_.channels; ++c) sum += grams_.at(block, c)[dsp::product_at(part, part)];
      return sum;
    };
    for (std::size_t j = 0; j < i && !sum_.parts[i].silent; ++j) {
      if (sum_.parts[j].silent) continue;
      double own = 0, other = 0, both = 0;
      for (std::size_t b = 0; b < grams_.blocks(); ++b) {
        const double x = energy(b, i), y = energy(b, j);
        own += x * x, other += y * y, both += x * y;
      }
      if (both * both >= kLevelsAlike * own * other) return true;
    }
    return false;
  }

  // Once all were read to their ends, which is when their lengths are known.
  void fill_files() {
    sum_.parts.clear();
    sum_.rate = input_.rate(), sum_.channels = static_cast<int>(input_.channels()), sum_.frames = grams_.frames;
    sum_.mixed_rates = input_.mixed_rates();
    for (std::size_t i = 0; i < input_.count(); ++i) {
      auto& file = input_.reader(i);
      SumPart part;
      part.path = paths_[i], part.channels = file.format().channels, part.sample_rate = file.format().sample_rate;
      part.frames = file.step() == 1 ? file.length() : std::llround(static_cast<double>(file.length()) * file.step());
      sum_.parts.push_back(std::move(part));
    }
  }

  // Whether there is something to be held against something.
  bool describe() {
    fill_files();
    describe_parts(input_, grams_, sum_);
    double loudest = 0;
    const auto mix_at = dsp::product_at(grams_.rows - 1, grams_.rows - 1);
    std::size_t sounding = 0;
    for (std::size_t b = 0; b < grams_.blocks(); ++b) {
      double here = 0;
      for (std::size_t c = 0; c < grams_.channels; ++c) here = std::max(here, grams_.at(b, c)[mix_at]), mix_ += grams_.at(b, c)[mix_at];
      loudest = std::max(loudest, here), sounding += here > 0 ? 1 : 0;
    }
    const double frames = static_cast<double>(std::max<std::int64_t>(1, grams_.frames)), channels = static_cast<double>(grams_.channels);
    sum_.mix_dbfs = std::max(-144.0, db(mix_ / frames / channels));
    if (loudest <= kSilent * static_cast<double>(grams_.block)) sum_.not_measured = "the mix is silent";
    else if (std::ranges::all_of(sum_.parts, [](const SumPart& part) { return part.silent; })) sum_.not_measured = "all parts are silent";
    if (sum_.not_measured) return false;
    double floor = kDither * step_of(input_.mix_reader()) * step_of(input_.mix_reader());
    for (std::size_t i = 0; i < input_.count(); ++i) floor += kDither * step_of(input_.reader(i)) * step_of(input_.reader(i));
    sum_.floor_db = db(floor * channels * static_cast<double>(sounding) * static_cast<double>(grams_.block) / mix_);
    sum_.limit_db = std::max(kNullDb, sum_.floor_db + kOverFloorDb);
    if (sum_.mixed_rates) sum_.limit_db = std::max(sum_.limit_db, kConvertedDb);
    return true;
  }

  void add_known_step(std::string name, Gains gains, double left) {
    Step step;
    step.name = std::move(name), step.gains = std::move(gains), step.left = left;
    step.errors = plain_gains(0), step.tied_to.assign(input_.count(), std::nullopt);
    steps_.push_back(std::move(step));
  }
  void add_step(std::string name, Gains gains) {
    const double left = energies_of(grams_, totals_.data(), gains).left();
    add_known_step(std::move(name), std::move(gains), left);
  }

  // A group beside its members: gains of their own would share its sound between them.
  [[nodiscard]] std::optional<Gains> one_too_many(const Gains& all) const {
    for (std::size_t i = 0; i < input_.count(); ++i) {
      if (left_out(i)) continue;
      auto fewer = all;
      for (std::size_t c = 0; c < grams_.channels; ++c) fewer.at(c, i) = 0;
      if (db(energies_of(grams_, totals_.data(), fewer).left() / mix_) <= sum_.limit_db) return fewer;
    }
    return std::nullopt;
  }

  double best_common(const Gains& shape) const {
    const auto energies = energies_of(grams_, totals_.data(), shape);
    return energies.sum > 0 ? energies.product / energies.sum : 1;
  }
  [[nodiscard]] static Gains times(Gains gains, double factor) {
    for (auto& one : gains.values) one *= factor;
    return gains;
  }

  [[nodiscard]] std::vector<Unknown> unknowns(bool by_channel) const {
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

  Step fitted(std::string name, const std::vector<Unknown>& unknowns, const Gains& start, const std::vector<double>& weights = {}) const {
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

  // Steps without delays, or with those that were found; chooses.
  void try_gains(const std::string& before) {
    totals_ = grams_.total();
    const auto first = steps_.size();
    first_choice_ = first;
    const auto named = [&](const char* name) { return before.empty() ? std::string(name) : before + " and " + name; };
    add_step(before.empty() ? "as they are" : before, plain_gains());
    const bool all_is_well = db(steps_.back().left / mix_) <= sum_.limit_db;
    if (!all_is_well && before.empty()) find_whole_mixes(grams_, sum_);
    add_step(named("one gain"), plain_gains(best_common(plain_gains())));
    if (db(std::min(steps_.back().left, steps_[first].left) / mix_) > sum_.limit_db) {
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

  // The first step that leaves nothing; else the first that leaves about as little as any.
  void choose() {
    double least = std::numeric_limits<double>::infinity();
    for (auto k = first_choice_; k < steps_.size(); ++k) {
      if (db(steps_[k].left / mix_) <= sum_.limit_db) {
        chosen_ = k;
        return;
      }
      least = std::min(least, steps_[k].left);
    }
    for (chosen_ = first_choice_; steps_[chosen_].left > kAsGood * least; ++chosen_) {}
  }

  [[nodiscard]] std::vector<bool> wanted() const {
    std::vector<bool> all;
    for (std::size_t i = 0; i < input_.count(); ++i) all.push_back(!left_out(i));
    return all;
  }

  // Reads again with left and right of these exchanged, and keeps that where it is worth it; false where not.
  Result<bool> exchange(const std::vector<std::size_t>& parts) {
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

  // A part whose left and right are exchanged, or that was folded to mono. True where nothing else is to be explained.
  Result<bool> explain_sides() {
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

  // What a gain for the whole mix cannot tell: all adds up but for a while, or but where the mix stands flat.
  Result<bool> explain_places() {
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

  Result<void> explain() {
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
      auto shifts = lags_in(excerpts, input_.count(), input_.rate());
      const double by_filter = rest_->filter_left;
      const auto any = [](const std::vector<double>& lags) { return std::ranges::any_of(lags, [](double lag) { return lag != 0; }); };
      if (any(shifts)) {
        if (auto done = shift(shifts, by_filter); !done) return done;
      }
      // Sounds without an edge, late by a few frames, have no onset that tells.
      if (!nulls()) {
        const auto few = few_frames(wanted());
        if (!few) return tl::unexpected(few.error());
        shifts = *few;
        if (any(shifts)) {
          if (auto done = shift(shifts, by_filter); !done) return done;
        }
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
    return name_the_rest(moved);
  }

  Result<void> rest(const Gains& gains, std::vector<Excerpt>& excerpts, bool like, double from_share) {
    auto pass = rest_of(input_, grams_, gains, excerpts, like, from_share, std::min(0.2, 1 - from_share), hooks_);
    if (!pass) return tl::unexpected(pass.error());
    rest_ = std::move(*pass);
    return {};
  }

  // Gains under one gain that moves from block to block, where that is worth a look: as the parts are, or each with its own.
  struct Moved {
    Gains gains;
    double left = 0;
  };
  [[nodiscard]] std::optional<Moved> moving_gains() const {
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

  // Shifts of a few frames, by the slopes of all parts at once: small beside what most of a low sound's periods last.
  Result<std::vector<double>> few_frames(const std::vector<bool>& wanted) {
    std::vector<double> shifts(lags_.size(), 0.0);
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
      if (std::abs(lags_[i] - before[i]) >= kLeastOfFew) shifts[i] = lags_[i] - before[i];
    }
    lags_ = before;
    std::swap(grams_, *grams);
    return shifts;
  }

  // Reads again at these offsets, mends them along the slopes, and keeps them where they are worth it, and no filter is by far better.
  Result<void> shift(const std::vector<double>& shifts, double by_filter) {
    const auto before = lags_;
    const auto old_grams = grams_;
    const auto old_chosen = chosen_, old_first = first_choice_;
    const double old_left = left();
    for (std::size_t i = 0; i < lags_.size(); ++i) lags_[i] += shifts[i];
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
      if (!settle(moved) || round == kShifts) break;
    }
    const auto first = steps_.size();
    try_gains(crossed_ ? "channels exchanged and delays" : "delays");
    const bool filtered = by_filter <= kFilterBetter * left() && db(left() / mix_) > kDelayedDb;
    if ((left() <= kWorth * old_left && !filtered) || nulls()) {
      shifted_ = true;
      if (std::ranges::any_of(lags_, [](double lag) { return std::abs(lag - std::round(lag)) >= kWholeLag / 2; })) {
        sum_.limit_db = std::max(sum_.limit_db, kBetweenDb);
        choose();
      }
      return {};
    }
    steps_.resize(first);
    grams_ = old_grams, lags_ = before, chosen_ = old_chosen, first_choice_ = old_first, totals_ = grams_.total();
    input_.set_lags(lags_);
    return {};
  }

  // Lags by Gauss and Newton: a row's slope with the gain s under a row of the gain g is a shift of s/g. False where all stand.
  bool settle(const std::vector<std::size_t>& moved, double furthest = 0.5) {
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

  // What the gains and the delays left: processing of the sum or of a part, something missing, or nobody knows.
  Result<void> name_the_rest(const std::optional<Moved>& moved) {
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
    if (rest_->filter_left <= kExplained * base && db(rest_->filter_left / mix_) <= kFilterDb && grams_.blocks() >= kLeastBlocks) {
      cause_ = SumCause::bus_filter;
      add_step(shifted_ ? "delays and a filter" : "a filter", steps_[chosen_].gains);
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
    else cause_ = db(base / mix_) > kMissingDb ? SumCause::missing : SumCause::unexplained;
    return {};
  }

  // A limiter over the mix and one over each part: gains that move within a hundredth of a second, another for each part.
  Result<bool> each_found(double base) {
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

  bool moving_part_found(double base) {
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

  void conclude() {
    auto step = steps_[chosen_];
    // How well gains of their own are known tells how well it is known that parts need none.
    const auto own = std::find_if(steps_.begin() + static_cast<std::ptrdiff_t>(first_choice_), steps_.end(), [](const Step& one) { return one.fitted; });
    if (!step.fitted && !step.leaves_out && own != steps_.end()) step.errors = own->errors, step.tied_to = own->tied_to, step.fitted = true;
    sum_.step = chosen_, sum_.residual_db = db(step.left / mix_), sum_.nulls = nulls();
    for (const auto& one : steps_) sum_.ladder.push_back({one.name, db(one.left / mix_)});
    auto causes = read_parts(input_, grams_, step, std::max(step.left, allowed()), sum_);
    sum_.common_delay_frames = 0;
    if (crossed_) causes.insert(causes.begin(), SumCause::crossed);
    if (shifted_) {
      read_lags();
      causes.insert(causes.begin(), SumCause::delay);
    }
    const bool nothing = chosen_ == 0 && sum_.nulls;
    if (cause_) {
      // What the ladder removed before comes first where it was the greater part.
      const bool first = causes.empty() || left() > kExplained * steps_.front().left || cause_ == SumCause::bus_processing || cause_ == SumCause::doubled || cause_ == SumCause::gap || cause_ == SumCause::folded || cause_ == SumCause::each_processing || sum_.ceiling;
      if (first) causes.insert(causes.begin(), *cause_);
      else if (*cause_ != SumCause::unexplained) causes.push_back(*cause_);
    }
    if (std::ranges::any_of(sum_.parts, [](const SumPart& part) { return part.whole_mix; })) causes.insert(causes.begin(), SumCause::whole_mix);
    if (std::ranges::any_of(sum_.parts, [](const SumPart& part) { return part.silent; })) causes.push_back(SumCause::silent);
    if (nothing) causes.insert(causes.begin(), SumCause::sums);
    else if (causes.empty()) causes.push_back(SumCause::unexplained);
    sum_.cause = causes.front();
    for (std::size_t k = 1; k < causes.size(); ++k) {
      if (causes[k] != sum_.cause && std::ranges::find(sum_.also, causes[k]) == sum_.also.end()) sum_.also.push_back(causes[k]);
    }
    if (rest_ && (!sum_.nulls || cause_)) sum_.rest = std::move(rest_->rest);
    if (sum_.cause != SumCause::gap && sum_.cause != SumCause::missing) sum_.gaps.clear();
  }

  void read_lags() {
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

  SumInput input_;
  const std::vector<std::string>& paths_;
  const Hooks& hooks_;
  Grams grams_;
  std::vector<double> totals_, lags_;
  double mix_ = 0;
  std::vector<Step> steps_;
  std::size_t chosen_ = 0, first_choice_ = 0;  ///< of those before, none is chosen
  bool shifted_ = false, crossed_ = false;
  std::optional<SumCause> cause_;
  std::optional<RestPass> rest_;
  Sum sum_;
};

}  // namespace

std::string_view to_string(SumCause cause) {
  switch (cause) {
    case SumCause::sums: return "sums";
    case SumCause::one_gain: return "one gain";
    case SumCause::faders: return "faders";
    case SumCause::pan: return "pan";
    case SumCause::polarity: return "polarity";
    case SumCause::delay: return "delay";
    case SumCause::silent: return "silent part";
    case SumCause::missing: return "missing part";
    case SumCause::doubled: return "doubled";
    case SumCause::not_in_mix: return "not in the mix";
    case SumCause::crossed: return "channels exchanged";
    case SumCause::folded: return "folded to mono";
    case SumCause::gap: return "gap in a part";
    case SumCause::whole_mix: return "whole mix";
    case SumCause::part_processing: return "processing of a part";
    case SumCause::bus_processing: return "processing of the sum";
    case SumCause::each_processing: return "processing of each";
    case SumCause::bus_filter: return "filter over the sum";
    case SumCause::bus_distortion: return "distortion of the sum";
    case SumCause::unexplained: return "unexplained";
  }
  return "unexplained";
}

Result<Sum> sum_of(const std::string& mix, const std::vector<std::string>& parts, const Hooks& hooks) {
  if (parts.empty()) return fail(ErrorCode::usage, base::for_terminal(mix) + ": no parts to add up; name at least two");
  Sum sum;
  if (parts.size() == 1) sum.not_measured = "one part alone is no sum";
  if (parts.size() > kMostParts) sum.not_measured = std::to_string(parts.size()) + " parts; at most " + std::to_string(kMostParts) + " are added up";
  if (sum.not_measured) return sum;
  auto input = SumInput::open(mix, parts);
  if (!input) return tl::unexpected(input.error());
  if (input->trouble()) {
    sum.not_measured = input->trouble();
    return sum;
  }
  return Summer(std::move(*input), parts, hooks).run();
}

}  // namespace sendworthy::pair
