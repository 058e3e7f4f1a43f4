// How many bits really stand in the samples, beyond what an OR of all codes tells: integers in a float file, a grid
// under a gain change, tails that fade in bare steps, bits that die on the way.
#include <algorithm>
#include <array>
#include <bit>
#include <cmath>
#include <string>

#include "base/text.h"
#include "measure/meter.h"
#include "measure/step_lattice.h"

namespace sendworthy::measure {
namespace {

constexpr CatalogEntry kEntries[] = {
    {.id = "integer_valued_float",
     .title = "Integers in a float file",
     .group = Group::noise,
     .unit = Unit::text,
     .what = "Whether every sample of a float file is an exact integer code, and of how many bits.",
     .how = "The shortest usual word length (8, 12, 16, 20, 24 bits) in which every sample is a whole number of steps; "
            "none "
            "where one sample is not. At least 1000 samples that are not zero.",
     .source = "definition",
     .caveat = "Tells the history of the file and is no fault. A gain change hides it.",
     .act = "Nothing, when that is how the file was made; otherwise export from the session in float."},
    {.id = "gain_changed_word_length",
     .title = "Gain-changed word length",
     .group = Group::noise,
     .unit = Unit::text,
     .what = "Traces of 16 bits that were turned up or down inside a longer word: none, some or strong.",
     .how = "Samples of a magnitude below -54 dBFS, from every fourth 64 frames that stay below it and from every 32nd "
            "of the others, "
            "are laid on grids of 8 to 1100 steps of 24 bits (16 bits from -30 to +12.7 dB). Strong: 98 % stand within "
            "half a step of "
            "one grid; some: 60 %; and the chance that unrelated values do so is below 1e-9 or 1e-6 (Chernoff bound, "
            "each different value "
            "counted once, times all grids tried).",
     .source = "common practice, no source",
     .caveat = "Evidence. Dither, a fade or an effect after the gain change hides it, and so does a mix of several "
               "sources. A sampler that "
               "plays 16-bit sounds at one gain leaves the same traces.",
     .act = "Find the 16-bit file, plug-in or send in the chain and go back to what fed it."},
    {.id = "truncated_word_length",
     .title = "Truncated word length",
     .group = Group::noise,
     .unit = Unit::text,
     .what = "Traces of a word length cut without dither: none, some or strong.",
     .how = "In 64 frames that span 16 steps or less, bare steps are counted: eight equal samples, one step of the "
            "word length, eight "
            "equal samples. Dither as wide as a step makes at most one change in 500 look so. Strong: 32 bare steps "
            "and 30 % of all "
            "changes; some: 16 and 5 %; over three levels or more. None: 256 changes and more, fewer than 2 % of them "
            "bare. Where the sound moves faster, in 16 bits or less, four equal samples on either side are asked for in 64 "
            "frames that span 8 steps or less: strong from 64 and 20 % of all changes there, some from 48 and 12 %, where no more than "
            "38 % of all runs there are one sample long; dither of any usual kind leaves 5 % or fewer, and 43 % so short.",
     .source = "common practice, no source",
     .caveat = "Evidence. Only of 16 bits or less, or of a grid like that inside 24. Noise in the music hides it, and "
               "does no harm then. "
               "Very fast sounds that die away are not told from rectangular dither, and are not measured.",
     .act = "Listen to the fades, turned up; export again with dither at the last step down to 16 bits."},
    {.id = "stuck_bits",
     .title = "Stuck bits",
     .group = Group::noise,
     .unit = Unit::count,
     .better = Better::lower,
     .what = "Stretches in which bits stop moving that move elsewhere in the file, or that the sound must move.",
     .how = "Every 16th stretch of 64 frames that spans 64 steps or more and changes at half of its samples is looked "
            "at, by channel. A "
            "stretch counts where over 0.25 s of such sound one or more of the lowest bits have one value throughout, "
            "while they move "
            "in 0.25 s and more of the rest. Higher bits count where no step between samples is more than a third of the span and "
            "the two bits above them move: sound that passes through those cannot leave out the one below. There 2 s without "
            "any movement in the whole file count too.",
     .source = "definition",
     .caveat =
         "16-bit material cut into a 24-bit session looks the same. Silence and plain synthesiser waves say nothing.",
     .act =
         "Listen at the places; look for an edit of another word length, or for a converter or cable that lost bits."},
};

constexpr double kSteps24 = 8388608;  // steps of 24 bits in full scale
constexpr int kQuietEvery = 4, kLoudEvery = 32, kBitsEvery = 16;

std::int64_t steps_of(float value) { return std::llrint(static_cast<double>(value) * kSteps24); }

/// Are all float samples whole numbers of steps?
class WholeNumbers {
 public:
  void take(const double* reals, std::int64_t count) {
    for (std::int64_t i = 0; i < count && whole_; ++i) {
      const double steps = reals[i] * kSteps24;
      if (!(std::abs(steps) < 0x1p52)) {
        whole_ = whole_ && !std::isfinite(reals[i]);  // what is no number tells nothing
        continue;
      }
      const auto code = static_cast<std::int64_t>(steps);
      whole_ = static_cast<double>(code) == steps;
      bits_ |= static_cast<std::uint64_t>(code < 0 ? -code : code);
      nonzero_ += code != 0;
    }
  }
  [[nodiscard]] bool whole() const { return whole_; }
  [[nodiscard]] std::int64_t nonzero() const { return nonzero_; }
  /// 24 less the low bits never used; 0 for silence.
  [[nodiscard]] int depth() const { return bits_ == 0 ? 0 : std::max(1, 24 - std::countr_zero(bits_)); }

