// Loudness by ITU-R BS.1770-5 and EBU Tech 3341/3342, and the A-weighted level: one bank of filters for both.
#include <algorithm>
#include <cmath>
#include <string>

#include "audio/speakers.h"
#include "base/text.h"
#include "dsp/weighting_bank.h"
#include "measure/meter.h"
#include "measure/timelines.h"

namespace sendworthy::measure {
namespace {

constexpr CatalogEntry kEntries[] = {
    {.id = "integrated_loudness", .title = "Integrated loudness", .group = Group::level, .unit = Unit::lufs,
     .decimals = 2, .better = Better::neither,
     .what = "How loud the whole file is, as loudness-normalising players and broadcasters read it.",
     .how = "K-weighted mean square per channel, channel weights 1.0 (left, right, centre) and 1.41 (side surrounds), LFE "
            "left out, over 400 ms blocks every 100 ms that are above -70 LUFS and above the mean of those minus 10 LU.",
     .source = "ITU-R BS.1770-5 Annex 1; EBU Tech 3341 (2023)",
     .caveat = "Within 0.1 LU. A file shorter than 400 ms, or silent, has none. A mono file is measured as one channel and "
               "reads 3 LU less than the same signal on two.",
     .act = "Move the level of the whole mix; loudness follows dB for dB."},
    {.id = "max_momentary_loudness", .title = "Highest momentary loudness", .group = Group::level, .unit = Unit::lufs,
     .decimals = 2, .what = "The loudest 0.4 seconds.",
     .how = "K-weighted power over a sliding 400 ms window, moved by 10 ms, not gated; the highest.",
     .source = "EBU Tech 3341 (2023) clause 2.2",
     .caveat = "Within 0.1 LU. None for files shorter than 0.4 s. It tells of one moment and nothing of the rest.",
     .act = "Lower the hit or the word at the place named; leave the rest as it is."},
    {.id = "max_short_term_loudness", .title = "Highest short-term loudness", .group = Group::level, .unit = Unit::lufs,
     .decimals = 2, .what = "The loudest three seconds.",
     .how = "K-weighted power over a sliding 3 s window, moved by 10 ms, not gated; the highest. Only full windows count.",
     .source = "EBU Tech 3341 (2023) clause 2.2", .caveat = "Within 0.1 LU. None for files shorter than 3 s.",
     .act = "Lower the section at the place named, or the whole mix."},
    {.id = "loudness_range", .title = "Loudness range", .group = Group::level, .unit = Unit::lu, .decimals = 2,
     .what = "How far quiet and loud parts lie apart.",
     .how = "Short-term loudness every 100 ms, gated at -70 LUFS and at 20 LU below the mean of what passes; 95th minus "
            "10th percentile.",
     .source = "EBU Tech 3342 (2023)",
     .caveat = "Within 1 LU. Not recommended below one minute, and not meant as a delivery limit.",
     .act = "If it should be larger, let the quiet sections be quieter; if smaller, ride levels before compressing."},
    {.id = "a_weighted_level", .title = "A-weighted level", .group = Group::exposure, .unit = Unit::dbfs, .decimals = 2,
     .what = "The level the ear's exposure is estimated from once the playback is calibrated.",
     .how = "Mean square of the A-weighted signal over the whole file, channels added as powers; full-scale square wave = "
            "0 dB per channel.",
     .source = "IEC 61672-1 (A-weighting)",
     .caveat = "The weighting is within 0.2 dB up to 20 kHz or 0.45 of the sample rate. A file has no sound pressure level of its own.",
     .act = "Nothing to mend; it feeds the listening cautions."},
};

constexpr int kBlockHops = 4, kMomentaryTicks = 40, kShortTicks = 300;

double lufs(double power) { return -0.691 + 10 * std::log10(power); }

class LoudnessMeter final : public Meter {
 public:
  explicit LoudnessMeter(const Setup& setup)
      : format_(setup.format), ticks_(setup.format.sample_rate), stereo_(setup.format.channels == 2),
        timelines_(setup.timelines) {
    for (int c = 0; c < format_.channels; c += 2) banks_.emplace_back(format_.sample_rate);
    for (int c = 0; c < format_.channels; ++c)
      weights_.push_back(audio::loudness_weight(format_.speakers[static_cast<std::size_t>(c)]));
    weights_.push_back(0);
    ring_.assign(kShortTicks, 0);
  }

