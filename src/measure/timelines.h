// Series for pictures and for `measure --timeline`, at a bounded rate.
#pragma once

#include <string>
#include <vector>

#include "measure/meter.h"

namespace sendworthy::measure {

inline constexpr std::size_t kMaxTimelinePoints = 8192;

/// What stands for several points where a series is too long to keep every one.
enum class Merge { highest, lowest, power };

/// Joins neighbours until at most kMaxTimelinePoints are left. NaN (nothing read) gives way to any value.
[[nodiscard]] Timeline bounded_timeline(std::string id, std::string unit, int channel, double start_s, double step_s,
                                        std::vector<float> values, Merge merge, int decimals = 1);

/// Sample peak and each channel's envelope (RMS), per 100 ms, dBFS.
class TimelineMeter final : public Meter {
 public:
  explicit TimelineMeter(const audio::StreamFormat& format);
  void process(const Block& block) override;
  void publish(Bus& bus) override;
  void report(const Bus&, Report&) override {}

 private:
  void close_hop();
  const audio::StreamFormat format_;
  Ticks ticks_;
  float peak_ = 0;
  std::int64_t hop_begin_ = 0;
  std::vector<double> square_;
  std::vector<float> peaks_;
  std::vector<std::vector<float>> envelopes_;
};

}  // namespace sendworthy::measure
