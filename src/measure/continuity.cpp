// Holes and stuck values: runs of one and the same sample, and what sounds before, after and beside them.
#include <algorithm>
#include <bit>
#include <cmath>
#include <optional>
#include <string>

#include "base/text.h"
#include "measure/clicks.h"
#include "measure/meter.h"
#include "measure/repeats.h"
#include "measure/window.h"

namespace sendworthy::measure {
namespace {

constexpr CatalogEntry kEntries[] = {
    {.id = "dropouts",
     .title = "Dropouts",
     .group = Group::continuity,
     .unit = Unit::count,
     .better = Better::lower,
     .what = "Holes in the sound: every channel that plays stops dead and goes on a moment later.",
     .how = "Runs of digital zero of 1 ms to 2 s on every channel that plays, with music above -40 dBFS in the 10 ms "
            "before "
            "and after, cut into without a fade (the 0.3 ms next to the hole within 12 dB of those 10 ms, or the 1 ms "
            "within 6 dB) on at "
            "least one side, on both for holes longer than 50 ms. Where most of four and more holes have one length, "
            "over 20 ms, and one distance, they are an effect and none is counted; the "
            "note says so.",
     .source = "common practice, no source",
     .caveat = "A stutter or a hard stop that the song wants looks the same: listen. A hole that carries dither or "
               "noise is not found.",
     .act = "Listen at the places; raise the buffer size or export offline and bounce again."},
    {.id = "channel_dropouts",
     .title = "Dropouts of one channel",
     .group = Group::continuity,
     .unit = Unit::count,
     .better = Better::lower,
     .what = "One channel stops dead for a moment while another goes on.",
     .how = "Runs of digital zero as for dropouts, on some of the channels that play, with another above -50 dBFS "
            "throughout.",
     .source = "common practice, no source",
     .caveat = "A hard-panned sound that is gated without a fade looks the same: listen.",
     .act = "Listen at the places; look for a loose cable on a transfer, or bounce again."},
    {.id = "stuck_samples",
     .title = "Stuck samples",
     .group = Group::continuity,
     .unit = Unit::count,
     .better = Better::lower,
     .what = "The wave stands still at one value that is not zero, as when a converter or a plug-in hangs.",
     .how = "Runs of 1 ms and more of one value above -50 dBFS and 32 steps of the word length in magnitude, 0.1 dB or "
            "more under "
            "the channel's own peak of that sign, entered or left by more than 4 steps, with music above -50 dBFS "
            "before and after "
            "and no other such run within ten times its length.",
     .source = "common practice, no source",
     .caveat =
         "Pulse waves stand still too; they do it over and over, which is why runs close together are not counted.",
     .act = "Listen at the places and bounce again; when it comes back, find the plug-in that does it."},
    {.id = "repeated_blocks",
     .title = "Repeated blocks",
     .group = Group::continuity,
     .unit = Unit::count,
     .better = Better::lower,
     .what = "A stretch that comes twice in a row, to the bit, as when a buffer was written twice: the sound stammers.",
     .how = "Stretches of 64 to 4096 frames above -60 dBFS that equal the stretch right before them in every channel, "
            "to the bit, up "
            "to three times over, while what comes before and after differs by 2 % of the power or more. Where the "
            "length is none that "
            "drivers use, and the stretch dies away by 15 dB, it is a note struck again.",
     .source = "common practice, no source",
     .caveat = "Dither or a gain change that differs between both copies hides it. A stutter effect that short looks "
               "the same.",
     .act = "Listen at the places; raise the buffer size or export offline and bounce again."},
    {.id = "clicks",
     .title = "Clicks",
     .group = Group::continuity,
     .unit = Unit::count,
     .better = Better::lower,
     .what = "Single breaks in the waveform.",
     .how =
         "Linear prediction (Burg, order 16) from the 8 ms before a place and, backwards, from the 8 ms behind it, at places "
         "where the fourth difference stands out: up to 7 samples that both miss by 26 times their largest miss beside "
         "them and by -54 dBFS or more, with the level of the 2.5 ms and of the 10 ms before and after within 12 dB. Not "
         "beside a flat top above half of full scale, nor where the like comes again within 50 ms, or within 0.5 s where "
         "it stands out by less than 64 times.",
     .source = "J. P. Burg, Maximum Entropy Spectral Analysis, 1975; the use and the limits are common practice, no source",
     .caveat = "Evidence only. An edit inside a sample, a synthesised drum and a glitch that is meant look alike; a click "
               "inside cymbals or distortion is hidden, for the ear too.",
     .act = "Listen at the places, soloed; look for an edit without a crossfade, a bad cable, or a render that ran out "
            "of time."},
    {.id = "render_grid_clicks",
     .title = "Clicks on a grid",
     .group = Group::continuity,
     .unit = Unit::count,
     .better = Better::lower,
     .what = "Clicks at multiples of a buffer: the render ran out of time.",
     .how = "Places that prediction misses from both sides, as for clicks, but by no more than its largest miss beside them "
            "where two waves are joined between two samples, else by 4 times, and by a third of the wave's own level: four "
            "and more on one grid of 64, 128 ... 4096 frames, so many that chance has it once in a million. Where nine of ten "
            "lie on a beat longer than 4096 frames they do not count.",
     .source = "J. P. Burg, Maximum Entropy Spectral Analysis, 1975; the use and the limits are common practice, no source",
     .caveat = "Buffers of 441 or 480 frames and their multiples have no such grid and are not found. A file that was cut or "
               "resampled after the render keeps the grid only from one cut to the next, or not at all.",
     .act = "Raise the buffer size or export offline and bounce again."},
    {.id = "internal_silence",
     .title = "Gaps inside",
     .group = Group::continuity,
     .unit = Unit::seconds,
     .decimals = 3,
     .what = "Near silence between loud parts, all such gaps together.",
     .how = "Stretches of 10 ms to 3.5 s in which every 64 frames stay below -50 dBFS on all channels, with 64 frames "
            "above -30 dBFS "
            "within 40 ms before and after.",
     .source = "defaults of a published gap detector, by its description",
     .caveat = "Evidence only: breaks belong to many songs, and only the place tells which are meant.",
     .act = "Listen at the places and compare with the arrangement: a muted or missing region leaves such a gap."},
};

constexpr double kShortestS = 0.001, kShortS = 0.05, kLongestS = 2, kAroundS = 0.01, kEdgeS = 0.0003, kSlopeS = 0.001;
constexpr double kPlayingDb = -40, kBesideDb = -50, kStuckDb = -50, kBelowPeakDb = 0.1, kEdgeDb = -12, kSlopeDb = -6;
constexpr double kStuckSteps = 32, kStepOut = 4, kStuckAlone = 10;
constexpr double kGapS = 0.01, kLongestGapS = 3.5, kGapReachS = 0.04, kGapDb = -50, kLoudDb = -30;
constexpr std::size_t kMostRuns = 16384;  // kept, of each channel and kind; so many are as good as all
// Holes that come back like this are an effect.
constexpr double kEffectS = 0.02;
constexpr std::size_t kEffectHoles = 4;

double power(double db) { return std::pow(10, db / 10); }

/// One and the same value for at least kShortestS.
struct Run {
  int channel = 0;  // from 0
  std::int64_t start = 0, end = 0;
  float value = 0;
  double before = 0, after = 0;                    // mean squares of kAroundS
  bool sharp_before = false, sharp_after = false;  // no fade
  double step = 0;                                 // the larger of the steps in and out
  bool beside = false;                             // another channel plays all the while
};

class ContinuityMeter final : public Meter {
 public:
  explicit ContinuityMeter(const Setup& setup)
      : sample_rate_(setup.format.sample_rate),
        step_(setup.format.kind == audio::SampleKind::real
                  ? std::ldexp(1.0, -23)
                  : std::ldexp(1.0, 1 - std::clamp(setup.format.container_bits, 1, 32))),
        window_(setup.format.channels),
        lines_(static_cast<std::size_t>(setup.format.channels)),
        shortest_(frames(kShortestS)),
        clicks_(setup.format.sample_rate, setup.format.channels) {}

