#include "song/kick_hits.h"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <functional>

#include "dsp/planar.h"

namespace sendworthy::song {
namespace {

constexpr double kBlockS = 0.001;
constexpr double kPastS = 0.060, kSlowS = 0.015, kSharpS = 0.003, kAheadS = 0.050, kPeakS = 0.020;
constexpr float kRise = 4, kBothRise = 2, kSlopeRise = 10, kJoint = 1.41f;  // of power: 6 dB, 3 dB, 10 dB and 1.5 dB
constexpr float kAttackShare = 0.0631f;                      // −12 dB
constexpr float kSilent = 1e-5f;                             // of the highest power

/// The highest of each value and the `width` − 1 before it.
std::vector<float> highest_of_last(const std::vector<float>& values, std::size_t width) {
  // The highest from each multiple of `width` on, and back from the next, cover any window between them.
  const auto size = values.size();
  std::vector<float> on(size), back(size), result(size);
  for (std::size_t n = 0; n < size; ++n) on[n] = n % width == 0 ? values[n] : std::max(on[n - 1], values[n]);
  for (std::size_t n = size; n-- > 0;) back[n] = n + 1 == size || (n + 1) % width == 0 ? values[n] : std::max(back[n + 1], values[n]);
  for (std::size_t n = 0; n < size; ++n) result[n] = n + 1 < width ? on[n] : std::max(on[n], back[n + 1 - width]);
  for (std::size_t n = width; n < std::min(size, 2 * width - 1); ++n) result[n] = std::max(on[n], back[n + 1 - width]);
  // Ahead of the first whole window everything so far counts.
  for (std::size_t n = 1; n < std::min(size, width); ++n) result[n] = std::max(result[n - 1], values[n]);
  return result;
}

struct Event {
  std::size_t at;
  float strength;
};

}  // namespace

KickHits::KickHits(double sample_rate_hz, int channels)
    : sample_rate_(sample_rate_hz),
      block_(std::max(1, static_cast<int>(std::lround(kBlockS * sample_rate_hz)))),
      before_(static_cast<std::size_t>(channels), 0.0f) {}

void KickHits::take(std::span<const float* const> rows, int frames) {
  differences_.resize(static_cast<std::size_t>(block_));
  for (int at = 0; at < frames;) {
    const int count = std::min(frames - at, block_ - filled_);
    for (std::size_t c = 0; c < before_.size(); ++c) {
      const float* row = rows[c] + at;
      power_sum_ += dsp::row_sums(row, count).square;
      dsp::first_differences(row, count, before_[c], differences_.data());
      slope_sum_ += dsp::row_sums(differences_.data(), count).square;
      before_[c] = row[count - 1];
    }
    at += count;
    filled_ += count;
    if (filled_ == block_) close_block();
  }
}

void KickHits::close_block() {
  power_.push_back(static_cast<float>(power_sum_ / block_));
  slope_.push_back(static_cast<float>(slope_sum_ / block_));
  power_sum_ = slope_sum_ = 0;
  filled_ = 0;
}

std::vector<double> KickHits::finish() {
  if (filled_ > 0) close_block();
  const auto size = power_.size();
  if (size == 0) return {};
  const double block_s = block_ / sample_rate_;
  const auto blocks = [&](double seconds) { return static_cast<std::size_t>(std::max(1L, std::lround(seconds / block_s))); };
  const auto past = blocks(kPastS), slow = blocks(kSlowS), sharp = blocks(kSharpS), ahead = blocks(kAheadS), peak = blocks(kPeakS);
  const float power_floor = kSilent * *std::max_element(power_.begin(), power_.end());
  const float slope_floor = kSilent * *std::max_element(slope_.begin(), slope_.end());
  if (!(power_floor > 0)) return {};

  // What stood before, by how long before; what comes after.
  const auto power_slow = highest_of_last(power_, past - slow + 1), power_sharp = highest_of_last(power_, past - sharp + 1);
  const auto slope_slow = highest_of_last(slope_, past - slow + 1), slope_sharp = highest_of_last(slope_, past - sharp + 1);
  const auto near = highest_of_last(power_, ahead), strong = highest_of_last(power_, peak);
  const auto before = [](const std::vector<float>& highest, std::size_t n, std::size_t gap) { return n < gap ? 0.0f : highest[n - gap]; };

  std::vector<Event> events;
  bool going_on = false;
  for (std::size_t n = 0; n < size; ++n) {
    const float power = before(power_slow, n, slow);
    const bool swells = power_[n] > std::max(power_floor, kRise * power) ||
                        (power_[n] > std::max(power_floor, kBothRise * power) &&
                         slope_[n] > std::max(slope_floor, kBothRise * before(slope_slow, n, slow)));
    const bool strikes = slope_[n] > std::max(slope_floor, kSlopeRise * before(slope_sharp, n, sharp)) &&
                         near[std::min(n + ahead - 1, size - 1)] > std::max(power_floor, kJoint * before(power_sharp, n, sharp));
    if ((swells || strikes) && !going_on) events.push_back({n, strong[std::min(n + peak - 1, size - 1)]});
    going_on = swells || strikes;
  }

  std::vector<float> strengths;
  for (const auto& event : events) strengths.push_back(event.strength);
  std::sort(strengths.begin(), strengths.end(), std::greater<>());
  strengths.resize((strengths.size() + 9) / 10);
  double loud = 0;
  for (const float strength : strengths) loud += static_cast<double>(strength) / static_cast<double>(strengths.size());
  const auto faintest = static_cast<float>(loud * std::pow(10, kFaintestDb / 10));

  // One hit may rise more than once, the beater's click and then the shell: it begins with the first of them that counts.
  std::vector<double> hits;
  const auto refractory = blocks(kRefractoryS);
  for (std::size_t i = 0; i < events.size();) {
    auto end = i;
    float strongest = 0;
    for (; end < events.size() && events[end].at < events[i].at + refractory; ++end) strongest = std::max(strongest, events[end].strength);
    while (i < end && events[i].strength < std::max(faintest, kAttackShare * strongest)) ++i;
    if (i == end) continue;
    hits.push_back(static_cast<double>(events[i].at) * block_s);
    const auto next = events[i].at + refractory;
    while (i < events.size() && events[i].at < next) ++i;
  }
  return hits;
}

}  // namespace sendworthy::song