 private:
  bool whole_ = true;
  std::uint64_t bits_ = 0;
  std::int64_t nonzero_ = 0;
};

/// Steps between runs of equal samples in quiet places of one channel, by size in steps of 24 bits.
class BareSteps {
 public:
  static constexpr int kLargest = 4096;
  static constexpr std::size_t kMostStretches = 64, kMostLevels = 64;
  struct Stretch {
    std::int64_t start, end;
  };

  /// `row`: frames of one sub-block that is quiet. `unit`: the word length's own step.
  /// `span`: of its samples, in such steps.
  void take(const float* row, int frames, std::int64_t first, double unit, double span) {
    if (all_.empty()) all_.resize(kLargest + 1), bare_.resize(kLargest + 1);
    int changes = 0;
    const bool few_steps = span <= 8.5;
    for (int n = 0; n < frames; ++n) {
      if (running_ && row[n] == value_) {
        if (++run_ == kRun && pending_ > 0) count_bare(first + n, unit);
        if (run_ == kShortRun && short_pending_) count_short(first + n);
        continue;
      }
      const auto size = running_ ? std::llabs(steps_of(row[n]) - steps_of(value_)) / scale(unit) : 0;
      const bool counts = running_ && size > 0 && size <= kLargest;
      if (counts) ++all_[static_cast<std::size_t>(size)];
      pending_ = counts && run_ >= kRun ? static_cast<int>(size) : 0;
      few_ += counts && few_steps, lone_ += counts && few_steps && run_ == 1;
      short_pending_ = counts && few_steps && run_ >= kShortRun && is_one(size, unit);
      before_ = value_, value_ = row[n];
      run_ = 1, running_ = true;
      ++changes;
    }
    if (span <= 3.5 && changes > 0) ++(changes < 8 ? sparse_ : dense_);
  }
  void leave() { running_ = false, pending_ = 0, short_pending_ = false; }

  /// Steps are counted in units of 24 bits, or of the word length where that is shorter than 16 bits.
  static std::int64_t scale(double unit) { return unit > 256 ? static_cast<std::int64_t>(unit) : 1; }

