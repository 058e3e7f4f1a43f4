// Plain levels: peaks, RMS, DC, and how the peaks pile up.
#include <algorithm>
#include <cmath>
#include <string>

#include "base/text.h"
#include "measure/meter.h"

namespace sendworthy::measure {
namespace {

constexpr CatalogEntry kEntries[] = {
    {.id = "sample_peak", .title = "Sample peak", .group = Group::level, .unit = Unit::dbfs, .decimals = 2,
     .better = Better::lower, .what = "The highest sample of any channel.", .how = "20 log10 of the largest magnitude.",
     .source = "definition", .caveat = "The waveform between samples can be higher: see the true peak.",
     .act = "Lower the level if it must stay under a limit."},
    {.id = "headroom", .title = "Headroom", .group = Group::level, .unit = Unit::db, .decimals = 2,
     .better = Better::higher, .what = "What is left between the highest sample and full scale.",
     .how = "Minus the sample peak.", .source = "definition",
     .caveat = "How much is wanted differs from house to house; a float file loses nothing above full scale.",
     .act = "Lower the mix bus or every group by the same amount."},
    {.id = "rms_level", .title = "RMS level", .group = Group::level, .unit = Unit::dbfs, .decimals = 2,
     .what = "The plain average level, without any weighting for the ear.",
     .how = "10 log10 of the mean square over all frames and channels, DC and silence included. Mathematical convention: a "
            "full-scale sine reads -3.01; the AES17 convention, 3.01 dB more, stands in the note.",
     .source = "definition; AES17 for the second convention",
     .caveat = "Not how loud it sounds: that is integrated_loudness. Name the convention whenever you compare two numbers.", .act = "Move the level of the whole file."},
    {.id = "crest_factor", .title = "Crest factor", .group = Group::level, .unit = Unit::db, .decimals = 2,
     .what = "Peak over RMS: how spiky the sound is.", .how = "Sample peak minus RMS level, per channel; the lowest.",
     .source = "definition", .caveat = "One stray peak makes a dense sound look open. A steady sine reads 3.01 dB, a square wave 0 dB.",
     .act = "If very small, look for what holds the peaks down (limiter, clipper, saturation) and ease it."},
    {.id = "dc_offset", .title = "DC offset", .group = Group::level, .unit = Unit::percent, .decimals = 3,
     .better = Better::lower, .what = "How far the waveform's middle lies off zero; it costs headroom and clicks at edits.",
     .how = "100 times the magnitude of the mean of each channel; the worst. The worst single second stands in the note.",
     .source = "definition",
     .caveat = "What made it is not known. Lopsided waveforms such as voice and brass have none even if they look so.",
     .act = "Put a high-pass at 5 to 10 Hz on the channel or plug-in that makes it, not on the whole mix."},
    {.id = "limited_peaks", .title = "Peaks at the ceiling", .group = Group::level, .unit = Unit::percent, .decimals = 2,
     .better = Better::lower, .what = "How often the peaks come up to one and the same level, as when a limiter holds them: limited, not clipped.",
     .how = "Share of 10 ms windows whose sample peak lies within 0.1 dB of the file's own.", .source = "definition",
     .caveat = "Evidence only. Steady tones and plain synthesiser sounds do so without any limiter; one higher peak hides a limiter.",
     .act = "Send a version with the last limiter off or eased."},
    {.id = "noise_floor", .title = "Noise floor", .group = Group::noise, .unit = Unit::dbfs, .decimals = 2,
     .better = Better::lower, .what = "The level of the quietest parts, where hiss and hum are heard.",
     .how = "RMS, less DC, of 0.5 s windows every 0.25 s, without windows that hold more than 1 ms of digital zero and without fades; "
            "the 5th percentile of each channel, the worst channel.",
     .source = "definition",
     .caveat = "Not measured unless at least four windows, and the percentile itself, lie 20 dB or more under the integrated "
               "loudness: dense music has no quiet part.",
     .act = "Find the track that hisses in the pauses; mute, gate or clean it there."},
};

constexpr int kHalfTicks = 25;          // half a noise window
constexpr double kBinsPerDb = 1000;     // histogram of window peaks
constexpr double kLowestBinDb = -200, kHighestBinDb = 380;

class LevelMeter final : public Meter {
 public:
  explicit LevelMeter(const Setup& setup)
      : format_(setup.format), ticks_(setup.format.sample_rate),
        bins_(static_cast<std::size_t>((kHighestBinDb - kLowestBinDb) * kBinsPerDb) + 1),
        channels_(static_cast<std::size_t>(setup.format.channels)) {
    zero_limit_ = format_.sample_rate / 1000 + 1;
  }

