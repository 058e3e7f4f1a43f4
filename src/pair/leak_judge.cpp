#include "pair/leak_judge.h"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <functional>
#include <numbers>
#include <utility>

namespace sendworthy::pair {
namespace {

constexpr double kFloorDb = -144;
constexpr double kWantedDb = -40;     // what must have been visible for "none" to mean something
constexpr double kReachS = 0.004;     // an image further off is no image, once files are aligned
// A heuristic, measured on music without any leak: see DEVELOPERS.md. Chance alone gives 3 to 14, the best of all delays.
constexpr double kTellsLeast = 25, kOverChance = 3, kUsualChance = 0.9;
constexpr double kBlockTellsLeast = 60, kOverBlockChance = 2, kUsualBlockChance = 0.995;
constexpr double kBlockEnergy = 0.02;  // of the louder blocks: what is softer is no place where the source sounds
constexpr double kSurely = 1.25;       // an image that much over the limit is found whatever chance adds
constexpr double kUncertain = 0.3;     // of what was taken out as the suspect's share in the source
constexpr double kDiffuseDeviations = 6, kDiffuseOverDb = 3;  // of a direct image the same sums see as much
constexpr std::size_t kMostPlaces = 32;

double db(double power) { return power <= 0 ? kFloorDb : std::max(kFloorDb, 10 * std::log10(power)); }

double quantile(std::vector<double> values, double share) {
  if (values.empty()) return 0;
  const auto at = values.begin() + static_cast<std::ptrdiff_t>(share * static_cast<double>(values.size() - 1));
  std::nth_element(values.begin(), at, values.end());
  return *at;
}

}  // namespace

LeakPeaks::LeakPeaks(const Clock& clock, std::vector<OctaveLines> octaves)
    : clock_(clock), octaves_(std::move(octaves)), reach_(std::max(2, static_cast<int>(kReachS * clock.rate))), fourier_(clock.size),
      values_(static_cast<std::size_t>(2 * reach_ + 1)) {}

void LeakPeaks::at_delays(const LeakSums& sums, std::span<const double> weights) {
  const auto size = static_cast<std::size_t>(clock_.size);
  real_.assign(size, 0.0f), imaginary_.assign(size, 0.0f);
  // Real and imaginary parts change places, before and after: the transform runs the other way.
  for (std::size_t o = 0; o < octaves_.size(); ++o) {
    for (auto k = octaves_[o].first; k < octaves_[o].last && weights[o] != 0; ++k)
      real_[k] = static_cast<float>(weights[o] * static_cast<double>(sums.imaginary[k])), imaginary_[k] = static_cast<float>(weights[o] * static_cast<double>(sums.real[k]));
  }
  fourier_.forward(real_, imaginary_);
  for (int d = -reach_; d <= reach_; ++d) {
    const auto at = static_cast<std::size_t>(d < 0 ? d + clock_.size : d);
    values_[static_cast<std::size_t>(d + reach_)] = {static_cast<double>(imaginary_[at]), static_cast<double>(real_[at])};
  }
}

LeakPeak LeakPeaks::peak_of(const LeakSums& sums, std::span<const double> weights, std::span<const double> spreads) {
  LeakPeak peak;
  double variance = 0, denominator = 0;
  for (std::size_t o = 0; o < octaves_.size(); ++o)
    variance += weights[o] * weights[o] * spreads[o] * sums.variance[o], denominator += weights[o] * sums.denominator[o];
  if (!(variance > 0) || !(denominator > 0)) return peak;
  at_delays(sums, weights);
  for (int d = -reach_; d <= reach_; ++d) {
    const auto value = values_[static_cast<std::size_t>(d + reach_)];
    if (const double tells = std::norm(value) / variance; tells > peak.tells) peak = {d, tells, value / denominator, 0};
  }
  peak.error = std::sqrt(variance) / denominator;
  return peak;
}

LeakPeak LeakPeaks::peak_of(const LeakSums& sums) {
  std::vector<double> weights(octaves_.size(), 0.0);
  const std::vector<double> spreads(octaves_.size(), 1.0);
  for (std::size_t o = 0; o < octaves_.size(); ++o) {
    if (sums.variance[o] > 0 && sums.denominator[o] > 0) weights[o] = sums.denominator[o] / sums.variance[o];
  }
  return peak_of(sums, weights, spreads);
}

double LeakPeaks::spread_of(const LeakSums& sums, std::size_t octave) {
  if (!(sums.variance[octave] > 0)) return 0;
  std::vector<double> weights(octaves_.size(), 0.0);
  weights[octave] = 1;
  at_delays(sums, weights);
  double mean = 0;
  for (const auto& value : values_) mean += std::norm(value) / static_cast<double>(values_.size());
  return mean / sums.variance[octave];
}

std::complex<double> LeakPeaks::leak_of(const LeakSums& sums, std::size_t octave, int delay) const {
  std::complex<double> sum = 0;
  for (auto k = octaves_[octave].first; k < octaves_[octave].last; ++k) {
    const double turn = 2 * std::numbers::pi * static_cast<double>(k) * delay / clock_.size;
    sum += std::complex<double>(static_cast<double>(sums.real[k]), static_cast<double>(sums.imaginary[k])) * std::polar(1.0, turn);
  }
  return sums.denominator[octave] > 0 ? sum / sums.denominator[octave] : 0;
}

namespace {

class Judge {
 public:
  Judge(const LeakEvidence& evidence, LeakPeaks& peaks, Leak& leak) : evidence_(evidence), peaks_(peaks), leak_(leak), octaves_(peaks.octaves().size()) {}

