#include "pair/sum_gap.h"

#include <algorithm>
#include <cmath>
#include <utility>

#include "dsp/products.h"

namespace sendworthy::pair {
namespace {

constexpr double kSilentSquare = 1e-9;  // −90 dBFS: silence in a file, dithered to 16 bits too (own)
constexpr double kFaint = 1e-4;         // −40 dB under the block in which most is left: nothing happens there (own)
constexpr double kOverFloor = 4;        // over what may be left of a block: rounding does not come in even portions (own)
constexpr double kElsewhere = 0.01;     // of what is left, outside of the gaps: more, and it is not a matter of a while (own)
constexpr double kTakenOut = 0.05;      // of what is left in the gaps, once the part was taken out: 13 dB (own)
constexpr double kSounds = 0.01;        // of a part's energy, outside of its gaps: less, and the mix does without it at all (own)
constexpr double kBreathS = 1;          // between two gaps: one gap, in which the sound that is missing rests (own)
constexpr double kLeastS = 0.3;         // shorter is a click, or an edge on each side and nothing between (own)
constexpr double kMostOfMix = 0.5;      // of its length: more, and it is no while (own)
constexpr std::size_t kMostGaps = 8;    // more is a gate at work, not a mute (own)
constexpr double kEdgeS = 0.1, kOtherEdgeS = 1;  // a silence has one edge where the gap has it, and the other not far from there (own)

struct Run {
  std::size_t from = 0, to = 0;  // blocks
  [[nodiscard]] std::size_t length() const { return to - from; }
};

class GapFinder {
 public:
  GapFinder(const Grams& grams, const Gains& gains, const Sum& sum, double allowed)
      : grams_(grams), gains_(gains), sum_(sum), allowed_(allowed), blocks_(grams.blocks()), block_s_(static_cast<double>(grams.block) / sum.rate) {}

  Gaps run() {
    Gaps out;
    if (!find_runs()) return out;
    out.left = all_;
    for (const auto& run : runs_) out.gaps.push_back({std::nullopt, false, seconds(run.from), std::min(seconds(run.to), static_cast<double>(grams_.frames) / sum_.rate)});
    if (const auto muted = muted_in_mix()) {
      for (auto& gap : out.gaps) gap.part = muted->first, gap.in_mix = true;
      out.left = muted->second;
      return out;
    }
    for (std::size_t k = 0; k < runs_.size(); ++k) out.gaps[k].part = muted_in_file(runs_[k]);
    return out;
  }

 private:
  [[nodiscard]] double seconds(std::size_t block) const { return static_cast<double>(block) * block_s_; }
  [[nodiscard]] bool counts(std::size_t i) const { return !sum_.parts[i].silent && !sum_.parts[i].whole_mix && !sum_.parts[i].copy_of; }
  [[nodiscard]] double energy_of(std::size_t block, std::size_t i) const {
    double energy = 0;
    for (std::size_t c = 0; c < grams_.channels; ++c) energy += grams_.at(block, c)[dsp::product_at(i, i)];
    return energy;
  }
  [[nodiscard]] bool silent(std::size_t block, std::size_t i) const {
    return energy_of(block, i) <= kSilentSquare * static_cast<double>(grams_.block) * static_cast<double>(grams_.channels);
  }

  // Where something is left; false where that is everywhere, or nowhere for long.
  bool find_runs() {
    const auto size = grams_.pairs() * grams_.channels;
    double most = 0;
    for (std::size_t b = 0; b < blocks_; ++b) {
      left_.push_back(energies_of(grams_, grams_.values.data() + b * size, gains_).left());
      most = std::max(most, left_.back()), all_ += left_.back();
    }
    if (all_ <= allowed_) return false;
    const double nothing = std::max(kFaint * most, kOverFloor * allowed_ / static_cast<double>(blocks_));
    double elsewhere = 0;
    const auto breath = static_cast<std::size_t>(std::llround(kBreathS / block_s_));
    for (std::size_t b = 0; b < blocks_; ++b) {
      if (left_[b] <= nothing) {
        elsewhere += left_[b];
        continue;
      }
      if (!runs_.empty() && b <= runs_.back().to + breath) runs_.back().to = b + 1;
      else runs_.push_back({b, b + 1});
    }
    std::size_t length = 0, longest = 0;
    for (const auto& run : runs_) length += run.length(), longest = std::max(longest, run.length());
    return elsewhere <= std::max(allowed_, kElsewhere * all_) && runs_.size() <= kMostGaps && seconds(longest) >= kLeastS - block_s_ / 2 &&
           static_cast<double>(length) <= kMostOfMix * static_cast<double>(blocks_);
  }

