#include "pair/sum_delay.h"

#include <algorithm>
#include <cmath>
#include <map>
#include <optional>
#include <utility>

#include "dsp/planar.h"
#include "dsp/products.h"
#include "pair/correlate.h"

namespace sendworthy::pair {
namespace {

constexpr std::int64_t kWindow = kPartWindow;
constexpr double kReachS = 0.025;        // onsets tell a lag to 10 ms
constexpr double kFurthestS = 30;
constexpr std::size_t kWindows = 2, kEach = 3;
constexpr std::size_t kMostPlaces = 180;  // of all parts together: 100 MB of stereo
constexpr double kClear = 7;             // a peak over the usual height of its neighbours
constexpr double kFairly = 4, kFarHigher = 8;  // a peak near by, of a tone held long: likewise, and over the height where the part stands now
constexpr double kHigher = 1.05;         // over the height where the part stands now
constexpr double kAsMuch = 0.98;         // of the energy explained: then the nearer place
constexpr double kBetter = 1.02;         // energy explained at another part's lag, over that where the part stands
constexpr double kLeastShift = 0.02;     // frames
constexpr double kAboutAsMuch = 0.5;     // of the energy explained: another place that is asked for, over the whole mix
constexpr std::size_t kMostNearer = 2;    // of these for each part, beside where it stands
constexpr double kTogether = 0.9;        // energy explained at the lag that most parts share, over that at a part's own

std::int64_t reach_of(double rate) { return std::llround(kReachS * rate); }

}  // namespace

std::vector<std::int64_t> strongest_windows(const Grams& grams, std::size_t part) {
  const auto span = static_cast<std::size_t>(std::max<std::int64_t>(1, kWindow / grams.block));
  std::vector<double> energy(grams.blocks(), 0.0);
  for (std::size_t b = 0; b < energy.size(); ++b) {
    for (std::size_t c = 0; c < grams.channels; ++c) energy[b] += grams.at(b, c)[dsp::product_at(part, part)];
  }
  std::vector<std::int64_t> found;
  while (found.size() < kWindows) {
    double most = 0;
    std::size_t where = 0;
    for (std::size_t b = 0; b == 0 || b + span <= energy.size(); ++b) {
      const auto at = static_cast<std::int64_t>(b) * grams.block;
      if (std::ranges::any_of(found, [&](std::int64_t other) { return std::abs(other - at) < kWindow; })) continue;
      double sum = 0;
      for (auto k = b; k < std::min(energy.size(), b + span); ++k) sum += energy[k];
      if (sum > most) most = sum, where = b;
    }
    if (most <= 0) break;
    found.push_back(static_cast<std::int64_t>(where) * grams.block);
  }
  return found;
}

namespace {

// One place where a part may stand: how high and how clear the correlation's peak is there, and what the part explains.
struct Place {
  double lag = 0;
  double clear = 0, height = 0, explained = 0;
};

// Energy of `target` from `at` on that the part explains, a gain in each channel.
double explained_at(const Rows& part, const Rows& target, std::int64_t at) {
  double sum = 0;
  for (std::size_t c = 0; c < part.size(); ++c) {
    const auto sums = dsp::pair_sums(part[c].data(), target[c].data() + at, static_cast<int>(part[c].size()));
    if (sums.left_square > 0) sum += sums.product * sums.product / sums.left_square;
  }
  return sum;
}

// By how many frames the part must be read later to meet the target better; by least squares along its slope.
double fraction_at(const Rows& part, const Rows& target, std::int64_t at, double* weight) {
  double product = 0, energy = 0;
  for (std::size_t c = 0; c < part.size(); ++c) {
    const auto& x = part[c];
    const float* y = target[c].data() + at;
    double xy = 0, xx = 0;
    for (std::size_t n = 2; n + 2 < x.size(); ++n) xy += static_cast<double>(x[n]) * static_cast<double>(y[n]), xx += static_cast<double>(x[n]) * static_cast<double>(x[n]);
    if (xx <= 0) continue;
    const double gain = xy / xx;
    for (std::size_t n = 2; n + 2 < x.size(); ++n) {
      const double slope = gain * (2.0 / 3 * static_cast<double>(x[n + 1] - x[n - 1]) - 1.0 / 12 * static_cast<double>(x[n + 2] - x[n - 2]));
      product += slope * (static_cast<double>(y[n]) - gain * static_cast<double>(x[n])), energy += slope * slope;
    }
  }
  *weight = energy;
  return energy > 0 ? product / energy : 0;
}

// Windows of the parts, each with the pieces of the mix it may stand in.
class Finder {
 public:
  Finder(const std::vector<Excerpt>& excerpts, std::size_t parts, double rate) : reach_(reach_of(rate)), windows_(parts), nearest_(parts, 0.0), found_(parts), correlator_(size_for(reach_)) {
    for (const auto& one : excerpts) {
      auto& mine = windows_[one.part];
      if (!one.of_mix) mine.push_back({&one, {}});
      else mine.back().targets[one.from + reach_ - mine.back().part->from] = &one;
    }
  }

