#include <algorithm>
#include <cmath>
#include <cstdint>
#include <functional>
#include <optional>
#include <utility>
#include <vector>

#include "dsp/planar.h"
#include "pair/correlate.h"
#include "pair/sum_gap.h"
#include "pair/summer.h"

namespace sendworthy::pair {
namespace {

constexpr double kFarS = 0.6;          // what is further away has onsets that tell (own)
constexpr std::size_t kMostFar = 40;   // parts, the loudest: 100 MB of stereo at 48 kHz
constexpr double kLeastShare = 0.5;    // of the mix without all other parts that the part explains where it stands (own)
constexpr double kFarBetter = 1.5;     // over what it explains where it is held now
constexpr double kFarLess = 0.25;      // or what it leaves over what it leaves there: half a period off, a tone explains much upside down (own)
constexpr double kAsGoodThere = 0.98;  // likewise over the most: then the nearest, of what repeats
constexpr double kSameDb = 0.01;       // a gain nearer to one that was tried

// What a part explains of its targets at each place, over what is there: 0 … 1.
std::vector<double> shares(const std::vector<const Excerpt*>& windows, const std::vector<const Excerpt*>& targets, Correlator& correlator) {
  const auto places = targets.front()->rows.empty() ? std::size_t{0} : targets.front()->rows[0].size() - windows.front()->rows[0].size() + 1;
  std::vector<double> explained(places, 0.0), there(places, 0.0);
  std::vector<float> values;
  for (std::size_t w = 0; w < windows.size(); ++w) {
    for (std::size_t c = 0; c < windows[w]->rows.size(); ++c) {
      const auto &own = windows[w]->rows[c], &target = targets[w]->rows[c];
      const double energy = dsp::pair_sums(own.data(), own.data(), static_cast<int>(own.size())).left_square;
      if (energy <= 0 || target.size() < own.size()) continue;
      correlator.correlate(own, target, false, values);
      double here = 0;
      for (std::size_t n = 0; n < own.size(); ++n) here += static_cast<double>(target[n]) * static_cast<double>(target[n]);
      for (std::size_t at = 0; at < places; ++at) {
        const auto product = static_cast<double>(values[own.size() - 1 + at]);
        explained[at] += product * product / energy, there[at] += here;
        if (at + 1 < places) here += static_cast<double>(target[at + own.size()]) * static_cast<double>(target[at + own.size()]) - static_cast<double>(target[at]) * static_cast<double>(target[at]);
      }
    }
  }
  const double loudest = *std::max_element(there.begin(), there.end());
  for (std::size_t at = 0; at < places; ++at) explained[at] = there[at] > 1e-6 * loudest && there[at] > 0 ? std::min(1.0, explained[at] / there[at]) : 0;
  return explained;
}

// By how many frames a part stands later in its file than in the mix; nothing where it does not stand elsewhere.
std::optional<double> far_lag(const std::vector<const Excerpt*>& windows, const std::vector<const Excerpt*>& targets, std::int64_t reach, Correlator& correlator) {
  if (windows.empty() || windows.front()->rows.empty()) return std::nullopt;
  const auto share = shares(windows, targets, correlator);
  const auto now = static_cast<std::size_t>(reach);
  if (now >= share.size()) return std::nullopt;
  const double most = *std::max_element(share.begin(), share.end());
  if (most < kLeastShare || (most < kFarBetter * share[now] && 1 - most > kFarLess * (1 - share[now]))) return std::nullopt;
  std::optional<std::int64_t> nearest;
  for (std::size_t at = 0; at < share.size(); ++at) {
    const auto lag = reach - static_cast<std::int64_t>(at);
    const bool peak = (at == 0 || share[at] >= share[at - 1]) && (at + 1 == share.size() || share[at] >= share[at + 1]);
    if (peak && share[at] >= kAsGoodThere * most && (!nearest || std::abs(lag) < std::abs(*nearest))) nearest = lag;
  }
  return static_cast<double>(*nearest);
}

}  // namespace

Result<bool> Summer::shift_far() {
  const double by_filter = rest_->filter_left;
  const auto reach = std::llround(kFarS * input_.rate());
  std::vector<std::size_t> parts;
  const auto looked_at = wanted();
  for (std::size_t i = 0; i < looked_at.size(); ++i) {
    if (looked_at[i]) parts.push_back(i);
  }
  std::ranges::stable_sort(parts, std::greater<>{}, [&](std::size_t i) { return sum_.parts[i].mean_dbfs; });
  parts.resize(std::min(parts.size(), kMostFar));
  std::vector<double> tried;
  for (const double gain : {1.0, usual_gain(grams_, plain_gains())}) {
    if (!(gain > 0) || std::ranges::any_of(tried, [&](double other) { return std::abs(20 * std::log10(gain / other)) < kSameDb; })) continue;
    tried.push_back(gain);
    std::vector<Excerpt> excerpts;
    for (const auto i : parts) {
      for (const auto window : strongest_windows(grams_, i)) {
        excerpts.push_back({i, false, window, kPartWindow, {}});
        excerpts.push_back({i, true, window - reach, kPartWindow + 2 * reach, {}});
      }
    }
    const auto pass = rest_of(input_, grams_, plain_gains(gain), excerpts, false, 0.95, 0.02, hooks_);
    if (!pass) return tl::unexpected(pass.error());
    int size = 256;
    while (size < 2 * (kPartWindow + reach)) size *= 2;
    Correlator correlator(size);
    PartLags shifts{std::vector<double>(input_.count(), 0.0), std::vector<std::vector<double>>(input_.count())};
    bool any = false;
    for (const auto i : parts) {
      std::vector<const Excerpt*> windows, targets;
      for (const auto& one : excerpts) {
        if (one.part == i) (one.of_mix ? targets : windows).push_back(&one);
      }
      const auto lag = far_lag(windows, targets, reach, correlator);
      if (lag) shifts.found[i] = *lag, any = any || *lag != 0;
    }
    if (!any) continue;
    const bool before = std::exchange(shifted_, false);
    if (auto done = shift(shifts, by_filter); !done) return tl::unexpected(done.error());
    if (shifted_) return true;
    shifted_ = before;
  }
  return false;
}

}  // namespace sendworthy::pair
