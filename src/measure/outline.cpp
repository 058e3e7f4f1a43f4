// What the levels say about the beginning, the end, and what stands apart: one tick of about 10 ms after the other.
#include <algorithm>
#include <cmath>
#include <deque>
#include <string>
#include <vector>

#include "base/text.h"
#include "measure/bursts.h"
#include "measure/dips.h"
#include "measure/meter.h"
#include "measure/quiet.h"
#include "measure/shape.h"

namespace sendworthy::measure {
namespace {

constexpr CatalogEntry kEntries[] = {
    {.id = "cut_tail",
     .title = "Tail cut",
     .group = Group::edges,
     .unit = Unit::boolean,
     .what = "Whether the file ends while the last sound still rings.",
     .how = "The louder of the last two 10 ms is above -60 dBFS, less than 60 dB under the loudest 50 ms and, where a noise floor could be "
            "measured, more than 10 dB above it; and the level is still falling (by 3 dB or more in the last second) or is "
            "less than 30 dB under the loudest, so that the music itself was cut.",
     .source = "common practice, no source",
     .caveat = "A loop that runs on at its start ends like this by intention. A hard stop into silence does not count.",
     .act = "Move the end of the export behind the last decay."},
    {.id = "fade_in",
     .title = "Fade in",
     .group = Group::edges,
     .unit = Unit::seconds,
     .decimals = 1,
     .what = "Length of a fade at the head; 0: none was found.",
     .how = "A heuristic: from silence the level rises by 40 dB and more, over a second and more, as under a fader that "
            "moves in a straight line, its square or half a cosine: fast at first, then ever more slowly. One of three must "
            "hold. The times at which it passes 6, 10, 15 dB and so on below the music tell one length of such a fade (to a "
            "factor of 2.3), and without it the music is even. Or five sounds and more begin under it, each louder than the "
            "one before. Or sounds set in under it as often as beside it, from the start on, and without the fade the music "
            "under it is as loud and as uneven as beside it; such a fade may be straight in decibels too, over 55 dB and more.",
     .source = "common practice, no source",
     .caveat = "A swell that is played can look the same: evidence, no proof. On held sounds a fade that is straight in decibels is "
               "not seen, nor one that does not begin in silence, is under a second, or a long one among few single notes.",
     .act = "Take the fade off and tell the mastering engineer where it should be."},
    {.id = "fade_out",
     .title = "Fade out",
     .group = Group::edges,
     .unit = Unit::seconds,
     .decimals = 1,
     .what = "Length of a fade at the tail; 0: none was found.",
     .how = "A heuristic: the level falls by 40 dB and more into silence, over a second and more, as under a fader that "
            "moves in a straight line, its square or half a cosine: ever faster, where a chord that rings out falls evenly "
            "or ever more slowly. One of three must hold. The times at which it passes 6, 10, 15 dB and so on below the "
            "music tell one length of such a fade (to a factor of 2.15), and without it the music is even. Or five sounds "
            "and more begin under it, each softer. Or sounds set in under it as often as beside it, up to the end (a leap "
            "of 5 dB over the 0.1 s before, which nothing that rings makes), and without the fade the music under it is as "
            "loud and as uneven as beside it; such a fade may be straight in decibels too, over 55 dB and more. In the first "
            "two an even fall must not explain the levels better.",
     .source = "common practice, no source",
     .caveat = "A player who damps slowly can look the same, and so can parts that drop out one by one while the beat goes "
               "on, hits that grow softer, and a long echo: evidence, no proof. On held sounds a fade that is straight in "
               "decibels falls as a room does and is not seen, nor is one that ends on a step, is shorter than a second, or "
               "is made on single notes with pauses.",
     .act = "Take the fade off and let mastering make it; or say where it begins, and send a reference with it."},
    {.id = "isolated_head_events",
     .title = "Sounds before the start",
     .group = Group::edges,
     .unit = Unit::count,
     .better = Better::lower,
     .what = "Sounds that stand alone in front of the music: a count-in, a breath, a slate, talk.",
     .how = "A heuristic over the first 60 s: sounds before the music that fills 70 % of 3 s, with quiet between them; either "
            "two to eight short ones (up to 0.12 s) at equal distances that lead to the music; or three to eight of up to 0.26 s that are "
            "alike (4 dB) besides, and 6 dB softer than the music or not to be found on half of the beats that follow; or up to eight of "
            "2.5 s at most and 0.7 s of quiet behind the last.",
     .source = "common practice, no source",
     .caveat = "A sparse introduction can look the same, and a pickup that runs into the music is not seen: evidence, no proof.",
     .act = "Listen to the beginning; start the export behind the count-in."},
    {.id = "audio_after_silence",
     .title = "Sound after a long silence",
     .group = Group::edges,
     .unit = Unit::seconds,
     .decimals = 1,
     .better = Better::lower,
     .what = "The longest silence inside the file behind which sound comes back: a second song, or something left over.",
     .how = "Time without a sample above -60 dBFS on any channel, between sound and sound; the places show what follows each silence "
            "of 2 s or more.",
     .source = "common practice, no source",
     .caveat = "Music with long pauses, and stems, are silent for long by nature.",
     .act = "Look behind the silence; end the export before it if nothing there belongs to the song."},
    {.id = "noise_floor_steps",
     .title = "Steps of the noise floor",
     .group = Group::noise,
     .unit = Unit::count,
     .better = Better::lower,
     .what = "Places in the pauses where the background noise leaps: a gate, an edit, another room.",
     .how = "Half seconds that lie 20 dB under the loudest 50 ms, are no digital silence and steady (3 dB), followed within 0.2 s by "
            "another such half second that is 6 dB louder or softer.",
     .source = "common practice, no source",
     .caveat = "Only where such pauses stand side by side; a soft pad that enters looks the same.",
     .act = "Listen to the pause, loud: cross-fade the noise, or lay room tone under it."},
    {.id = "click_bleed",
     .title = "Click bleed",
     .group = Group::noise,
     .unit = Unit::text,
     .what = "A metronome heard in the pauses: \"12 clicks every 0.500 s (120 a minute) at -52 dBFS\", or \"none\".",
     .how = "A heuristic: six and more short sounds (one tick of 10 ms whose brightness leaps 6 dB over its neighbours, or its level 4 dB) of one level "
            "(4 dB) on one grid of 0.25 to 1.5 s, each 35 dB and more under the loudest 50 ms. Loud music may cover clicks; none may be "
            "missing where it is quiet, from the first to the last.",
     .source = "common practice, no source",
     .caveat = "A soft hi-hat or a clock that belongs to the song looks the same: evidence, no proof. Clicks under loud music are not seen.",
     .act = "Listen to the pauses of the voice and of soft instruments on headphones; turn the click down in the player's headphones, or edit it out."},
    {.id = "periodic_bursts",
     .title = "Bursts or dips at fixed intervals",
     .group = Group::continuity,
     .unit = Unit::count,
     .better = Better::lower,
     .what = "Bursts of noise, or moments without sound, that come back again and again, as from a processor whose licence has run out.",
     .how = "A heuristic: stretches of 0.15 to 4 s in which the steps from sample to sample leap by 6 dB, stay at one level, and drop "
            "at once; three or more of one length (10 %) and level (2 dB), a whole number of equal intervals of 3 s or more apart. Not where "
            "most of them are the one before, played again after the same sound (correlation 0.4 of the texture in 1.3 ms, of the burst and of the "
            "0.3 s before it): a loop. Or as many dips: 0.05 to 2 s in which level and steps lie 10 dB and more lower, and rise at the "
            "end by what they fell at the start (steps within 6 dB, level within 15); of one length and depth (5 dB), where the sound before them is not the same each "
            "time and no more such dips fall elsewhere.",
     .source = "common practice, no source",
     .caveat = "Noise of a synthesizer that the arrangement repeats looks the same, and a gate on a beat of several seconds: evidence, no proof. "
               "Noise that music covers is not found.",
     .act = "Listen at the places shown; open every plug-in once and look for one that runs as a trial."},
};

constexpr double kTickS = 0.01, kKeptS = 60;
constexpr double kEndDb = -60, kEndUnderDb = 60, kAboveFloorDb = 10, kFallingDb = 3, kPlayingDb = 30;
constexpr float kSilentPeak = 0.001f;  // −60 dBFS
constexpr double kLongSilenceS = 2;
constexpr double kFadeFloorDb = -88;  // a fade on the mix takes its noise with it

class OutlineMeter final : public Meter {
 public:
  explicit OutlineMeter(const Setup& setup)
      : sample_rate_(setup.format.sample_rate),
        channels_(setup.format.channels),
        subs_(std::max(1, static_cast<int>(std::lround(kTickS * setup.format.sample_rate / dsp::kSubBlock)))),
        tick_s_(static_cast<double>(subs_) * dsp::kSubBlock / setup.format.sample_rate),
        kept_(static_cast<std::size_t>(kKeptS / tick_s_)),
        bursts_(tick_s_),
        dips_(tick_s_),
        quiet_(tick_s_),
        before_(static_cast<std::size_t>(setup.format.channels), 0.0f) {}