  void run() {
    find_spreads();
    direct();
    ring();
    places();
    leak_.measured = leak_.found || leak_.smallest_db <= kWantedDb;
    if (!leak_.measured) leak_.reason = "a leak that could be seen here would have to be louder than −40 dB";
  }

 private:
  // How much further apart the shifted ones lie than independent lines would, and what each octave then tells.
  void find_spreads() {
    spreads_.assign(octaves_, 1.0), weights_.assign(octaves_, 0.0), variances_.assign(octaves_, 0.0);
    for (std::size_t o = 0; o < octaves_; ++o) {
      std::vector<double> spreads, variances;
      for (const auto& sums : evidence_.shifted) {
        if (!(sums.variance[o] > 0)) continue;
        spreads.push_back(peaks_.spread_of(sums, o)), variances.push_back(sums.variance[o]);
      }
      if (spreads.empty()) continue;
      spreads_[o] = std::max(0.3, quantile(spreads, 0.5)), variances_[o] = quantile(variances, 0.5);
      if (variances_[o] > 0) weights_[o] = std::max(0.0, evidence_.straight.denominator[o]) / (spreads_[o] * variances_[o]);
    }
  }

  // What the suspect holds of the source over what a mix holds of it: see LeakEvidence.
  [[nodiscard]] std::complex<double> in_the_mix(std::complex<double> leak) const {
    if (!evidence_.difference) return leak;
    leak /= evidence_.gain;
    const auto all = 1.0 + leak;
    return std::abs(all) > 0.1 ? leak / all : leak;
  }
  [[nodiscard]] double level_in_the_mix(std::complex<double> leak) const { return db(std::norm(in_the_mix(leak))); }