  [[nodiscard]] std::int64_t bare(double size) const { return sum(bare_, size - 1, size + 1); }
  [[nodiscard]] std::int64_t bare_from(double size) const { return sum(bare_, size, kLargest); }
  [[nodiscard]] std::int64_t changes_up_to(double size) const { return sum(all_, 1, size); }
  [[nodiscard]] int commonest_bare() const {
    int best = 0;
    for (int size = 8; size < static_cast<int>(bare_.size()) && size <= static_cast<int>(StepLattice::kWidest);
         ++size) {
      if (best == 0 ? bare(size) > 0 : bare(size) > bare(best)) best = size;
    }
    return best;
  }
  [[nodiscard]] std::size_t levels() const { return seen_.levels.size(); }
  /// Fewer changes than any dither makes: either rounding without, or rectangular dither round nothing.
  [[nodiscard]] bool sparse() const { return sparse_ > 4 && sparse_ * 50 > dense_; }
  [[nodiscard]] const std::vector<Stretch>& stretches() const { return seen_.stretches; }
  [[nodiscard]] std::int64_t stretches_total() const { return seen_.total; }
  /// One step between short runs, where the sound spans few steps: how many, of how many changes there, and where.
  [[nodiscard]] std::int64_t short_bare() const { return short_bare_; }
  [[nodiscard]] std::int64_t few() const { return few_; }
  /// Of these, how many come one sample after another change.
  [[nodiscard]] std::int64_t lone() const { return lone_; }
  [[nodiscard]] std::size_t short_levels() const { return short_seen_.levels.size(); }
  [[nodiscard]] const std::vector<Stretch>& short_stretches() const { return short_seen_.stretches; }
  [[nodiscard]] std::int64_t short_stretches_total() const { return short_seen_.total; }

 private:
  static constexpr int kRun = 8, kShortRun = 4;
  static constexpr std::int64_t kApart = 24000;  // frames between bare steps that make two places of one

  void count_bare(std::int64_t frame, double unit) {
    const int size = pending_;
    ++bare_[static_cast<std::size_t>(size)];
    pending_ = 0;
    if (size < 8 && scale(unit) == 1) return;  // steps near those of 24 bits do no harm
    seen_.add(frame, kRun, before_, value_);
  }
  void count_short(std::int64_t frame) {
    ++short_bare_;
    short_pending_ = false;
    short_seen_.add(frame, kShortRun, before_, value_);
  }
  static bool is_one(std::int64_t size, double unit) {
    const double step = unit / static_cast<double>(scale(unit));
    return std::abs(static_cast<double>(size) - step) <= 1;
  }

  struct Seen {
    std::vector<float> levels;
    std::vector<Stretch> stretches;
    std::int64_t total = 0, last = 0;

    void add(std::int64_t frame, int run, float before, float value) {
      for (const float level : {before, value}) {
        if (levels.size() < kMostLevels && std::find(levels.begin(), levels.end(), level) == levels.end()) levels.push_back(level);
      }
      const bool goes_on = total > 0 && frame - last < kApart;
      last = frame;
      if (!goes_on) {
        if (++total <= static_cast<std::int64_t>(kMostStretches))
          stretches.push_back({std::max<std::int64_t>(0, frame - 2 * run + 1), frame + 1});
      } else if (total <= static_cast<std::int64_t>(kMostStretches)) {
        stretches.back().end = frame + 1;
      }
    }
  };

  static std::int64_t sum(const std::vector<std::int64_t>& counts, double from, double to) {
    std::int64_t total = 0;
    for (int i = std::max(1, static_cast<int>(std::ceil(from)));
         i <= static_cast<int>(std::floor(to)) && i < static_cast<int>(counts.size()); ++i)
      total += counts[static_cast<std::size_t>(i)];
    return total;
  }

  std::vector<std::int64_t> all_, bare_;
  Seen seen_, short_seen_;
  std::int64_t sparse_ = 0, dense_ = 0, few_ = 0, lone_ = 0, short_bare_ = 0;
  bool running_ = false, short_pending_ = false;
  float value_ = 0, before_ = 0;
  std::int64_t run_ = 0;
  int pending_ = 0;
};

/// Which bits of one channel move, over stretches of lively sound.
class LiveBits {
 public:
  struct Stretch {
    std::int64_t start, end;
    std::uint32_t dead;  ///< bits that have one value throughout
  };
  static constexpr std::size_t kMostStretches = 65536;
  static constexpr std::uint32_t kLowBits = 0xFFF;       // higher ones rest now and then in any music
  static constexpr std::uint32_t kInnerBits = 0x1FFFFFFF;  // two and a sign above them
  static constexpr std::int64_t kWholeFile = 16;         // windows

