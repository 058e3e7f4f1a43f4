#include "song/beats.h"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <cstdlib>

#include "pair/correlate.h"

namespace sendworthy::song {
namespace {

constexpr double kShortestS = 0.3, kLongestS = 1.2, kLikeliestS = 0.5, kOctaves = 0.9;  // a heuristic: most music walks at about 120 a minute
constexpr double kTightness = 100;   // of the beat's period against the strength of onsets, in their standard deviations
constexpr double kStandsOut = 1.3;   // onsets on beats over all onsets

std::vector<double> smoothed(const std::vector<float>& onsets) {
  // A Gaussian of 20 ms: played beats are no nearer than that to one another's grid.
  constexpr double kWeights[] = {1, 0.8825, 0.6065, 0.3247, 0.1353};
  std::vector<double> out(onsets.size(), 0.0);
  double square = 0, sum = 0;
  for (std::ptrdiff_t i = 0; i < std::ssize(out); ++i) {
    for (std::ptrdiff_t k = -4; k <= 4; ++k) {
      if (i + k < 0 || i + k >= std::ssize(out)) continue;
      out[static_cast<std::size_t>(i)] += kWeights[std::abs(k)] * static_cast<double>(std::max(0.0f, onsets[static_cast<std::size_t>(i + k)]));
    }
    sum += out[static_cast<std::size_t>(i)], square += out[static_cast<std::size_t>(i)] * out[static_cast<std::size_t>(i)];
  }
  const auto n = static_cast<double>(std::max<std::size_t>(1, out.size()));
  const double spread = std::sqrt(std::max(0.0, square / n - sum * sum / n / n));
  if (!(spread > 0)) return {};
  for (auto& one : out) one /= spread;
  return out;
}

// In steps; 0: none.
double period_of(const std::vector<double>& strength) {
  const double step = pair::Onsets::kStepS;
  const auto longest = static_cast<std::size_t>(kLongestS / step), shortest = static_cast<std::size_t>(kShortestS / step);
  if (strength.size() < 8 * longest) return 0;
  double mean = 0;
  for (const double one : strength) mean += one / static_cast<double>(strength.size());
  double best = 0;
  std::size_t at = 0;
  for (auto lag = shortest; lag <= longest; ++lag) {
    // A period that is one comes back at twice itself, too.
    double sum = 0;
    for (std::size_t i = 0; i + 2 * lag < strength.size(); ++i) sum += (strength[i] - mean) * ((strength[i + lag] - mean) + 0.5 * (strength[i + 2 * lag] - mean));
    const double octaves = std::log2(static_cast<double>(lag) * step / kLikeliestS) / kOctaves;
    const double weighted = sum / static_cast<double>(strength.size() - 2 * lag) * std::exp(-0.5 * octaves * octaves);
    if (weighted > best) best = weighted, at = lag;
  }
  return static_cast<double>(at);
}

}  // namespace

std::vector<double> beats_of(const std::vector<float>& onsets) {
  const auto strength = smoothed(onsets);
  const double period = period_of(strength);
  if (period <= 0) return {};
  const auto nearest = static_cast<std::size_t>(std::lround(period / 2)), furthest = static_cast<std::size_t>(std::lround(period * 2));
  std::vector<double> cost(furthest + 1, 0.0);
  for (auto lag = nearest; lag <= furthest; ++lag) cost[lag] = kTightness * std::pow(std::log(static_cast<double>(lag) / period), 2);
  std::vector<double> score(strength.size());
  std::vector<std::size_t> before(strength.size());
  for (std::size_t i = 0; i < strength.size(); ++i) {
    double best = 0;  // the first of all beats
    std::size_t from = i;
    for (auto lag = nearest; lag <= furthest && lag <= i; ++lag) {
      if (const double one = score[i - lag] - cost[lag]; one > best) best = one, from = i - lag;
    }
    score[i] = strength[i] + best, before[i] = from;
  }
  std::vector<double> beats;
  double on = 0, all = 0;
  auto at = static_cast<std::size_t>(std::max_element(score.end() - static_cast<std::ptrdiff_t>(std::min(furthest, score.size())), score.end()) - score.begin());
  for (;;) {
    beats.push_back(static_cast<double>(at) * pair::Onsets::kStepS);
    on += strength[at];
    if (before[at] == at) break;
    at = before[at];
  }
  std::reverse(beats.begin(), beats.end());
  for (const double one : strength) all += one;
  const double over = on / static_cast<double>(beats.size()) / std::max(1e-9, all / static_cast<double>(strength.size()));
  if (over < kStandsOut) beats.clear();
  return beats;
}

}  // namespace sendworthy::song
