#include "pair/leak_sums.h"

#include <algorithm>

#include "dsp/cross_lines.h"
#include "dsp/planar.h"

namespace sendworthy::pair {
namespace {

constexpr std::size_t kSides = 3;        // lines to each side that the power thereabouts is the mean of
// A share of −15 dB is likely beforehand, as if so many lines had told: where the source alone sounds in both, the suspect's image
// of it shall not be taken for a share of the suspect in the source.
constexpr float kShareKnown = 30;
constexpr float kLeast = 1e-30f;
constexpr std::size_t kWeightStretch = 512, kLineStretch = 128;

}  // namespace

static_assert(kSides == 3);  // as its sum is written out

void prepare(Spectrum& spectrum, std::span<const OctaveLines> octaves, const Floors& floors, LeakFrame& frame) {
  frame.known = true;
  frame.energy = 0;
  frame.channels.resize(spectrum.real.size());
  for (std::size_t c = 0; c < spectrum.real.size(); ++c) {
    auto& lines = frame.channels[c];
    lines.real.swap(spectrum.real[c]), lines.imaginary.swap(spectrum.imaginary[c]);
    const auto bins = lines.real.size();
    lines.power.resize(bins), lines.weight.assign(bins, 0.0f), lines.counts.assign(octaves.size(), 0.0f);
    auto &power = lines.power, &weight = lines.weight;
    for (std::size_t k = 0; k < bins; ++k) power[k] = lines.real[k] * lines.real[k] + lines.imaginary[k] * lines.imaginary[k];
    for (std::size_t k = kSides; k + kSides < bins; ++k)
      weight[k] = (power[k - 3] + power[k - 2] + power[k - 1] + power[k] + power[k + 1] + power[k + 2] + power[k + 3]) / static_cast<float>(2 * kSides + 1);
    const auto at_an_end = [&](std::size_t k) {
      const auto from = k < kSides ? 0 : k - kSides, to = std::min(bins, k + kSides + 1);
      float sum = 0;
      for (auto j = from; j < to; ++j) sum += power[j];
      weight[k] = sum / static_cast<float>(to - from);
    };
    for (std::size_t k = 0; k < std::min(kSides, bins); ++k) at_an_end(k), at_an_end(bins - 1 - k);
    for (std::size_t o = 0; o < octaves.size(); ++o) {
      const auto [centre, first, last] = octaves[o];
      for (auto k = first; k < last; ++k) weight[k] = 1 / (weight[k] + floors[c][o] + kLeast);
      lines.counts[o] = dsp::weighted_power(weight.data() + first, power.data() + first, static_cast<int>(last - first));
      frame.energy += dsp::row_sums(power.data() + first, static_cast<int>(last - first)).sum;
    }
  }
}

void LeakSums::add(const LeakSums& other) {
  for (std::size_t k = 0; k < real.size(); ++k) real[k] += other.real[k], imaginary[k] += other.imaginary[k];
  for (std::size_t k = 0; k < line_denominator.size() && k < other.line_denominator.size(); ++k) line_denominator[k] += other.line_denominator[k];
  for (std::size_t o = 0; o < variance.size(); ++o) denominator[o] += other.denominator[o], variance[o] += other.variance[o];
  energy += other.energy;
}

void LeakSums::clear() {
  for (auto* row : {&real, &imaginary, &line_denominator}) std::fill(row->begin(), row->end(), 0.0f);
  for (auto* row : {&denominator, &variance}) std::fill(row->begin(), row->end(), 0.0);
  energy = 0;
}

// Every frame meets frames at many shifts. Stretch by stretch of lines, all that meets there fits into the processor's own memory.
void accumulate(std::span<const LeakPairs> all, std::span<const OctaveLines> octaves) {
  std::size_t channels = 0, most = 0;
  for (const auto& one : all) {
    for (const auto& [source, suspect] : one.frames) one.sums->energy += source->energy, channels = source->channels.size();
    most = std::max(most, one.frames.size());
  }
  std::vector<float> shared(all.size() * most);
  std::vector<dsp::CrossPair> pairs(shared.size());
  for (std::size_t c = 0; c < channels; ++c) {
    for (std::size_t o = 0; o < octaves.size(); ++o) {
      const auto first = octaves[o].first, last = octaves[o].last;
      const auto each = [&](std::size_t stretch, const auto& take) {
        for (auto from = first; from < last; from += stretch) {
          for (std::size_t i = 0; i < all.size(); ++i) take(i, from, static_cast<int>(std::min(stretch, last - from)));
        }
      };
      std::fill(shared.begin(), shared.end(), 0.0f);
      each(kWeightStretch, [&](std::size_t i, std::size_t from, int count) {
        for (std::size_t n = 0; n < all[i].frames.size() && !all[i].plain; ++n) {
          const auto& [source, suspect] = all[i].frames[n];
          shared[i * most + n] += dsp::weighted_power(source->channels[c].weight.data() + from, suspect->channels[c].power.data() + from, count);
        }
      });
      for (std::size_t i = 0; i < all.size(); ++i) {
        for (std::size_t n = 0; n < all[i].frames.size(); ++n) {
          const auto &x = all[i].frames[n].first->channels[c], &y = all[i].frames[n].second->channels[c];
          const auto at = i * most + n;
          pairs[at] = {{x.real.data(), x.imaginary.data(), x.weight.data()}, {y.real.data(), y.imaginary.data(), y.weight.data()},
                       all[i].plain ? 0 : y.counts[o] / (shared[at] + kShareKnown)};
        }
      }
      each(kLineStretch, [&](std::size_t i, std::size_t from, int count) {
        auto& sums = *all[i].sums;
        const std::span here(pairs.data() + i * most, all[i].frames.size());
        const auto added = dsp::add_cross_lines(here, static_cast<int>(from), count, sums.real.data() + from, sums.imaginary.data() + from);
        sums.denominator[o] += static_cast<double>(added.denominator), sums.variance[o] += static_cast<double>(added.variance);
        for (std::size_t n = 0; n < here.size() && !sums.line_denominator.empty(); ++n) {
          const float* power = all[i].frames[n].first->channels[c].power.data();
          for (auto k = from; k < from + static_cast<std::size_t>(count); ++k) sums.line_denominator[k] += (here[n].y.weight[k] - here[n].share * here[n].x.weight[k]) * power[k];
        }
      });
    }
  }
}

}  // namespace sendworthy::pair
