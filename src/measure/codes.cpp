// The truth of the samples themselves: clipping, flat tops, overs, unused bits, wrong bytes. Judged on the codes or reals
// as they stand in the file, not on the converted rows; the rows only say where to look.
#include <algorithm>
#include <array>
#include <bit>
#include <cmath>
#include <string>

#include "base/text.h"
#include "measure/meter.h"

namespace sendworthy::measure {
namespace {

constexpr CatalogEntry kEntries[] = {
    {.id = "over_full_scale_samples", .title = "Samples over full scale", .group = Group::level, .unit = Unit::count,
     .better = Better::lower, .what = "Float samples beyond full scale: not lost yet, clipped in any integer export.",
     .how = "Number of float samples whose magnitude is above 1.0.", .source = "definition",
     .caveat = "Integer files cannot hold any: what was over there is clipped, see clipped_runs.",
     .act = "Lower the level of the file by the peak's excess; nothing is lost by that."},
    {.id = "non_finite_samples", .title = "Samples that are no number", .group = Group::level, .unit = Unit::count,
     .better = Better::lower, .what = "Samples of a float file that are infinite or no number at all (NaN), as a plug-in leaves them that breaks down.",
     .how = "Number of NaN and infinite samples; each is replaced by 0 before any other measurement.",
     .source = "IEEE 754", .caveat = "What should have been there is lost. Programs make silence of them, or full-scale noise, or refuse the file.",
     .act = "Find the plug-in that fails at the place named, reset it and export again."},
    {.id = "clipped_runs", .title = "Clipped places", .group = Group::level, .unit = Unit::count, .better = Better::lower,
     .what = "Places where the waveform was cut off at full scale.",
     .how = "Runs of three or more identical consecutive samples at a sign's ceiling (integer: lowest or highest code or "
            "the highest's opposite, also of the bits in use; float: one value of magnitude 1.0 or more) with a step of more than 4 LSB of the effective "
            "depth into or out of the run.",
     .source = "common practice, no source",
     .caveat = "Square waves at full scale look the same. A limiter's peaks touch the ceiling without such runs.",
     .act = "Lower what feeds the last stage, or the stage's output, and export again."},
    {.id = "clipped_samples", .title = "Clipped samples", .group = Group::level, .unit = Unit::count,
     .better = Better::lower, .what = "How many samples the clipped places hold.", .how = "Samples in all clipped runs.",
     .source = "common practice, no source", .caveat = "As for clipped_runs: square waves at full scale look the same. Many short runs are heard less than a few long ones.",
     .act = "Lower what feeds the last stage and export again."},
    {.id = "flat_top_runs", .title = "Flat tops below full scale", .group = Group::level, .unit = Unit::count,
     .better = Better::lower, .what = "Places where peaks are flat-topped below full scale, as when the sound was cut off earlier and turned down later.",
     .how = "Runs as for clipped_runs, but at the file's own peak of a sign where that lies below full scale. Where that gives "
            "fewer than ten, and none are clipped: runs of five and more samples within 3 LSB of one value there with a step of more than 96 LSB, ten and more of them.",
     .source = "common practice, no source",
     .caveat = "A hard clipper used as an effect and the pulse waves of a synthesiser look the same. Whatever was done to the sound "
               "afterwards, but for a plain change of level, hides it.",
     .act = "Find the clipper or the overloaded stage before the last fader."},
    {.id = "effective_bit_depth", .title = "Bits in use", .group = Group::noise, .unit = Unit::bits,
     .better = Better::higher, .what = "How many of the file's bits carry anything.",
     .how = "Width of the codes less the low bits that are zero in every sample of the file.", .source = "definition",
     .caveat = "A gain change or dither after padding hides it.",
     .act = "Export again at the session's own depth instead of converting a 16-bit file."},
    {.id = "implausible_scale", .title = "Implausible scale", .group = Group::format, .unit = Unit::boolean,
     .what = "Float samples that are far too large or far too small to be audio.",
     .how = "A magnitude above 10 (+20 dBFS), or more than half of the samples that are not zero denormal.",
     .source = "definition", .caveat = "A heuristic: a float mix that runs over stays below about +20 dBFS, but nothing forbids more.",
     .act = "Export again; integers were written into a float file, or the other way round."},
    {.id = "byte_order_suspect", .title = "Bytes in the wrong order", .group = Group::format, .unit = Unit::boolean,
     .what = "Noise that turns into sound when its bytes are swapped, or its samples are read as unsigned numbers.",
     .how = "Every 128th stretch of 64 frames that sounds (every 4th until 1024 were) is read a second time. A stretch tells "
            "of swapped bytes where steps from sample to sample, against the deviation from the mean, are 2.5 times smaller in "
            "power so and no longer like noise; of unsigned samples where the steps are 6 times smaller in power, no longer like "
            "noise either, and those through zero like the others. True where eight stretches and nine of ten that tell anything say so.",
     .source = "definition",
     .caveat = "A heuristic; integer PCM of 16 bits or more only. Sound that is like noise in every reading tells nothing.",
     .act = "Turn the monitors down before you play it. Export again with the container's own byte order and signed samples."},
};

constexpr double kFloatLsb = 1.0 / 8388608;  // of 24 bits
constexpr int kShifts = 33;
constexpr std::size_t kMaxEvents = 64;
constexpr std::int64_t kReadEvery = 128, kReadEveryEarly = 4, kEarlyReadings = 1024, kFewestReadings = 8;
constexpr double kLikeNoise = 0.4, kSmoother = 2.5, kFewerSteps = 6, kStepOverOthers = 8;
constexpr std::int64_t kManyNear = 10;  // as many as make the usual rule of flat runs warn

// How many events where: at most kParts counts over the file, each of a stretch that doubles whenever they do not reach.
class Spread {
 public:
  static constexpr std::size_t kParts = 1024;
  void add(std::int64_t frame, std::int64_t count = 1) {
    while (frame / width_ >= static_cast<std::int64_t>(kParts)) widen();
    const auto at = static_cast<std::size_t>(frame / width_);
    if (counts_.size() <= at) counts_.resize(at + 1, 0);
    counts_[at] += count;
  }
  void add(const Spread& other) {
    for (std::size_t i = 0; i < other.counts_.size(); ++i) {
      if (other.counts_[i] > 0) add(static_cast<std::int64_t>(i) * other.width_, other.counts_[i]);
    }
  }
  [[nodiscard]] Timeline timeline(std::string id, int sample_rate) const {
    Timeline line{std::move(id), "count", 0, 0, static_cast<double>(width_) / sample_rate, 0, {}};
    for (const auto count : counts_) line.values.push_back(static_cast<float>(count));
    return line;
  }
  [[nodiscard]] bool empty() const { return counts_.empty(); }