  void process(const Block& block) override {
    ticks_.cut(
        block.first_frame, block.frames,
        [&](int offset, int count) {
          for (int c = 0; c < block.channels; ++c) add(c, dsp::row_sums(block.row(c) + offset, count), block, offset, count);
        },
        [&] { close_tick(); });
    for (int c = 0; c < block.channels; ++c) find_zero_runs(c, block);
    frames_ = block.first_frame + block.frames;
  }

  void publish(Bus& bus) override {
    if (tick_frames_ > 0) count_window_peak();
    if (second_frames_ > 0 && frames_ <= format_.sample_rate) close_second();
    for (const auto& channel : channels_) {
      bus.peak.push_back(channel.peak);
      bus.sum.push_back(channel.sum);
      bus.square.push_back(channel.square);
    }
    find_noise_floor(bus);
  }

  void report(const Bus& bus, Report& report) override {
    const auto loudest = std::max_element(channels_.begin(), channels_.end(),
                                          [](const Channel& a, const Channel& b) { return a.peak < b.peak; });
    const double frames = static_cast<double>(bus.frames);
    const bool several = channels_.size() > 1;
    if (loudest->peak > 0) {
      auto& peak = report.value("sample_peak", amplitude_db(loudest->peak));
      per_channel(peak, several, [](const Channel& c) { return amplitude_db(c.peak); });
      peak.where.push_back(place_at(loudest->peak_frame, format_.sample_rate,
                                    several ? static_cast<int>(loudest - channels_.begin()) + 1 : 0));
      peak.where_total = 1;
      per_channel(report.value("headroom", -amplitude_db(loudest->peak)), several,
                  [](const Channel& c) { return -amplitude_db(c.peak); });
      double square = 0, crest = 1e9;
      for (const auto& c : channels_) {
        square += c.square;
        if (c.peak > 0) crest = std::min(crest, amplitude_db(c.peak) - power_db(c.square / frames));
      }
      const double rms = power_db(square / frames / static_cast<double>(channels_.size()));
      auto& level = report.value("rms_level", rms);
      level.note = "AES17 convention: " + base::fixed(rms + 10 * std::log10(2.0), 2) + " dBFS";
      per_channel(level, several, [frames](const Channel& c) { return power_db(c.square / frames); });
      per_channel(report.value("crest_factor", crest), several, [frames](const Channel& c) {
        return amplitude_db(c.peak) - power_db(c.square / frames);
      });
      report.value("limited_peaks", share_near(loudest->peak));
    } else {
      for (const char* id : {"sample_peak", "headroom", "rms_level", "crest_factor", "limited_peaks"})
        report.not_measured(id, "silent: digital zero throughout");
    }
    dc(bus, report);
    if (bus.noise_floor_dbfs) {
      auto& m = report.value("noise_floor", *bus.noise_floor_dbfs);
      if (several) m.channels = floors_;
    } else {
      report.not_measured("noise_floor", no_floor_);
    }
  }

 private:
  struct Channel {
    double sum = 0, square = 0, peak = 0;
    std::int64_t peak_frame = 0;
    double second_sum = 0, worst_second = 0;
    double half_square = 0, half_sum = 0;
    Series halves;                   ///< mean power of each half window
    std::vector<bool> half_has_zero; ///< holds a run of digital zero longer than 1 ms
    std::int64_t zero_tail = 0;      ///< zeros at the end of the last block
  };

  template <class F>
  void per_channel(Measurement& m, bool several, F value) {
    if (!several) return;
    for (const auto& channel : channels_)
      m.channels.push_back(channel.peak > 0 ? std::optional<double>(value(channel)) : std::nullopt);
  }

