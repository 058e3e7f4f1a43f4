// Adding parts up, rung by rung: what each rung leaves, what explains the rest, and what is told of it. Of sum_of() only.
#pragma once

#include <cmath>
#include <cstddef>
#include <cstdint>
#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "pair/sum.h"
#include "pair/sum_delay.h"
#include "pair/sum_fit.h"
#include "pair/sum_input.h"
#include "pair/sum_reading.h"
#include "pair/sum_rest.h"

namespace sendworthy::pair {

inline constexpr double kAsGood = 2;       // energy left, over the least that any step leaves: as good
inline constexpr double kWorth = 0.5;      // energy left, over that of the steps before: worth being kept
inline constexpr double kExplained = 0.25; // energy left by a gain that moves or a filter, over that before: it explains it, 6 dB
inline constexpr double kLeastLag = 0.02;  // frames
inline constexpr double kFraction = 0.5;   // likewise: as far as slopes carry what has no periods so long
inline constexpr std::int64_t kTapsReach = 64;
inline constexpr double kFewFrames = 6;    // likewise, of what is low

/// In dB, at least -160.
[[nodiscard]] inline double power_db(double ratio) { return ratio <= 1e-16 ? -160 : 10 * std::log10(ratio); }

class Summer {
 public:
  Summer(SumInput input, const std::vector<std::string>& paths, const Hooks& hooks) : input_(std::move(input)), paths_(paths), hooks_(hooks) {}
  Result<Sum> run();

 private:
  // What is there (sum.cpp).

  // Parts that add up as they are need no products of each with each. Copies do: whether both stand in the mix is asked by their gains.
  Result<bool> add_up();
  // Whether another part's level stands block by block where this one's does.
  [[nodiscard]] bool may_be_a_copy(std::size_t i) const;
  // Once all were read to their ends, which is when their lengths are known.
  void fill_files();
  // Whether there is something to be held against something.
  bool describe();
  void conclude();

  // The ladder: gains (sum_gains.cpp).

  [[nodiscard]] Gains plain_gains(double gain = 1) const { return {grams_.channels, input_.count(), gain}; }
  [[nodiscard]] bool left_out(std::size_t i) const { return sum_.parts[i].silent || sum_.parts[i].whole_mix || sum_.parts[i].copy_of.has_value(); }
  [[nodiscard]] bool nulls() const { return power_db(steps_[chosen_].left / mix_) <= sum_.limit_db; }
  [[nodiscard]] double left() const { return steps_[chosen_].left; }
  [[nodiscard]] double allowed() const { return mix_ * std::pow(10, sum_.limit_db / 10); }
  void add_known_step(std::string name, Gains gains, double left);
  void add_step(std::string name, Gains gains);
  // A group beside its members: gains of their own would share its sound between them.
  [[nodiscard]] std::optional<Gains> one_too_many(const Gains& all) const;
  double best_common(const Gains& shape) const;
  [[nodiscard]] static Gains times(Gains gains, double factor);
  [[nodiscard]] std::vector<Unknown> unknowns(bool by_channel) const;
  Step fitted(std::string name, const std::vector<Unknown>& unknowns, const Gains& start, const std::vector<double>& weights = {}) const;
  // Steps without delays, or with those that were found; chooses.
  void try_gains(const std::string& before);
  // The first step that leaves nothing; else the first that leaves about as little as any.
  void choose();
  [[nodiscard]] std::vector<bool> wanted() const;
  // Reads again with left and right of these exchanged, and keeps that where it is worth it; false where not.
  Result<bool> exchange(const std::vector<std::size_t>& parts);

  // Where files end (sum_ends.cpp).

  // Frames at the start and at the end of the mix at which files hold nothing where they stand now; of each part in `sum_`.
  std::pair<std::int64_t, std::int64_t> beyond_files();
  // Takes the blocks out of the products that hold such frames. False where all
  // files hold all of it, or that is too much.
  bool cut_ends();
  [[nodiscard]] double left_at_ends(const Gains& gains) const;
  // Whether all adds up but there.
  bool explain_ends();

  // What explains the rest (sum_explain.cpp).

  // A part whose left and right are exchanged, or that was folded to mono. True where nothing else is to be explained.
  Result<bool> explain_sides();
  // What a gain for the whole mix cannot tell: all adds up but for a while, or but where the mix stands flat.
  Result<bool> explain_places();
  Result<void> explain();
  Result<void> rest(const Gains& gains, std::vector<Excerpt>& excerpts, bool like, double from_share);
  // Gains under one gain that moves from block to block, where that is worth a look: as the parts are, or each with its own.
  struct Moved {
    Gains gains;
    double left = 0;
  };
  [[nodiscard]] std::optional<Moved> moving_gains() const;
  // What the gains and the delays left: processing of the sum or of a part, something missing, or nobody knows.
  Result<void> name_the_rest(const std::optional<Moved>& moved);
  // A limiter over the mix and one over each part: gains that move within a hundredth of a second, another for each part.
  Result<bool> each_found(double base);
  bool moving_part_found(double base);

  // Delays (sum_shift.cpp, sum_far.cpp).

  // Shifts of a few frames, by the slopes of all parts at once: small beside what most of a low sound's periods last.
  Result<PartLags> few_frames(const std::vector<bool>& wanted);
  // Reads again at these offsets, mends them along the slopes, and keeps them where they are worth it, and no filter is by far better.
  // `nearer`: where else parts may stand.
  Result<void> shift(const PartLags& lags, double by_filter, double furthest = kFraction);
  // Reads once more with parts in both places, those of `nearer` and whole frames next to where they are held now, and leaves each in the
  // nearest of those that suit the whole mix as well. What is left there; nothing where all stay (sum_nearer.cpp).
  Result<std::optional<double>> prefer_nearer(const std::vector<std::vector<double>>& nearer);
  // Where nothing else explains the rest: a part that stands up to half a second elsewhere, without an onset or a clear peak that tells,
  // beside delays that were found before. True where it was found.
  Result<bool> shift_far();
  // Lags by Gauss and Newton: a row's slope with the gain s under a row of the gain g is a shift of s/g. False where all stand.
  bool settle(const std::vector<std::size_t>& moved, double furthest);
  void read_lags();

  struct Ends {
    std::int64_t start = 0, end = 0;  ///< frames of the mix
    std::vector<double> products;     ///< over the blocks that were taken out; empty: none
  };

  SumInput input_;
  const std::vector<std::string>& paths_;
  const Hooks& hooks_;
  Grams grams_;
  std::vector<double> totals_, lags_;
  double mix_ = 0;
  std::vector<Step> steps_;
  Ends ends_;
  std::size_t chosen_ = 0, first_choice_ = 0;  ///< of those before, none is chosen
  bool shifted_ = false, crossed_ = false;
  std::optional<SumCause> cause_;
  std::optional<RestPass> rest_;
  Sum sum_;
};

}  // namespace sendworthy::pair
