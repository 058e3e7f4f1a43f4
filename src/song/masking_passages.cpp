#include "song/masking_passages.h"

#include <algorithm>

namespace sendworthy::song {
namespace {

constexpr std::size_t kMost = 3;
constexpr int kBridged = 2;
constexpr double kLeastShare = 0.005;  // 1 % as it is shown

struct Slot {
  double weight = 0, covered = 0;
  bool taken = false;
  [[nodiscard]] double share() const { return weight > 0 ? covered / weight : 0; }
};

double covered_in(const SlotWeights& weights, const SlotShares& shares, std::size_t slot, std::size_t band) {
  return static_cast<double>(weights[slot][band]) * shares[slot][band] / 255;
}

// Last slot of the passage that begins at `from`, walking by `step`.
std::size_t reach(const std::vector<Slot>& slots, std::size_t from, int step, double least_share) {
  std::size_t last = from;
  int rests = 0;
  for (auto at = static_cast<std::int64_t>(from) + step; at >= 0 && at < static_cast<std::int64_t>(slots.size()); at += step) {
    const auto& slot = slots[static_cast<std::size_t>(at)];
    if (slot.taken) break;
    if (slot.weight == 0) {
      if (++rests > kBridged) break;
      continue;
    }
    if (slot.share() < least_share) break;
    rests = 0;
    last = static_cast<std::size_t>(at);
  }
  return last;
}

CoveredPassage described(const SlotWeights& weights, const SlotShares& shares, std::size_t first, std::size_t last) {
  std::array<double, BandFrames::kBands> covered{}, all{};
  for (std::size_t slot = first; slot <= last; ++slot) {
    for (std::size_t b = 0; b < covered.size(); ++b) {
      covered[b] += covered_in(weights, shares, slot, b);
      all[b] += static_cast<double>(weights[slot][b]);
    }
  }
  const auto most = std::max_element(covered.begin(), covered.end());
  auto low = static_cast<std::size_t>(most - covered.begin()), high = low;
  while (low > 0 && covered[low - 1] * 3 >= *most) --low;
  while (high + 1 < covered.size() && covered[high + 1] * 3 >= *most) ++high;
  double sum = 0, of = 0;
  for (auto b = low; b <= high; ++b) sum += covered[b], of += all[b];
  constexpr double kSlot_s = static_cast<double>(kSlotFrames) * BandFrames::kFrame_s;
  return {static_cast<double>(first) * kSlot_s, static_cast<double>(last + 1) * kSlot_s, BandFrames::low_edge_hz(static_cast<int>(low)),
          BandFrames::high_edge_hz(static_cast<int>(high)), of > 0 ? std::min(1.0, sum / of) : 0};
}

}  // namespace

std::vector<CoveredPassage> covered_passages(const SlotWeights& weights, const SlotShares& shares) {
  std::vector<Slot> slots(weights.size());
  for (std::size_t s = 0; s < slots.size(); ++s) {
    for (std::size_t b = 0; b < weights[s].size(); ++b) {
      slots[s].weight += static_cast<double>(weights[s][b]);
      slots[s].covered += covered_in(weights, shares, s, b);
    }
  }
  std::vector<CoveredPassage> passages;
  double first_covered = 0;
  while (passages.size() < kMost) {
    const Slot* most = nullptr;
    for (const auto& slot : slots) {
      if (!slot.taken && slot.covered > 0 && (most == nullptr || slot.covered > most->covered)) most = &slot;
    }
    if (most == nullptr || most->covered < 0.1 * first_covered) break;
    const auto at = static_cast<std::size_t>(most - slots.data());
    first_covered = std::max(first_covered, most->covered);
    const auto first = reach(slots, at, -1, most->share() / 2), last = reach(slots, at, 1, most->share() / 2);
    // Where next to nothing is covered there is no place to look at.
    if (const auto passage = described(weights, shares, first, last); passage.share > kLeastShare) passages.push_back(passage);
    for (auto s = first; s <= last; ++s) slots[s].taken = true;
  }
  return passages;
}

}  // namespace sendworthy::song