 private:
  void widen() {
    for (std::size_t i = 0; 2 * i < counts_.size(); ++i)
      counts_[i] = counts_[2 * i] + (2 * i + 1 < counts_.size() ? counts_[2 * i + 1] : 0);
    counts_.resize((counts_.size() + 1) / 2);
    width_ *= 2;
  }
  std::int64_t width_ = 1024;
  std::vector<std::int64_t> counts_;
};

// A flat run found so far, with the largest shift of the LSB at which its step still exceeds 4 LSB.
struct FlatRun {
  std::int64_t start = 0, end = 0;
  int shift = 0;
};

struct FlatRuns {
  std::array<std::int64_t, kShifts> runs{}, samples{};  // by shift
  std::vector<FlatRun> first;
  int weakest = kShifts;  // smallest shift in `first`
  Spread spread;
  void clear() { *this = {}; }
  void add(std::int64_t start, std::int64_t end, double step, double lsb) {
    if (end - start < 3) return;
    const double ratio = step / (4 * lsb);
    if (!(ratio > 1)) return;
    int exponent = 0;
    const bool whole = std::frexp(ratio, &exponent) == 0.5;  // a power of two is not more than itself
    const int shift = std::min(exponent - (whole ? 2 : 1), kShifts - 1);
    ++runs[static_cast<std::size_t>(shift)];
    samples[static_cast<std::size_t>(shift)] += end - start;
    spread.add(start);
    if (first.size() < kMaxEvents) {
      first.push_back({start, end, shift});
      weakest = std::min(weakest, shift);
      return;
    }
    // Runs with small steps may turn out not to count once the depth in use is known: they give way.
    if (shift <= weakest) return;
    const auto by_shift = [](const FlatRun& a, const FlatRun& b) { return a.shift < b.shift; };
    *std::min_element(first.begin(), first.end(), by_shift) = {start, end, shift};
    weakest = std::min_element(first.begin(), first.end(), by_shift)->shift;
  }
  [[nodiscard]] std::int64_t total(const std::array<std::int64_t, kShifts>& counts, int from) const {
    std::int64_t sum = 0;
    for (int s = std::max(0, from); s < kShifts; ++s) sum += counts[static_cast<std::size_t>(s)];
    return sum;
  }
};

// Runs at the highest value so far of one channel and sign; a higher value starts over.
struct PeakRuns {
  double level = 0;
  bool open = false;
  std::int64_t start = 0;
  double step_in = 0;
  FlatRuns found;

