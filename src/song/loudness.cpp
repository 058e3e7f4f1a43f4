#include "song/loudness.h"

#include <algorithm>
#include <array>
#include <cmath>

namespace sendworthy::song {
namespace {

constexpr double kOffset = -0.691;                             // BS.1770-5, equation 2
constexpr double kAbsoluteGate = -70, kRelativeGate = -10;     // LUFS, LU; BS.1770-5, equations 5 and 6
constexpr double kOn = 20, kOff = 26;                          // LU under the part's integrated loudness
constexpr double kSilence = 1e-15;
constexpr std::size_t kAwaySteps = 10, kNoiseSteps = 5;  // of a second, and of half of one
constexpr std::size_t kShortTermSteps = 30;

double mean(std::span<const double> values) {
  double sum = 0;
  for (const double one : values) sum += one;
  return values.empty() ? 0 : sum / static_cast<double>(values.size());
}

}  // namespace

std::int64_t frame_of_step(std::int64_t step, double sample_rate) { return std::llround(static_cast<double>(step) * kStepS * sample_rate); }

void LoudnessMeter::push(ChannelRows rows, std::int64_t frames) {
  for (std::int64_t done = 0; done < frames;) {
    const auto end = frame_of_step(static_cast<std::int64_t>(steps_.size()) + 1, rate_);
    const auto count = std::min(frames - done, end - at_);
    const auto sums = bank_.process(rows[0] + done, rows[channels_ > 1 ? 1 : 0] + done, static_cast<int>(count));
    sum_ += sums.k0 + (channels_ > 1 ? sums.k1 : 0);
    at_ += count, done += count;
    if (at_ < end) break;
    steps_.push_back(sum_ / static_cast<double>(end - begun_));
    sum_ = 0, begun_ = end;
    bank_.flush_denormals();
  }
}

double lufs_of(double mean_square) { return mean_square > kSilence ? kOffset + 10 * std::log10(mean_square) : -144; }

Steps steps_between(double start_s, double end_s, std::size_t total) {
  // A border that stands at a step to a millionth is that step.
  const double from = std::ceil(start_s / kStepS - 1e-6), to = std::floor(end_s / kStepS + 1e-6);
  Steps steps{static_cast<std::size_t>(std::max(0.0, from)), static_cast<std::size_t>(std::clamp(to, 0.0, static_cast<double>(total)))};
  steps.from = std::min(steps.from, steps.to);
  return steps;
}

double window_power(const Loudness& loudness, std::size_t step) { return mean(std::span(loudness).subspan(step, kWindowSteps)); }

std::optional<double> integrated(const Loudness& loudness, Steps steps) {
  if (steps.count() < kWindowSteps) return std::nullopt;
  std::vector<double> windows;
  for (auto i = steps.from; i + kWindowSteps <= steps.to; ++i) windows.push_back(window_power(loudness, i));
  std::erase_if(windows, [](double power) { return lufs_of(power) <= kAbsoluteGate; });
  if (windows.empty()) return std::nullopt;
  const double gate = lufs_of(mean(windows)) + kRelativeGate;
  std::erase_if(windows, [&](double power) { return lufs_of(power) <= gate; });
  return lufs_of(mean(windows));
}

std::optional<double> max_short_term(const Loudness& loudness, Steps steps) {
  if (steps.count() < kShortTermSteps) return std::nullopt;
  double most = 0;
  for (auto i = steps.from; i + kShortTermSteps <= steps.to; ++i) most = std::max(most, mean(std::span(loudness).subspan(i, kShortTermSteps)));
  return most > kSilence ? std::optional(lufs_of(most)) : std::nullopt;
}

std::vector<bool> active_windows(const Loudness& part) {
  const auto own = integrated(part, {0, part.size()});
  if (!own) return {};
  std::vector<bool> active(part.size() - kWindowSteps + 1);
  bool on = false;
  for (std::size_t i = 0; i < active.size(); ++i) {
    const double level = lufs_of(window_power(part, i));
    on = level >= *own - (on ? kOff : kOn);
    active[i] = on;
  }
  return active;
}

std::vector<bool> sounding_steps(const Loudness& part) {
  const auto own = integrated(part, {0, part.size()});
  std::vector<bool> sounds;
  for (const double power : part) sounds.push_back(own && lufs_of(power) >= *own - kOff);
  return sounds;
}

std::optional<double> noise_between(const Loudness& part) {
  const auto sounds = sounding_steps(part);
  std::optional<double> least;
  std::size_t rests = 0;  // steps since the last that sounds
  std::vector<std::size_t> until(sounds.size() + 1, kAwaySteps);  // the next that does, as far as that matters
  for (auto i = sounds.size(); i-- > 0;) until[i] = sounds[i] ? 0 : std::min(kAwaySteps, until[i + 1] + 1);
  double sum = 0;
  std::size_t steps = 0;
  rests = kAwaySteps;
  for (std::size_t i = 0; i < sounds.size(); ++i) {
    rests = sounds[i] ? 0 : rests + 1;
    if (rests < kAwaySteps || until[i] < kAwaySteps) {
      sum = 0, steps = 0;
      continue;
    }
    sum += part[i], ++steps;
    if (steps < kNoiseSteps) continue;
    const double mean = sum / static_cast<double>(kNoiseSteps);
    if (mean > kSilence) least = std::min(least.value_or(mean), mean);
    sum -= part[i + 1 - kNoiseSteps], --steps;
  }
  return least ? std::optional(lufs_of(*least)) : std::nullopt;
}

std::optional<Against> against(const Loudness& part, const Loudness& other, const std::vector<bool>& windows, Steps range) {
  double own = 0, others = 0;
  std::size_t count = 0, steps = 0, covered_to = 0;
  for (auto i = range.from; i < std::min(range.to, windows.size()); ++i) {
    if (!windows[i]) continue;
    own += window_power(part, i), others += window_power(other, i), ++count;
    steps += i + kWindowSteps - std::max(covered_to, i);
    covered_to = i + kWindowSteps;
  }
  if (count == 0 || own <= 0 || others / static_cast<double>(count) <= kSilence) return std::nullopt;
  return Against{10 * std::log10(own / others), static_cast<double>(steps) * kStepS};
}

Steps windows_between(double start_s, double end_s, std::size_t windows) {
  const double from = std::ceil(start_s / kStepS - 1e-6), to = std::floor(end_s / kStepS + 1e-6) - static_cast<double>(kWindowSteps) + 1;
  Steps steps{static_cast<std::size_t>(std::max(0.0, from)), static_cast<std::size_t>(std::clamp(to, 0.0, static_cast<double>(windows)))};
  steps.from = std::min(steps.from, steps.to);
  return steps;
}

}  // namespace sendworthy::song
