#include "pair/sum_reading.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>
#include <numbers>

#include "dsp/products.h"

namespace sendworthy::pair {
namespace {

constexpr double kSilentSquare = 1e-9;    // −90 dBFS over the loudest block
constexpr double kActive = 1e-6;          // −60 dB
constexpr double kCopy = 1e-6;            // of a copy's energy: −60 dB, so that dither to another word length does not hide it
constexpr double kWholeMix = 0.02;        // of the mix's energy: a correlation of 0.99 (common practice, no source)
constexpr double kLessThanOthers = 0.25;  // the other parts, where one part is nearly all there is
constexpr double kQuarter = 0.25;         // of what may be left: a gain that matters less is not off
constexpr double kSure = 4;               // standard errors
constexpr double kUnsure = 0.1;           // a standard error, over the gain: more, and the part cannot be told apart
constexpr double kLawDb = 0.05;
constexpr std::size_t kLaws = 4;
constexpr double kRim = 0.01;             // of a part's greatest gain: 40 dB less in a channel, and it is not there (own)
constexpr double kHolds = 0.2;            // by how much a regression on a part that is held may miss 1
constexpr double kLeastHeld = 0.2, kHeldOff = 0.05;  // of a part's level in another; by how much it may miss what is sought (own)
constexpr double kGroup = 1e-3;           // of a group's energy that its members leave
constexpr double kMinus = 0.3;            // likewise of what is left on minus a shared sound
constexpr double kFollows = 0.85, kFaster = 1.5;  // of the levels, block by block: correlation, and dB for each dB of the sum
constexpr double kFloorDb = -144;

double db(double ratio) { return ratio <= 0 ? kFloorDb : std::max(kFloorDb, 10 * std::log10(ratio)); }
double amplitude_db(double a) { return db(a * a); }

class Totals {
 public:
  explicit Totals(const Grams& grams) : grams_(grams), sums_(grams.total()) {}
  [[nodiscard]] double at(std::size_t c, std::size_t j, std::size_t k) const {
    return sums_[c * grams_.pairs() + (j <= k ? dsp::product_at(j, k) : dsp::product_at(k, j))];
  }
  [[nodiscard]] double all(std::size_t j, std::size_t k) const {
    double sum = 0;
    for (std::size_t c = 0; c < grams_.channels; ++c) sum += at(c, j, k);
    return sum;
  }
  [[nodiscard]] std::size_t mix() const { return grams_.rows - 1; }

 private:
  const Grams& grams_;
  std::vector<double> sums_;
};

// The pan law by which a mono part stands in two channels at these magnitudes, when it would stand at `common` without. A position p of
// 0 … 1 gives cos, sin (3 dB in the middle), 1 − p, p (6 dB), or the root of both together (4.5 dB); common practice, no source.
PanLaw law_of(double left, double right, double common) {
  left = std::abs(left) / std::abs(common), right = std::abs(right) / std::abs(common);
  if (std::min(left, right) < 1e-3 * std::max(left, right)) return PanLaw::none;  // at the rim all laws are one
  const auto near = [](double value) { return std::abs(20 * std::log10(value)) < kLawDb; };
  if (near(std::hypot(left, right))) return PanLaw::three_db;
  if (near(left + right)) return PanLaw::six_db;
  double low = 0, high = 1;
  for (int i = 0; i < 50; ++i) {
    const double p = (low + high) / 2, angle = p * std::numbers::pi / 2;
    (std::sqrt(std::sin(angle) * p) * left < std::sqrt(std::cos(angle) * (1 - p)) * right ? low : high) = p;
  }
  return near(left / std::sqrt(std::cos(low * std::numbers::pi / 2) * (1 - low))) ? PanLaw::four_and_a_half_db : PanLaw::none;
}

struct Entry {
  double gain, error, energy;
};

class PartReader {
 public:
  PartReader(const SumInput& input, const Grams& grams, const Step& step, double allowed, Sum& sum)
      : input_(input), grams_(grams), totals_(grams), step_(step), allowed_(allowed), sum_(sum) {
    for (std::size_t i = 0; i < sum.parts.size(); ++i) {
      auto& entries = entries_.emplace_back();
      for (std::size_t c = 0; c < grams.channels; ++c) {
        if (input.stands_in(i, c) && totals_.at(c, i, i) > 0) entries.push_back({step.gains.at(c, i), step.errors.at(c, i), totals_.at(c, i, i)});
      }
    }
  }