  void take(double value, double before, std::int64_t frame, double lsb) {
    if (value > level) {
      level = value;
      found.clear();
      open = true;
      start = frame;
      step_in = std::isnan(before) ? 0 : value - before;
    } else if (value == level && level > 0) {
      if (!open) {
        open = true;
        start = frame;
        step_in = std::isnan(before) ? 0 : value - before;
      }
    } else if (open) {
      close(frame, level - value, lsb);
    }
  }
  void close(std::int64_t frame, double step_out, double lsb) {
    found.add(start, frame, std::max(step_in, step_out), lsb);
    open = false;
  }
};

// Runs that are flat but for a step or two, as dither leaves them: near the highest value so far of one channel and sign.
// The crest of a wave is a parabola: if five of its samples lie within 2t, the next lies no more than 2.5t further down.
// A step of 32t is none of a crest.
struct NearRuns {
  static constexpr double kSteps = 3, kSharp = 32;
  static constexpr std::int64_t kShortest = 5;
  double level = 0;  ///< of the value that began; those within `reach` of it belong to it
  bool open = false;
  std::int64_t start = 0;
  double step_in = 0, last = 0;
  std::int64_t runs = 0;
  std::vector<FlatRun> first;

  void take(double value, double before, std::int64_t frame, double reach) {
    if (value > level + reach) {
      *this = {.level = value};
    } else if (value < level - reach || level <= 0) {
      if (open) close(frame, last - value, reach);
      return;
    }
    last = value;
    if (open) return;
    open = true, start = frame;
    step_in = std::isnan(before) ? 0 : value - before;
  }
  void close(std::int64_t frame, double step_out, double reach) {
    open = false;
    if (frame - start < kShortest || !(std::max(step_in, step_out) > kSharp * reach)) return;
    ++runs;
    if (first.size() < kMaxEvents) first.push_back({start, frame, 0});
  }
};

// Float only: runs of one identical value at or above full scale, wherever the peak is.
struct OverRuns {
  double value = 0;
  bool open = false;
  std::int64_t start = 0;
  double step_in = 0;
  FlatRuns found;

  void take(double v, double before, std::int64_t frame) {
    if (open && v == value) return;
    if (open) close(frame, std::abs(v - value));
    if (v >= 1.0) {
      open = true;
      value = v;
      start = frame;
      step_in = std::isnan(before) ? 0 : std::abs(v - before);
    }
  }
  void close(std::int64_t frame, double step_out) {
    found.add(start, frame, std::max(step_in, step_out), kFloatLsb);
    open = false;
  }
};

struct Events {
  std::int64_t samples = 0, places = 0, last = -2;
  std::vector<Where> where;
  Spread spread;
  void add(std::int64_t frame, int sample_rate, int channel, std::string_view note) {
    ++samples;
    spread.add(frame);
    if (frame == last + 1 && places > 0) {
      if (static_cast<std::size_t>(places) <= where.size()) {
        auto& w = where[static_cast<std::size_t>(places - 1)];
        w.end_frame = frame + 1;
        w.end_s = static_cast<double>(frame + 1) / sample_rate;
      }
    } else {
      ++places;
      if (where.size() < kMaxWhere) where.push_back(place_at(frame, sample_rate, channel, std::string(note)));
    }
    last = frame;
  }
};

class CodeMeter final : public Meter {
 public:
  explicit CodeMeter(const Setup& setup)
      : format_(setup.format), pictures_(setup.pictures), real_(setup.format.kind == audio::SampleKind::real),
        exact_(!real_ && setup.format.container_bits <= 24),
        lsb_(real_ ? kFloatLsb : std::ldexp(1.0, -(std::clamp(setup.format.container_bits, 1, 32) - 1))),
        channels_(static_cast<std::size_t>(setup.format.channels)) {}

