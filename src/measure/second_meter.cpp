#include "measure/second_meter.h"

#include <algorithm>
#include <cmath>
#include <mutex>

#include <ebur128.h>

namespace sendworthy::measure {
namespace {

int channel_of(audio::Speaker speaker) {
  using enum audio::Speaker;
  switch (speaker) {
    case left: return EBUR128_LEFT;
    case right: return EBUR128_RIGHT;
    case centre: return EBUR128_CENTER;
    case lfe: return EBUR128_UNUSED;
    case left_surround: return EBUR128_LEFT_SURROUND;
    case right_surround: return EBUR128_RIGHT_SURROUND;
    default: return EBUR128_CENTER;  // weight 1.0, as in our own meter
  }
}

// Our loudness range from short-term loudness once a second, which is how the library makes its own.
double own_range(const Bus& bus) {
  const double absolute = std::pow(10.0, (-70 + 0.691) / 10);
  double sum = 0;
  std::int64_t count = 0;
  for (std::size_t i = 0; i < bus.short_terms(); i += 10) {
    if (const double z = bus.short_term_power(i); z >= absolute) sum += z, ++count;
  }
  if (count == 0) return std::nan("");
  std::vector<float> kept;
  for (std::size_t i = 0; i < bus.short_terms(); i += 10) {
    const double z = bus.short_term_power(i);
    if (z >= absolute && z >= sum / static_cast<double>(count) / 100) kept.push_back(static_cast<float>(z));
  }
  const float high = percentile(kept, 0.95), low = percentile(kept, 0.10);
  return 10 * std::log10(static_cast<double>(high) / low);
}

}  // namespace

struct SecondMeter::State {
  ebur128_state* meter = nullptr;
  State(const audio::StreamFormat& format, Reads reads) {
    // Creating a meter writes the library's global tables: one at a time.
    static std::mutex once;
    const std::lock_guard lock(once);
    meter = ebur128_init(static_cast<unsigned>(format.channels), static_cast<unsigned long>(format.sample_rate),
                         EBUR128_MODE_I | EBUR128_MODE_LRA | EBUR128_MODE_M |
                             (reads == Reads::all ? static_cast<int>(EBUR128_MODE_TRUE_PEAK) : 0));
    if (meter == nullptr) return;
    for (std::size_t c = 0; c < format.speakers.size(); ++c) {
      const int channel = format.channels == 1 ? static_cast<int>(EBUR128_CENTER) : channel_of(format.speakers[c]);
      ebur128_set_channel(meter, static_cast<unsigned>(c), channel);
    }
  }
  ~State() {
    if (meter != nullptr) ebur128_destroy(&meter);
  }
};

SecondMeter::SecondMeter(const audio::StreamFormat& format, Reads reads)
    : format_(format), reads_(reads), state_(std::make_unique<State>(format, reads)), ticks_(format.sample_rate) {}
SecondMeter::~SecondMeter() = default;

void SecondMeter::feed(const Block& block, int offset, int count) {
  scratch_.resize(static_cast<std::size_t>(count) * static_cast<std::size_t>(block.channels));
  for (int c = 0; c < block.channels; ++c) {
    const float* row = block.row(c) + offset;
    for (int n = 0; n < count; ++n) scratch_[static_cast<std::size_t>(n * block.channels + c)] = row[n];
  }
  ebur128_add_frames_double(state_->meter, scratch_.data(), static_cast<std::size_t>(count));
}

void SecondMeter::process(const Block& block) {
  if (state_->meter == nullptr) return;
  // Its reading of the momentary loudness depends on how often it is asked, so it is asked every 100 ms, whatever the
  // size of our blocks.
  ticks_.cut(
      block.first_frame, block.frames, [&](int offset, int count) { feed(block, offset, count); },
      [&] {
        double value = 0;
        if (ticks_.tick() % 10 == 0 && ticks_.tick() >= 40 &&
            ebur128_loudness_momentary(state_->meter, &value) == EBUR128_SUCCESS && std::isfinite(value))
          highest_momentary_ = std::max(highest_momentary_, value);
      });
}

void SecondMeter::publish(Bus&) {
  if (state_->meter == nullptr) return;
  // The integrated value must not see the silence that brings out the last peak, so it is read in report() from blocks
  // that silence cannot pass the gate of.
  scratch_.assign(64 * static_cast<std::size_t>(format_.channels), 0.0);
  ebur128_add_frames_double(state_->meter, scratch_.data(), 64);
}

void SecondMeter::report(const Bus& bus, Report& report) {
  const auto put = [&](std::string_view id, double value) {
    auto& m = std::isfinite(value) ? report.value(id, value) : report.not_measured(id, "the second meter gives no value");
    m.key = "second_meter." + std::string(id);
  };
  if (state_->meter == nullptr) {
    for (const char* id : {"integrated_loudness", "loudness_range", "max_momentary_loudness", "true_peak"})
      put(id, std::nan(""));
    return;
  }
  double value = 0;
  // Too short and silent look like values to it: the length and our own gate decide.
  const bool measurable = bus.integrated_lufs.has_value();
  put("integrated_loudness", measurable && ebur128_loudness_global(state_->meter, &value) == EBUR128_SUCCESS ? value : std::nan(""));
  put("loudness_range", bus.duration_s >= 4 && measurable && ebur128_loudness_range(state_->meter, &value) == EBUR128_SUCCESS
                            ? value
                            : std::nan(""));
  put("max_momentary_loudness", highest_momentary_ > -200 ? highest_momentary_ : std::nan(""));
  double own = 0;
  for (std::size_t i = 0; i + 4 <= bus.k_hops.size(); ++i) {
    const double sum = static_cast<double>(bus.k_hops[i]) + bus.k_hops[i + 1] + bus.k_hops[i + 2] + bus.k_hops[i + 3];
    const auto hop = static_cast<std::int64_t>(i);
    own = std::max(own, sum / static_cast<double>(ticks_.hop_start(hop + 4) - ticks_.hop_start(hop)));
  }
  put("max_momentary_loudness", own > 0 ? -0.691 + 10 * std::log10(own) : std::nan(""));
  report.measurements.back().key = "second_meter.own_momentary";
  put("loudness_range", own_range(bus));
  report.measurements.back().key = "second_meter.own_range";
  if (reads_ == Reads::loudness) return;
  double peak = 0;
  for (int c = 0; c < format_.channels; ++c) {
    if (ebur128_true_peak(state_->meter, static_cast<unsigned>(c), &value) == EBUR128_SUCCESS) peak = std::max(peak, value);
  }
  put("true_peak", peak > 0 ? amplitude_db(peak) : std::nan(""));
}

std::string second_meter_version() {
  int major = 0, minor = 0, patch = 0;
  ebur128_get_version(&major, &minor, &patch);
  return std::to_string(major) + "." + std::to_string(minor) + "." + std::to_string(patch);
}

}  // namespace sendworthy::measure