  void process(const Block& block) override {
    for (int c = 0; c < block.channels; ++c) {
      auto& line = lines_[static_cast<std::size_t>(c)];
      for (int s = 0; s < block.subs(); ++s) {
        line.highest = std::max(line.highest, block.high(c)[s]);
        line.lowest = std::min(line.lowest, block.low(c)[s]);
      }
    }
    gaps(block);
    window_.take(block, [&](std::int64_t from, std::int64_t to) { settled(from, to); });
  }

  void publish(Bus& bus) override {
    window_.end([&](std::int64_t from, std::int64_t to) { settled(from, to); });
    for (std::size_t c = 0; c < lines_.size(); ++c) {
      if (bus.frames - lines_[c].start >= shortest_) close(static_cast<int>(c), lines_[c], bus.frames);
    }
    repeated_ = repeats_.finish(window_);
    breaks_ = clicks_.finish(window_);
  }

  void report(const Bus&, Report& report) override {
    holes(report);
    stuck(report);
    auto& repeats = report.value("repeated_blocks", static_cast<double>(repeats_.total()));
    repeats.where_total = repeats_.total();
    for (const auto& one : repeated_)
      repeats.where.push_back(
          place(one.start, one.end, sample_rate_, 0, "buffer of " + std::to_string(one.length) + " frames"));
    breaks(report);
    silence(report);
  }

