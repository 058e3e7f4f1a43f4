#include "measure/shape.h"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <utility>

#include "measure/meter.h"

namespace sendworthy::measure {
namespace {

// Fades.
constexpr double kPlateauS = 4, kPlateauDb = 1;  // this long without a rise ends the search; what counts as a rise
constexpr double kLeastFadeS = 1, kLeastFallDb = 40;
constexpr double kFallsDb[] = {6, 10, 15, 20, 25, 30, 35, 40, 50, 60};
constexpr double kOverFloorDb = 6, kShortestReadS = 0.05;
constexpr std::size_t kFewestReads = 3;
// How far the lengths read at each fall may lie apart, as a factor; and what may remain of the levels without the fade.
// A chord that rings out comes nearer to a fade than any attack, so an ending must fit better.
constexpr double kAlike = 1.8, kLessAlike = 2.15, kRisesAlike = 2.3;
constexpr double kRoughDb = 3, kSmoothDb = 1.8;
constexpr std::size_t kHopTicks = 5, kSummitTicks = 10, kFewestSummits = 5;
constexpr double kNearTopDb = 1.5, kReadDb = 35, kDipDb = 2.5, kSummitsFallDb = 12;
constexpr double kFarOffDb = 12, kShortestGuess = -1.6, kLongestGuess = 0.5, kGuessStep = 0.06, kMusicShare = 0.67;
constexpr double kBentShare = 1.1, kSurelyBentShare = 0.9;

// Fades under which the beat goes on.
constexpr double kOnsetDb = 5, kMostSlopeDb = 3;  // a sound sets in; what a fade's own slope may do to it
constexpr std::size_t kOnsetTicks = 3, kBeforeTicks = 10, kApartTicks = 5;
constexpr std::size_t kBeatHopTicks = 10, kBesideHops = 2;
constexpr double kFirstSightS = 40, kSightShare = 2.4, kLengthStep = 1.06, kCoarseStep = 1.12;
// The outer part of a fade must be as the music is too; but at its very end the gain falls far within 0.1 s.
constexpr double kOuterShare = 0.4, kSteepShare = 0.06;
constexpr std::ptrdiff_t kFewestOuter = 3, kFewestUnder = 5;
constexpr double kSparsest = 0.8;  // sounds a second
constexpr double kMostMissing = 1.7, kPerhapsMissing = 5;  // sounds that may be missing up to the edge
constexpr double kStillEven = 1, kMostLeft = 0.85, kMusicApartDb = 3, kOuterApartDb = 4;
constexpr double kRoughRatio = 1.6, kRoughFreeDb = 0.5;

// Head events.
constexpr double kBodyUnderDb = 35, kQuietDb = -55, kGapUnderDb = 45;
constexpr double kJoinS = 0.08, kBodyS = 3, kBodyShare = 0.7;
constexpr double kPauseS = 0.7, kTalkS = 2.5, kStickS = 0.12, kStickGapS = 0.2;
constexpr double kRingingStickS = 0.26, kAlikeDb = 4, kUnderBodyDb = 6, kNotAgainDb = 2, kOnBeatS = 0.03;
constexpr std::size_t kFewestRinging = 3, kBeatsAfter = 16;
constexpr std::size_t kMostEvents = 8;
constexpr double kEvenly = 0.06;

double db(double power) { return 10 * std::log10(power + 1e-15); }

// The gains that people fade with, over the time from silence as a share of the fade's length.
struct Curve {
  double power;        ///< of the share; 0: half a cosine
  double even_db = 0;  ///< else a straight line in decibels, by so many
  double gain_db(double share) const {
    if (even_db > 0) return even_db * (std::min(share, 1.0) - 1);
    const double u = std::clamp(share, 1e-4, 1.0);
    return power > 0 ? 20 * power * std::log10(u) : 20 * std::log10((1 - std::cos(std::numbers::pi * u)) / 2);
  }
  double share_at(double fall_db) const {
    const double gain = std::pow(10, -fall_db / 20);
    return power > 0 ? std::pow(gain, 1 / power) : 2 / std::numbers::pi * std::asin(std::sqrt(gain));
  }
};
constexpr Curve kCurves[] = {{1}, {1.4}, {2}, {0}};
// Straight in decibels, as what rings out falls; many faders draw those from 55 dB on.
constexpr Curve kEvenFalls[] = {{1, 20}, {1, 30}, {1, 40}, {1, 55}, {1, 70}, {1, 90}, {1, 120}};
constexpr std::span<const Curve> kEvenFades = std::span(kEvenFalls).subspan(3);

// Ticks from where the sound leaves the floor, outermost first.
std::vector<Tick> inward_from(std::span<const Tick> ticks, Edge edge, double floor_db) {
  std::vector<Tick> inward(ticks.begin(), ticks.end());
  if (edge == Edge::tail) std::reverse(inward.begin(), inward.end());
  const auto sounds = [&](const Tick& tick) { return db(static_cast<double>(tick.power)) >= floor_db; };
  inward.erase(inward.begin(), std::find_if(inward.begin(), inward.end(), sounds));
  return inward;
}

std::vector<double> powers_of(const std::vector<Tick>& inward) {
  std::vector<double> powers;
  for (const auto& tick : inward) powers.push_back(static_cast<double>(tick.power));
  return powers;
}

// The highest level so far, of three ticks, from the edge inwards: gaps between beats do not count.
std::vector<double> highest_from(const std::vector<double>& powers) {
  std::vector<double> highest;
  for (std::size_t i = 0; i < powers.size(); ++i) {
    const auto from = i == 0 ? 0 : i - 1, to = std::min(i + 2, powers.size());
    double sum = 0;
    for (auto k = from; k < to; ++k) sum += powers[k];
    const double level = db(sum / static_cast<double>(to - from));
    highest.push_back(highest.empty() ? level : std::max(highest.back(), level));
  }
  return highest;
}

// The level of the music, where nothing rises any more for some seconds.
double top_of(const std::vector<double>& highest, std::size_t plateau) {
  std::size_t inner = 0;
  for (std::size_t i = 1; i < highest.size() && i - inner <= plateau; ++i) {
    if (highest[i] > highest[inner] + kPlateauDb) inner = i;
  }
  return std::min(highest[std::min(highest.size() - 1, inner + plateau)], highest[inner] + kPlateauDb);
}

struct Reading {
  double length_s = 0, apart = 0;  ///< apart: the longest length read over the shortest
};

// How long a fade must be to fall by each step where the sound did, by the curve on which these lengths agree best.
Reading read_length(const std::vector<double>& highest, double top, double tick_s) {
  Reading best;
  for (const auto& curve : kCurves) {
    std::vector<double> lengths;
    for (const double fall : kFallsDb) {
      if (fall > top - highest.front() - kOverFloorDb) break;
      const auto at = std::lower_bound(highest.begin(), highest.end(), top - fall) - highest.begin();
      const double left_s = (static_cast<double>(at) + 0.5) * tick_s;
      if (left_s > kShortestReadS) lengths.push_back(left_s / curve.share_at(fall));
    }
    if (lengths.size() < kFewestReads) continue;
    std::sort(lengths.begin(), lengths.end());
    const double apart = lengths.back() / lengths.front();
    if (best.length_s <= 0 || apart < best.apart) best = {lengths[lengths.size() / 2], apart};
  }
  return best;
}

struct Fit {
  double length_s = 0, rough_db = 0;
  double against_even = 0;  ///< what this fit leaves of the levels, over what the best even fall, as of a ring, leaves
};

// The length without which the levels are most even, and how uneven they then are under the fade. First guess:
// `about_s`.
Fit fit_length(const std::vector<double>& powers, double tick_s, double about_s) {
  const double hop_s = kHopTicks * tick_s;
  const auto hops = std::min(powers.size() / kHopTicks, static_cast<std::size_t>((2 * about_s + 1) / hop_s));
  std::vector<double> levels;
  for (std::size_t i = 0; i < hops; ++i) {
    double sum = 0;
    for (std::size_t k = 0; k < kHopTicks; ++k) sum += powers[i * kHopTicks + k];
    levels.push_back(db(sum / kHopTicks));
  }
  const auto middle_of = [](std::vector<double> x) {
    std::nth_element(x.begin(), x.begin() + static_cast<std::ptrdiff_t>(x.size() / 2), x.end());
    return x[x.size() / 2];
  };
  // How uneven the levels are without a fall of this kind; what lies far off counts no more than so much.
  std::vector<double> bare(hops);
  const auto unevenness = [&](double length, const auto& gain_db) {
    for (std::size_t i = 0; i < hops; ++i)
      bare[i] = levels[i] - gain_db((static_cast<double>(i) + 0.5) * hop_s / length);
    const double middle = middle_of(bare);
    double sum = 0;
    for (auto& level : bare) level = std::abs(level - middle), sum += std::min(level, kFarOffDb);
    return sum;
  };
  const double sight_s = static_cast<double>(hops) * hop_s;
  Fit best;
  double least = 0, even = kFarOffDb * static_cast<double>(hops);
  for (double guess = kShortestGuess; guess < kLongestGuess; guess += kGuessStep) {
    const double length = about_s * std::exp(guess);
    for (const auto& fall : kEvenFalls)
      even = std::min(even, unevenness(length, [&](double share) { return fall.gain_db(share); }));
    if (length > kMusicShare * sight_s) continue;  // music without the fade must be in sight
    for (const auto& curve : kCurves) {
      const double sum = unevenness(length, [&](double share) { return curve.gain_db(share); });
      if (best.length_s > 0 && sum >= least) continue;
      least = sum;
      const auto under = std::clamp(static_cast<std::ptrdiff_t>(length / hop_s), std::ptrdiff_t{1},
                                    static_cast<std::ptrdiff_t>(hops));
      best = {length, middle_of({bare.begin(), bare.begin() + under})};
    }
  }
  best.against_even = least / std::max(even, 1e-9);
  return best;
}

// How far from the edge sounds begin under a fade, each louder than all before; 0: not often enough. A
// tune of single notes has only these to show a fade, as every note falls by itself.
double begins_until(const std::vector<double>& powers, double top, double tick_s) {
  std::vector<std::pair<double, double>> summits;  // s, level
  double dip = 0;
  for (std::size_t i = 0; i + kSummitTicks <= powers.size(); i += kSummitTicks) {
    double sum = 0;
    for (std::size_t k = 0; k < kSummitTicks; ++k) sum += powers[i + k];
    const double level = db(sum / kSummitTicks);
    dip = summits.empty() ? level : std::min(dip, level);
    if (!summits.empty() && level <= summits.back().second) continue;
    if (!summits.empty() && summits.back().second > top - kNearTopDb) break;
    if (summits.empty() || dip < summits.back().second - kDipDb) summits.emplace_back();
    summits.back() = {(static_cast<double>(i) + kSummitTicks / 2.0) * tick_s, level}, dip = level;
  }
  std::erase_if(summits, [&](const auto& summit) { return summit.second < top - kReadDb; });
  const bool often =
      summits.size() >= kFewestSummits && summits.back().second - summits.front().second >= kSummitsFallDb;
  return often ? summits.back().first : 0;
}

double quantile(std::vector<double> x, double q) {
  if (x.empty()) return 0;
  const auto at = x.begin() + static_cast<std::ptrdiff_t>(q * static_cast<double>(x.size() - 1));
  std::nth_element(x.begin(), at, x.end());
  return *at;
}

double roughness(const std::vector<double>& x) {
  const double middle = quantile(x, 0.5);
  double sum = 0;
  for (const double level : x) sum += std::abs(level - middle);
  return sum / static_cast<double>(std::max<std::size_t>(1, x.size()));
}

// Whether a sound sets in at a tick: power or brightness leaps over all of the 0.1 s before, apart from what the gain
// does. What rings does not: a tremolo or two strings that beat have been as loud shortly before.
bool sets_in(const std::vector<Tick>& inward, const std::vector<double>& gain_db, std::size_t at, Edge edge) {
  const auto tick = [&](std::size_t later) { return inward[edge == Edge::tail ? at - later : at + later]; };
  const auto earlier = [&](std::size_t by) { return edge == Edge::tail ? at + by : at - by; };
  double power = 0, motion = 0, power_before = 0, motion_before = 0;
  for (std::size_t k = 0; k < kOnsetTicks; ++k) {
    power += static_cast<double>(tick(k).power) / kOnsetTicks;
    motion += static_cast<double>(tick(k).motion) / kOnsetTicks;
  }
  for (std::size_t k = 2; k <= kBeforeTicks; ++k) {
    const auto &one = inward[earlier(k)], &next = inward[earlier(k - 1)];
    const double slope_db = gain_db[at] - gain_db[earlier(k)];
    const double share = slope_db == 0 ? 0.5 : std::pow(10, std::clamp(slope_db, -kMostSlopeDb, kMostSlopeDb) / 10) / 2;
    power_before = std::max(power_before, share * static_cast<double>(one.power + next.power));
    motion_before = std::max(motion_before, share * static_cast<double>(one.motion + next.motion));
  }
  return db(power) > db(power_before) + kOnsetDb || db(motion) > db(motion_before) + kOnsetDb;
}

// How far from the edge sounds set in, in ticks.
std::vector<std::size_t> onsets_of(const std::vector<Tick>& inward, const std::vector<double>& gain_db, Edge edge,
                                   double floor_db) {
  std::vector<std::size_t> found;
  const auto margin = kBeforeTicks;  // on both sides, as time runs either way
  for (std::size_t i = edge == Edge::tail ? kOnsetTicks - 1 : margin; i + margin < gain_db.size(); ++i) {
    if (!found.empty() && i < found.back() + kApartTicks) continue;
    if (db(static_cast<double>(inward[i].power)) < floor_db + kOverFloorDb) continue;
    if (sets_in(inward, gain_db, i, edge)) found.push_back(i);
  }
  return found;
}

// Levels of a tenth of a second each, and what a gain leaves of them: of each and its neighbours the highest, so that
// the pauses between beats do not count.
class Beats {
 public:
  Beats(const std::vector<double>& powers, double tick_s, double sight_s) : hop_s_(kBeatHopTicks * tick_s) {
    const auto hops = std::min(powers.size() / kBeatHopTicks, static_cast<std::size_t>(sight_s / hop_s_));
    for (std::size_t i = 0; i < hops; ++i) {
      double sum = 0;
      for (std::size_t k = 0; k < kBeatHopTicks; ++k) sum += powers[i * kBeatHopTicks + k];
      levels_.push_back(db(sum / kBeatHopTicks));
    }
    bare_ = wide_ = levels_;
  }
  std::size_t size() const { return levels_.size(); }
  double sight_s() const { return static_cast<double>(size()) * hop_s_; }
  double share(std::size_t hop, double length_s) const { return (static_cast<double>(hop) + 0.5) * hop_s_ / length_s; }
  double level(std::size_t hop) const { return levels_[hop]; }