  void process(const Block& block) override {
    const int subs = block.subs();
    motion_.resize(static_cast<std::size_t>(subs) * static_cast<std::size_t>(block.channels));
    for (int c = 0; c < block.channels; ++c) {
      dsp::sub_motion(block.row(c), block.frames, before_[static_cast<std::size_t>(c)], motion_.data() + c * subs);
      before_[static_cast<std::size_t>(c)] = block.row(c)[block.frames - 1];
    }
    for (int s = 0; s < subs; ++s) {
      const int count = std::min(dsp::kSubBlock, block.frames - s * dsp::kSubBlock);
      float top = 0, moved = 0;
      for (int c = 0; c < block.channels; ++c) {
        power_ += static_cast<double>(block.square(c)[s]);
        moved_ += static_cast<double>(motion_[static_cast<std::size_t>(c * subs + s)]);
        moved += motion_[static_cast<std::size_t>(c * subs + s)];
        top = std::max({top, block.high(c)[s], -block.low(c)[s]});
      }
      grain_.push_back(moved);
      frames_ += count;
      if (top > kSilentPeak) sounds(block.first_frame + static_cast<std::int64_t>(s) * dsp::kSubBlock, count);
      if (++in_tick_ == subs_) close();
    }
  }

  void report(const Bus& bus, Report& report) override {
    if (in_tick_ > 0) close();
    if (loudest_ <= 0) {
      for (const auto& entry : kEntries) report.not_measured(entry.id, "nothing but digital silence");
      return;
    }
    tail(bus, report);
    fades(bus, report);
    events(report);
    leftovers(report);
    repeated(report);
    pauses(report);
  }