  // The lag at which a part clearly stands; nothing where no peak is clear.
  std::optional<double> clear_lag(std::size_t part) {
    if (windows_[part].empty()) return std::nullopt;
    std::vector<Place> places;
    double now = 0, most = 0;
    for (const auto& [later, first] : windows_[part].front().targets) {
      const auto place = place_at(part, later, &now);
      if (later == 0) nearest_[part] = place.lag;
      const bool near_by = later == 0 && place.clear >= kFairly && place.height >= kFarHigher * now;
      found_[part].push_back(place.lag);
      if (place.clear >= kClear || near_by) places.push_back(place), most = std::max(most, place.explained);
    }
    const Place* chosen = nullptr;
    for (const auto& place : places) {
      if (place.explained < kAsMuch * most || place.explained <= 0) continue;
      if (chosen == nullptr || std::abs(place.lag) < std::abs(chosen->lag)) chosen = &place;
    }
    if (chosen == nullptr) return std::nullopt;
    return std::abs(chosen->lag) <= static_cast<double>(reach_) && chosen->height < kHigher * now ? 0 : chosen->lag;
  }

  // Where within reach the part stands best, clear or not; asked after clear_lag.
  [[nodiscard]] double nearest(std::size_t part) const { return nearest_[part]; }

  // The best place within reach of each that was looked at; asked after clear_lag.
  [[nodiscard]] const std::vector<double>& places(std::size_t part) const { return found_[part]; }

  // Energy that a part explains at a whole lag; 0 where the pieces do not reach that far.
  double explained(std::size_t part, double lag) const {
    double sum = 0;
    each_target(part, lag, [&](const Rows& own, const Rows& target, std::int64_t at) { sum += explained_at(own, target, at); });
    return sum;
  }
  double fraction(std::size_t part, double lag) const {
    double off = 0, weight = 0;
    each_target(part, lag, [&](const Rows& own, const Rows& target, std::int64_t at) {
      double here = 0;
      const double fraction = fraction_at(own, target, at, &here);
      off += fraction * here, weight += here;
    });
    const double fraction = weight > 0 ? std::clamp(off / weight, -0.7, 0.7) : 0;
    return std::abs(fraction) < kLeastShift ? 0 : fraction;
  }

 private:
  struct Window {
    const Excerpt* part;
    std::map<std::int64_t, const Excerpt*> targets;  ///< by how much later the mix is held to be
  };

  // A window lies within its target at all lags looked at, so that nothing wraps.
  static int size_for(std::int64_t reach) {
    int size = 256;
    while (size < kWindow + 2 * reach) size *= 2;
    return size;
  }

  template <class Take>
  void each_target(std::size_t part, double lag, Take take) const {
    for (const auto& window : windows_[part]) {
      for (const auto& [later, target] : window.targets) {
        const auto at = static_cast<std::int64_t>(std::llround(static_cast<double>(reach_ - later) - lag));
        if (at < 0 || at > 2 * reach_) continue;
        take(window.part->rows, target->rows, at);
        break;
      }
    }
  }

  // `now`: the height where the part stands, when that is looked at.
  Place place_at(std::size_t part, std::int64_t later, double* now) {
    height_.assign(static_cast<std::size_t>(2 * reach_ + 1), 0.0f);
    for (const auto& window : windows_[part]) {
      const auto& target = *window.targets.at(later);
      for (std::size_t c = 0; c < target.rows.size(); ++c) {
        correlator_.correlate(window.part->rows[c], target.rows[c], true, values_);
        for (std::size_t k = 0; k < height_.size(); ++k) {
          const float value = values_[k + static_cast<std::size_t>(kWindow) - 1];
          height_[k] += value * value;
        }
      }
    }
    const auto best = std::max_element(height_.begin(), height_.end()) - height_.begin();
    double sum = 0;
    for (const float value : height_) sum += static_cast<double>(value);
    Place place;
    place.lag = static_cast<double>(reach_ - best - later);
    place.height = static_cast<double>(height_[static_cast<std::size_t>(best)]);
    place.clear = sum > 0 ? std::sqrt(place.height * static_cast<double>(height_.size()) / sum) : 0;
    for (const auto& window : windows_[part]) place.explained += explained_at(window.part->rows, window.targets.at(later)->rows, best);
    if (later == 0) *now = static_cast<double>(height_[static_cast<std::size_t>(reach_)]);
    return place;
  }