  // An image with one delay.
  void direct() {
    std::vector<double> chance;
    for (const auto& sums : evidence_.shifted) chance.push_back(peaks_.peak_of(sums, weights_, spreads_).tells);
    const double limit = std::max(kTellsLeast, kOverChance * quantile(chance, kUsualChance));
    peak_ = peaks_.peak_of(evidence_.straight, weights_, spreads_);
    // By how much the estimate moved when the suspect's share in the source was taken out: some of that may have stayed.
    const auto undelayed = [&](const LeakSums& sums) {
      std::complex<double> numerator = 0;
      double all = 0;
      for (std::size_t o = 0; o < octaves_; ++o) {
        numerator += weights_[o] * sums.denominator[o] * peaks_.leak_of(sums, o, 0);
        all += weights_[o] * sums.denominator[o];
      }
      return all > 0 ? numerator / all : 0;
    };
    const double taken_out = std::abs(undelayed(evidence_.plain) - undelayed(evidence_.straight));
    double denominator = 0, variance = 0;
    for (std::size_t o = 0; o < octaves_; ++o) denominator += weights_[o] * evidence_.straight.denominator[o];
    // Without the image itself, which makes the numerator vary too.
    for (std::size_t o = 0; o < octaves_; ++o) variance += weights_[o] * weights_[o] * spreads_[o] * std::min(variances_[o], evidence_.straight.variance[o]);
    const double error = denominator > 0 ? std::sqrt(variance) / denominator : 1e9;
    const double least = std::sqrt(limit) * error + kUncertain * taken_out;
    leak_.smallest_db = level_in_the_mix(kSurely * least);
    // Chance finds delays too: without an image they mean nothing.
    leak_.found = peak_.tells > limit && std::abs(peak_.leak) > kSurely * least;
    leak_.inverted = leak_.found && (peak_.leak * evidence_.gain).real() < 0;
    leak_.offset_frames = leak_.found ? peak_.delay : 0;
    double level = 0;
    for (std::size_t o = 0; o < octaves_; ++o) {
      auto here = peak_.leak;
      if (weights_[o] > 0) {
        const auto own = peaks_.leak_of(evidence_.straight, o, peak_.delay);
        const double least_here = std::sqrt(limit * spreads_[o] * evidence_.straight.variance[o]) / evidence_.straight.denominator[o] +
                                  kUncertain * std::abs(own - peaks_.leak_of(evidence_.plain, o, peak_.delay));
        // An octave that differs by more than chance can make it counts by itself; what is left of a difference may make it, too.
        if (!evidence_.difference && leak_.found && std::abs(own - peak_.leak) > least_here) here = own;
        leak_.octaves.push_back({peaks_.octaves()[o].centre_hz, level_in_the_mix(own), level_in_the_mix(kSurely * least_here), evidence_.shares[o]});
      }
      level += evidence_.shares[o] * std::norm(in_the_mix(here));
    }
    leak_.leak_db = db(level);
  }

  // Energy that belongs together without one delay for all lines.
  void ring() {
    const auto energy_of = [&](const LeakSums& sums) {
      double energy = 0;
      for (std::size_t o = 0; o < octaves_; ++o) {
        if (!(weights_[o] > 0) || !(sums.variance[o] > 0)) continue;
        const auto& lines = peaks_.octaves()[o];
        double octave = 0;
        for (auto k = lines.first; k < lines.last; ++k)
          octave += static_cast<double>(sums.real[k]) * static_cast<double>(sums.real[k]) + static_cast<double>(sums.imaginary[k]) * static_cast<double>(sums.imaginary[k]);
        energy += octave * static_cast<double>(lines.last - lines.first) / (spreads_[o] * sums.variance[o]);
      }
      return energy;
    };
    std::vector<double> chance;
    for (const auto& sums : evidence_.shifted) chance.push_back(energy_of(sums));
    if (chance.empty()) return;
    const double usual = quantile(chance, 0.5), deviation = std::max(1e-9, (quantile(chance, 0.9) - quantile(chance, 0.1)) / 2.56);
    double over = energy_of(evidence_.straight) - usual, worth = 0;
    for (const auto& sums : evidence_.later) over += energy_of(sums) - usual;
    for (std::size_t o = 0; o < octaves_; ++o) {
      if (!(weights_[o] > 0)) continue;
      const auto& lines = peaks_.octaves()[o];
      for (auto k = lines.first; k < lines.last; ++k)
        worth += static_cast<double>(evidence_.straight.line_denominator[k]) * static_cast<double>(evidence_.straight.line_denominator[k]) * static_cast<double>(lines.last - lines.first) / (spreads_[o] * evidence_.straight.variance[o]);
    }
    if (!(worth > 0)) return;
    // What a bus processor leaves of a difference belongs together too; a good part of it was taken out, some stays.
    const double limit = kDiffuseDeviations * deviation * std::sqrt(1.0 + static_cast<double>(evidence_.later.size())) +
                         kUncertain * std::max(0.0, energy_of(evidence_.plain) - energy_of(evidence_.straight));
    leak_.smallest_diffuse_db = level_in_the_mix(std::sqrt(1.5 * limit / worth)), leak_.diffuse_db = over > 0 ? level_in_the_mix(std::sqrt(over / worth)) : kFloorDb;
    if (over <= limit || (leak_.found && leak_.diffuse_db < leak_.leak_db + kDiffuseOverDb)) return;
    leak_.diffuse = leak_.found = true;
    leak_.offset_frames = 0, leak_.inverted = false;
    leak_.leak_db = leak_.diffuse_db;
  }