 private:
  void close() {
    const double samples = static_cast<double>(std::max<std::int64_t>(1, frames_)) * channels_;
    const Tick tick{static_cast<float>(power_ / samples), static_cast<float>(moved_ / samples)};
    if (head_.size() < kept_) head_.push_back(tick);
    tail_.push_back(tick);
    if (tail_.size() > kept_) tail_.pop_front();
    double five = 0;
    const auto n = std::min<std::size_t>(5, tail_.size());
    for (std::size_t i = 0; i < n; ++i) five += static_cast<double>(tail_[tail_.size() - 1 - i].power);
    loudest_ = std::max(loudest_, five / static_cast<double>(n));
    bursts_.take(tick, grain_);
    dips_.take(tick, grain_);
    grain_.clear();
    quiet_.take(tick);
    power_ = moved_ = 0, frames_ = 0, in_tick_ = 0;
  }

  // Where sound stops for long and comes back.
  void sounds(std::int64_t frame, int count) {
    if (sounding_until_ >= 0) {
      const auto quiet = frame - sounding_until_;
      longest_quiet_ = std::max(longest_quiet_, quiet);
      if (quiet >= static_cast<std::int64_t>(kLongSilenceS * sample_rate_)) {
        ++returns_total_;
        if (returns_.size() < kMaxWhere) returns_.push_back({frame, frame});
      }
      if (!returns_.empty() && returns_total_ <= static_cast<std::int64_t>(kMaxWhere)) returns_.back().second = frame + count;
    }
    sounding_until_ = frame + count;
  }