  void process(const Block& block) override {
    bits_ |= block.code_bits;
    const double reach = NearRuns::kSteps * lsb_ * std::ldexp(1.0, real_ ? 0 : std::max(0, unused_bits()));
    if (reach != reach_) {
      // A finer step than those before: what was near is not any more.
      for (auto& channel : channels_) channel.near = {};
      reach_ = reach;
    }
    tiny_ += block.real_stats.tiny, nonzero_ += block.real_stats.nonzero;
    for (int c = 0; c < block.channels; ++c) {
      look_for_runs(c, block);
      if (real_) look_for_overs(c, block);
    }
    if (block.real_stats.not_finite > 0) look_for_non_finite(block);
    if (!real_ && format_.container_bits >= 16) look_at_bytes(block);
    end_ = block.first_frame + block.frames;
  }

  void publish(Bus& bus) override {
    for (auto& channel : channels_) {
      for (auto& runs : channel.peaks)
        if (runs.open) runs.close(end_, 0, lsb_);
      for (auto& runs : channel.near)
        if (runs.open) runs.close(end_, 0, reach_);
      for (auto& runs : channel.overs)
        if (runs.open) runs.close(end_, 0);
    }
    if (!pictures_) return;
    // A sheet holds the first places only; a picture shows where all of them are.
    Spread clipped, flat, over;
    each_kind([&](const FlatRuns& found, std::size_t, bool is_clipped) { (is_clipped ? clipped : flat).add(found.spread); });
    for (const auto& channel : channels_) over.add(channel.over.spread);
    for (const auto& [id, spread] : {std::pair{"clipped_runs", &clipped}, {"flat_top_runs", &flat}, {"over_full_scale_samples", &over}}) {
      if (!spread->empty()) bus.timelines.push_back(spread->timeline(id, format_.sample_rate));
    }
  }

  void report(const Bus& bus, Report& report) override {
    report_runs(report);
    report_depth(report);
    sum_up(report, "over_full_scale_samples", &Channel::over);
    sum_up(report, "non_finite_samples", &Channel::non_finite);
    if (!real_) {
      report.not_applicable("implausible_scale", "integer samples have a fixed scale");
    } else {
      const double peak = bus.peak.empty() ? 0 : *std::max_element(bus.peak.begin(), bus.peak.end());
      const bool small = nonzero_ > 0 && tiny_ * 2 > nonzero_;
      auto& m = report.value("implausible_scale", peak > 10 || small);
      if (peak > 10) m.note = "peak at " + base::fixed(amplitude_db(peak), 1) + " dBFS";
      if (small) m.note = "most samples are denormal numbers";
    }
    if (real_ || format_.container_bits < 16 || format_.lossy) {
      report.not_applicable("byte_order_suspect", "only integer PCM of 16 bits or more can be swapped");
    } else {
      const bool swap = nearly_all(swapped_readings_, plain_readings_), flip = nearly_all(unsigned_readings_, signed_readings_);
      auto& m = report.value("byte_order_suspect", swap || flip);
      if (swap || flip) m.note = swap ? "it is sound once its bytes are swapped" : "it is sound once its samples are read as unsigned";
    }
  }

 private:
  struct Channel {
    std::array<PeakRuns, 2> peaks;  // positive, negative
    std::array<OverRuns, 2> overs;
    std::array<NearRuns, 2> near;
    double last = std::nan("");
    Events over, non_finite;
  };

  // Sample n of a block, full scale ±1; NaN and infinities as 0, as every other meter sees them.
  double sample(const Block& block, int c, int n) const {
    const auto i = static_cast<std::int64_t>(n) * block.channels + c;
    if (block.codes != nullptr) return block.codes[i] * (1.0 / 2147483648.0);
    const double v = block.reals[i];
    return std::isfinite(v) ? v : 0;
  }

