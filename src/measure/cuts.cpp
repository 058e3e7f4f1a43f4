// Where sound was cut: into its beginning, out of its decay, a step at either end, and where a loop's end meets its start. All
// of it looks at the samples next to an edge.
#include <algorithm>
#include <cmath>
#include <string>
#include <vector>

#include "base/text.h"
#include "measure/meter.h"

namespace sendworthy::measure {
namespace {

constexpr CatalogEntry kEntries[] = {
    {.id = "start_step", .title = "Step at the start", .group = Group::edges, .unit = Unit::dbfs, .decimals = 2,
     .better = Better::lower, .what = "The jump from nothing to the first sample: a click when the file starts.",
     .how = "Level of the first sample, worst channel, where it is more than 3 times as large as any step between samples from "
            "0.1 to 0.8 ms behind it; a smaller one is part of the wave's own movement and reads -144 dBFS, at or below. A level is "
            "counted from the file's mean where that is less, so a constant offset is no step.",
     .source = "common practice, no source",
     .caveat = "A sound that is cut into while it moves quickly starts without such a step. The thump of a constant offset counts under "
               "DC offset only.",
     .act = "Fade in over a few milliseconds, or start a moment earlier."},
    {.id = "end_step", .title = "Step at the end", .group = Group::edges, .unit = Unit::dbfs, .decimals = 2,
     .better = Better::lower, .what = "The jump from the last sample to nothing: a click when the file ends.",
     .how = "Level of the last sample, worst channel, where it is more than 3 times as large as any step between samples from "
            "0.1 to 0.8 ms before it; else -144 dBFS, at or below. A level is counted from the file's mean where that is less, so a "
            "constant offset is no step.",
     .source = "common practice, no source", .caveat = "A loop is meant to run on at its start: there the step does not matter.",
     .act = "Let the sound end, or fade out over a few milliseconds."},
    {.id = "cut_start",
     .title = "Start cut",
     .group = Group::edges,
     .unit = Unit::boolean,
     .what = "Whether the file begins in the middle of a sound, with its first moment cut off.",
     .how = "In the first 30 ms from the first sample that is not zero: the first sample stands less than 26 dB under the "
            "loudest 2 ms, and the first 0.3 ms, or their steps from sample to sample, less than 16 dB under the loudest. "
            "One channel is enough, if it is loud.",
     .source = "common practice, no source",
     .caveat = "A sound that is meant to begin at full level, as synthesisers make them, looks the same. A cut into a moment of "
               "quiet is not seen.",
     .act = "Move the start of the export before the first attack; waive a hard start that is meant."},
    {.id = "tail_drop",
     .title = "Drop into digital silence",
     .group = Group::edges,
     .unit = Unit::dbfs,
     .decimals = 1,
     .better = Better::lower,
     .what = "The level from which the last sound falls into digital silence in one step, instead of dying away.",
     .how = "RMS of the last 20 ms before the zeros at the end, worst channel, where the last 1 ms lies less than 12 dB under "
            "it and it is more than 12 dB above the smallest step of the bits in use; else -144 dBFS, at or below. A channel whose "
            "last 0.2 ms moves by no more than that step has died away.",
     .source = "common practice, no source",
     .caveat = "A gate or a stop that is meant to be that hard looks the same.",
     .act = "Let the decay run out, or fade the last moments: gate, freeze and clip ends in the session cut like this."},
    {.id = "loop_seam_step",
     .title = "Step at the loop seam",
     .group = Group::edges,
     .unit = Unit::dbfs,
     .decimals = 2,
     .better = Better::lower,
     .what = "The break in the waveform where the end meets the beginning, if the file is played in a loop.",
     .how = "By how much the first samples miss what linear prediction (Burg, order 16) expects from the 8 ms on the other side, "
            "taken forwards and backwards, worst channel, where that is more than twice any miss within those 8 ms; else -144 "
            "dBFS, at or below. Where a WAV's smpl chunk names a loop, the seam of the first one counts, and not the file's.",
     .source = "J. P. Burg, Maximum Entropy Spectral Analysis, 1975; the use is common practice, no source",
     .caveat = "It says nothing where nobody plays the file as a loop. Bright sound hides a small step from the meter and from the "
               "ear.",
     .act = "Cut the loop at points where the wave goes on as it began, or cross-fade a few milliseconds over the seam."},
    {.id = "loop_points",
     .title = "Loops that cannot be played",
     .group = Group::edges,
     .unit = Unit::count,
     .better = Better::lower,
     .what = "Loops named in the file that reach beyond its end, or end where they begin or before.",
     .how = "First and last frame of every loop in a WAV's smpl chunk, up to 64, against the number of frames.",
     .source = "Multimedia Programming Interface and Data Specifications, RIFF, 1991 (from memory)",
     .caveat = "A last frame one too high is what a program writes that counts the end as the first frame behind the loop; a player "
               "that follows the specification still reads past the end.",
     .act = "Set the loop points again in the file as it is now, after the last trim or rate conversion, and export it again."},
};

constexpr double kHeadS = 0.032, kLookS = 0.03, kLevelS = 0.002, kFirstS = 0.0003;
constexpr double kFirstSampleDb = 26, kFirstMomentDb = 16, kLoudChannelDb = 12, kLowestLevelDb = -60;
constexpr double kTailS = 0.02, kLastS = 0.001, kSuddenDb = 12, kAboveStepDb = 12, kShortestZerosS = 0.002, kLandingS = 0.0002;
constexpr double kClickS = 0.0001, kBesideS = 0.0008, kStandsOut = 3;  // a click of one to five samples is no movement
constexpr std::size_t kFewestBeside = 8;
constexpr double kSeamS = 0.008, kSeamOver = 2;
constexpr std::size_t kOrder = 16, kSeamSamples = 3, kFewestSeamFrames = 128;

double mean_square(const float* x, std::size_t count) {
  double sum = 0;
  for (std::size_t n = 0; n < count; ++n) sum += static_cast<double>(x[n]) * static_cast<double>(x[n]);
  return count == 0 ? 0 : sum / static_cast<double>(count);
}

double loudest(const std::vector<float>& x, std::size_t window, std::size_t reach) {
  double most = 0;
  for (std::size_t n = 0; n + window <= std::min(x.size(), reach); n += std::max<std::size_t>(1, window / 2))
    most = std::max(most, mean_square(x.data() + n, window));
  return most;
}

// Prediction error filter of Burg's recursion: coefficients 1, a1 … a16.
std::vector<double> burg(const std::vector<double>& x) {
  std::vector<double> filter{1}, forward(x.begin() + 1, x.end()), backward(x.begin(), x.end() - 1);
  for (std::size_t m = 0; m < kOrder; ++m) {
    double product = 0, power = 0;
    for (std::size_t n = 0; n < forward.size(); ++n)
      product += forward[n] * backward[n], power += forward[n] * forward[n] + backward[n] * backward[n];
    const double k = power > 0 ? -2 * product / power : 0;
    filter.push_back(0);
    const auto before = filter;
    for (std::size_t i = 0; i < filter.size(); ++i) filter[i] += k * before[before.size() - 1 - i];
    for (std::size_t n = 0; n + 1 < forward.size(); ++n) {
      // Both shrink by one: forward loses its first, backward its last.
      const double f = forward[n + 1] + k * backward[n + 1], b = backward[n] + k * forward[n];
      forward[n] = f, backward[n] = b;
    }
    forward.pop_back(), backward.pop_back();
  }
  return filter;
}

// How far the first samples of `after` miss what `before` lets expect, if that is far more than any miss within `before`; else 0.
double miss(const std::vector<double>& before, const std::vector<double>& after) {
  const auto filter = burg(before);
  auto all = before;
  all.insert(all.end(), after.begin(), after.begin() + kSeamSamples);
  double usual = 0, here = 0;
  for (std::size_t n = kOrder; n < all.size(); ++n) {
    double error = 0;
    for (std::size_t i = 0; i <= kOrder; ++i) error += filter[i] * all[n - i];
    double& most = n < before.size() ? usual : here;
    most = std::max(most, std::abs(error));
  }
  return here > kSeamOver * usual ? here : 0;
}

class CutMeter final : public Meter {
 public:
  explicit CutMeter(const Setup& setup)
      : sample_rate_(setup.format.sample_rate), lsb_(setup.format.kind == audio::SampleKind::integer) {
    lines_.resize(static_cast<std::size_t>(setup.format.channels));
    loops_ = setup.facts.loops;
    if (!loops_.empty()) loop_ = loops_.front();
  }