  double level_of(std::size_t from, std::size_t to) const {
    double sum = 0;
    for (auto i = from; i < to; ++i) sum += static_cast<double>(tail_[i].power);
    return to > from ? power_db(sum / static_cast<double>(to - from)) : kFloorDb;
  }

  void tail(const Bus& bus, Report& report) {
    const auto n = tail_.size();
    if (bus.duration_s < 0.1 || n < 5) {
      report.not_measured("cut_tail", "less than 0.1 s of sound");
      return;
    }
    auto& m = report.value("cut_tail", false);
    // The file may end on a short ramp, which does not unmake the cut.
    const double end = std::max(level_of(n - 2, n - 1), level_of(n - 1, n)), loudest = power_db(loudest_);
    if (end <= kEndDb || end <= loudest - kEndUnderDb) return;
    if (bus.noise_floor_dbfs && end <= *bus.noise_floor_dbfs + kAboveFloorDb) {
      m.note = "what sounds at the end is the noise floor";
      return;
    }
    const auto back = std::min(n / 2, static_cast<std::size_t>(1 / tick_s_));
    const double earlier = level_of(n - back - std::min<std::size_t>(back / 4 + 1, n - back), n - back);
    const bool playing = end > loudest - kPlayingDb;
    if (!playing && earlier - end < kFallingDb) {
      m.note = "what sounds at the end is steady";
      return;
    }
    m.outcome = Value(true);
    m.where_total = 1;
    m.where.push_back(place(std::max<std::int64_t>(0, bus.frames - 2 * subs_ * dsp::kSubBlock), bus.frames, sample_rate_, 0,
                            "still at " + base::fixed(end, 1) + " dBFS RMS, " + base::fixed(loudest - end, 0) +
                                " dB under the loudest"));
  }

  void fades(const Bus& bus, Report& report) {
    if (bus.duration_s < 3) {
      report.not_measured("fade_in", "shorter than 3 s");
      report.not_measured("fade_out", "shorter than 3 s");
      return;
    }
    const std::vector<Tick> tail(tail_.begin(), tail_.end());
    say(report.value("fade_in", 0.0), find_fade(head_, tick_s_, Edge::head, kFadeFloorDb), bus, true);
    say(report.value("fade_out", 0.0), find_fade(tail, tick_s_, Edge::tail, kFadeFloorDb), bus, false);
  }

  void say(Measurement& m, const Fade& fade, const Bus& bus, bool head) const {
    m.outcome = Value(fade.length_s);
    if (fade.length_s <= 0) return;
    const auto frames = std::min(bus.frames, static_cast<std::int64_t>(fade.length_s * sample_rate_));
    m.note = "over " + base::fixed(fade.fall_db, 0) + " dB";
    m.where_total = 1;
    m.where.push_back(head ? place(0, frames, sample_rate_) : place(bus.frames - frames, bus.frames, sample_rate_));
  }

  std::int64_t frame_of(std::int64_t tick) const { return tick * subs_ * dsp::kSubBlock; }