  void look_for_runs(int c, const Block& block) {
    auto& channel = channels_[static_cast<std::size_t>(c)];
    const float* high = block.high(c);
    const float* low = block.low(c);
    for (int s = 0; s < block.subs(); ++s) {
      for (int sign = 0; sign < 2; ++sign) {
        auto& peaks = channel.peaks[static_cast<std::size_t>(sign)];
        auto& overs = channel.overs[static_cast<std::size_t>(sign)];
        const float top = sign == 0 ? high[s] : -low[s];
        auto& near = channel.near[static_cast<std::size_t>(sign)];
        const float lowest = static_cast<float>(std::min(peaks.level, near.level - reach_));
        const bool reach = top > 0 && top >= lowest;
        const bool over = real_ && top >= 1.0f;
        if (!reach && !over && !peaks.open && !overs.open && !near.open) continue;
        const double flip = sign == 0 ? 1 : -1;
        const int from = s * dsp::kSubBlock, to = std::min(from + dsp::kSubBlock, block.frames);
        // Most samples of a loud sub-block are still below its top; rounding to float keeps their order.
        const float least = real_ ? std::min(lowest, 1.0f) : lowest;
        auto high_enough = dsp::where_at_least(block.row(c) + from, to - from, sign == 0 ? 1.0f : -1.0f, least);
        // Where nothing is higher than before, only samples in threes can make a run.
        const double ceiling = std::min(peaks.level, near.level + reach_);
        const bool higher = exact_ ? static_cast<double>(top) > ceiling : top >= static_cast<float>(ceiling);
        if (!higher && !over) high_enough = in_threes(high_enough, to - from);
        for (int n = from; n < to; ++n) {
          if (!peaks.open && !overs.open && !near.open) {
            const auto ahead = high_enough >> (n - from);
            if (ahead == 0) break;
            n += std::countr_zero(ahead);
          }
          const double v = sample(block, c, n), before = n > 0 ? sample(block, c, n - 1) : channel.last;
          peaks.take(flip * v, flip * before, block.first_frame + n, lsb_);
          near.take(flip * v, flip * before, block.first_frame + n, reach_);
          if (real_) overs.take(flip * v, flip * before, block.first_frame + n);
        }
      }
    }
    channel.last = sample(block, c, block.frames - 1);
  }

  // Those bits of `frames` that stand three and more side by side, and those at the end, which may go on behind it.
  static std::uint64_t in_threes(std::uint64_t bits, int frames) {
    const auto thirds = bits & bits << 1 & bits << 2, last = bits & std::uint64_t{1} << (frames - 1);
    return thirds | thirds >> 1 | thirds >> 2 | last | (bits & last >> 1);
  }

  void look_for_overs(int c, const Block& block) {
    auto& channel = channels_[static_cast<std::size_t>(c)];
    for (int s = 0; s < block.subs(); ++s) {
      if (block.high(c)[s] < 1.0f && block.low(c)[s] > -1.0f) continue;
      const int from = s * dsp::kSubBlock, to = std::min(from + dsp::kSubBlock, block.frames);
      for (int n = from; n < to; ++n) {
        const double v = block.reals[static_cast<std::int64_t>(n) * block.channels + c];
        if (std::isfinite(v) && std::abs(v) > 1.0)
          channel.over.add(block.first_frame + n, format_.sample_rate, channel_name(c), "");
      }
    }
  }

  void look_for_non_finite(const Block& block) {
    for (int n = 0; n < block.frames; ++n) {
      for (int c = 0; c < block.channels; ++c) {
        const double v = block.reals[static_cast<std::int64_t>(n) * block.channels + c];
        if (!std::isfinite(v))
          channels_[static_cast<std::size_t>(c)].non_finite.add(block.first_frame + n, format_.sample_rate,
                                                                channel_name(c), std::isnan(v) ? "NaN" : "infinite");
      }
    }
  }

  int channel_name(int c) const { return format_.channels > 1 ? c + 1 : 0; }

  double swapped(std::int32_t code) const {
    const auto u = static_cast<std::uint32_t>(code);
    std::uint32_t v = 0;
    if (format_.container_bits <= 16) {
      v = ((u >> 16) & 0xFF) << 24 | ((u >> 24) & 0xFF) << 16;
    } else if (format_.container_bits <= 24) {
      v = ((u >> 8) & 0xFF) << 24 | ((u >> 16) & 0xFF) << 16 | ((u >> 24) & 0xFF) << 8;
    } else {
      v = __builtin_bswap32(u);
    }
    return static_cast<std::int32_t>(v) * (1.0 / 2147483648.0);
  }

  // What the steps from sample to sample say of one way to read a stretch.
  struct Steps {
    double all = 0;        ///< sum of squares
    double spread = 0;     ///< sum of squares about the mean
    double crossing = 0;   ///< those of `all` at the places asked about
    /// 1 for white noise, towards 0 for sound.
    [[nodiscard]] double roughness() const { return spread > 0 ? all / (2 * spread) : 0; }
  };
  using Stretch = std::array<double, dsp::kSubBlock>;