  void process(const Block& block) override {
    bits_ |= block.code_bits;
    const auto [first, last] = sounding(block);
    if (first >= 0 && start_ < 0) start_ = block.first_frame + first;
    for (int c = 0; c < block.channels; ++c) {
      auto& line = lines_[static_cast<std::size_t>(c)];
      const float* x = block.row(c);
      fill(line.begin, x, block.frames, frames(kSeamS) + 2);
      if (start_ >= 0) {
        const auto skip = std::max<std::int64_t>(0, start_ - block.first_frame);
        fill(line.head, x + skip, static_cast<int>(block.frames - skip), frames(kHeadS));
      }
      keep_last(line.end, x, block.frames, frames(kSeamS) + 2, 0);
      if (last >= 0) keep_last(line.tail, x, last + 1, frames(kTailS), block.first_frame - last_ - 1);
      if (loop_.end > loop_.start) keep_loop(line, block, x);
    }
    if (last >= 0) last_ = block.first_frame + last;
  }

  void report(const Bus& bus, Report& report) override {
    points(bus, report);
    steps(bus, report);
    if (start_ < 0) {
      for (const char* id : {"cut_start", "tail_drop", "loop_seam_step"}) report.not_measured(id, "nothing but digital silence");
      return;
    }
    start(report);
    tail(bus, report);
    seam(bus, report);
  }

