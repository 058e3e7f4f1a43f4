#include "song/mix_meter.h"

#include <algorithm>
#include <cmath>
#include <numeric>

#include "dsp/biquad.h"
#include "dsp/pair_cascade.h"
#include "dsp/planar.h"
#include "dsp/true_peak.h"
#include "pair/correlate.h"

namespace sendworthy::song {
namespace {

constexpr double kLowHz = 120;
constexpr int kLowOrder = 8;
constexpr double kSetsIn = 1.5;             // times the mean strength
constexpr std::size_t kNearOnset = 5;       // steps of 10 ms
constexpr double kSilence = 1e-15;

std::optional<double> ratio_db(const std::vector<double>& part, const std::vector<double>& whole, Steps steps) {
  double above = 0, below = 0;
  for (auto i = steps.from; i < std::min({steps.to, part.size(), whole.size()}); ++i) above += part[i], below += whole[i];
  if (below <= kSilence) return std::nullopt;
  return std::max(-144.0, 10 * std::log10(std::max(above, kSilence) / below));
}

}  // namespace

struct MixMeter::State {
  State(double sample_rate, int channel_count) : rate(sample_rate), channels(channel_count), loudness(sample_rate, channel_count), low(dsp::butterworth_low_pass(kLowOrder, kLowHz, sample_rate)), onsets(sample_rate), peaks(static_cast<std::size_t>(channel_count)) {
    steps.channels = channel_count;
  }

  double rate;
  int channels;
  LoudnessMeter loudness;
  dsp::PairCascade low;
  pair::Onsets onsets;
  std::vector<dsp::TruePeakMeter> peaks;
  std::int64_t at = 0, begun = 0;
  double low_sum = 0;
  dsp::PairSums sums;
  MixSteps steps;

  void add(const float* left, const float* right, int count) {
    const auto more = dsp::pair_sums(left, right, count);
    sums.left_square += more.left_square, sums.right_square += more.right_square, sums.product += more.product;
    const auto below = low.sums(left, right, count);
    low_sum += below.first + (channels > 1 ? below.second : 0);
  }

  void end_step(std::int64_t end) {
    const double frames = static_cast<double>(end - begun);
    steps.all.push_back((sums.left_square + (channels > 1 ? sums.right_square : 0)) / frames);
    steps.low.push_back(low_sum / frames);
    if (channels > 1) {
      const double both = 0.25 * (sums.left_square + sums.right_square), cross = 0.5 * sums.product;
      steps.mid.push_back(std::max(0.0, both + cross) / frames), steps.side.push_back(std::max(0.0, both - cross) / frames);
    }
    sums = {}, low_sum = 0, begun = end;
    low.flush_denormals();
  }

  // Peaks are known a little later than the rest.
  void close_peaks() {
    while (steps.true_peak.size() < steps.all.size()) {
      const auto end = frame_of_step(static_cast<std::int64_t>(steps.true_peak.size()) + 1, rate);
      if (end > peaks.front().closable()) return;
      float most = 0;
      for (auto& meter : peaks) most = std::max(most, meter.close(end).value);
      steps.true_peak.push_back(most);
    }
  }
};

MixMeter::MixMeter(double sample_rate, int channels) : state_(std::make_unique<State>(sample_rate, channels)) {}
MixMeter::~MixMeter() = default;
MixMeter::MixMeter(MixMeter&&) noexcept = default;

void MixMeter::push(ChannelRows rows, std::int64_t frames) {
  auto& s = *state_;
  const float* left = rows[0];
  const float* right = rows[s.channels > 1 ? 1 : 0];
  s.loudness.push(rows, frames);
  s.onsets.push(rows.first(static_cast<std::size_t>(s.channels)), frames);
  for (std::size_t c = 0; c < s.peaks.size(); ++c) s.peaks[c].feed(rows[c], static_cast<int>(frames));
  for (std::int64_t done = 0; done < frames;) {
    const auto end = frame_of_step(static_cast<std::int64_t>(s.steps.all.size()) + 1, s.rate);
    const auto count = std::min(frames - done, end - s.at);
    s.add(left + done, right + done, static_cast<int>(count));
    s.at += count, done += count;
    if (s.at == end) s.end_step(end);
  }
  s.close_peaks();
}

MixSteps MixMeter::finish() {
  auto& s = *state_;
  for (auto& meter : s.peaks) meter.flush();
  s.close_peaks();
  s.steps.true_peak.resize(s.steps.all.size());
  s.steps.loudness = s.loudness.take();
  s.steps.onsets = s.onsets.finish();
  return std::move(s.steps);
}

std::optional<double> low_share(const MixSteps& mix, Steps steps) { return ratio_db(mix.low, mix.all, steps); }

std::optional<double> side_to_mid(const MixSteps& mix, Steps steps) { return mix.channels > 1 ? ratio_db(mix.side, mix.mid, steps) : std::nullopt; }

std::optional<double> true_peak(const MixSteps& mix, Steps steps) {
  float most = 0;
  for (auto i = steps.from; i < std::min(steps.to, mix.true_peak.size()); ++i) most = std::max(most, mix.true_peak[i]);
  return most > 0 ? std::optional(20 * std::log10(static_cast<double>(most))) : std::nullopt;
}

std::optional<double> density(const MixSteps& mix, double start_s, double end_s) {
  const auto& strength = mix.onsets;
  const auto index = [&](double at_s) { return static_cast<std::size_t>(std::clamp(at_s / pair::Onsets::kStepS, 0.0, static_cast<double>(strength.size()))); };
  const auto from = index(start_s), to = index(end_s);
  if (to <= from) return std::nullopt;
  const double mean = std::accumulate(strength.begin(), strength.end(), 0.0) / static_cast<double>(strength.size());
  std::size_t count = 0;
  for (auto i = from; i < to; ++i) {
    if (strength[i] <= kSetsIn * mean) continue;
    const auto first = i - std::min(i, kNearOnset), last = std::min(strength.size(), i + kNearOnset + 1);
    const auto highest = std::max_element(strength.begin() + static_cast<std::ptrdiff_t>(first), strength.begin() + static_cast<std::ptrdiff_t>(last));
    count += highest == strength.begin() + static_cast<std::ptrdiff_t>(i) ? 1 : 0;
  }
  return static_cast<double>(count) / (pair::Onsets::kStepS * static_cast<double>(to - from));
}

}  // namespace sendworthy::song