  void add(int c, const dsp::RowSums& sums, const Block& block, int offset, int count) {
    auto& channel = channels_[static_cast<std::size_t>(c)];
    channel.sum += sums.sum, channel.second_sum += sums.sum;
    channel.square += sums.square, channel.half_square += sums.square, channel.half_sum += sums.sum;
    tick_peak_ = std::max(tick_peak_, sums.peak);
    if (sums.peak > channel.peak) {
      channel.peak = sums.peak;
      const float* x = block.row(c) + offset;
      for (int n = 0; n < count; ++n) {
        if (std::abs(x[n]) == static_cast<float>(sums.peak)) {
          channel.peak_frame = block.first_frame + offset + n;
          break;
        }
      }
    }
    if (c == 0) tick_frames_ += count, second_frames_ += count;
  }

  void close_tick() {
    count_window_peak();
    const auto tick = ticks_.tick();
    if (tick % 100 == 0) close_second();
    if (tick % kHalfTicks == 0) {
      const auto frames = static_cast<double>(ticks_.start(tick) - ticks_.start(tick - kHalfTicks));
      for (auto& channel : channels_) {
        const double mean = channel.half_sum / frames;  // DC is no noise
        channel.halves.push_back(static_cast<float>(std::max(0.0, channel.half_square / frames - mean * mean)));
        channel.half_square = channel.half_sum = 0;
      }
    }
  }

  void count_window_peak() {
    if (tick_peak_ > 0) {
      const double db = std::clamp(20 * std::log10(tick_peak_), kLowestBinDb, kHighestBinDb);
      ++bins_[static_cast<std::size_t>((db - kLowestBinDb) * kBinsPerDb)];
    }
    ++windows_;
    tick_peak_ = 0;
    tick_frames_ = 0;
  }

  void close_second() {
    for (auto& channel : channels_) {
      channel.worst_second = std::max(channel.worst_second, std::abs(channel.second_sum / static_cast<double>(second_frames_)));
      channel.second_sum = 0;
    }
    second_frames_ = 0;
  }

  double share_near(double peak) const {
    const double from = std::clamp(20 * std::log10(peak) - 0.1, kLowestBinDb, kHighestBinDb);
    std::int64_t near = 0;
    for (auto bin = static_cast<std::size_t>((from - kLowestBinDb) * kBinsPerDb); bin < bins_.size(); ++bin) near += bins_[bin];
    return 100.0 * static_cast<double>(near) / static_cast<double>(std::max<std::int64_t>(1, windows_));
  }

  // Looks at every `stride`-th sample only: no run longer than the limit fits between two of them.
  void find_zero_runs(int c, const Block& block) {
    auto& channel = channels_[static_cast<std::size_t>(c)];
    const float* x = block.row(c);
    const int stride = std::max(1, zero_limit_ / 2);
    int n = 0;
    if (channel.zero_tail > 0) {
      int end = 0;
      while (end < block.frames && x[end] == 0) ++end;
      mark(channel, block.first_frame - channel.zero_tail, block.first_frame + end);
      n = end;
      if (end == block.frames) {
        channel.zero_tail += block.frames;
        return;
      }
    }
    int last_end = n;
    channel.zero_tail = 0;
    for (; n < block.frames; n += stride) {
      if (x[n] != 0) continue;
      int begin = n, end = n + 1;
      while (begin > last_end && x[begin - 1] == 0) --begin;
      while (end < block.frames && x[end] == 0) ++end;
      mark(channel, block.first_frame + begin, block.first_frame + end);
      last_end = end;
      n = end;
    }
    for (int k = block.frames; k > last_end && x[k - 1] == 0; --k) ++channel.zero_tail;
    if (last_end == block.frames) {
      // The run found last reaches the end of the block.
      int k = block.frames;
      while (k > 0 && x[k - 1] == 0) --k;
      channel.zero_tail = block.frames - k;
    }
  }

  void mark(Channel& channel, std::int64_t begin, std::int64_t end) {
    if (end - begin < zero_limit_) return;
    const auto half_of = [&](std::int64_t frame) {
      return static_cast<std::size_t>(std::max<std::int64_t>(0, frame) * 4 / format_.sample_rate);
    };
    const std::size_t last = half_of(end - 1);
    if (channel.half_has_zero.size() <= last) channel.half_has_zero.resize(last + 1, false);
    for (std::size_t h = half_of(begin); h <= last; ++h) channel.half_has_zero[h] = true;
  }