  void places() {
    std::vector<double> energies, chance;
    for (const auto& block : evidence_.blocks) energies.push_back(block.energy);
    const double sounds = kBlockEnergy * quantile(energies, 0.9);
    for (const auto& block : evidence_.shifted_blocks) {
      if (block.energy > sounds) chance.push_back(block.peak.tells);
    }
    const double limit = std::max(kBlockTellsLeast, kOverBlockChance * quantile(chance, kUsualBlockChance));
    double energy = 0, leaks = 0;
    const LeakBlock* strongest = nullptr;
    std::vector<LeakPlace> found;
    for (const auto& block : evidence_.blocks) {
      energy += block.energy;
      if (block.energy <= sounds || block.peak.tells <= limit) continue;
      const double level = std::norm(in_the_mix(block.peak.leak));
      // Of a difference there is the less the more of it leaks.
      leaks += level * block.energy * (evidence_.difference ? std::norm(1.0 + block.peak.leak / evidence_.gain) : 1);
      found.push_back({block.from_s, block.to_s, db(level)});
      if (strongest == nullptr || block.peak.tells > strongest->peak.tells) strongest = &block;
    }
    if (found.empty()) return;
    // One that stands in a few places alone is found by them.
    if (!leak_.found) {
      leak_.found = true, leak_.leak_db = db(leaks / energy);
      leak_.offset_frames = strongest->peak.delay, leak_.inverted = (strongest->peak.leak * evidence_.gain).real() < 0;
    }
    const double worst = std::ranges::max_element(found, {}, &LeakPlace::leak_db)->leak_db;
    leak_.worst_place_db = worst;
    std::ranges::stable_sort(found, std::greater{}, &LeakPlace::leak_db);
    if (found.size() > kMostPlaces) found.resize(kMostPlaces);
    std::ranges::sort(found, {}, &LeakPlace::from_s);
    for (const auto& one : found) {
      if (!leak_.where.empty() && one.from_s - leak_.where.back().to_s < 0.01) {
        auto& last = leak_.where.back();
        last.to_s = one.to_s, last.leak_db = std::max(last.leak_db, one.leak_db);
      } else {
        leak_.where.push_back(one);
      }
    }
  }

  const LeakEvidence& evidence_;
  LeakPeaks& peaks_;
  Leak& leak_;
  std::size_t octaves_;
  std::vector<double> spreads_, weights_, variances_;
  LeakPeak peak_;
};

}  // namespace

void judge(const LeakEvidence& evidence, LeakPeaks& peaks, Leak& leak) { Judge(evidence, peaks, leak).run(); }

}  // namespace sendworthy::pair
