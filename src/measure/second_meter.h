// libebur128 beside our own meters: a second opinion on the same samples.
#pragma once

#include <memory>

#include "measure/meter.h"

namespace sendworthy::measure {

/// Adds measurements with keys "second_meter.<id>": integrated_loudness, loudness_range (from a 1 Hz series, which is how
/// the library makes it), max_momentary_loudness (read every 100 ms), true_peak (no more than 0.1 dB above ours is all that
/// can be asked: it interpolates 4 times at most). "second_meter.own_momentary" and
/// "second_meter.own_range" are our own readings on the same 100 ms and 1 s grids, for comparison.
class SecondMeter final : public Meter {
 public:
  /// True peak is three quarters of its cost.
  enum class Reads { all, loudness };
  SecondMeter(const audio::StreamFormat& format, Reads reads);
  ~SecondMeter() override;
  void process(const Block& block) override;
  void publish(Bus& bus) override;
  void report(const Bus& bus, Report& report) override;

 private:
  struct State;
  void feed(const Block& block, int offset, int count);
  const audio::StreamFormat format_;
  const Reads reads_;
  std::unique_ptr<State> state_;
  Ticks ticks_;
  std::vector<double> scratch_;
  double highest_momentary_ = -1e9;
};

/// Version of libebur128.
[[nodiscard]] std::string second_meter_version();

}  // namespace sendworthy::measure