  void dc(const Bus& bus, Report& report) {
    double worst = 0, second = 0;
    for (const auto& channel : channels_) {
      worst = std::max(worst, 100 * std::abs(channel.sum / static_cast<double>(bus.frames)));
      second = std::max(second, 100 * channel.worst_second);
    }
    auto& m = report.value("dc_offset", worst);
    if (second > 0) m.note = "worst second: " + base::fixed(second, 3) + " %";
    if (channels_.size() > 1) {
      for (const auto& channel : channels_)
        m.channels.push_back(100 * std::abs(channel.sum / static_cast<double>(bus.frames)));
    }
  }

  // Windows in a fade say nothing about the floor. Walking in from one end, level windows are kept, then those on a
  // steady rise of at least 20 dB in all are left out. A heuristic: 0.75 dB a step tells a slope from the floor's own
  // unrest (0.5 s windows of noise stay within about 0.3 dB).
  static void leave_out_fade(const std::vector<double>& level_db, std::vector<bool>& use, bool from_end) {
    const int n = static_cast<int>(level_db.size());
    const auto at = [&](int i) { return static_cast<std::size_t>(from_end ? n - 1 - i : i); };
    constexpr double kStepDb = 0.75;
    int i = 0;
    while (i < n && level_db[at(i)] <= kFloorDb) ++i;
    while (i + 1 < n && std::abs(level_db[at(i + 1)] - level_db[at(i)]) < kStepDb) ++i;
    const int begin = i;
    while (i + 1 < n && level_db[at(i + 1)] >= level_db[at(i)] + kStepDb) ++i;
    if (i < n && begin < n && level_db[at(i)] - level_db[at(begin)] >= 20) {
      for (int k = begin; k <= i; ++k) use[at(k)] = false;
    }
  }

  void find_noise_floor(Bus& bus) {
    floors_.assign(channels_.size(), std::nullopt);
    no_floor_ = "no quiet part: fewer than four half-second windows lie 20 dB under the loudness";
    if (!bus.integrated_lufs) {
      no_floor_ = "there is no integrated loudness to compare with";
      return;
    }
    for (std::size_t c = 0; c < channels_.size(); ++c) {
      auto& channel = channels_[c];
      const auto& halves = channel.halves;
      if (halves.size() < 2) continue;
      channel.half_has_zero.resize(std::max(halves.size(), channel.half_has_zero.size()), false);
      std::vector<double> level_db;
      std::vector<bool> use;
      level_db.reserve(halves.size()), use.reserve(halves.size());
      for (std::size_t i = 0; i + 1 < halves.size(); ++i) {
        level_db.push_back(power_db((static_cast<double>(halves[i]) + halves[i + 1]) / 2));
        use.push_back(!channel.half_has_zero[i] && !channel.half_has_zero[i + 1] && level_db.back() > kFloorDb);
      }
      leave_out_fade(level_db, use, true);
      leave_out_fade(level_db, use, false);
      std::vector<float> kept;
      kept.reserve(level_db.size());
      int quiet = 0;
      for (std::size_t i = 0; i < level_db.size(); ++i) {
        if (!use[i]) continue;
        kept.push_back(static_cast<float>(level_db[i]));
        quiet += level_db[i] <= *bus.integrated_lufs - 20;
      }
      if (quiet < 4) continue;
      const double floor = percentile(kept, 0.05);
      // Where quiet windows are fewer than one in twenty the percentile is music, not floor.
      if (floor > *bus.integrated_lufs - 20) continue;
      floors_[c] = floor;
      bus.noise_floor_dbfs = std::max(bus.noise_floor_dbfs.value_or(kFloorDb), floor);
    }
  }

  const audio::StreamFormat format_;
  Ticks ticks_;
  std::vector<std::uint32_t> bins_;
  std::vector<Channel> channels_;
  double tick_peak_ = 0;
  std::int64_t tick_frames_ = 0, second_frames_ = 0, windows_ = 0, frames_ = 0;
  int zero_limit_ = 1;
  std::vector<std::optional<double>> floors_;
  std::string no_floor_;
};

std::unique_ptr<Meter> create(const Setup& setup) { return std::make_unique<LevelMeter>(setup); }

}  // namespace

extern const MeterModule kLevelModule{kEntries, create};

}  // namespace sendworthy::measure