 private:
  struct Line {
    std::int64_t start = 0;  // of the run that is open
    bool looked = false;     // what stood before it was looked at
    bool sharp_before = false;
    double before = 0, step_in = 0;
    float highest = 0, lowest = 0;
    std::vector<Run> holes;
    std::optional<Run> stuck;  // the last one, until what follows shows whether it stands alone
    bool stuck_alone = false;  // nothing like it came before
    std::vector<Run> alone;
  };

  std::int64_t frames(double seconds) const { return std::max<std::int64_t>(1, std::llround(seconds * sample_rate_)); }

  void settled(std::int64_t from, std::int64_t to) {
    repeats_.settled(window_, from, to);
    clicks_.settled(window_, to);
    for (int c = 0; c < window_.channels(); ++c) {
      scan(c, from, to);
      auto& line = lines_[static_cast<std::size_t>(c)];
      if (to - line.start >= shortest_ && !line.looked) look_back(c, line);
    }
  }

  void scan(int c, std::int64_t from, std::int64_t to) {
    auto& line = lines_[static_cast<std::size_t>(c)];
    if (from == 0) line.start = 0, from = 1;
    if (to <= from) return;
    const float* x = window_.from(c, from);
    const auto count = to - from;
    const int words = static_cast<int>(count / 64);
    rising_.resize(static_cast<std::size_t>(words)), moving_.resize(static_cast<std::size_t>(words));
    if (words > 0) dsp::signs_of_differences(x, words, rising_.data(), moving_.data());
    for (int w = 0; w < words; ++w) {
      const auto moving = moving_[static_cast<std::size_t>(w)];
      const auto at = from + 64 * static_cast<std::int64_t>(w);
      if (moving == 0) continue;
      // Between two ends of a word that moves throughout no run fits.
      change(c, line, at + std::countr_zero(moving));
      if (moving != ~std::uint64_t{0}) {
        for (auto rest = moving & (moving - 1); rest != 0; rest &= rest - 1)
          change(c, line, at + std::countr_zero(rest));
      } else {
        line.start = at + 63, line.looked = false;
      }
    }
    for (std::int64_t n = 64 * static_cast<std::int64_t>(words); n < count; ++n) {
      if (x[n] != x[n - 1]) change(c, line, from + n);
    }
  }

  void change(int c, Line& line, std::int64_t frame) {
    if (frame - line.start >= shortest_) close(c, line, frame);
    line.start = frame, line.looked = false;
  }

  void look_back(int c, Line& line) {
    line.looked = true;
    line.before = window_.mean_square(c, line.start - frames(kAroundS), line.start);
    line.sharp_before = is_sharp(line.before, window_.mean_square(c, line.start - frames(kEdgeS), line.start),
                                 window_.mean_square(c, line.start - frames(kSlopeS), line.start));
    line.step_in = line.start > 0 ? std::abs(static_cast<double>(window_.at(c, line.start)) -
                                             static_cast<double>(window_.at(c, line.start - 1)))
                                  : 0;
  }

  // Whether the sound goes on at its level right up to the hole: by the last samples, or where those happen to cross
  // zero, by the last millisecond.
  static bool is_sharp(double around, double edge, double slope) {
    return edge >= power(kEdgeDb) * around || slope >= power(kSlopeDb) * around;
  }

  void close(int c, Line& line, std::int64_t end) {
    if (!line.looked) look_back(c, line);
    Run run{c, line.start, end, window_.at(c, end - 1), line.before, 0, line.sharp_before, false, 0, false};
    // Zeros in front of everything are no hole, and plain small steps are no stuck value.
    const double size = std::abs(static_cast<double>(run.value));
    if (run.value != 0 && (size < std::sqrt(power(kStuckDb)) || size < kStuckSteps * step_)) return;
    run.after = window_.mean_square(c, end, end + frames(kAroundS));
    run.sharp_after = is_sharp(run.after, window_.mean_square(c, end, end + frames(kEdgeS)),
                               window_.mean_square(c, end, end + frames(kSlopeS)));
    run.step =
        std::max(line.step_in, std::abs(static_cast<double>(window_.at(c, end)) - static_cast<double>(run.value)));
    run.beside = played_beside(run);
    if (run.value == 0) {
      if (is_hole(run) && line.holes.size() < kMostRuns) line.holes.push_back(run);
    } else if (run.step > kStepOut * step_ && run.before >= power(kStuckDb) && run.after >= power(kStuckDb)) {
      const bool near = line.stuck && (run.start - line.stuck->end < reach_of(*line.stuck) ||
                                       run.start - line.stuck->end < reach_of(run));
      settle_stuck(line, near);
      line.stuck = run;
      line.stuck_alone = !near;
    }
  }