 private:
  struct Line {
    std::vector<float> begin, head, end, tail;  ///< from frame 0; from the first sound; up to the end; up to the last sound
    std::vector<float> loop_begin, loop_end;    ///< from the loop's first frame; up to its last
  };
  struct Span {
    int first = -1, last = -1;
  };

  std::size_t frames(double seconds) const {
    return std::max<std::size_t>(4, static_cast<std::size_t>(std::llround(seconds * sample_rate_)));
  }

  static void fill(std::vector<float>& kept, const float* x, int count, std::size_t most) {
    if (count <= 0 || kept.size() >= most) return;
    kept.insert(kept.end(), x, x + std::min<std::size_t>(static_cast<std::size_t>(count), most - kept.size()));
  }

  // The last `most` samples, of which `gap` zeros stand between what is kept and x.
  static void keep_last(std::vector<float>& kept, const float* x, int count, std::size_t most, std::int64_t gap) {
    if (gap > 0) kept.insert(kept.end(), static_cast<std::size_t>(std::min<std::int64_t>(gap, static_cast<std::int64_t>(most))), 0.0f);
    const auto fresh = std::min<std::size_t>(static_cast<std::size_t>(count), most);
    kept.insert(kept.end(), x + count - static_cast<std::ptrdiff_t>(fresh), x + count);
    if (kept.size() > most) kept.erase(kept.begin(), kept.end() - static_cast<std::ptrdiff_t>(most));
  }

  // First and last frame of the block in which any channel is other than zero.
  static Span sounding(const Block& block) {
    Span span;
    const auto silent = [&](int s) {
      for (int c = 0; c < block.channels; ++c) {
        if (block.high(c)[s] != 0 || block.low(c)[s] != 0) return false;
      }
      return true;
    };
    const auto zero = [&](int n) {
      for (int c = 0; c < block.channels; ++c) {
        if (block.row(c)[n] != 0) return false;
      }
      return true;
    };
    int s = 0, e = block.subs() - 1;
    while (s <= e && silent(s)) ++s;
    if (s > e) return span;
    while (silent(e)) --e;
    span.first = s * dsp::kSubBlock;
    while (zero(span.first)) ++span.first;
    span.last = std::min((e + 1) * dsp::kSubBlock, block.frames) - 1;
    while (zero(span.last)) --span.last;
    return span;
  }

  void keep_loop(Line& line, const Block& block, const float* x) {
    const auto reach = static_cast<std::int64_t>(frames(kSeamS)) + 2;
    const auto clip = [&](std::int64_t from, std::int64_t to, std::vector<float>& kept) {
      const auto a = std::max(from, block.first_frame), b = std::min(to, block.first_frame + block.frames);
      if (a < b) kept.insert(kept.end(), x + (a - block.first_frame), x + (b - block.first_frame));
    };
    clip(loop_.start, std::min(loop_.start + reach, loop_.end + 1), line.loop_begin);
    clip(std::max(loop_.end + 1 - reach, loop_.start), loop_.end + 1, line.loop_end);
  }

  void points(const Bus& bus, Report& report) const {
    if (loops_.empty()) {
      report.not_applicable("loop_points", "the file names no loop");
      return;
    }
    auto& m = report.value("loop_points", 0.0);
    for (const auto& loop : loops_) {
      const bool outside = std::max(loop.start, loop.end) >= bus.frames;
      if (!outside && loop.end > loop.start) continue;
      ++m.where_total;
      if (m.where.size() == kMaxWhere) continue;
      const auto at = std::clamp<std::int64_t>(loop.start, 0, std::max<std::int64_t>(0, bus.frames - 1));
      m.where.push_back(place_at(at, sample_rate_, 0, "frames " + span_text(loop) + (outside ? ", the file has " + std::to_string(bus.frames)
                                                                                             : ": it ends where it begins, or before")));
    }
    m.outcome = Value(static_cast<double>(m.where_total));
    if (!m.where.empty()) m.note = m.where.front().note;
  }

