#include "measure/subsonic.h"

#include <algorithm>

namespace sendworthy::measure {
namespace {

constexpr int kFirstFactor = 8, kSecondFactor = 3;  // 3 … 6 kHz → 125 … 250 Hz

// Steep: a kick or a bass at 40 Hz leaves no more than −48 dB below 20 Hz by its own leak.
std::vector<dsp::Biquad> sections(double rate_hz) {
  auto list = dsp::butterworth_high_pass(2, SubsonicBand::kLowestHz, rate_hz);
  for (const auto& section : dsp::butterworth_low_pass(12, SubsonicBand::kHighestHz, rate_hz)) list.push_back(section);
  return list;
}

}  // namespace

bool SubsonicBand::possible(double rate_hz) { return rate_hz / (kFirstFactor * kSecondFactor) >= 4 * kHighestHz; }

SubsonicBand::SubsonicBand(double rate_hz)
    : factor_(kFirstFactor * kSecondFactor),
      first_(rate_hz, kFirstFactor, 40, rate_hz / kFirstFactor - 40),
      second_(rate_hz, kFirstFactor, 40, rate_hz / kFirstFactor - 40),
      slow_first_(rate_hz / kFirstFactor, kSecondFactor, 30, rate_hz / factor_ - 30),
      slow_second_(rate_hz / kFirstFactor, kSecondFactor, 30, rate_hz / factor_ - 30),
      cascade_(std::make_unique<dsp::PairCascade>(sections(rate_hz / factor_))),
      skip_(static_cast<std::int64_t>(rate_hz / factor_)) {}

void SubsonicBand::take(const std::vector<float>& first, const std::vector<float>& second) {
  middle_first_.clear(), middle_second_.clear(), low_first_.clear(), low_second_.clear();
  first_.process(first, middle_first_);
  second_.process(second, middle_second_);
  slow_first_.process(middle_first_, low_first_);
  slow_second_.process(middle_second_, low_second_);
  for (std::size_t n = 0; n < std::min(low_first_.size(), low_second_.size()); ++n) {
    const auto y = cascade_->process(low_first_[n], low_second_[n]);
    if (skip_ > 0) {
      --skip_;
      continue;
    }
    energy_ += y[0] * y[0] + y[1] * y[1];
    ++counted_;
  }
  cascade_->flush_denormals();
}

}  // namespace sendworthy::measure