  std::vector<SumCause> run() {
    const double common = common_gain();
    sum_.common_gain_db = amplitude_db(common), sum_.common_inverted = common < 0;
    for (std::size_t i = 0; i < entries_.size(); ++i) mono_plain_ = mono_plain_ || (placed(i) && known(i, common) && supports_plainly(i, common));
    sum_.common_pan_law = common_law(common);
    std::array<double, 5> weights{};  // of what is off, energy
    for (std::size_t i = 0; i < entries_.size(); ++i) read(i, common, weights);
    constexpr std::array kCauses = {SumCause::doubled, SumCause::not_in_mix, SumCause::polarity, SumCause::faders, SumCause::pan};
    std::array<std::size_t, 5> order = {0, 1, 2, 3, 4};
    std::stable_sort(order.begin(), order.end(), [&](std::size_t a, std::size_t b) { return weights[a] > weights[b]; });
    std::vector<SumCause> causes;
    for (const auto k : order) {
      if (weights[k] > 0) causes.push_back(kCauses[k]);
    }
    double deviation = 0;
    for (const auto& part : entries_) {
      for (const auto& one : part) deviation += (common - 1) * (common - 1) * one.energy;
    }
    if (common < 0) causes.push_back(SumCause::polarity);
    if (std::abs(std::abs(common) - 1) > 1e-9 && deviation > kQuarter * allowed_ && std::abs(sum_.common_gain_db) > 1e-3) causes.push_back(SumCause::one_gain);
    return causes;
  }

 private:
  [[nodiscard]] bool fits(const Entry& one, double gain) const {
    const double off = one.gain - gain;
    return off * off * one.energy <= kQuarter * allowed_ || std::abs(off) <= kSure * one.error;
  }
  [[nodiscard]] bool known(std::size_t i, double common) const {
    if (sum_.parts[i].silent || sum_.parts[i].whole_mix || entries_[i].empty() || step_.tied_to[i]) return false;
    double energy = 0;
    for (const auto& one : entries_[i]) energy += one.energy;
    if (!step_.fitted && common * common * energy < kQuarter * allowed_) return false;  // with or without it, little would be left
    return std::ranges::all_of(entries_[i], [&](const Entry& one) { return one.error <= kUnsure * std::max(std::abs(one.gain), std::abs(common)); });
  }
  [[nodiscard]] bool placed(std::size_t i) const { return input_.mono(i) && entries_[i].size() == 2; }
  /// A mono part that stands in the middle, the same way up in both channels.
  [[nodiscard]] bool in_the_middle(std::size_t i) const {
    const double left = entries_[i][0].gain, right = entries_[i][1].gain;
    return left * right > 0 && std::abs(20 * std::log10(left / right)) < kLawDb;
  }
  [[nodiscard]] PanLaw law_at(std::size_t i, double common) const {
    if (!placed(i) || entries_[i][0].gain * common < 0 || entries_[i][1].gain * common < 0) return PanLaw::none;
    return law_of(entries_[i][0].gain, entries_[i][1].gain, common);
  }

  // How many parts stand as they would at this gain; of them those that need no pan law. In the middle alone a law is but a gain: there it
  // counts where other parts say so, a stereo one that needs none or one beside the middle that follows the same.
  struct Support {
    int all = 0, plain = 0;
  };
  [[nodiscard]] Support support_of(double common) const {
    Support support;
    bool stereo = false;
    std::array<int, kLaws> by_law{};
    std::array<bool, kLaws> beside{};
    for (std::size_t i = 0; i < entries_.size(); ++i) {
      if (!known(i, common) || sum_.parts[i].copy_of) continue;
      if (supports_plainly(i, common)) {
        ++support.plain, stereo = stereo || !input_.mono(i);
      } else if (const auto law = law_at(i, common); law != PanLaw::none) {
        ++by_law[static_cast<std::size_t>(law)];
        beside[static_cast<std::size_t>(law)] |= !in_the_middle(i);
      }
    }
    int most = 0;
    for (std::size_t law = 0; law < kLaws; ++law) most = std::max(most, stereo || beside[law] ? by_law[law] : 0);
    support.all = support.plain + most;
    return support;
  }

