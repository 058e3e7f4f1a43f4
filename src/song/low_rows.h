// A part's low end, slowed down: what every question about it is answered from.
#pragma once

#include <span>
#include <vector>

#include "dsp/low_band.h"

namespace sendworthy::song {

/// Any rate down to 1 … 1.5 kHz, twice: `wide` is flat to 300 Hz; `low` is the same through a linear-phase low-pass that is flat to
/// below_hz, 6 dB down at 1.25 and at least 100 dB down from 1.5 times that on. Streaming, any number of channels.
class LowRows {
 public:
  /// `below_hz`: 40 … 250.
  LowRows(double sample_rate_hz, double below_hz, int channels);
  /// Replaces `wide` and `low` by what the next `frames` gave.
  void take(std::span<const float* const> rows, int frames);
  /// Replaces them by what is left at the end.
  void finish();

  [[nodiscard]] double rate_hz() const { return rate_hz_; }
  /// When the very first samples stand, seconds; below 0.
  [[nodiscard]] double wide_start_s() const { return -wide_delay_s_; }
  [[nodiscard]] double low_start_s() const { return -low_delay_s_; }
  std::vector<std::vector<float>> wide, low;  ///< by channel

 private:
  struct Channel {
    dsp::LowBandChain chain;
    dsp::Decimator slow, low_pass;
  };
  std::vector<Channel> channels_;
  double sample_rate_hz_, rate_hz_, wide_delay_s_, low_delay_s_;
  std::vector<float> middle_, third_;
};

/// Mean square of a slow signal over any stretch of time, from running sums. What lies outside of it is silent.
class RunningPower {
 public:
  /// All rows added up, times `times`.
  RunningPower(std::span<const std::vector<float>> rows, double times, double rate_hz, double start_s);
  [[nodiscard]] double mean(double from_s, double to_s) const;

 private:
  [[nodiscard]] double up_to(double at_s) const;
  std::vector<double> sums_;
  double rate_hz_, start_s_;
};

/// 10·log10, −200 at least.
[[nodiscard]] double decibels_of(double power);
/// Between the values, sorted, as a share 0 … 1 of the way from the first to the last; at least one value.
[[nodiscard]] double percentile(std::vector<double> values, double share);
/// Mean of the highest twentieth of the values, one at least: what "its loudest 5 %" means.
[[nodiscard]] double loudest(std::vector<double> powers);

}  // namespace sendworthy::song