  LiveBits(std::int64_t window_frames, int lowest_bit, bool inner)
      : per_window_(std::max<std::int64_t>(2, window_frames / (64 * kBitsEvery))),
        looked_at_(inner ? kInnerBits & ~((1u << lowest_bit) - 1) : kLowBits << lowest_bit),
        lowest_bit_(lowest_bit),
        inner_(inner) {}

  void take(std::uint32_t any, std::uint32_t all, std::int64_t start, std::int64_t end) {
    if (count_ == 0) start_ = start, any_ = 0, all_ = ~0u;
    any_ |= any, all_ &= all, end_ = end;
    if (++count_ < per_window_) return;
    count_ = 0;
    const std::uint32_t still = ~(any_ ^ all_);
    const std::uint32_t dead = inner_ ? under_moving_ones(still & ~((1u << lowest_bit_) - 1)) & looked_at_ : still & looked_at_;
    for (int bit = 0; bit < 32; ++bit) live_[static_cast<std::size_t>(bit)] += (still >> bit & 1) == 0;
    if (!windows_.empty() && windows_.back().dead == dead) {
      windows_.back().end = end_;
      ++lengths_.back();
    } else if (windows_.size() < kMostStretches) {
      windows_.push_back({start_, end_, dead});
      lengths_.push_back(1);
    }
    ++total_;
  }

  [[nodiscard]] std::int64_t windows() const { return total_; }
  /// Stretches of `least` windows and more in which bits lie still that move in as many others.
  [[nodiscard]] std::vector<Stretch> stuck(std::int64_t least) const {
    std::uint32_t elsewhere = 0, never = 0;
    for (int bit = 0; bit < 32; ++bit) {
      const auto live = live_[static_cast<std::size_t>(bit)];
      elsewhere |= static_cast<std::uint32_t>(live >= least) << bit;
      never |= static_cast<std::uint32_t>(live == 0 && total_ >= kWholeFile) << bit;
    }
    std::vector<Stretch> found;
    std::vector<std::int64_t> length;
    for (std::size_t i = 0; i < windows_.size(); ++i) {
      const auto lowest = lowest_run(windows_[i].dead & elsewhere, elsewhere);
      const auto dead = inner_ ? above(windows_[i].dead & (elsewhere | never), elsewhere) & ~lowest : lowest;
      if (dead == 0) continue;
      if (!found.empty() && found.back().end == windows_[i].start && found.back().dead == dead) {
        found.back().end = windows_[i].end;
        length.back() += lengths_[i];
      } else {
        found.push_back({windows_[i].start, windows_[i].end, dead});
        length.push_back(lengths_[i]);
      }
    }
    std::size_t kept = 0;
    for (std::size_t i = 0; i < found.size(); ++i) {
      if (length[i] >= least) found[kept++] = found[i];
    }
    found.resize(kept);
    return found;
  }

 private:
  // Only still bits at the bottom count, with a moving one above: high bits rest whenever the sound is one-sided.
  [[nodiscard]] std::uint32_t lowest_run(std::uint32_t dead, std::uint32_t elsewhere) const {
    int bit = lowest_bit_;
    while (bit < 32 && (elsewhere >> bit & 1) == 0) ++bit;
    std::uint32_t run = 0;
    for (; bit < 32 && (dead >> bit & 1) != 0; ++bit) run |= 1u << bit;
    return bit < 31 ? run : 0;
  }

  // Those with a bit below that moves at times: bits never used at the bottom are no stuck ones.
  static std::uint32_t above(std::uint32_t dead, std::uint32_t elsewhere) {
    return elsewhere == 0 ? 0 : dead & ~((1u << std::countr_zero(elsewhere)) - 1);
  }