  void process(const Block& block) override {
    ticks_.cut(
        block.first_frame, block.frames,
        [&](int offset, int count) {
          for (int c = 0; c < block.channels; c += 2) {
            const bool single = c + 1 == block.channels;
            const float* first = block.row(c) + offset;
            const float* second = single ? first : block.row(c + 1) + offset;
            const auto sums = banks_[static_cast<std::size_t>(c / 2)].process(first, second, count);
            tick_.k += weights_[static_cast<std::size_t>(c)] * sums.k0;
            a_square_ += sums.a0;
            if (!single) {
              tick_.k += weights_[static_cast<std::size_t>(c + 1)] * sums.k1;
              a_square_ += sums.a1;
              tick_.left += sums.k0, tick_.right += sums.k1, tick_.product += sums.k01;
            }
          }
        },
        [&] { close_tick(); });
    for (auto& bank : banks_) bank.flush_denormals();
  }

  void publish(Bus& bus) override {
    gate();
    if (format_.sample_rate < 8000) return;  // the weighting does not fit: nothing that others could build on
    bus.k_left = std::move(left_), bus.k_right = std::move(right_), bus.k_product = std::move(product_);
    bus.gated_blocks = std::move(gated_);
    bus.integrated_lufs = integrated_;
    bus.k_hops = std::move(hops_);
    if (timelines_) {
      bus.timelines.push_back(bounded_timeline("momentary", "LUFS", 0, 0.0, 0.1, momentary_line_, Merge::highest));
      // As long as the file in any case: windows that are not full have no value.
      std::vector<float> line(std::min<std::size_t>(Bus::kShortTermHops - 1, momentary_line_.size()), std::nanf(""));
      for (std::size_t i = 0; i < bus.short_terms(); ++i) {
        const float power = bus.short_term_power(i);
        line.push_back(power > 0 ? static_cast<float>(lufs(power)) : std::nanf(""));
      }
      bus.timelines.push_back(bounded_timeline("short_term", "LUFS", 0, 0.0, 0.1, std::move(line), Merge::highest));
    }
  }

  void report(const Bus& bus, Report& report) override {
    const std::string too_slow = "the sample rate is below 8 kHz, where K- and A-weighting do not fit";
    const std::string silent = "silent: no block reaches -70 LUFS";
    if (format_.sample_rate < 8000) {
      for (const auto& entry : kEntries) report.not_measured(entry.id, too_slow);
      return;
    }
    std::string how_many = format_.channels == 1 ? "one channel; the same signal on two channels reads " : "";
    std::string layout;
    if (!format_.layout_known && format_.channels > 2)
      layout = "channel layout unknown: every channel counted at full weight";
    if (integrated_) {
      auto& m = report.value("integrated_loudness", *integrated_);
      m.note = format_.channels == 1 ? how_many + base::fixed(*integrated_ + 10 * std::log10(2.0), 2) + " LUFS" : layout;
    } else {
      report.not_measured("integrated_loudness",
                          bus.duration_s < 0.4 ? "too short: loudness needs at least 0.4 s" : silent);
    }
    highest(report, "max_momentary_loudness", top_momentary_, kMomentaryTicks, bus.duration_s, 0.4);
    highest(report, "max_short_term_loudness", top_short_, kShortTicks, bus.duration_s, 3.0);
    range(bus, report);
    const double a_power = a_square_ / static_cast<double>(bus.frames);
    if (a_power > 0) {
      report.value("a_weighted_level", power_db(a_power));
    } else {
      report.not_measured("a_weighted_level", "silent: digital zero throughout");
    }
  }

 private:
  struct Top {
    double power = 0;
    std::int64_t first_tick = 0;
  };
  struct Sums {
    double k = 0, left = 0, right = 0, product = 0;
  };

  double frames_between(std::size_t hop, std::size_t end_hop) const {
    return static_cast<double>(ticks_.hop_start(static_cast<std::int64_t>(end_hop)) -
                               ticks_.hop_start(static_cast<std::int64_t>(hop)));
  }

  void close_tick() {
    const std::int64_t tick = ticks_.tick();  // closed so far
    double& oldest = ring_[static_cast<std::size_t>((tick - 1) % kShortTicks)];
    short_sum_ += tick_.k - oldest;
    oldest = tick_.k;
    if (tick % 10 == 0) {
      // Made afresh every hop, so that the rounding of adding and taking away cannot gather.
      short_sum_ = 0;
      for (const double value : ring_) short_sum_ += value;
    }
    hop_.k += tick_.k, hop_.left += tick_.left, hop_.right += tick_.right, hop_.product += tick_.product;
    tick_ = {};
    if (tick % 10 == 0) {
      hops_.push_back(static_cast<float>(hop_.k));
      if (stereo_) {
        left_.push_back(static_cast<float>(hop_.left));
        right_.push_back(static_cast<float>(hop_.right));
        product_.push_back(static_cast<float>(hop_.product));
      }
      hop_ = {};
    }
    const double momentary = window(tick, kMomentaryTicks, top_momentary_);
    if (tick >= kShortTicks) {
      const double power = short_sum_ / static_cast<double>(ticks_.start(tick) - ticks_.start(tick - kShortTicks));
      if (power > top_short_.power) top_short_ = {power, tick - kShortTicks};
    }
    if (timelines_ && tick % 10 == 0)
      momentary_line_.push_back(momentary > 0 ? static_cast<float>(lufs(momentary)) : std::nanf(""));
  }