  // The gain that most parts share; among equals the one that needs the fewest pan laws, then the one nearest to none.
  [[nodiscard]] double common_gain() const {
    std::vector<double> candidates = {1};
    for (std::size_t i = 0; i < entries_.size(); ++i) {
      if (!known(i, 1) || sum_.parts[i].copy_of) continue;
      double square = 0, plain = 0;
      for (const auto& one : entries_[i]) candidates.push_back(one.gain), square += one.gain * one.gain, plain += std::abs(one.gain);
      if (placed(i)) candidates.push_back(std::sqrt(square)), candidates.push_back(plain);
    }
    double best = 1;
    Support most{-1, -1};
    for (const double gain : candidates) {
      if (gain == 0 || std::abs(gain) < 1e-3) continue;
      const auto support = support_of(gain);
      const auto far = [](double g) { return std::abs(std::log(std::abs(g))) + (g < 0 ? 1 : 0); };
      const bool as_many = support.all == most.all && support.plain == most.plain;
      if (support.all > most.all || (support.all == most.all && support.plain > most.plain) || (as_many && far(gain) < far(best))) most = support, best = gain;
    }
    if (best == 1) return 1;
    // Of those that share it, by energy.
    double weighted = 0, energy = 0;
    for (std::size_t i = 0; i < entries_.size(); ++i) {
      if (!known(i, best) || sum_.parts[i].copy_of) continue;
      for (const auto& one : entries_[i]) {
        if (fits(one, best)) weighted += one.gain * one.energy, energy += one.energy;
      }
    }
    return energy > 0 ? weighted / energy : best;
  }

  void read(std::size_t i, double common, std::array<double, 5>& weights) {
    auto& part = sum_.parts[i];
    const auto& entries = entries_[i];
    part.known = known(i, common);
    part.tied_to = step_.tied_to[i];
    part.channel_gains.clear(), part.channels_inverted.clear();
    double energy = 0, square = 0, error = 0, deviation = 0, in_mix = 0, greatest = 0;
    for (const auto& one : entries) greatest = std::max(greatest, std::abs(one.gain));
    // The sign of a gain that is none, as of a part that is panned to the rim, says nothing.
    const auto opposite = [&](const Entry& one) { return one.gain * common < 0 && std::abs(one.gain) > kRim * greatest && !fits(one, 0); };
    for (std::size_t c = 0; c < step_.gains.values.size() / step_.gains.parts; ++c) {
      const double gain = input_.stands_in(i, c) ? step_.gains.at(c, i) : 0;
      part.channel_gains.push_back(gain);
      part.channels_inverted.push_back(part.known && opposite({gain, step_.errors.at(c, i), totals_.at(c, i, i)}));
    }
    for (const auto& one : entries) {
      energy += one.energy, square += one.gain * one.gain * one.energy, error += one.error * one.error * one.energy;
      deviation += (one.gain - common) * (one.gain - common) * one.energy;
      in_mix += one.gain * one.gain * one.energy;
    }
    if (energy <= 0) return;
    const double magnitude = std::sqrt(square / energy);
    part.gain_db = amplitude_db(magnitude);
    part.gain_error_db = magnitude > 0 ? 20 * std::log10(1 + std::sqrt(error / energy) / magnitude) : 0;
    part.share = totals_.all(totals_.mix(), totals_.mix()) > 0 ? in_mix / totals_.all(totals_.mix(), totals_.mix()) : 0;
    if (part.copy_of && magnitude == 0 && step_.gains.parts > 0) {
      weights[0] += common * common * energy;
      return;
    }
    if (!part.known || supports_plainly(i, common)) return;
    if (std::ranges::all_of(entries, [&](const Entry& one) { return fits(one, 0) && one.gain * one.gain < 0.01 * common * common; })) {
      part.holds = members_of(i);
      if (part.holds.empty()) part.inside = holder_of(i);
      part.not_in_mix = part.holds.empty() && !part.inside;
      weights[part.not_in_mix ? 1 : 0] += deviation;
      return;
    }
    const bool some_opposite = std::ranges::any_of(entries, opposite);
    part.inverted = some_opposite && std::ranges::all_of(entries, [&](const Entry& one) { return one.gain * common < 0 || std::abs(one.gain) <= kRim * greatest || fits(one, 0); });
    if (some_opposite) weights[2] += deviation;
    const double sign = part.inverted ? -1 : 1;
    const bool alike = std::ranges::all_of(entries, [&](const Entry& one) { return fits(one, sign * magnitude) || fits({-one.gain, one.error, one.energy}, sign * magnitude); });
    // A law is on all mono parts that stand in the middle, or on none.
    const bool middle = placed(i) && in_the_middle(i);
    if (placed(i) && !(middle && mono_plain_)) part.pan_law = law_of(entries[0].gain, entries[1].gain, common);
    part.unbalanced = !alike || (part.pan_law != PanLaw::none && !middle);
    const bool at_common = std::ranges::all_of(entries, [&](const Entry& one) { return fits(one, common) || fits({-one.gain, one.error, one.energy}, common); });
    if (part.unbalanced || part.pan_law != PanLaw::none) weights[4] += deviation;
    part.off = !at_common && !part.unbalanced && part.pan_law == PanLaw::none;
    if (part.off && !some_opposite) weights[3] += deviation, part.also_in = also_in(i, magnitude / std::abs(common), common);
    if (part.off && some_opposite) weights[3] += (magnitude - std::abs(common)) * (magnitude - std::abs(common)) * energy;
  }