  static std::int64_t reach_of(const Run& run) {
    return static_cast<std::int64_t>(kStuckAlone * static_cast<double>(run.end - run.start));
  }

  // The waves of pulses stand still over and over: only a run alone counts, which its successor decides.
  static void settle_stuck(Line& line, bool near) {
    if (line.stuck && line.stuck_alone && !near && line.alone.size() < kMostRuns) line.alone.push_back(*line.stuck);
    line.stuck.reset();
  }

  bool played_beside(const Run& run) const {
    const auto piece = frames(0.005);
    for (int other = 0; other < window_.channels(); ++other) {
      if (other == run.channel) continue;
      const auto start = std::max(run.start, window_.first());
      const auto pieces = std::max<std::int64_t>(1, (run.end - start) / piece);
      bool plays = true;
      for (std::int64_t k = 0; plays && k < pieces; ++k)
        plays = window_.mean_square(other, start + k * (run.end - start) / pieces,
                                    start + (k + 1) * (run.end - start) / pieces) > power(kBesideDb);
      if (plays) return true;
    }
    return false;
  }

  bool is_hole(const Run& run) const {
    if (run.value != 0 || run.end - run.start > frames(kLongestS)) return false;
    if (run.before < power(kPlayingDb) || run.after < power(kPlayingDb)) return false;
    return run.end - run.start <= frames(kShortS) ? run.sharp_before || run.sharp_after
                                                  : run.sharp_before && run.sharp_after;
  }

  void holes(Report& report) {
    std::vector<Run> whole, single;
    for (const auto& line : lines_) {
      for (const auto& run : line.holes) (run.beside ? single : whole).push_back(run);
    }
    // The same hole in several channels is one.
    std::sort(whole.begin(), whole.end(), [](const Run& a, const Run& b) { return a.start < b.start; });
    std::vector<Run> merged;
    for (const auto& run : whole) {
      if (!merged.empty() && run.start < merged.back().end) {
        merged.back().end = std::max(merged.back().end, run.end);
      } else {
        merged.push_back(run);
      }
    }
    std::string note;
    if (are_an_effect(merged)) {
      note = std::to_string(merged.size()) + " holes of one length at one distance, taken for an effect";
      merged.clear();
    }
    auto& dropouts = report.value("dropouts", static_cast<double>(merged.size()));
    dropouts.note = note;
    for (auto& run : merged) run.channel = -1;
    tell(dropouts, merged);
    if (window_.channels() < 2) {
      report.not_applicable("channel_dropouts", "one channel only");
      return;
    }
    std::sort(single.begin(), single.end(), [](const Run& a, const Run& b) { return a.start < b.start; });
    tell(report.value("channel_dropouts", static_cast<double>(single.size())), single);
  }

  bool are_an_effect(const std::vector<Run>& holes) const {
    if (holes.size() < kEffectHoles) return false;
    std::vector<std::int64_t> lengths, distances;
    for (std::size_t i = 0; i < holes.size(); ++i) {
      lengths.push_back(holes[i].end - holes[i].start);
      if (i > 0) distances.push_back(holes[i].start - holes[i - 1].start);
    }
    const auto alike = [](std::vector<std::int64_t> values) {
      std::sort(values.begin(), values.end());
      const double middle = static_cast<double>(values[values.size() / 2]);
      const auto near = std::count_if(values.begin(), values.end(), [&](std::int64_t v) {
        return std::abs(static_cast<double>(v) - middle) <= 0.03 * middle + 8;
      });
      return 4 * near >= 3 * static_cast<std::ptrdiff_t>(values.size()) ? middle : 0.0;
    };
    return alike(lengths) > kEffectS * sample_rate_ && alike(distances) > 0;
  }

  void stuck(Report& report) {
    std::vector<Run> found;
    const double below = std::pow(10, -kBelowPeakDb / 20);
    for (auto& line : lines_) {
      settle_stuck(line, false);
      // What stands still at the peak itself is flat there, or clipped.
      for (const auto& run : line.alone) {
        const double peak = static_cast<double>(run.value > 0 ? line.highest : -line.lowest);
        if (std::abs(static_cast<double>(run.value)) <= below * peak) found.push_back(run);
      }
    }
    std::sort(found.begin(), found.end(), [](const Run& a, const Run& b) { return a.start < b.start; });
    auto& m = report.value("stuck_samples", static_cast<double>(found.size()));
    tell(m, found);
  }