  static Steps steps_of(const Stretch& x, std::uint64_t crossings) {
    Steps steps;
    double mean = 0;
    for (const double v : x) mean += v / static_cast<double>(x.size());
    for (std::size_t n = 0; n < x.size(); ++n) {
      steps.spread += (x[n] - mean) * (x[n] - mean);
      if (n == 0) continue;
      const double square = (x[n] - x[n - 1]) * (x[n] - x[n - 1]);
      steps.all += square;
      if ((crossings >> n & 1) != 0) steps.crossing += square;
    }
    return steps;
  }

  // Sub-blocks are numbered from the start of the file; the channels take turns.
  void look_at_bytes(const Block& block) {
    const auto first = block.first_frame / dsp::kSubBlock;
    for (int s = 0; (s + 1) * dsp::kSubBlock <= block.frames; ++s) {
      const auto number = first + s, every = sounding_ < kEarlyReadings ? kReadEveryEarly : kReadEvery;
      if (number % every != 0) continue;
      const int c = static_cast<int>(number / every % block.channels);
      if (block.high(c)[s] == 0 && block.low(c)[s] == 0) continue;
      ++sounding_;
      read_again(block, c, s * dsp::kSubBlock);
    }
  }

  void read_again(const Block& block, int c, int from) {
    Stretch here, swap, flip;
    std::uint64_t crossings = 0;
    for (std::size_t n = 0; n < here.size(); ++n) {
      const auto code = block.codes[(static_cast<std::int64_t>(from) + static_cast<std::int64_t>(n)) * block.channels + c];
      here[n] = code * (1.0 / 2147483648.0), swap[n] = swapped(code);
      flip[n] = here[n] < 0 ? here[n] + 1 : here[n] - 1;
      if (n > 0 && (here[n] < 0) != (here[n - 1] < 0)) crossings |= std::uint64_t{1} << n;
    }
    const auto as_is = steps_of(here, crossings), as_swapped = steps_of(swap, crossings), as_unsigned = steps_of(flip, crossings);
    const double rough = as_is.roughness(), rough_swapped = as_swapped.roughness();
    swapped_readings_ += rough_swapped < kLikeNoise && rough > kSmoother * rough_swapped;
    // The wrong order puts the lowest byte on top and is seldom the softer one: a soft stretch in the wrong order, with a few louder
    // samples, says nothing for it.
    plain_readings_ += rough < kLikeNoise && rough_swapped > kSmoother * rough && 4 * as_swapped.spread > as_is.spread;
    // A square wave is smaller, too, when its two levels are moved towards each other: it has nothing but leaps.
    const double turns = std::popcount(crossings), rest = static_cast<double>(here.size()) - 1 - turns;
    const bool alike = as_unsigned.crossing * rest <= kStepOverOthers * (as_unsigned.all - as_unsigned.crossing) * turns;
    unsigned_readings_ += as_is.all > kFewerSteps * as_unsigned.all && as_unsigned.roughness() < kLikeNoise && alike;
    signed_readings_ += as_unsigned.all > kFewerSteps * as_is.all;
  }

  static bool nearly_all(std::int64_t said, std::int64_t against) { return said >= kFewestReadings && said >= 9 * against; }

  int unused_bits() const { return bits_ == 0 ? 0 : std::countr_zero(bits_) - (32 - format_.container_bits); }

  // Every list of runs that counts, with its channel: clipped ones, and flat ones below full scale.
  template <class F>
  void each_kind(F f) const {
    const int shift = real_ ? 0 : std::max(0, unused_bits());
    const double container_top = 1 - lsb_, effective_top = 1 - lsb_ * std::ldexp(1.0, shift);
    std::array<double, 2> own{};
    for (const auto& channel : channels_) {
      for (std::size_t sign = 0; sign < 2; ++sign) own[sign] = std::max(own[sign], channel.peaks[sign].level);
    }
    for (std::size_t c = 0; c < channels_.size(); ++c) {
      for (std::size_t sign = 0; sign < 2; ++sign) {
        const auto& peaks = channels_[c].peaks[sign];
        if (real_) f(channels_[c].overs[sign].found, c, true);
        const bool full = real_ ? peaks.level >= 1
                                // The lowest code is one step further out than the highest; exports clip at either.
                                : peaks.level >= 1 || peaks.level == container_top || peaks.level == effective_top;
        if (full && !real_) {
          f(peaks.found, c, true);
        } else if (!full && peaks.level == own[sign]) {
          f(peaks.found, c, false);
        }
      }
    }
  }

