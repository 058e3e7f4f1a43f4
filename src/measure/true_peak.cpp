// True peak, per hop and channel, and what follows from it.
#include <algorithm>
#include <cmath>

#include "base/text.h"
#include "dsp/true_peak.h"
#include "measure/meter.h"

namespace sendworthy::measure {
namespace {

constexpr CatalogEntry kEntries[] = {
    {.id = "true_peak", .title = "True peak", .group = Group::level, .unit = Unit::dbtp, .decimals = 2,
     .better = Better::lower,
     .what = "The highest point of the waveform, between samples too: what a converter or a lossy encoder meets.",
     .how = "Interpolated 4 times by a 28-tap-a-phase low-pass, refined 32 times by one of 64 taps wherever it could "
            "matter, and a parabola; the largest magnitude of these and of the samples; silence before and after.",
     .source = "ITU-R BS.1770-5 Annex 2 (task and bounds); the interpolator is our own",
     .caveat = "Within 0.05 dB for any sine up to 0.45 of the sample rate. Other meters that interpolate only 4 times read "
               "up to 0.6 dB less.",
     .act = "Lower the level, or the ceiling of the last limiter; switch its inter-sample detection on."},
    {.id = "peak_to_loudness_ratio", .title = "Peak to loudness ratio", .group = Group::level, .unit = Unit::db,
     .decimals = 2, .better = Better::higher,
     .what = "How far the highest peak stands above the loudness: small means heavily limited.",
     .how = "True peak minus integrated loudness.", .source = "definition",
     .caveat = "One stray peak can make a squashed mix look open.",
     .act = "If small, ease the limiter or the clipper on the mix bus."},
    {.id = "peak_to_short_term_ratio", .title = "Peak to short-term ratio", .group = Group::level, .unit = Unit::db,
     .decimals = 2, .better = Better::higher,
     .what = "How far peaks stand above the loudness in the densest passages: small means limited.",
     .how = "For every 3 s window, every 100 ms, above -70 LUFS: true peak in it minus its loudness; the 5th percentile.",
     .source = "definition", .caveat = "Not measured below 3 s of sound. It tells of density, not whether it is meant.",
     .act = "If small, look at the densest section: too many parts at full level, or the limiter never rests."},
};

class TruePeakModule final : public Meter {
 public:
  explicit TruePeakModule(const Setup& setup)
      : format_(setup.format), ticks_(setup.format.sample_rate),
        channels_(static_cast<std::size_t>(setup.format.channels)) {}

  void process(const Block& block) override {
    for (int c = 0; c < block.channels; ++c) channels_[static_cast<std::size_t>(c)].meter.feed(block.row(c), block.frames);
    frames_ = block.first_frame + block.frames;
    while (ticks_.hop_start(hop_ + 1) <= channels_.front().meter.closable()) close(ticks_.hop_start(hop_ + 1));
  }

  void publish(Bus& bus) override {
    for (auto& channel : channels_) channel.meter.flush();
    while (closed_ < frames_) close(std::min(ticks_.hop_start(hop_ + 1), frames_));
    for (const auto& channel : channels_) bus.true_peak = std::max(bus.true_peak, static_cast<double>(channel.peak.value));
    bus.true_peak_hops = std::move(hops_);
  }

  void report(const Bus& bus, Report& report) override {
    if (bus.true_peak <= 0) {
      for (const auto& entry : kEntries) report.not_measured(entry.id, "silent: digital zero throughout");
      return;
    }
    auto& m = report.value("true_peak", amplitude_db(bus.true_peak));
    for (std::size_t c = 0; c < channels_.size(); ++c) {
      const auto& peak = channels_[c].peak;
      if (channels_.size() > 1)
        m.channels.push_back(peak.value > 0 ? std::optional(amplitude_db(peak.value)) : std::nullopt);
      if (static_cast<double>(peak.value) == bus.true_peak && m.where.empty())
        m.where.push_back(place_at(peak.frame, format_.sample_rate, format_.channels > 1 ? static_cast<int>(c) + 1 : 0));
    }
    m.where_total = static_cast<std::int64_t>(m.where.size());

    if (bus.integrated_lufs) {
      report.value("peak_to_loudness_ratio", amplitude_db(bus.true_peak) - *bus.integrated_lufs);
    } else {
      report.not_measured("peak_to_loudness_ratio", "there is no integrated loudness");
    }
    ratio(bus, report);
  }

 private:
  struct Channel {
    dsp::TruePeakMeter meter;
    dsp::TruePeakMeter::Peak peak;
  };

  void close(std::int64_t end) {
    // Of a hop only the highest channel is told, and of a channel its highest hop: the loudest goes first, and the others
    // are looked at closely only where they may change either.
    const auto loudest = std::max_element(channels_.begin(), channels_.end(), [](const Channel& a, const Channel& b) {
      return a.peak.value < b.peak.value;
    });
    float highest = 0;
    const auto look = [&](Channel& channel) {
      const auto peak = channel.meter.close(end, std::min(channel.peak.value, highest));
      if (peak.value > channel.peak.value) channel.peak = peak;
      highest = std::max(highest, peak.value);
    };
    look(*loudest);
    for (auto channel = channels_.begin(); channel != channels_.end(); ++channel) {
      if (channel != loudest) look(*channel);
    }
    hops_.push_back(highest);
    closed_ = end;
    ++hop_;
  }

  void ratio(const Bus& bus, Report& report) {
    std::vector<float> ratios;
    ratios.reserve(bus.short_terms());
    const double absolute = std::pow(10.0, (-70 + 0.691) / 10);
    for (std::size_t i = 0; i < bus.short_terms(); ++i) {
      const double power = bus.short_term_power(i);
      if (power <= absolute) continue;
      const float peak = *std::max_element(bus.true_peak_hops.begin() + static_cast<std::ptrdiff_t>(i),
                                           bus.true_peak_hops.begin() + static_cast<std::ptrdiff_t>(i) + Bus::kShortTermHops);
      ratios.push_back(static_cast<float>(amplitude_db(peak) - (-0.691 + 10 * std::log10(power))));
    }
    if (ratios.empty()) {
      report.not_measured("peak_to_short_term_ratio",
                          bus.duration_s < 3 ? "too short: it needs at least 3 s" : "silent: no 3 s reach -70 LUFS");
      return;
    }
    report.value("peak_to_short_term_ratio", static_cast<double>(percentile(ratios, 0.05)));
  }

  const audio::StreamFormat format_;
  Ticks ticks_;
  std::vector<Channel> channels_;
  std::int64_t frames_ = 0, hop_ = 0, closed_ = 0;
  Series hops_;
};

std::unique_ptr<Meter> create(const Setup& setup) { return std::make_unique<TruePeakModule>(setup); }

}  // namespace

extern const MeterModule kTruePeakModule{kEntries, create};

}  // namespace sendworthy::measure