  void tell(Measurement& m, const std::vector<Run>& runs) const {
    m.where_total = static_cast<std::int64_t>(runs.size());
    for (const auto& run : runs) {
      if (m.where.size() == kMaxWhere) break;
      m.where.push_back(
          place(run.start, run.end, sample_rate_, run.channel + 1,
                base::fixed(1000.0 * static_cast<double>(run.end - run.start) / sample_rate_, 1) + " ms"));
    }
  }

  void breaks(Report& report) {
    auto& clicks = report.value("clicks", static_cast<double>(breaks_.total));
    clicks.where_total = breaks_.total;
    for (const auto& one : breaks_.clicks)
      clicks.where.push_back(place_at(one.frame, sample_rate_, one.channel,
                                      base::fixed(one.miss_db, 1) + " dBFS off, " +
                                          base::fixed(std::min(one.over_db, 99.9), 1) + " dB over what stands beside it"));
    const auto on_grid = static_cast<std::int64_t>(breaks_.grid.size());
    auto& grid = report.value("render_grid_clicks", static_cast<double>(on_grid));
    if (breaks_.grid_step > 0) grid.note = "at multiples of " + std::to_string(breaks_.grid_step) + " frames";
    grid.where_total = on_grid;
    for (const auto frame : breaks_.grid) {
      if (grid.where.size() < kMaxWhere) grid.where.push_back(place_at(frame, sample_rate_));
    }
  }

  // Level by sub-block, of the loudest channel.
  void gaps(const Block& block) {
    const auto reach = frames(kGapReachS) / dsp::kSubBlock;
    for (int s = 0; s < block.subs(); ++s) {
      double loudest = 0;
      const int count = std::min(dsp::kSubBlock, block.frames - s * dsp::kSubBlock);
      for (int c = 0; c < block.channels; ++c)
        loudest = std::max(loudest, static_cast<double>(block.square(c)[s]) / count);
      const auto frame = block.first_frame + s * dsp::kSubBlock;
      const auto sub = frame / dsp::kSubBlock;
      if (loudest < power(kGapDb)) {
        if (gap_start_ < 0) {
          // A sound that comes back may dip once more on its way up.
          const bool goes_on = waiting_.second > waiting_.first && frame - waiting_.second <= reach * dsp::kSubBlock;
          gap_start_ = goes_on ? waiting_.first : frame;
          gap_led_ = goes_on || (last_loud_ >= 0 && sub - last_loud_ <= reach);
          waiting_ = {};
        }
        continue;
      }
      if (gap_start_ >= 0) {
        const auto length = frame - gap_start_;
        if (gap_led_ && length >= frames(kGapS) && length <= frames(kLongestGapS)) waiting_ = {gap_start_, frame};
        gap_start_ = -1;
      }
      if (loudest <= power(kLoudDb)) continue;
      last_loud_ = sub;
      if (waiting_.second > waiting_.first && frame - waiting_.second <= reach * dsp::kSubBlock) {
        gap_frames_ += waiting_.second - waiting_.first;
        ++gap_count_;
        if (gaps_.size() < kMaxWhere) gaps_.push_back(waiting_);
      }
      waiting_ = {};
    }
  }

  void silence(Report& report) {
    auto& m = report.value("internal_silence", static_cast<double>(gap_frames_) / sample_rate_);
    m.where_total = gap_count_;
    for (const auto& [from, to] : gaps_) m.where.push_back(place(from, to, sample_rate_));
  }

  const int sample_rate_;
  std::int64_t gap_start_ = -1, last_loud_ = -1, gap_frames_ = 0, gap_count_ = 0;  ///< last_loud_ in sub-blocks
  bool gap_led_ = false;                                 ///< something loud stood right before the gap that is open
  std::pair<std::int64_t, std::int64_t> waiting_{0, 0};  ///< a gap that something loud has to follow
  std::vector<std::pair<std::int64_t, std::int64_t>> gaps_;
  const double step_;
  Window window_;
  std::vector<Line> lines_;
  const std::int64_t shortest_;
  std::vector<std::uint64_t> rising_, moving_;
  RepeatFinder repeats_;
  ClickFinder clicks_;
  ClickFinder::Found breaks_;
  std::vector<RepeatFinder::Repeat> repeated_;
};

std::unique_ptr<Meter> create(const Setup& setup) { return std::make_unique<ContinuityMeter>(setup); }

}  // namespace

extern const MeterModule kContinuityModule{kEntries, create};

}  // namespace sendworthy::measure