  // Runs of still bits with two moving ones above.
  static std::uint32_t under_moving_ones(std::uint32_t still) {
    std::uint32_t found = 0;
    for (int bit = 0; bit < 30; ++bit) {
      if ((still >> bit & 1) == 0 || (still >> (bit + 1) & 3) != 0) continue;
      for (int low = bit; low >= 0 && (still >> low & 1) != 0; --low) found |= 1u << low;
    }
    return found;
  }

  const std::int64_t per_window_;
  const std::uint32_t looked_at_;
  const int lowest_bit_;
  const bool inner_;  ///< bits with moving ones above, instead of the lowest ones
  std::uint32_t any_ = 0, all_ = 0;
  std::int64_t start_ = 0, end_ = 0, count_ = 0, total_ = 0;
  std::array<std::int64_t, 32> live_{};
  std::vector<Stretch> windows_;
  std::vector<std::int64_t> lengths_;
};

class WordLengthMeter final : public Meter {
 public:
  explicit WordLengthMeter(const Setup& setup)
      : format_(setup.format),
        real_(setup.format.kind == audio::SampleKind::real),
        channels_(static_cast<std::size_t>(setup.format.channels),
                  Channel(setup.format.sample_rate / 8, 32 - std::clamp(setup.format.container_bits, 1, 32))) {}

  [[nodiscard]] bool wants_blocks() const override { return !format_.lossy; }

  void process(const Block& block) override {
    if (real_) whole_.take(block.reals, static_cast<std::int64_t>(block.frames) * block.channels);
    bits_ |= block.code_bits;
    const double unit = real_ ? (whole_.whole() ? step_of(whole_.depth()) : 1) : step_of(used_bits());
    const auto first_sub = block.first_frame / dsp::kSubBlock;
    for (int c = 0; c < block.channels; ++c) {
      auto& channel = channels_[static_cast<std::size_t>(c)];
      const float* high = block.high(c);
      const float* low = block.low(c);
      const auto quiet_span = static_cast<float>(16 * std::max(256.0, unit) / kSteps24);
      const int subs = block.subs();
      const auto frames_of = [&](int s) { return std::min(dsp::kSubBlock, block.frames - s * dsp::kSubBlock); };
      for (int s = 0; s < subs; ++s) {
        const float span = high[s] - low[s];
        if (span > quiet_span) {
          channel.steps.leave();
        } else {
          const int from = s * dsp::kSubBlock;
          channel.steps.take(block.row(c) + from, frames_of(s), block.first_frame + from, unit,
                             static_cast<double>(span) * kSteps24 / unit);
        }
      }
      // Sub-blocks are numbered from the start of the file.
      for (int s = until(first_sub, kQuietEvery); s < subs; s += kQuietEvery)
        sort_small(channel, block, c, s, frames_of(s), (first_sub + s) % kLoudEvery == 0);
      if (block.codes == nullptr) continue;
      for (int s = until(first_sub, kBitsEvery); s < subs; s += kBitsEvery)
        look_at_bits(channel, block, c, s, frames_of(s));
    }
  }

  void report(const Bus&, Report& report) override {
    if (format_.lossy) {
      for (const auto& entry : kEntries) report.not_applicable(entry.id, "a lossy file has no word length");
      return;
    }
    report_integers(report);
    const int grid = report_gain(report);
    report_truncation(report, grid > 0);
    report_stuck(report);
  }

 private:
  struct Channel {
    Channel(std::int64_t window_frames, int lowest_bit)
        : live(window_frames, lowest_bit, false), inner(window_frames, lowest_bit, true) {}
    StepLattice lattice;
    BareSteps steps;
    LiveBits live, inner;
  };

  /// How many sub-blocks after `first` the next stands whose number is a multiple of `every`.
  static int until(std::int64_t first, int every) { return static_cast<int>((every - first % every) % every); }
  static double step_of(int bits) { return std::ldexp(1.0, 24 - std::clamp(bits, 1, 24)); }
  [[nodiscard]] int channel_name(std::size_t c) const { return channels_.size() > 1 ? static_cast<int>(c) + 1 : 0; }
  /// Bits in use so far of an integer file; 1 while it is silent.
  [[nodiscard]] int used_bits() const { return bits_ == 0 ? 1 : 32 - std::countr_zero(bits_); }
  /// In use in the end, or what a float file's integers need; 25 for a float file that holds no integers.
  [[nodiscard]] int depth() const { return real_ ? (whole_.whole() ? whole_.depth() : 25) : used_bits(); }