  void events(Report& report) {
    const auto found = find_head_events(head_, tick_s_);
    auto& m = report.value("isolated_head_events", static_cast<double>(found.events.size()));
    m.where_total = static_cast<std::int64_t>(found.events.size());
    for (const auto& event : found.events) m.where.push_back(place(frame_of(event.first), frame_of(event.end), sample_rate_));
  }

  void leftovers(Report& report) {
    auto& m = report.value("audio_after_silence", static_cast<double>(longest_quiet_) / sample_rate_);
    m.where_total = returns_total_;
    for (const auto& [from, to] : returns_) m.where.push_back(place(from, to, sample_rate_));
  }

  void repeated(Report& report) {
    const auto bursts = bursts_.periodic();
    const auto dips = dips_.periodic();
    auto& m = report.value("periodic_bursts", static_cast<double>(std::max(bursts.size(), dips.size())));
    const auto tell = [&](const auto& found, const char* what) {
      m.where_total = static_cast<std::int64_t>(found.size());
      for (const auto& one : found) {
        if (m.where.size() < kMaxWhere) m.where.push_back(place(frame_of(one.first), frame_of(one.end), sample_rate_));
      }
      if (found.size() > 1)
        m.note = std::string(what) + "every " + base::fixed(static_cast<double>(frame_of(found[1].first - found[0].first)) / sample_rate_, 2) + " s";
    };
    if (dips.size() > bursts.size()) {
      tell(dips, "dips, ");
    } else {
      tell(bursts, "");
    }
  }

  void pauses(Report& report) {
    const auto steps = quiet_.steps(loudest_);
    if (!steps.measured) {
      report.not_measured("noise_floor_steps", "no quiet, steady half second");
    } else {
      auto& m = report.value("noise_floor_steps", static_cast<double>(steps.steps.size()));
      m.where_total = static_cast<std::int64_t>(steps.steps.size());
      for (const auto& step : steps.steps) {
        if (m.where.size() < kMaxWhere)
          m.where.push_back(place_at(frame_of(step.tick), sample_rate_, 0,
                                     "from " + base::fixed(step.from_db, 0) + " to " + base::fixed(step.to_db, 0) + " dBFS"));
      }
    }
    const auto clicks = quiet_.clicks(loudest_);
    if (!clicks.measured && clicks.ticks.empty()) {
      report.not_measured("click_bleed", "no pause of 3 s in all that is 35 dB softer than the loudest");
      return;
    }
    auto& m = report.value("click_bleed", std::string("none"));
    if (clicks.ticks.empty()) return;
    m.outcome = Value(std::to_string(clicks.ticks.size()) + " clicks every " + base::fixed(clicks.interval_s, 3) + " s (" +
                      base::fixed(60 / clicks.interval_s, 0) + " a minute) at " + base::fixed(clicks.level_db, 0) + " dBFS");
    m.where_total = static_cast<std::int64_t>(clicks.ticks.size());
    for (const auto tick : clicks.ticks) {
      if (m.where.size() < kMaxWhere) m.where.push_back(place_at(frame_of(tick), sample_rate_));
    }
  }

  const int sample_rate_, channels_, subs_;
  const double tick_s_;
  const std::size_t kept_;
  std::vector<Tick> head_;  ///< the first kKeptS
  std::deque<Tick> tail_;   ///< the last
  BurstFinder bursts_;
  DipFinder dips_;
  QuietFinder quiet_;
  std::vector<float> before_, motion_, grain_;
  double power_ = 0, moved_ = 0, loudest_ = 0;
  std::int64_t frames_ = 0;
  int in_tick_ = 0;
  std::int64_t sounding_until_ = -1, longest_quiet_ = 0, returns_total_ = 0;
  std::vector<std::pair<std::int64_t, std::int64_t>> returns_;
};

std::unique_ptr<Meter> create(const Setup& setup) { return std::make_unique<OutlineMeter>(setup); }

}  // namespace

extern const MeterModule kOutlineModule{kEntries, create};

}  // namespace sendworthy::measure