  double window(std::int64_t tick, int length, Top& top) {
    if (tick < length) return 0;
    double sum = 0;
    for (std::int64_t k = tick - length; k < tick; ++k) sum += ring_[static_cast<std::size_t>(k % kShortTicks)];
    const double power = sum / static_cast<double>(ticks_.start(tick) - ticks_.start(tick - length));
    if (power > top.power) top = {power, tick - length};
    return power;
  }

  void gate() {
    const std::size_t blocks = hops_.size() >= kBlockHops ? hops_.size() - kBlockHops + 1 : 0;
    const auto power = [&](std::size_t j) {
      const double sum = static_cast<double>(hops_[j]) + hops_[j + 1] + hops_[j + 2] + hops_[j + 3];
      return sum / frames_between(j, j + kBlockHops);
    };
    const double absolute = std::pow(10.0, (-70 + 0.691) / 10);
    double sum = 0;
    std::int64_t count = 0;
    for (std::size_t j = 0; j < blocks; ++j) {
      const double z = power(j);
      if (z > absolute) sum += z, ++count;
    }
    gated_.assign(blocks, false);
    if (count == 0) return;
    const double relative = sum / static_cast<double>(count) / 10;
    sum = 0, count = 0;
    for (std::size_t j = 0; j < blocks; ++j) {
      const double z = power(j);
      if (z > absolute && z > relative) sum += z, ++count, gated_[j] = true;
    }
    if (count > 0) integrated_ = lufs(sum / static_cast<double>(count));
  }

  void highest(Report& report, std::string_view id, const Top& top, int length, double duration_s, double needed_s) {
    if (top.power > 0) {
      auto& m = report.value(id, lufs(top.power));
      m.where.push_back(place(ticks_.start(top.first_tick), ticks_.start(top.first_tick + length), format_.sample_rate));
      m.where_total = 1;
    } else if (duration_s < needed_s) {
      report.not_measured(id, "too short: it needs at least " + base::fixed(needed_s, 1) + " s");
    } else {
      report.not_measured(id, "silent: digital zero throughout");
    }
  }

  void range(const Bus& bus, Report& report) {
    const double absolute = std::pow(10.0, (-70 + 0.691) / 10);
    double sum = 0;
    std::int64_t count = 0;
    for (std::size_t i = 0; i < bus.short_terms(); ++i) {
      if (const float z = bus.short_term_power(i); z >= absolute) sum += z, ++count;
    }
    if (count == 0) {
      report.not_measured("loudness_range", bus.duration_s < 3 ? "too short: it needs at least 3 s"
                                                               : "silent: no 3 s reach -70 LUFS");
      return;
    }
    const double relative = sum / static_cast<double>(count) / 100;
    std::vector<float> kept;
    kept.reserve(static_cast<std::size_t>(count));  // hours of it: no room for growth by doubling
    for (std::size_t i = 0; i < bus.short_terms(); ++i) {
      if (const float z = bus.short_term_power(i); z >= absolute && z >= relative) kept.push_back(z);
    }
    const float high = percentile(kept, 0.95), low = percentile(kept, 0.10);
    auto& m = report.value("loudness_range", 10 * std::log10(static_cast<double>(high) / low));
    if (bus.duration_s < 60) m.note = "shorter than a minute: not recommended as a measure (EBU R 128, 2023, note 2)";
  }

  const audio::StreamFormat format_;
  Ticks ticks_;
  const bool stereo_, timelines_;
  std::vector<dsp::WeightingBank> banks_;
  std::vector<double> weights_;
  Sums tick_, hop_;
  double a_square_ = 0;
  std::vector<double> ring_;
  double short_sum_ = 0;
  Top top_momentary_, top_short_;
  Series hops_, left_, right_, product_;
  std::vector<float> momentary_line_;
  std::vector<bool> gated_;
  std::optional<double> integrated_;
};

std::unique_ptr<Meter> create(const Setup& setup) { return std::make_unique<LoudnessMeter>(setup); }

}  // namespace

extern const MeterModule kLoudnessModule{kEntries, create};

}  // namespace sendworthy::measure