  static void sort_small(Channel& channel, const Block& block, int c, int s, int count, bool loud_too) {
    constexpr float kLimit = (StepLattice::kReach - 1) / static_cast<float>(kSteps24);
    const float high = block.high(c)[s], low = block.low(c)[s];
    const bool quiet = high < kLimit && low > -kLimit;
    if ((!quiet && !loud_too) || low > kLimit || high < -kLimit || (high == 0 && low == 0)) return;
    const float* x = block.row(c) + s * dsp::kSubBlock;
    for (int n = 0; n < count; ++n) {
      const float magnitude = std::abs(x[n]);
      if (magnitude < kLimit) channel.lattice.add(static_cast<int>(magnitude * static_cast<float>(kSteps24) + 0.5f));
    }
  }

  void look_at_bits(Channel& channel, const Block& block, int c, int s, int count) const {
    if (count < dsp::kSubBlock || block.high(c)[s] - block.low(c)[s] < lively_span_) return;
    const int from = s * dsp::kSubBlock;
    const std::int32_t* x = block.codes + static_cast<std::int64_t>(from) * block.channels + c;
    std::uint32_t any = 0, all = ~0u;
    int changes = 0;
    std::int64_t largest = 0;
    std::int32_t before = x[0];
    for (int n = 0; n < count; ++n) {
      const std::int32_t code = x[static_cast<std::int64_t>(n) * block.channels];
      any |= static_cast<std::uint32_t>(code), all &= static_cast<std::uint32_t>(code);
      changes += code != before;
      largest = std::max(largest, std::abs(std::int64_t{code} - before));
      before = code;
    }
    if (2 * changes < count) return;
    const auto start = block.first_frame + from;
    channel.live.take(any, all, start, start + count);
    const double span = static_cast<double>(block.high(c)[s] - block.low(c)[s]);
    if (static_cast<double>(largest) * 0x1p-31 * 3 <= span) channel.inner.take(any, all, start, start + count);
  }

  void report_integers(Report& report) {
    if (!real_) {
      report.not_applicable("integer_valued_float", "not a float file");
    } else if (!whole_.whole()) {
      report.value("integer_valued_float", std::string("none"));
    } else if (whole_.nonzero() < 1000) {
      report.not_measured("integer_valued_float", whole_.nonzero() == 0 ? "silent: digital zero throughout"
                                                                        : "fewer than 1000 samples that are not zero");
    } else {
      int usual = 24;
      for (const int bits : {20, 16, 12, 8}) {
        if (whole_.depth() <= bits) usual = bits;
      }
      auto& m = report.value("integer_valued_float", std::to_string(usual) + "-bit");
      m.note = "every sample is a whole number of steps of " + std::to_string(whole_.depth()) + " bits";
    }
  }