  // The part without which nothing is left in all runs, and what is left then. In blocks with an edge it stands for a share of the time.
  [[nodiscard]] std::optional<std::pair<std::size_t, double>> muted_in_mix() const {
    const auto mix = grams_.rows - 1;
    std::optional<std::pair<std::size_t, double>> found;
    double least = std::max(allowed_, kTakenOut * all_);
    for (std::size_t i = 0; i < gains_.parts; ++i) {
      if (!counts(i)) continue;
      double left = 0, inside = 0, whole = 0;
      for (const auto& run : runs_) {
        for (auto b = run.from; b < run.to; ++b) {
          double pull = 0, energy = 0;
          for (std::size_t c = 0; c < grams_.channels; ++c) {
            const double* here = grams_.at(b, c);
            const double own = gains_.at(c, i);
            double rest = here[dsp::product_at(i, mix)];
            for (std::size_t j = 0; j < gains_.parts; ++j) rest -= gains_.at(c, j) * here[i <= j ? dsp::product_at(i, j) : dsp::product_at(j, i)];
            pull += own * rest, energy += own * own * here[dsp::product_at(i, i)];
          }
          const bool edge = b == run.from || b + 1 == run.to;
          left += std::max(0.0, !edge ? left_[b] + 2 * pull + energy : energy > 0 ? left_[b] - pull * pull / energy : left_[b]);
          inside += energy, whole += edge ? 0 : energy;
        }
      }
      double all = 0;
      for (std::size_t b = 0; b < blocks_; ++b) {
        for (std::size_t c = 0; c < grams_.channels; ++c) all += gains_.at(c, i) * gains_.at(c, i) * grams_.at(b, c)[dsp::product_at(i, i)];
      }
      if (left <= least && whole > 0 && all - inside >= kSounds * all) least = left, found = {i, left};
    }
    return found;
  }

  // The one part whose file is silent while the run lasts and sounds before and behind, with an edge where the run has one.
  [[nodiscard]] std::optional<std::size_t> muted_in_file(const Run& run) const {
    const auto near = static_cast<std::size_t>(std::llround(kEdgeS / block_s_)), far = std::max(near, static_cast<std::size_t>(std::llround(kOtherEdgeS / block_s_)));
    std::optional<std::size_t> found;
    for (std::size_t i = 0; i < gains_.parts; ++i) {
      if (!counts(i) || run.length() < 3) continue;
      // The run's first and last block may hold the edge.
      auto from = run.from + 1, to = run.to - 1;
      bool rests = true;
      for (auto b = from; b < to && rests; ++b) rests = silent(b, i);
      if (!rests) continue;
      while (from > 0 && silent(from - 1, i)) --from;
      while (to < blocks_ && silent(to, i)) ++to;
      if (from == 0 || to == blocks_) continue;
      const auto before = run.from > from ? run.from - from : 0, behind = to > run.to ? to - run.to : 0;
      if (std::min(before, behind) > near || std::max(before, behind) > far) continue;
      if (found) return std::nullopt;
      found = i;
    }
    return found;
  }

  const Grams& grams_;
  const Gains& gains_;
  const Sum& sum_;
  double allowed_;
  std::size_t blocks_;
  double block_s_, all_ = 0;
  std::vector<double> left_;
  std::vector<Run> runs_;
};

}  // namespace

bool Gaps::named() const {
  return !gaps.empty() && std::ranges::all_of(gaps, [](const SumGap& gap) { return gap.part.has_value(); });
}

Gaps find_gaps(const Grams& grams, const Gains& gains, const Sum& sum, double allowed) { return GapFinder(grams, gains, sum, allowed).run(); }

double usual_gain(const Grams& grams, const Gains& gains) {
  const auto size = grams.pairs() * grams.channels;
  std::vector<SumEnergies> blocks;
  double all = 0;
  for (std::size_t b = 0; b < grams.blocks(); ++b) blocks.push_back(energies_of(grams, grams.values.data() + b * size, gains)), all += blocks.back().sum;
  std::vector<double> usual;
  for (const auto& one : blocks) {
    if (one.sum > kFaint * all / static_cast<double>(blocks.size()) && one.product > 0) usual.push_back(one.product / one.sum);
  }
  if (usual.empty()) return 1;
  const auto middle = usual.begin() + static_cast<std::ptrdiff_t>(usual.size() / 2);
  std::nth_element(usual.begin(), middle, usual.end());
  return *middle;
}

}  // namespace sendworthy::pair
