#include "pair/leak_sums.h"

#include <algorithm>

#include "dsp/cross_lines.h"

namespace sendworthy::pair {
namespace {

constexpr std::size_t kSides = 3;        // lines to each side that the power thereabouts is the mean of
// A share of −15 dB is likely beforehand, as if so many lines had told: where the source alone sounds in both, the suspect's image
// of it shall not be taken for a share of the suspect in the source.
constexpr float kShareKnown = 30;
constexpr float kLeast = 1e-30f;

}  // namespace

void prepare(const Spectrum& spectrum, std::span<const OctaveLines> octaves, const Floors& floors, LeakFrame& frame) {
  frame.known = true;
  frame.energy = 0;
  frame.channels.resize(spectrum.real.size());
  for (std::size_t c = 0; c < spectrum.real.size(); ++c) {
    auto& lines = frame.channels[c];
    lines.real = spectrum.real[c], lines.imaginary = spectrum.imaginary[c];
    const auto bins = lines.real.size();
    lines.power.resize(bins), lines.weight.assign(bins, 0.0f), lines.counts.assign(octaves.size(), 0.0f);
    for (std::size_t k = 0; k < bins; ++k) lines.power[k] = lines.real[k] * lines.real[k] + lines.imaginary[k] * lines.imaginary[k];
    for (std::size_t o = 0; o < octaves.size(); ++o) {
      for (auto k = octaves[o].first; k < octaves[o].last; ++k) {
        const auto from = k < kSides ? 0 : k - kSides, to = std::min(bins, k + kSides + 1);
        float sum = 0;
        for (auto j = from; j < to; ++j) sum += lines.power[j];
        lines.weight[k] = 1 / (sum / static_cast<float>(to - from) + floors[c][o] + kLeast);
        lines.counts[o] += lines.weight[k] * lines.power[k];
        frame.energy += static_cast<double>(lines.power[k]);
      }
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

void accumulate(const LeakFrame& source, const LeakFrame& suspect, std::span<const OctaveLines> octaves, LeakSums& sums, bool plain) {
  sums.energy += source.energy;
  for (std::size_t c = 0; c < source.channels.size(); ++c) {
    const auto &x = source.channels[c], &y = suspect.channels[c];
    for (std::size_t o = 0; o < octaves.size(); ++o) {
      const auto first = octaves[o].first;
      const auto count = static_cast<int>(octaves[o].last - first);
      const auto from = [&](const LeakLines& lines) {
        return dsp::Lines{lines.real.data() + first, lines.imaginary.data() + first, lines.power.data() + first, lines.weight.data() + first};
      };
      const float share = plain ? 0 : y.counts[o] / (dsp::weighted_power(from(x), from(y), count) + kShareKnown);
      const auto added = dsp::add_cross_lines(from(x), from(y), share, count, sums.real.data() + first, sums.imaginary.data() + first);
      for (auto k = first; k < octaves[o].last && !sums.line_denominator.empty(); ++k) sums.line_denominator[k] += (y.weight[k] - share * x.weight[k]) * x.power[k];
      sums.denominator[o] += static_cast<double>(added.denominator), sums.variance[o] += static_cast<double>(added.variance);
    }
  }
}

}  // namespace sendworthy::pair