  /// The grade: 0 none, 1 some, 2 strong.
  int report_gain(Report& report) {
    constexpr const char* kId = "gain_changed_word_length";
    if (depth() <= 16) {
      if (depth() <= 1) {
        report.not_measured(kId, "silent: digital zero throughout");
      } else {
        report.not_applicable(kId, "no more than 16 bits are in use");
      }
      return 0;
    }
    std::int64_t samples = 0;
    int grade = 0;
    StepLattice::Finding worst;
    std::size_t where = 0;
    bool enough = false;
    for (std::size_t c = 0; c < channels_.size(); ++c) {
      const auto found = channels_[c].lattice.look(step_of(depth()));
      samples += found.samples;
      if (found.samples < 500 || found.values < 12) continue;
      enough = true;
      const int here = found.share >= 0.98 && found.log10_chance < -9  ? 2
                       : found.share >= 0.6 && found.log10_chance < -6 ? 1
                                                                       : 0;
      if (here > grade || (here == grade && found.share > worst.share)) grade = here, worst = found, where = c;
    }
    if (!enough) {
      report.not_measured(
          kId, samples == 0 ? "no sample below -54 dBFS was looked at" : "too few different samples below -54 dBFS");
      return 0;
    }
    auto& m = report.value(kId, std::string(grade == 2 ? "strong" : grade == 1 ? "some" : "none"));
    if (grade == 0) return 0;
    const double db = 20 * std::log10(worst.width / 256);
    m.note = "steps of " + base::fixed(worst.width, 2) + " at 24 bits, as of 16 bits turned " +
             (db < 0 ? "down" : "up") + " by " + base::fixed(std::abs(db), 2) + " dB; " +
             base::fixed(100 * worst.share, 1) + " % of the small samples stand on them" +
             (channels_.size() > 1 ? " (channel " + std::to_string(channel_name(where)) + ")" : "") +
             ", by chance below 1e" + base::fixed(std::max(-300.0, std::ceil(worst.log10_chance)), 0);
    return grade;
  }

  struct Truncation {
    int grade = -1;  ///< −1: cannot be told
    std::int64_t bare = 0, changes = 0;
    bool sparse = false, quick = false;  ///< quick: by the short runs
    double width = 0;
  };
  [[nodiscard]] Truncation truncation(const BareSteps& steps) const {
    Truncation t;
    const bool short_word = depth() <= 16;
    const double unit = step_of(depth());
    if (short_word) {
      t.width = unit / static_cast<double>(BareSteps::scale(unit));
      t.bare = steps.bare(t.width);
      t.changes = steps.changes_up_to(4 * t.width + 1);
    } else {
      t.width = steps.commonest_bare();
      t.bare = t.width > 0 ? steps.bare(t.width) : 0;
      // One grid, or it is music that happens to stand still.
      if (t.bare * 10 < steps.bare_from(8) * 9) t.bare = 0;
      t.changes = t.bare > 0 ? steps.changes_up_to(4 * t.width + 1) : steps.changes_up_to(BareSteps::kLargest);
    }
    t.sparse = short_word && steps.sparse();
    const bool levels = steps.levels() >= (short_word ? 3u : 4u);
    if (levels && t.bare >= 32 && t.bare * 10 >= t.changes * 3) {
      t.grade = 2;
    } else if (levels && t.bare >= 16 && t.bare * 20 >= t.changes) {
      t.grade = 1;
    } else if (t.changes >= 256 && t.bare * 50 < t.changes && !t.sparse) {
      t.grade = 0;
    }
    if (short_word) look_at_short_runs(steps, t);
    return t;
  }

  static void look_at_short_runs(const BareSteps& steps, Truncation& t) {
    const auto bare = steps.short_bare(), changes = steps.few();
    // Dither as wide as a step, and noise, make every other run one sample long.
    const bool restless = steps.lone() * 100 > changes * 38;
    const int grade = steps.short_levels() < 3 || restless       ? -1
                      : bare >= 64 && bare * 100 >= changes * 20 ? 2
                      : bare >= 48 && bare * 100 >= changes * 12 ? 1
                                                                 : -1;
    if (grade <= t.grade) return;
    t.grade = grade, t.quick = true, t.bare = bare, t.changes = changes;
  }