  void report_runs(Report& report) {
    const int shift = real_ ? 0 : std::max(0, unused_bits());
    std::int64_t clipped = 0, clipped_samples = 0, flat = 0;
    std::vector<Where> clipped_where, flat_where;
    const auto collect = [&](const FlatRuns& found, int c, std::vector<Where>& where) {
      for (const auto& run : found.first) {
        if (run.shift >= shift)
          where.push_back(place(run.start, run.end, format_.sample_rate, channel_name(c),
                                std::to_string(run.end - run.start) + " samples"));
      }
    };
    each_kind([&](const FlatRuns& found, std::size_t c, bool is_clipped) {
      const auto runs = found.total(found.runs, shift);
      (is_clipped ? clipped : flat) += runs;
      if (is_clipped) clipped_samples += found.total(found.samples, shift);
      collect(found, static_cast<int>(c), is_clipped ? clipped_where : flat_where);
    });
    fill(report.value("clipped_runs", static_cast<double>(clipped)), clipped_where, clipped);
    fill(report.value("clipped_samples", static_cast<double>(clipped_samples)), clipped_where, clipped);
    // Dither over flat tops leaves a few of them flat by chance.
    std::int64_t near = 0;
    for (const auto& channel : channels_) near += channel.near[0].runs + channel.near[1].runs;
    if (clipped == 0 && flat < kManyNear && near >= kManyNear) {
      report_near(report.value("flat_top_runs", static_cast<double>(near)), near);
      return;
    }
    fill(report.value("flat_top_runs", static_cast<double>(flat)), flat_where, flat);
  }

  void report_near(Measurement& m, std::int64_t total) {
    std::vector<Where> where;
    for (std::size_t c = 0; c < channels_.size(); ++c) {
      for (const auto& near : channels_[c].near) {
        for (const auto& run : near.first)
          where.push_back(place(run.start, run.end, format_.sample_rate, channel_name(static_cast<int>(c)),
                                std::to_string(run.end - run.start) + " samples"));
      }
    }
    m.note = "flat to within three steps: dither or noise came after the clipping";
    fill(m, std::move(where), total);
  }

  static void fill(Measurement& m, std::vector<Where> where, std::int64_t total) {
    std::sort(where.begin(), where.end(), [](const Where& a, const Where& b) {
      return a.start_frame != b.start_frame ? a.start_frame < b.start_frame : a.channel < b.channel;
    });
    if (where.size() > kMaxWhere) where.resize(kMaxWhere);
    m.where = std::move(where);
    m.where_total = total;
  }

  void report_depth(Report& report) {
    if (real_ || format_.lossy) {
      report.not_applicable("effective_bit_depth", format_.lossy ? "a lossy file has no bit depth" : "float samples");
    } else if (bits_ == 0) {
      report.not_measured("effective_bit_depth", "silent: digital zero throughout");
    } else {
      report.value("effective_bit_depth", static_cast<double>(format_.container_bits - unused_bits()));
    }
  }

  void sum_up(Report& report, std::string_view id, Events Channel::* member) {
    std::int64_t samples = 0, places = 0;
    std::vector<Where> where;
    for (const auto& channel : channels_) {
      const Events& events = channel.*member;
      samples += events.samples, places += events.places;
      where.insert(where.end(), events.where.begin(), events.where.end());
    }
    fill(report.value(id, static_cast<double>(samples)), std::move(where), places);
  }

  const audio::StreamFormat format_;
  const bool pictures_;
  const bool real_;
  std::int64_t sounding_ = 0;  ///< stretches that were read a second time
  const bool exact_;    ///< codes fit into the rows' floats
  const double lsb_;  ///< of the container, full scale ±1
  double reach_ = 0;  ///< within which runs are near ones
  std::vector<Channel> channels_;
  std::uint32_t bits_ = 0;
  std::int64_t tiny_ = 0, nonzero_ = 0, end_ = 0;
  std::int64_t swapped_readings_ = 0, plain_readings_ = 0, unsigned_readings_ = 0, signed_readings_ = 0;
};

std::unique_ptr<Meter> create(const Setup& setup) { return std::make_unique<CodeMeter>(setup); }

}  // namespace

extern const MeterModule kCodeModule{kEntries, create};

}  // namespace sendworthy::measure