  // The law that parts in the middle stand under at this gain, where all that are told are mono.
  [[nodiscard]] PanLaw common_law(double common) const {
    bool any = false;
    for (std::size_t i = 0; i < entries_.size(); ++i) {
      if (!known(i, common) || sum_.parts[i].copy_of) continue;
      if (!placed(i)) return PanLaw::none;
      any = any || supports_plainly(i, common);
    }
    return any ? law_of(common, common, 1) : PanLaw::none;
  }

  [[nodiscard]] bool supports_plainly(std::size_t i, double common) const {
    return std::ranges::all_of(entries_[i], [&](const Entry& one) { return fits(one, common); });
  }

  // The parts that this one is the sum of, where there are two or more.
  [[nodiscard]] std::vector<std::size_t> members_of(std::size_t i) const {
    std::vector<std::size_t> members;
    const double own = totals_.all(i, i);
    double left = own;
    for (std::size_t j = 0; j < entries_.size(); ++j) {
      const double energy = totals_.all(j, j);
      if (j == i || energy <= 0 || sum_.parts[j].silent || sum_.parts[j].whole_mix) continue;
      if (std::abs(totals_.all(j, i) / energy - 1) >= kHolds) continue;
      left += energy - 2 * totals_.all(j, i);
      for (const auto k : members) left += 2 * totals_.all(k, j);
      members.push_back(j);
    }
    if (members.size() < 2 || left > kGroup * own) members.clear();
    return members;
  }

  // Another part that holds this one's sound as well, as much softer as would leave just this gain for its own file.
  [[nodiscard]] std::optional<std::size_t> also_in(std::size_t i, double gain, double common) const {
    const double held = 1 - gain, own = totals_.all(i, i);
    if (held < kLeastHeld || held > 1 - kLeastHeld) return std::nullopt;
    for (std::size_t j = 0; j < entries_.size(); ++j) {
      if (j == i || !known(j, common) || sum_.parts[j].copy_of || !supports_plainly(j, common)) continue;
      const double there = totals_.all(j, i) / own;
      if (std::abs(there - held) > kHeldOff) continue;
      // As each block would have it: what only sounds alike agrees here and there.
      double squares = 0;
      for (std::size_t b = 0; b < grams_.blocks(); ++b) {
        double both = 0, energy = 0;
        for (std::size_t c = 0; c < grams_.channels; ++c) {
          const double* here = grams_.at(b, c);
          both += here[i <= j ? dsp::product_at(i, j) : dsp::product_at(j, i)], energy += here[dsp::product_at(i, i)];
        }
        squares += (both - there * energy) * (both - there * energy);
      }
      if (std::sqrt(squares) / own <= kHeldOff / kSure * 2) return j;
    }
    return std::nullopt;
  }

  // Another part in which this one stands as it is.
  [[nodiscard]] std::optional<std::size_t> holder_of(std::size_t i) const {
    std::optional<std::size_t> holder;
    double nearest = kHolds;
    for (std::size_t j = 0; j < entries_.size(); ++j) {
      const double own = totals_.all(i, i);
      if (j == i || own <= 0 || sum_.parts[j].silent || sum_.parts[j].whole_mix) continue;
      const double off = std::abs(totals_.all(j, i) / own - 1);
      if (off < nearest) nearest = off, holder = j;
    }
    return holder;
  }

