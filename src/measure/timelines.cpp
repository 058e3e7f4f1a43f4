#include "measure/timelines.h"

#include <algorithm>
#include <cmath>

namespace sendworthy::measure {
namespace {

float merged(float a, float b, Merge merge) {
  if (std::isnan(a)) return b;
  if (std::isnan(b)) return a;
  switch (merge) {
    case Merge::highest: return std::max(a, b);
    case Merge::lowest: return std::min(a, b);
    case Merge::power: return static_cast<float>(power_db((std::pow(10, a / 10.0) + std::pow(10, b / 10.0)) / 2));
  }
  return a;
}

}  // namespace

Timeline bounded_timeline(std::string id, std::string unit, int channel, double start_s, double step_s,
                          std::vector<float> values, Merge merge, int decimals) {
  while (values.size() > kMaxTimelinePoints) {
    const std::size_t half = (values.size() + 1) / 2;
    for (std::size_t i = 0; i < half; ++i)
      values[i] = 2 * i + 1 < values.size() ? merged(values[2 * i], values[2 * i + 1], merge) : values[2 * i];
    values.resize(half);
    step_s *= 2;
  }
  Timeline line;
  line.id = std::move(id);
  line.unit = std::move(unit);
  line.channel = channel;
  line.start_s = start_s;
  line.step_s = step_s;
  line.decimals = decimals;
  line.values = std::move(values);
  return line;
}

TimelineMeter::TimelineMeter(const audio::StreamFormat& format)
    : format_(format), ticks_(format.sample_rate), square_(static_cast<std::size_t>(format.channels)),
      envelopes_(static_cast<std::size_t>(format.channels)) {}

void TimelineMeter::process(const Block& block) {
  ticks_.cut(
      block.first_frame, block.frames,
      [&](int offset, int count) {
        for (int c = 0; c < block.channels; ++c) {
          const float* x = block.row(c) + offset;
          square_[static_cast<std::size_t>(c)] += dsp::row_sums(x, count).square;
          for (int n = 0; n < count; ++n) peak_ = std::max(peak_, std::abs(x[n]));
        }
      },
      [&] {
        if (ticks_.tick() % 10 == 0) close_hop();
      });
}

void TimelineMeter::close_hop() {
  const auto frames = static_cast<double>(ticks_.start(ticks_.tick()) - hop_begin_);
  hop_begin_ = ticks_.start(ticks_.tick());
  peaks_.push_back(static_cast<float>(amplitude_db(peak_)));
  peak_ = 0;
  for (std::size_t c = 0; c < square_.size(); ++c) {
    envelopes_[c].push_back(static_cast<float>(power_db(square_[c] / frames)));
    square_[c] = 0;
  }
}

void TimelineMeter::publish(Bus& bus) {
  bus.timelines.push_back(bounded_timeline("peak", "dBFS", 0, 0, 0.1, std::move(peaks_), Merge::highest));
  for (std::size_t c = 0; c < envelopes_.size(); ++c) {
    bus.timelines.push_back(bounded_timeline("envelope", "dBFS", static_cast<int>(c) + 1, 0, 0.1,
                                             std::move(envelopes_[c]), Merge::power));
  }
}

}  // namespace sendworthy::measure
