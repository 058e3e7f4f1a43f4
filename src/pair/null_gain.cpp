#include "pair/null_gain.h"

#include <algorithm>
#include <cstddef>
#include <utility>

namespace sendworthy::pair {
namespace {

constexpr double kSilent = 1e-12;
constexpr std::size_t kMostAlike = 20;  // one piece in so many
constexpr double kAsAlike = 1e-4;       // of 1 − ρ²: −40 dB
constexpr double kSameShare = 1e-6, kOverUsualShare = 8;  // of energy that the usual gain leaves: in an edit it is far more
constexpr double kEqualRest = 1e-11;    // −110 dB: less than an offset leaves that would be worth mending

double median(std::vector<double>& values) {
  if (values.empty()) return 0;
  const auto at = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
  std::nth_element(values.begin(), at, values.end());
  return *at;
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
  const auto share_left = [&](const PieceSums& one) {
    const double all = one.new_square + usual * usual * one.old_square;
    return all > 0 ? (all - 2 * usual * one.straight) / all : 0;
  };
  std::vector<double> shares;
  for (const auto& one : pieces) {
    if (is_heard(one, frames)) shares.push_back(share_left(one));
  }
  std::sort(shares.begin(), shares.end());
  const double limit = std::max(kSameShare, kOverUsualShare * (shares.empty() ? 0 : shares[shares.size() / kMostAlike]));
  double product = 0, square = 0;
  for (const auto& one : pieces) {
    if (share_left(one) <= limit) product += one.straight, square += one.old_square;
  }
  return square > 0 ? product / square : usual;
}

}  // namespace sendworthy::pair