  /// `grid`: the samples stand on one of fewer bits.
  void report_truncation(Report& report, bool grid) {
    constexpr const char* kId = "truncated_word_length";
    Truncation worst;
    std::size_t where = 0;
    for (std::size_t c = 0; c < channels_.size(); ++c) {
      const auto t = truncation(channels_[c].steps);
      if (c == 0 || t.grade > worst.grade || (t.grade == worst.grade && t.changes > worst.changes))
        worst = t, where = c;
    }
    if (grid && worst.grade == 0) worst.grade = -1;  // its own steps were not looked at
    if (worst.grade < 0) {
      report.not_measured(kId, worst.changes < 256 ? "no part is quiet enough: it does not fade through the last steps"
                                                   : "what is quiet moves too fast to tell rounding from dither");
      return;
    }
    auto& m = report.value(kId, std::string(worst.grade == 2 ? "strong" : worst.grade == 1 ? "some" : "none"));
    if (worst.grade == 0) return;
    const auto& steps = channels_[where].steps;
    m.where_total = worst.quick ? steps.short_stretches_total() : steps.stretches_total();
    m.note = std::to_string(worst.bare) + " of " + std::to_string(worst.changes) +
             " changes in the quietest parts are bare steps of " +
             (depth() <= 16 ? std::to_string(depth()) + " bits" : base::fixed(worst.width, 0) + " at 24 bits") +
             "; with dither fewer than one in " + (worst.quick ? "20" : "500") + " would be";
    for (const auto& stretch : worst.quick ? steps.short_stretches() : steps.stretches()) {
      if (m.where.size() < kMaxWhere)
        m.where.push_back(place(stretch.start, stretch.end, format_.sample_rate, channel_name(where)));
    }
  }

  void report_stuck(Report& report) {
    constexpr const char* kId = "stuck_bits";
    if (real_) {
      report.not_applicable(kId, "float samples have no bits that stand for steps");
      return;
    }
    constexpr std::int64_t kLeast = 2;  // windows of 1/8 s
    std::int64_t most = 0;
    std::vector<Where> places;
    const int lowest = 32 - format_.container_bits;
    for (std::size_t c = 0; c < channels_.size(); ++c) {
      most = std::max(most, channels_[c].live.windows());
      for (const auto& stretch : channels_[c].live.stuck(kLeast)) {
        const int bits = std::popcount(stretch.dead);
        add_stuck(places, stretch, c, (bits == 1 ? "the lowest bit lies" : "the lowest " + std::to_string(bits) + " bits lie") + " still");
      }
      for (const auto& stretch : channels_[c].inner.stuck(kLeast)) {
        const int bits = std::popcount(stretch.dead), first = std::countr_zero(stretch.dead) - lowest;
        add_stuck(places, stretch, c, (bits == 1 ? "bit " : std::to_string(bits) + " bits from bit ") + std::to_string(first) + " (the lowest is 0) " +
                                          (bits == 1 ? "lies" : "lie") + " still");
      }
    }
    if (most < 2 * kLeast) {
      report.not_measured(kId, bits_ == 0 ? "silent: digital zero throughout" : "less than 0.5 s of lively sound");
      return;
    }
    std::sort(places.begin(), places.end(), [](const Where& a, const Where& b) {
      return a.start_frame != b.start_frame ? a.start_frame < b.start_frame : a.channel < b.channel;
    });
    auto& m = report.value(kId, static_cast<double>(places.size()));
    m.where_total = static_cast<std::int64_t>(places.size());
    if (places.size() > kMaxWhere) places.resize(kMaxWhere);
    m.where = std::move(places);
  }

  // What happens to all channels at once is one event.
  void add_stuck(std::vector<Where>& places, const LiveBits::Stretch& stretch, std::size_t channel, const std::string& note) const {
    const auto same = std::find_if(places.begin(), places.end(), [&](const Where& w) {
      return w.note == note && std::llabs(w.start_frame - stretch.start) < format_.sample_rate / 4 &&
             std::llabs(w.end_frame - stretch.end) < format_.sample_rate / 4;
    });
    if (same != places.end()) {
      same->channel = 0;
    } else {
      places.push_back(place(stretch.start, stretch.end, format_.sample_rate, channel_name(channel), note));
    }
  }

  const audio::StreamFormat format_;
  const bool real_;
  const float lively_span_ = std::ldexp(64.0f, 1 - format_.container_bits);
  WholeNumbers whole_;
  std::uint32_t bits_ = 0;
  std::vector<Channel> channels_;
};

std::unique_ptr<Meter> create(const Setup& setup) { return std::make_unique<WordLengthMeter>(setup); }

}  // namespace

extern const MeterModule kWordLengthModule{kEntries, create};

}  // namespace sendworthy::measure