  static std::string span_text(const audio::LoopPoints& loop) { return std::to_string(loop.start) + " to " + std::to_string(loop.end); }

  void steps(const Bus& bus, Report& report) const {
    step(report.value("start_step", kFloorDb), bus, &Line::begin, 0);
    step(report.value("end_step", kFloorDb), bus, &Line::end, bus.frames - 1);
  }

  // Does the outermost sample stand out of what the wave does beside it? A constant offset is none of its doing.
  void step(Measurement& m, const Bus& bus, std::vector<float> Line::* kept, std::int64_t frame) const {
    const auto count = [&](double s) { return static_cast<std::size_t>(std::llround(s * sample_rate_)); };
    const auto beside = std::max(kFewestBeside, count(kBesideS)), click = std::max<std::size_t>(1, count(kClickS));
    double worst = 0;
    int channel = 0;
    for (std::size_t c = 0; c < lines_.size(); ++c) {
      const auto& x = lines_[c].*kept;
      if (x.empty()) continue;
      const auto from_edge = [&](std::size_t n) { return static_cast<double>(frame == 0 ? x[n] : x[x.size() - 1 - n]); };
      double movement = 0;
      for (std::size_t n = x.size() > beside ? click + 1 : 1; n < std::min(x.size(), beside + 1); ++n)
        movement = std::max(movement, std::abs(from_edge(n) - from_edge(n - 1)));
      const double level = from_edge(0);
      const double mean = bus.sum.size() == lines_.size() && x.size() > beside ? bus.sum[c] / static_cast<double>(bus.frames) : 0;
      const double edge = std::min(std::abs(level), std::abs(level - mean));
      if (edge > kStandsOut * movement && edge > worst) worst = edge, channel = lines_.size() > 1 ? static_cast<int>(c) + 1 : 0;
    }
    m.outcome = Value(amplitude_db(worst));
    if (worst <= 0) {
      m.note = "at or below";
      return;
    }
    m.where.push_back(place_at(frame, sample_rate_, channel));
    m.where_total = 1;
  }

  void start(Report& report) {
    struct Head {
      double level, first, moment;
    };
    std::vector<Head> heads;
    const auto window = frames(kLevelS), reach = frames(kLookS);
    if (lines_.front().head.size() < reach) {
      report.not_measured("cut_start", "less than 30 ms of sound");
      return;
    }
    double top = 0;
    for (const auto& line : lines_) {
      const auto& x = line.head;
      std::vector<float> steps;
      for (std::size_t n = 1; n < x.size(); ++n) steps.push_back(x[n] - x[n - 1]);
      const double level = loudest(x, window, reach), motion = loudest(steps, window, reach);
      const auto first = frames(kFirstS);
      const double moment = std::max(level > 0 ? mean_square(x.data(), first) / level : 0,
                                     motion > 0 ? mean_square(steps.data(), first) / motion : 0);
      heads.push_back({level, level > 0 ? static_cast<double>(x[0]) * static_cast<double>(x[0]) / level : 0, moment});
      top = std::max(top, level);
    }
    auto& m = report.value("cut_start", false);
    if (top < std::pow(10, kLowestLevelDb / 10)) {
      m.note = "the first sound is very soft";
      return;
    }
    const auto share = [](double db) { return std::pow(10, -db / 10); };
    for (std::size_t c = 0; c < heads.size(); ++c) {
      const auto& head = heads[c];
      if (head.level < top * share(kLoudChannelDb) || head.first <= share(kFirstSampleDb) || head.moment <= share(kFirstMomentDb))
        continue;
      m.outcome = Value(true);
      m.where_total = 1;
      m.where.push_back(place_at(start_, sample_rate_, heads.size() > 1 ? static_cast<int>(c) + 1 : 0,
                                 "first sample " + base::fixed(std::max(0.0, -power_db(head.first)), 0) +
                                     " dB under the loudest 2 ms that follow"));
      return;
    }
  }

