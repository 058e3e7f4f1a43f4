#include "song/low_rows.h"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <functional>
#include <numeric>

namespace sendworthy::song {
namespace {

constexpr double kWideHz = 300, kSlowRateHz = 1000, kStop = 1.5;

}  // namespace

LowRows::LowRows(double sample_rate_hz, double below_hz, int channels)
    : wide(static_cast<std::size_t>(channels)), low(static_cast<std::size_t>(channels)), sample_rate_hz_(sample_rate_hz) {
  const dsp::LowBandChain chain(sample_rate_hz);
  const int factor = static_cast<int>(chain.low_rate_hz() / kSlowRateHz);
  rate_hz_ = chain.low_rate_hz() / factor;
  const dsp::Decimator slow(chain.low_rate_hz(), factor, kWideHz, rate_hz_ - kWideHz);
  const dsp::Decimator low_pass(rate_hz_, 1, below_hz, kStop * below_hz);
  wide_delay_s_ = chain.low_delay_frames() / sample_rate_hz + slow.delay_frames() / chain.low_rate_hz();
  low_delay_s_ = wide_delay_s_ + low_pass.delay_frames() / rate_hz_;
  for (int c = 0; c < channels; ++c) channels_.push_back({chain, slow, low_pass});
}

void LowRows::take(std::span<const float* const> rows, int frames) {
  for (std::size_t c = 0; c < channels_.size(); ++c) {
    channels_[c].chain.process({rows[c], static_cast<std::size_t>(frames)}, middle_, third_);
    wide[c].clear(), low[c].clear();
    channels_[c].slow.process(third_, wide[c]);
    channels_[c].low_pass.process(wide[c], low[c]);
  }
}

void LowRows::finish() {
  const std::vector<float> silence(static_cast<std::size_t>(std::ceil((low_delay_s_ + 1 / rate_hz_) * sample_rate_hz_)), 0.0f);
  const std::vector<const float*> rows(channels_.size(), silence.data());
  take(rows, static_cast<int>(silence.size()));
}

RunningPower::RunningPower(std::span<const std::vector<float>> rows, double times, double rate_hz, double start_s) : rate_hz_(rate_hz), start_s_(start_s) {
  const auto size = rows.empty() ? 0 : rows[0].size();
  sums_.reserve(size + 1);
  sums_.push_back(0);
  for (std::size_t n = 0; n < size; ++n) {
    double square = 0;
    for (const auto& row : rows) square += static_cast<double>(row[n]) * static_cast<double>(row[n]);
    sums_.push_back(sums_.back() + times * square);
  }
}

double RunningPower::up_to(double at_s) const {
  // A sample stands for the time half a step around it.
  const double at = std::clamp((at_s - start_s_) * rate_hz_ + 0.5, 0.0, static_cast<double>(sums_.size() - 1));
  const auto whole = std::min(static_cast<std::size_t>(at), sums_.size() - 1);
  const double next = whole + 1 < sums_.size() ? sums_[whole + 1] : sums_[whole];
  return std::lerp(sums_[whole], next, at - static_cast<double>(whole));
}

double RunningPower::mean(double from_s, double to_s) const {
  return std::max(0.0, up_to(to_s) - up_to(from_s)) / ((to_s - from_s) * rate_hz_);
}

double decibels_of(double power) { return power > 1e-20 ? 10 * std::log10(power) : -200; }

double percentile(std::vector<double> values, double share) {
  std::sort(values.begin(), values.end());
  const double at = share * static_cast<double>(values.size() - 1);
  const auto below = static_cast<std::size_t>(at);
  return std::lerp(values[below], values[std::min(below + 1, values.size() - 1)], at - static_cast<double>(below));
}

double loudest(std::vector<double> powers) {
  if (powers.empty()) return 0;
  const auto count = std::max<std::size_t>(1, (powers.size() + 10) / 20);
  std::partial_sort(powers.begin(), powers.begin() + static_cast<std::ptrdiff_t>(count), powers.end(), std::greater<>());
  return std::accumulate(powers.begin(), powers.begin() + static_cast<std::ptrdiff_t>(count), 0.0) / static_cast<double>(count);
}

}  // namespace sendworthy::song