  const SumInput& input_;
  const Grams& grams_;
  Totals totals_;
  const Step& step_;
  double allowed_;
  bool mono_plain_ = false;  ///< a mono part stands at the common gain
  Sum& sum_;
  std::vector<std::vector<Entry>> entries_;
};

}  // namespace

void describe_parts(const SumInput& input, const Grams& grams, Sum& sum) {
  const Totals totals(grams);
  for (std::size_t i = 0; i < sum.parts.size(); ++i) {
    auto& part = sum.parts[i];
    double rows = 0, energy = 0, loudest = 0, active = 0;
    for (std::size_t c = 0; c < grams.channels; ++c) {
      if (input.stands_in(i, c) && (rows == 0 || !input.mono(i))) ++rows, energy += totals.at(c, i, i);
    }
    std::vector<double> blocks(grams.blocks(), 0.0);
    for (std::size_t b = 0; b < blocks.size(); ++b) {
      for (std::size_t c = 0; c < grams.channels; ++c) blocks[b] = std::max(blocks[b], grams.at(b, c)[dsp::product_at(i, i)]);
      loudest = std::max(loudest, blocks[b]);
    }
    for (const double one : blocks) active += one > kActive * loudest ? 1 : 0;
    part.mean_dbfs = db(energy / std::max(1.0, rows) / static_cast<double>(std::max<std::int64_t>(1, grams.frames)));
    part.loudest_dbfs = db(loudest / static_cast<double>(std::min(grams.block, std::max<std::int64_t>(1, grams.frames))));
    part.active = blocks.empty() || loudest <= 0 ? 0 : active / static_cast<double>(blocks.size());
    part.silent = loudest <= kSilentSquare * static_cast<double>(grams.block);
    for (std::size_t j = 0; j < i && !part.silent && !part.copy_of; ++j) {
      if (sum.parts[j].silent || sum.parts[j].copy_of) continue;
      const double other = totals.all(j, j), own = totals.all(i, i), both = totals.all(j, i);
      if (own - both * both / other > kCopy * own) continue;
      part.copy_of = j, part.copy_gain_db = amplitude_db(both / other);
    }
  }
}

void find_whole_mixes(const Grams& grams, Sum& sum) {
  const Totals totals(grams);
  const auto mix = totals.mix();
  for (std::size_t i = 0; i < sum.parts.size(); ++i) {
    if (sum.parts[i].silent) continue;
    const double own = totals.all(i, i), both = totals.all(i, mix), all = totals.all(mix, mix), left = all - both * both / own;
    Gains others(grams.channels, sum.parts.size(), 1);
    for (std::size_t c = 0; c < grams.channels; ++c) others.at(c, i) = 0;
    const double rest = energies_of(grams, grams.total().data(), others).sum;
    sum.parts[i].whole_mix = left < kWholeMix * all && left < kLessThanOthers * both * both / (own * own) * rest;
  }
}

std::vector<SumCause> read_parts(const SumInput& input, const Grams& grams, const Step& step, double allowed, Sum& sum) {
  return PartReader(input, grams, step, allowed, sum).run();
}

void share_with_copies(const SumInput& input, const Grams& grams, const Sum& sum, Step& step) {
  const Totals totals(grams);
  const auto& parts = sum.parts;
  std::vector<double> others, mono;
  for (std::size_t i = 0; i < parts.size(); ++i) {
    const bool shared = std::ranges::any_of(parts, [&](const SumPart& part) { return part.copy_of == i; });
    if (!shared && !parts[i].copy_of && !parts[i].silent && !parts[i].whole_mix) (input.mono(i) ? mono : others).push_back(step.gains.at(0, i));
  }
  if (others.empty()) others = mono;
  std::sort(others.begin(), others.end());
  const double common = others.empty() ? 1 : others[others.size() / 2];
  for (std::size_t i = 0; i < parts.size(); ++i) {
    if (!parts[i].copy_of || parts[i].whole_mix) continue;
    const auto first = *parts[i].copy_of;
    double fitted = 0;
    for (std::size_t c = 0; c < grams.channels; ++c) fitted += step.gains.at(c, first) * totals.at(c, first, first);
    const double energy = totals.all(first, first), copy = totals.all(first, i) / energy, gain = fitted / energy;
    if (!(copy > 0) || std::abs(gain - (1 + copy) * common) >= std::abs(gain - common)) continue;
    for (std::size_t c = 0; c < grams.channels; ++c) step.gains.at(c, first) /= 1 + copy, step.gains.at(c, i) = step.gains.at(c, first);
  }
}

SlowGain slow_gain_of(const std::vector<double>& gains, const std::vector<double>& energy, double step_s) {
  SlowGain slow;
  slow.step_s = step_s;
  double loudest = 0, all = 0;
  for (const double one : energy) loudest = std::max(loudest, one);
  std::vector<std::size_t> order;
  for (std::size_t b = 0; b < std::min(gains.size(), energy.size()); ++b) {
    const bool sounds = energy[b] > 1e-6 * loudest && gains[b] > 0;
    slow.over_time.push_back(sounds ? static_cast<float>(20 * std::log10(gains[b])) : std::numeric_limits<float>::quiet_NaN());
    if (sounds && energy[b] > 1e-3 * loudest) order.push_back(b), all += energy[b];
  }
  std::sort(order.begin(), order.end(), [&](std::size_t a, std::size_t b) { return gains[a] < gains[b]; });
  double below = 0;
  bool low = false;
  for (const auto b : order) {
    const double value = static_cast<double>(slow.over_time[b]), at = static_cast<double>(b) * step_s;
    if (below <= 0.95 * all) slow.highest_db = value, slow.highest_at_s = at;
    below += energy[b];
    if (!low && below >= 0.05 * all) low = true, slow.lowest_db = value, slow.lowest_at_s = at;
  }
  return slow;
}

bool rest_follows(const Grams& grams, const Gains& gains) {
  const auto size = grams.pairs() * grams.channels;
  std::vector<SumEnergies> blocks;
  double mix = 0;
  for (std::size_t b = 0; b < grams.blocks(); ++b) {
    blocks.push_back(energies_of(grams, grams.values.data() + b * size, gains));
    mix += blocks.back().mix;
  }
  double n = 0, x = 0, y = 0, xx = 0, yy = 0, xy = 0;
  for (const auto& one : blocks) {
    if (one.sum <= kActive * mix / static_cast<double>(blocks.size())) continue;
    const double sum = db(one.sum / mix), rest = db(one.left(one.product / one.sum) / mix);
    ++n, x += sum, y += rest, xx += sum * sum, yy += rest * rest, xy += sum * rest;
  }
  const double spread = n * xx - x * x, scatter = n * yy - y * y, together = n * xy - x * y;
  return spread > 0 && scatter > 0 && together > kFollows * std::sqrt(spread * scatter) && together > kFaster * spread;
}

std::optional<std::pair<std::size_t, std::size_t>> find_doubled(const Grams& grams, const Gains& gains, double left) {
  const Totals totals(grams);
  std::vector<double> pull(gains.parts, 0.0), energy(gains.parts, 0.0);
  for (std::size_t i = 0; i < gains.parts; ++i) {
    for (std::size_t c = 0; c < grams.channels; ++c) {
      const double a = gains.at(c, i);
      pull[i] += a * totals.at(c, i, totals.mix());
      for (std::size_t j = 0; j < gains.parts; ++j) pull[i] -= a * gains.at(c, j) * totals.at(c, i, j);
      energy[i] += a * a * totals.at(c, i, i);
    }
  }
  std::optional<std::pair<std::size_t, std::size_t>> found;
  double nearest = kMinus;
  for (std::size_t i = 0; i < gains.parts; ++i) {
    for (std::size_t j = 0; j < i; ++j) {
      double both = 0;
      for (std::size_t c = 0; c < grams.channels; ++c) both += gains.at(c, i) * gains.at(c, j) * totals.at(c, i, j);
      const double off = std::max({std::abs(pull[i] / left + 1), std::abs(pull[j] / left + 1), std::abs(both / left - 1)});
      if (off < nearest && std::min(energy[i], energy[j]) > 0.7 * left) nearest = off, found = {j, i};
    }
  }
  return found;
}

}  // namespace sendworthy::pair