  std::int64_t reach_;
  std::vector<std::vector<Window>> windows_;
  std::vector<double> nearest_;
  std::vector<std::vector<double>> found_;
  Correlator correlator_;
  std::vector<float> values_, height_;
};

}  // namespace

std::vector<Excerpt> places_of(const SumInput& input, const Grams& grams, const SumOnsets& onsets, const std::vector<double>& lags, const std::vector<bool>& wanted) {
  const auto reach = reach_of(input.rate());
  const double apart = 5, hop = Onsets::kStepS * input.rate();
  const auto whole = likely_lags(onsets.sum, onsets.mix, apart, 2);
  std::vector<Excerpt> excerpts;
  const auto most = std::max<std::size_t>(2, kMostPlaces / std::max<std::size_t>(1, static_cast<std::size_t>(std::ranges::count(wanted, true))));
  for (std::size_t i = 0; i < input.count(); ++i) {
    if (!wanted[i]) continue;
    std::vector<double> later = {0};  // frames by which the mix may be later than the part
    const auto add = [&](const std::vector<Candidate>& some) {
      for (const auto& one : some) {
        const double lag = one.lag * hop + lags[i];  // onsets were heard where the files have them
        if (later.size() == most || std::abs(lag) > kFurthestS * input.rate()) continue;
        if (std::ranges::none_of(later, [&](double other) { return std::abs(other - lag) < static_cast<double>(reach) / 2; })) later.push_back(lag);
      }
    };
    add(whole);
    add(likely_lags(onsets.parts[i], onsets.rest, apart, kEach));
    add(likely_lags(onsets.parts[i], onsets.mix, apart, kEach));
    for (const auto window : strongest_windows(grams, i)) {
      excerpts.push_back({i, false, window, kWindow, {}});
      for (const double lag : later) excerpts.push_back({i, true, window + std::llround(lag) - reach, kWindow + 2 * reach, {}});
    }
  }
  return excerpts;
}

namespace {

// The lag at which most of the parts stand that clearly stand somewhere, to a frame.
std::optional<double> shared_lag(const std::vector<std::optional<double>>& clear) {
  const auto all = std::ranges::count_if(clear, [](const auto& lag) { return lag.has_value(); });
  for (const auto& lag : clear) {
    if (!lag) continue;
    const auto here = std::ranges::count_if(clear, [&](const auto& other) { return other && std::abs(*other - *lag) < 1; });
    if (here >= 2 && 2 * here > all) return lag;
  }
  return std::nullopt;
}

}  // namespace

PartLags lags_in(const std::vector<Excerpt>& excerpts, std::size_t parts, double rate) {
  Finder finder(excerpts, parts, rate);
  std::vector<std::optional<double>> clear(parts);
  for (std::size_t i = 0; i < parts; ++i) clear[i] = finder.clear_lag(i);
  // What repeats stands in many places nearly as well: one of them may be where the others stand. A tone without a clear peak may stand
  // near by.
  if (const auto shared = shared_lag(clear); shared && *shared != 0) {
    for (std::size_t i = 0; i < parts; ++i) {
      if (!clear[i] && finder.explained(i, finder.nearest(i)) > kBetter * std::max(finder.explained(i, 0), finder.explained(i, *shared))) clear[i] = finder.nearest(i);
      if (clear[i] && std::abs(*clear[i] - *shared) >= 1 && finder.explained(i, *shared) >= kTogether * finder.explained(i, *clear[i])) clear[i] = shared;
    }
  }
  PartLags lags{std::vector<double>(parts, 0.0), std::vector<std::vector<double>>(parts)};
  for (std::size_t i = 0; i < parts; ++i) {
    double lag = clear[i].value_or(0);
    // Tones have many peaks; a part of them goes where another part clearly stands, if that explains more.
    double most = kBetter * finder.explained(i, 0);
    for (std::size_t j = 0; j < parts && !clear[i]; ++j) {
      const double explained = clear[j] && *clear[j] != 0 ? finder.explained(i, *clear[j]) : 0;
      if (explained > most) most = explained, lag = *clear[j];
    }
    lags.found[i] = lag + (clear[i] || lag != 0 ? finder.fraction(i, lag) : 0);
    std::vector<std::pair<double, double>> nearer;  // what it leaves unexplained there, so that the best come first; where
    const auto add = [&](double other) {
      const double there = finder.explained(i, other);
      if (std::abs(other) + 1 > std::abs(lag) || there < kAboutAsMuch * finder.explained(i, lag) || there <= 0) return;
      if (std::ranges::none_of(nearer, [&](const auto& one) { return one.second == other; })) nearer.emplace_back(-there, other);
    };
    for (const double other : finder.places(i)) add(other);
    std::ranges::sort(nearer);
    nearer.resize(std::min(nearer.size(), kMostNearer));
    add(0);
    for (const auto& one : nearer) lags.nearer[i].push_back(one.second);
  }
  return lags;
}

}  // namespace sendworthy::pair
