#include "pair/null_gain.h"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <utility>

namespace sendworthy::pair {
namespace {

constexpr double kSilent = 1e-12;
constexpr std::size_t kMostAlike = 20;  // one piece in so many
constexpr double kAsAlike = 1e-4;       // of 1 − ρ²: −40 dB
constexpr double kSameShare = 1e-6, kOverUsualShare = 8;  // of energy that the usual gain leaves: in an edit it is far more
constexpr double kNulled = 1e-4;        // share of energy left: −40 dB
constexpr double kAlike = 0.5;          // ρ²: with less, another sound stands there
constexpr double kAsGood = 1.01, kClearly = 0.5;  // of energy left (own); the latter: most of the sound has another gain
constexpr double kSameGain = 1e-4;
constexpr double kEqualRest = 1e-11;    // −110 dB: less than an offset leaves that would be worth mending

double median(std::vector<double>& values) {
  if (values.empty()) return 0;
  const auto at = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
  std::nth_element(values.begin(), at, values.end());
  return *at;
}

// Share of energy that a gain leaves in a piece.
double share_left(const PieceSums& one, double gain) {
  const double all = one.new_square + gain * gain * one.old_square;
  return all > 0 ? (all - 2 * gain * one.straight) / all : 0;
}

// The gain of the pieces most alike may be that of one part alone, which plays there by itself. It stands where it nulls half of the
// sound, or leaves less than no gain does where no other sound stands.
double held_against_none(double usual, const std::vector<PieceSums>& pieces, double frames) {
  std::size_t heard = 0;
  double straight = 0;
  for (const auto& one : pieces) {
    if (is_heard(one, frames)) ++heard, straight += one.straight;
  }
  const double none = straight < 0 ? -1 : 1;  // a polarity is no level
  // Whether a gain nulls one piece in so many.
  const auto nulls = [&](double gain, std::size_t one_in) {
    const auto count = std::ranges::count_if(pieces, [&](const PieceSums& one) { return is_heard(one, frames) && share_left(one, gain) <= kNulled; });
    return one_in * static_cast<std::size_t>(count) >= heard;
  };
  if (usual == 0 || std::abs(usual - none) < kSameGain || nulls(usual, 2)) return usual;
  PieceSums all;
  for (const auto& one : pieces) {
    if (!is_heard(one, frames) || one.straight * none <= 0 || one.straight * one.straight < kAlike * one.old_square * one.new_square) continue;
    all.old_square += one.old_square, all.new_square += one.new_square, all.straight += one.straight;
  }
  if (all.old_square <= 0) return usual;
  const auto left = [&](double gain) { return all.new_square - 2 * gain * all.straight + gain * gain * all.old_square; };
  // What is left is told over what was taken out: neither may be more.
  const double over_none = std::max(1.0, 1 / (usual * usual));
  const double better = left(none) <= kAsGood * over_none * left(usual) ? none : usual;
  // Unless there is a passage long enough to be the mix with edits beside it.
  const double least = all.straight / all.old_square;
  return left(least) < kClearly * left(better) && !nulls(better, 4) ? least : better;
}

}  // namespace

bool is_heard(const PieceSums& piece, double frames) { return piece.old_square > kSilent * frames; }

bool half_are_equal(std::span<const PieceSums> pieces, double frames) {
  std::size_t heard = 0, equal = 0;
  for (const auto& one : pieces) {
    if (!is_heard(one, frames)) continue;
    ++heard, equal += one.old_square * one.new_square * (1 - kEqualRest) <= one.straight * one.straight ? 1 : 0;
  }
  return 2 * equal >= heard;
}

double gain_of(const std::vector<PieceSums>& pieces, double frames) {
  // The pieces most alike tell the gain: where a voice was taken out, those without it.
  std::vector<std::pair<double, double>> unlike;  // 1 − ρ², and the piece's own gain
  for (const auto& one : pieces) {
    if (!is_heard(one, frames)) continue;
    const double both = one.old_square * one.new_square;
    unlike.emplace_back(both > 0 ? 1 - one.straight * one.straight / both : 1, one.straight / one.old_square);
  }
  std::sort(unlike.begin(), unlike.end());
  std::vector<double> gains;
  const auto best = (unlike.size() + kMostAlike - 1) / kMostAlike;
  // All that are as alike as those, or the few that were inverted among the equal ones might be it.
  for (std::size_t i = 0; i < unlike.size() && (i < best || unlike[i].first <= unlike[best - 1].first + kAsAlike); ++i) gains.push_back(unlike[i].second);
  const double usual = median(gains);
  std::vector<double> shares;
  for (const auto& one : pieces) {
    if (is_heard(one, frames)) shares.push_back(share_left(one, usual));
  }
  std::sort(shares.begin(), shares.end());
  const double limit = std::max(kSameShare, kOverUsualShare * (shares.empty() ? 0 : shares[shares.size() / kMostAlike]));
  double product = 0, square = 0;
  for (const auto& one : pieces) {
    if (share_left(one, usual) <= limit) product += one.straight, square += one.old_square;
  }
  return held_against_none(square > 0 ? product / square : usual, pieces, frames);
}

}  // namespace sendworthy::pair
