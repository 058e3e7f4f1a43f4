#include "pair/sum_ceiling.h"

#include <algorithm>
#include <cmath>
#include <vector>

#include "base/text.h"

namespace sendworthy::pair {
namespace {

constexpr double kAtPeak = 0.998;      // of the peak, 0.02 dB: dither and word length stay within, music hardly dwells there (own)
constexpr double kElsewhere = 0.02;    // of what is left, 17 dB: more, and clipping is not all (own)
constexpr std::int64_t kChunk = 8192;  // frames
constexpr std::int64_t kLeast = 8;     // samples; fewer may be a peak that was missed by a little (own)

float edge_of(const Grams& grams) {
  return grams.peaks.empty() ? 0.0f : static_cast<float>(kAtPeak) * *std::ranges::max_element(grams.peaks);
}

}  // namespace

bool may_be_clipped(const Grams& grams, const Gains& gains, double allowed) {
  const auto size = grams.pairs() * grams.channels;
  const float edge = edge_of(grams);
  double all = 0, elsewhere = 0;
  for (std::size_t b = 0; b < grams.blocks(); ++b) {
    const double left = energies_of(grams, grams.values.data() + b * size, gains).left();
    all += left;
    if (grams.peaks[b] < edge) elsewhere += left;
  }
  return all > allowed && elsewhere <= std::max(allowed, kElsewhere * all);
}

double quiet_gain(const Grams& grams, const Gains& gains) {
  const auto size = grams.pairs() * grams.channels;
  const float edge = edge_of(grams);
  double product = 0, sum = 0;
  for (std::size_t b = 0; b < grams.blocks(); ++b) {
    if (grams.peaks[b] >= edge) continue;
    const auto here = energies_of(grams, grams.values.data() + b * size, gains);
    product += here.product, sum += here.sum;
  }
  return product > 0 && sum > 0 ? product / sum : 1;
}

Result<std::optional<Clipped>> clipped(SumInput& input, const Grams& grams, const Gains& gains, double allowed, const Hooks& hooks) {
  const float edge = edge_of(grams), peak = edge / static_cast<float>(kAtPeak);
  Clipped found;
  float highest = 0;
  double all = 0;
  std::vector<float> sum;
  for (std::int64_t at = 0;; at += kChunk) {
    if (hooks.stop != nullptr && hooks.stop->load(std::memory_order_relaxed))
      return fail(ErrorCode::interrupted, base::for_terminal(input.mix_path()) + ": interrupted");
    const auto frames = input.read(at, kChunk);
    if (frames == 0) break;
    for (std::size_t c = 0; c < input.channels(); ++c) {
      sum.assign(static_cast<std::size_t>(frames), 0.0f);
      for (std::size_t i = 0; i < input.count(); ++i) {
        const float* x = input.part(i, c);
        const auto gain = static_cast<float>(gains.at(c, i));
        for (std::size_t n = 0; x != nullptr && gain != 0 && n < sum.size(); ++n) sum[n] += gain * x[n];
      }
      const float* mix = input.mix(c);
      for (std::size_t n = 0; n < sum.size(); ++n) {
        const double rest = static_cast<double>(mix[n]) - static_cast<double>(sum[n]);
        all += rest * rest;
        // Flat at the peak while the sum goes on to the same side.
        const float along = mix[n] < 0 ? -sum[n] : sum[n];
        if (std::abs(mix[n]) >= edge && along >= edge) ++found.ceiling.samples, highest = std::max(highest, along);
        else found.left += rest * rest;
      }
    }
    if (frames < kChunk) break;
  }
  if (const auto error = input.error()) return tl::unexpected(*error);
  if (found.ceiling.samples < kLeast || found.left > std::max(allowed, kElsewhere * all)) return std::optional<Clipped>();
  found.ceiling.dbfs = 20 * std::log10(static_cast<double>(peak)), found.ceiling.over_db = 20 * std::log10(static_cast<double>(highest / peak));
  return std::optional(found);
}

}  // namespace sendworthy::pair