  void tail(const Bus& bus, Report& report) {
    auto& m = report.value("tail_drop", kFloorDb);
    m.note = "at or below";
    if (bus.frames - 1 - last_ < static_cast<std::int64_t>(frames(kShortestZerosS))) {
      m.note = "at or below: no digital silence at the end";
      return;
    }
    // Codes are left-justified: the lowest bit in use is the smallest step.
    double step = 0;
    if (lsb_ && bits_ != 0) step = std::ldexp(1.0, __builtin_ctz(bits_) - 31);
    double worst = 0;
    int channel = 0;
    for (std::size_t c = 0; c < lines_.size(); ++c) {
      const auto& x = lines_[c].tail;
      const auto last = frames(kLastS);
      if (x.size() < 2 * last) continue;
      const double level = mean_square(x.data(), x.size());
      const double end = mean_square(x.data() + x.size() - last, last);
      if (level <= std::pow(10, kAboveStepDb / 10) * step * step || end * std::pow(10, kSuddenDb / 10) < level) continue;
      const auto landing = x.end() - static_cast<std::ptrdiff_t>(frames(kLandingS));
      if (std::all_of(landing, x.end(), [&](float v) { return std::abs(static_cast<double>(v)) <= 1.5 * step; })) continue;
      if (level > worst) worst = level, channel = lines_.size() > 1 ? static_cast<int>(c) + 1 : 0;
    }
    if (worst <= 0) return;
    m.outcome = Value(power_db(worst));
    m.note.clear();
    m.where_total = 1;
    m.where.push_back(place_at(last_, sample_rate_, channel));
  }

  struct Seam {
    double miss = 0;
    int channel = 0;
  };

  static Seam seam_of(const std::vector<Line>& lines, std::vector<float> Line::* end, std::vector<float> Line::* begin) {
    Seam worst;
    for (std::size_t c = 0; c < lines.size(); ++c) {
      std::vector<double> a((lines[c].*end).begin(), (lines[c].*end).end()), b((lines[c].*begin).begin(), (lines[c].*begin).end());
      if (std::min(a.size(), b.size()) < kFewestSeamFrames / 2) continue;
      const double forwards = miss(a, b);
      std::reverse(a.begin(), a.end()), std::reverse(b.begin(), b.end());
      const double most = std::max(forwards, miss(b, a));
      if (most > worst.miss) worst = {most, lines.size() > 1 ? static_cast<int>(c) + 1 : 0};
    }
    return worst;
  }

  void seam(const Bus& bus, Report& report) {
    if (bus.frames < static_cast<std::int64_t>(kFewestSeamFrames)) {
      report.not_measured("loop_seam_step", "fewer than " + std::to_string(kFewestSeamFrames) + " frames");
      return;
    }
    const bool named = !loops_.empty();
    if (named) {
      // The player turns there, wherever the file ends; what a broken one would do is anyone's guess.
      const char* reason = loop_.end >= bus.frames || loop_.start >= bus.frames ? "the loop that is named reaches beyond the end of the file"
                           : loop_.end <= loop_.start                          ? "the loop that is named ends where it begins, or before"
                           : loop_.end - loop_.start + 1 < static_cast<std::int64_t>(kFewestSeamFrames) ? "the loop that is named is too short"
                                                                                                        : nullptr;
      if (reason != nullptr) {
        report.not_measured("loop_seam_step", std::string(reason) + " (frames " + span_text(loop_) + ")");
        return;
      }
    }
    auto& m = report.value("loop_seam_step", kFloorDb);
    const auto worst = named ? seam_of(lines_, &Line::loop_end, &Line::loop_begin) : seam_of(lines_, &Line::end, &Line::begin);
    if (named) m.note = "of the loop that is named, frames " + span_text(loop_);
    if (worst.miss <= 0) {
      m.note = (m.note.empty() ? "" : m.note + "; ") + "at or below";
      return;
    }
    m.outcome = Value(amplitude_db(worst.miss));
    m.where.push_back(named ? place_at(loop_.end, sample_rate_, worst.channel, "end of the named loop to its start")
                            : place_at(bus.frames - 1, sample_rate_, worst.channel, "end of the file to its start"));
    m.where_total = 1;
  }

  const int sample_rate_;
  const bool lsb_;  ///< samples are codes of a word
  std::vector<Line> lines_;
  std::vector<audio::LoopPoints> loops_;
  audio::LoopPoints loop_;  ///< the first of them
  std::int64_t start_ = -1, last_ = -1;  ///< first and last frame that is not digital silence
  std::uint32_t bits_ = 0;
};

std::unique_ptr<Meter> create(const Setup& setup) { return std::make_unique<CutMeter>(setup); }

}  // namespace

extern const MeterModule kCutModule{kEntries, create};

}  // namespace sendworthy::measure