  template <typename Gain>
  const std::vector<double>& without(double length_s, const Gain& gain_db) {
    for (std::size_t i = 0; i < size(); ++i) bare_[i] = levels_[i] - gain_db(share(i, length_s));
    for (std::size_t i = 0; i < size(); ++i) {
      const auto from = static_cast<std::ptrdiff_t>(i - std::min(i, kBesideHops));
      const auto to = static_cast<std::ptrdiff_t>(std::min(size(), i + kBesideHops + 1));
      wide_[i] = *std::max_element(bare_.begin() + from, bare_.begin() + to);
    }
    return wide_;
  }
  // How uneven these are; what lies far off counts no more than so much.
  template <typename Gain>
  double unevenness(double length_s, const Gain& gain_db) {
    const auto& left = without(length_s, gain_db);
    const double middle = quantile(left, 0.5);
    double sum = 0;
    for (const double level : left) sum += std::min(std::abs(level - middle), kFarOffDb);
    return sum;
  }

 private:
  double hop_s_;
  std::vector<double> levels_, bare_, wide_;
};

struct BeatFit {
  double length_s = 0;
  const Curve* curve = nullptr;
  double left = 0, none = 0;  ///< unevenness: without the fade, as it is
};

BeatFit best_of(Beats& beats, double step, std::span<const Curve> curves) {
  BeatFit best;
  best.none = beats.unevenness(1, [](double) { return 0.0; });
  for (double length = kLeastFadeS; length < kMusicShare * beats.sight_s(); length *= step) {
    for (const auto& curve : curves) {
      const double left = beats.unevenness(length, [&](double share) { return curve.gain_db(share); });
      if (best.curve && left >= best.left) continue;
      best.length_s = length, best.curve = &curve, best.left = left;
    }
  }
  return best;
}

// Whether the music without the fade is under it what it is beside it: as loud, and no rougher.
bool alike_without(Beats& beats, const BeatFit& fit, double floor_db) {
  const auto& bare = beats.without(fit.length_s, [&](double share) { return fit.curve->gain_db(share); });
  std::vector<double> outer, under, beside;
  for (std::size_t i = 0; i < beats.size(); ++i) {
    const double share = beats.share(i, fit.length_s);
    if (share >= 1) beside.push_back(bare[i]);
    if (share >= 1 || share < kSteepShare || beats.level(i) < floor_db + kOverFloorDb) continue;
    under.push_back(bare[i]);
    if (share < kOuterShare) outer.push_back(bare[i]);
  }
  const auto apart_db = [&](const auto& part, double q) { return std::abs(quantile(part, q) - quantile(beside, q)); };
  const bool as_loud = apart_db(under, 0.5) <= kMusicApartDb && apart_db(under, 0.75) <= kMusicApartDb;
  return as_loud && apart_db(outer, 0.5) <= kOuterApartDb &&
         roughness(under) <= kRoughRatio * (roughness(beside) + kRoughFreeDb);
}

// Whether sounds set in under the fade as often as beside it, up to the edge.
bool beat_goes_on(const std::vector<Tick>& inward, const BeatFit& fit, double sight_s, double tick_s, Edge edge,
                  double floor_db) {
  std::vector<double> gain_db;
  const auto ticks = std::min(inward.size(), static_cast<std::size_t>(sight_s / tick_s));
  for (std::size_t i = 0; i < ticks; ++i)
    gain_db.push_back(fit.curve->gain_db((static_cast<double>(i) + 0.5) * tick_s / fit.length_s));
  const auto onsets = onsets_of(inward, gain_db, edge, floor_db);
  const auto within = [&](double seconds) {
    return std::ranges::count_if(onsets, [&](std::size_t at) { return static_cast<double>(at) * tick_s < seconds; });
  };
  const auto under = within(fit.length_s);
  if (under < kFewestUnder || within(kOuterShare * fit.length_s) < kFewestOuter) return false;
  const double beside_s = std::max(kLeastFadeS / 2, sight_s - fit.length_s);
  const double a_second = static_cast<double>(std::ssize(onsets) - under) / beside_s;
  return a_second >= kSparsest && static_cast<double>(onsets.front()) * tick_s * a_second <= kMostMissing;
}

// Rules out, at little cost, that sounds set in up to the edge.
bool rings_out(const std::vector<Tick>& inward, double tick_s, Edge edge, double floor_db) {
  const std::vector<double> level_gain(std::min(inward.size(), static_cast<std::size_t>(kFirstSightS / tick_s)), 0.0);
  const auto onsets = onsets_of(inward, level_gain, edge, floor_db);
  if (std::ssize(onsets) < kFewestUnder) return true;
  return static_cast<double>(onsets.front() * onsets.size()) > kPerhapsMissing * static_cast<double>(level_gain.size());
}

// The length of a fade under which the beat goes on; 0: none. Uneven music has only this to show a fade.
double faded_beat(const std::vector<Tick>& inward, const std::vector<double>& powers, double tick_s, Edge edge,
                  double floor_db) {
  if (rings_out(inward, tick_s, edge, floor_db)) return 0;
  Beats all(powers, tick_s, kFirstSightS);
  const double about_s = best_of(all, kCoarseStep, kCurves).length_s;
  if (about_s < kLeastFadeS) return 0;
  Beats near(powers, tick_s, kSightShare * about_s);
  const auto fit = best_of(near, kLengthStep, kCurves);
  const auto fall = best_of(near, kLengthStep, kEvenFalls);
  const double even_left = std::min(fall.curve ? fall.left : fall.none, fall.none);
  const bool bent = fit.curve && fit.left < kStillEven * even_left && fit.left < kMostLeft * fit.none;
  const auto is_fade = [&](Beats& beats, const BeatFit& one) {
    return alike_without(beats, one, floor_db) && beat_goes_on(inward, one, beats.sight_s(), tick_s, edge, floor_db);
  };
  if (bent && is_fade(near, fit)) return fit.length_s;
  const double even_s = best_of(all, kCoarseStep, kEvenFades).length_s;
  Beats near_even(powers, tick_s, kSightShare * even_s);
  const auto even = best_of(near_even, kLengthStep, kEvenFades);
  return even.curve && even.left < kMostLeft * even.none && is_fade(near_even, even) ? even.length_s : 0;
}

}  // namespace

Fade find_fade(std::span<const Tick> ticks, double tick_s, Edge edge, double floor_db) {
  const auto inward = inward_from(ticks, edge, floor_db);
  if (inward.empty()) return {};
  const auto powers = powers_of(inward);
  const auto highest = highest_from(powers);
  const double top = top_of(highest, static_cast<std::size_t>(kPlateauS / tick_s)), fall = top - db(powers.front());
  if (fall < kLeastFallDb) return {};
  const auto reading = read_length(highest, top, tick_s);
  if (reading.length_s >= kLeastFadeS && reading.apart <= (edge == Edge::head ? kRisesAlike : kLessAlike)) {
    const auto fit = fit_length(powers, tick_s, reading.length_s);
    const bool even = fit.rough_db <= (edge == Edge::head || reading.apart <= kAlike ? kRoughDb : kSmoothDb);
    const bool bent = edge == Edge::head || fit.against_even < kBentShare;
    if (even && bent && fit.length_s >= kLeastFadeS) return {fit.length_s, fall};
  }
  if (const double about_s = begins_until(powers, top, tick_s); about_s >= kLeastFadeS) {
    const auto fit = fit_length(powers, tick_s, about_s);
    // At the tail, a last chord whose parts stop one after the other looks nearly the same.
    const bool bent = edge == Edge::head || fit.against_even < kSurelyBentShare;
    if (bent && fit.length_s >= kLeastFadeS) return {fit.length_s, fall};
  }
  const double length_s = faded_beat(inward, powers, tick_s, edge, floor_db);
  return length_s > 0 ? Fade{length_s, fall} : Fade{};
}

namespace {

// Strongest tick of a stretch, in dB.
struct Stroke {
  double level = -150, motion = -150;
};

Stroke stroke_in(std::span<const Tick> ticks, std::int64_t from, std::int64_t to) {
  Stroke stroke;
  for (auto i = std::max<std::int64_t>(from, 0); i < std::min(to, static_cast<std::int64_t>(ticks.size())); ++i) {
    const auto& tick = ticks[static_cast<std::size_t>(i)];
    stroke.level = std::max(stroke.level, db(static_cast<double>(tick.power)));
    stroke.motion = std::max(stroke.motion, db(static_cast<double>(tick.motion)));
  }
  return stroke;
}

// Sticks, wood blocks and bells that ring for a while look like a beat that is the introduction. A count-in is one sound again
// and again, and no part of the music: much softer than that, or it does not come back on the beats that follow.
bool counts_in(std::span<const Tick> ticks, const std::vector<HeadEvents::Event>& runs, std::int64_t body_at, double beat, double body_db,
               std::int64_t on_beat) {
  if (runs.size() < kFewestRinging) return false;
  Stroke lowest{0, 0}, highest;
  for (const auto& run : runs) {
    const auto stroke = stroke_in(ticks, run.first, run.end);
    lowest = {std::min(lowest.level, stroke.level), std::min(lowest.motion, stroke.motion)};
    highest = {std::max(highest.level, stroke.level), std::max(highest.motion, stroke.motion)};
  }
  if (highest.level - lowest.level > kAlikeDb || highest.motion - lowest.motion > kAlikeDb) return false;
  if (highest.level < body_db - kUnderBodyDb) return true;
  std::size_t beats = 0, without = 0;
  for (std::size_t k = 0; k < kBeatsAfter; ++k) {
    const auto at = body_at + std::llround(static_cast<double>(k) * beat);
    if (at + on_beat >= static_cast<std::int64_t>(ticks.size())) break;
    const auto stroke = stroke_in(ticks, at - on_beat, at + on_beat + 1);
    ++beats, without += stroke.level < lowest.level - kNotAgainDb || stroke.motion < lowest.motion - kNotAgainDb;
  }
  return beats >= kFewestRinging && 2 * without >= beats;
}

}  // namespace

HeadEvents find_head_events(std::span<const Tick> ticks, double tick_s) {
  HeadEvents found;
  if (ticks.empty()) return found;
  std::vector<float> powers;
  for (const auto& tick : ticks) powers.push_back(tick.power);
  const double body = db(static_cast<double>(percentile(powers, 0.75)));
  const double line = std::max(body - kBodyUnderDb, kQuietDb);
  const auto in_ticks = [&](double seconds) { return std::max<std::int64_t>(1, std::llround(seconds / tick_s)); };
  const auto count = static_cast<std::int64_t>(ticks.size());
  const auto active = [&](std::int64_t i) { return db(static_cast<double>(ticks[static_cast<std::size_t>(i)].power)) > line; };

  const auto run_from = [&](std::int64_t start) {
    std::int64_t end = start + 1, next = end;
    for (; next < count; ++next) {
      if (!active(next)) continue;
      if (next - end >= in_ticks(kJoinS)) break;
      end = next + 1;
    }
    return std::pair{end, next};
  };

  std::vector<HeadEvents::Event> runs;
  std::int64_t body_at = -1;
  for (std::int64_t i = 0; i < count; ++i) {
    if (!active(i)) continue;
    if (!runs.empty() && i - runs.back().end < in_ticks(kJoinS)) {
      runs.back().end = i + 1;
      continue;
    }
    // A sound begins: is it the music? Not when it stops at once and quiet follows.
    const auto reach = in_ticks(kBodyS);
    if (i + reach > count) return found;
    const auto [end, next] = run_from(i);
    const bool alone = (end - i <= in_ticks(kRingingStickS) && next - end >= in_ticks(kStickGapS)) ||
                       (end - i <= in_ticks(kTalkS) && next - end >= in_ticks(kPauseS));
    std::int64_t busy = 0;
    for (auto k = i; k < i + reach; ++k) busy += active(k) ? 1 : 0;
    if (!alone && static_cast<double>(busy) >= kBodyShare * static_cast<double>(reach)) {
      body_at = i;
      break;
    }
    runs.push_back({i, i + 1});
    if (runs.size() > kMostEvents) return found;
  }
  if (body_at < 0 || runs.empty()) return found;

  // Nothing but quiet between them.
  const auto quiet = [&](std::int64_t from, std::int64_t to) {
    if (to - from < 4) return false;
    std::vector<float> gap;
    for (auto k = from + 1; k < to - 1; ++k) gap.push_back(ticks[static_cast<std::size_t>(k)].power);
    return db(static_cast<double>(percentile(gap, 0.5))) < std::max(body - kGapUnderDb, -90.0);
  };
  for (std::size_t k = 0; k < runs.size(); ++k) {
    const auto next = k + 1 < runs.size() ? runs[k + 1].first : body_at;
    if (!quiet(runs[k].end, next)) return found;
  }
  const auto pause = body_at - runs.back().end;
  const auto none_above = [&](double s) {
    return std::ranges::all_of(runs, [&](const auto& run) { return run.end - run.first <= in_ticks(s); });
  };
  bool evenly = runs.size() >= 2;
  const double beat = static_cast<double>(body_at - runs.front().first) / static_cast<double>(runs.size());
  for (std::size_t k = 0; k < runs.size(); ++k) {
    const auto next = k + 1 < runs.size() ? runs[k + 1].first : body_at;
    const auto distance = static_cast<double>(next - runs[k].first);
    if (std::abs(distance - beat) > kEvenly * beat + 1.5 || next - runs[k].end < in_ticks(kStickGapS)) evenly = false;
  }
  const bool talk = pause >= in_ticks(kPauseS) && none_above(kTalkS);
  const bool sticks = evenly && (none_above(kStickS) ||
                                 (none_above(kRingingStickS) && counts_in(ticks, runs, body_at, beat, body, in_ticks(kOnBeatS))));
  if (sticks || talk) found.events = runs;
  return found;
}

}  // namespace sendworthy::measure
