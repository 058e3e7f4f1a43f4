// A reference tone left in the file: two seconds and more of one steady sine.
#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>
#include <string>

#include "base/text.h"
#include "measure/meter.h"

namespace sendworthy::measure {
namespace {

constexpr CatalogEntry kEntries[] = {
    {.id = "lineup_tone",
     .title = "Line-up tone",
     .group = Group::level,
     .unit = Unit::text,
     .what = "A steady reference tone left in the file: its frequency, its level and how long it lasts.",
     .how = "Stretches of 2 s and more in which the RMS of each 85 ms stays within 0.4 dB, the wave's peaks fit a "
            "sine, and in each 85 ms "
            "what is left after a fitted sine of 50 to 10,000 Hz lies 40 dB under it, its frequency within 0.1 % and "
            "its level within "
            "0.2 dB throughout. The other channels hold such a tone too, or lie 40 dB under it. The level is that of "
            "the sine's peak.",
     .source = "EBU Recommendation R 68-2000 (18 dB below full scale) and SMPTE RP 155 (20 dB below), both from "
               "memory, for the usual levels",
     .caveat = "A synthesiser that holds one pure sine for so long looks the same.",
     .act = "Take the tone off the start, or set it to the level that was ordered."},
};

constexpr double kGroupS = 0.085, kLeastS = 2;
constexpr double kSteadyDb = 0.4, kFloorDb = -80, kOtherDb = -40;
constexpr double kLowestHz = 50, kHighestHz = 10000;
constexpr double kPurityDb = -40, kLevelDb = 0.2, kFrequency = 0.001;
constexpr int kArmed = 3;  // groups that were steady before the samples are looked at
constexpr std::size_t kMostTones = 256;

/// x[n] ≈ a·cos(2πfn) + b·sin(2πfn) + c.
struct Sine {
  double turns = 0;  ///< per frame
  double a = 0, b = 0, c = 0;
  double residual = 0;  ///< mean square of what is left
  [[nodiscard]] double amplitude() const { return std::hypot(a, b); }
};

// Least squares at a given frequency, time from `from`.
Sine fitted(const float* x, int from, int count, double turns) {
  double m[3][4] = {};
  double cosine = std::cos(2 * std::numbers::pi * turns * from), sine = std::sin(2 * std::numbers::pi * turns * from);
  const double rc = std::cos(2 * std::numbers::pi * turns), rs = std::sin(2 * std::numbers::pi * turns);
  double square = 0;
  for (int n = from; n < from + count; ++n) {
    const std::array<double, 4> v{cosine, sine, 1, x[n]};
    for (int i = 0; i < 3; ++i) {
      for (int j = i; j < 4; ++j) m[i][j] += v[static_cast<std::size_t>(i)] * v[static_cast<std::size_t>(j)];
    }
    square += v[3] * v[3];
    const double next = cosine * rc - sine * rs;
    sine = sine * rc + cosine * rs, cosine = next;
  }
  m[1][0] = m[0][1], m[2][0] = m[0][2], m[2][1] = m[1][2];
  const std::array<double, 3> right{m[0][3], m[1][3], m[2][3]};
  for (int i = 0; i < 3; ++i) {
    if (!(std::abs(m[i][i]) > 1e-9)) return {};
    for (int k = i + 1; k < 3; ++k) {
      const double factor = m[k][i] / m[i][i];
      for (int j = i; j < 4; ++j) m[k][j] -= factor * m[i][j];
    }
  }
  std::array<double, 3> y{};
  for (int i = 2; i >= 0; --i) {
    double sum = m[i][3];
    for (int j = i + 1; j < 3; ++j) sum -= m[i][j] * y[static_cast<std::size_t>(j)];
    y[static_cast<std::size_t>(i)] = sum / m[i][i];
  }
  const double explained = y[0] * right[0] + y[1] * right[1] + y[2] * right[2];
  return {turns, y[0], y[1], y[2], std::max(0.0, square - explained) / count};
}

// First by the crossings of zero, then by the phases of both halves.
Sine find_sine(const float* x, int count) {
  double first = -1, last = -1;
  int crossings = 0;
  for (int n = 1; n < count; ++n) {
    if (!(x[n - 1] < 0 && x[n] >= 0)) continue;
    const double at = n - static_cast<double>(x[n]) / (static_cast<double>(x[n]) - static_cast<double>(x[n - 1]));
    if (crossings++ == 0) first = at;
    last = at;
  }
  if (crossings < 3) return {};
  double turns = (crossings - 1) / (last - first);
  for (int round = 0; round < 3; ++round) {
    const auto one = fitted(x, 0, count / 2, turns), two = fitted(x, count / 2, count / 2, turns);
    // a·cos + b·sin = A·cos(2πfn − φ): φ falls behind where the frequency is too low.
    double ahead = std::atan2(one.b, one.a) - std::atan2(two.b, two.a);
    ahead -= 2 * std::numbers::pi * std::round(ahead / (2 * std::numbers::pi));
    turns += ahead / (2 * std::numbers::pi) / (count / 2);
  }
  return fitted(x, 0, count, turns);
}

struct Tone {
  std::int64_t start = 0, end = 0;
  double hz = 0, level_db = 0;
};

/// Looks for steady sines in one channel.
class ToneFinder {
 public:
  explicit ToneFinder(int sample_rate)
      : rate_(sample_rate), subs_(std::max(8, static_cast<int>(std::lround(kGroupS * sample_rate / dsp::kSubBlock)))) {}

  void take(const Block& block, int c) {
    const float* high = block.high(c);
    const float* low = block.low(c);
    const float* squares = block.square(c);
    for (int s = 0; s < block.subs(); ++s) {
      const int count = std::min(dsp::kSubBlock, block.frames - s * dsp::kSubBlock);
      if (count < dsp::kSubBlock) break;  // the file ends
      if (steady_ >= kArmed)
        buffer_.insert(buffer_.end(), block.row(c) + s * dsp::kSubBlock, block.row(c) + s * dsp::kSubBlock + count);
      high_ = std::max(high_, high[s]), low_ = std::max(low_, -low[s]);
      square_ += static_cast<double>(squares[s]);
      recent_.push_back(squares[s]);
      if (++in_group_ == subs_) close_group(block.first_frame + static_cast<std::int64_t>(s + 1) * dsp::kSubBlock);
    }
  }
  void finish(std::int64_t frames) {
    // The last group is shorter: its sub-blocks tell how far the tone goes.
    end_run(frames - frames % dsp::kSubBlock);
    if (!tones_.empty() && frames - tones_.back().end < dsp::kSubBlock) tones_.back().end = frames;
  }
  [[nodiscard]] const std::vector<Tone>& tones() const { return tones_; }
  /// Mean square per group, for what the other channels do meanwhile.
  [[nodiscard]] double loudest(std::int64_t from, std::int64_t to) const {
    const auto width = static_cast<std::int64_t>(subs_) * dsp::kSubBlock;
    double power = 0;
    for (auto g = (from + width - 1) / width; g < to / width && g < static_cast<std::int64_t>(groups_.size()); ++g)
      power = std::max(power, static_cast<double>(groups_[static_cast<std::size_t>(g)]));
    return power;
  }

 private:
  void close_group(std::int64_t end) {
    const auto frames = static_cast<std::int64_t>(subs_) * dsp::kSubBlock;
    const double power = square_ / static_cast<double>(frames);
    groups_.push_back(static_cast<float>(power));
    const bool fits = power > std::pow(10, kFloorDb / 10) && sine_like(power) &&
                      (steady_ == 0 || std::abs(10 * std::log10(power / first_power_)) <= kSteadyDb);
    bool goes_on = fits;
    if (fits && steady_ >= kArmed) goes_on = confirm(end - frames);
    if (!goes_on) {
      end_run(end);
      if (fits) start_run(end - frames, power);
    } else if (steady_ == 0) {
      start_run(end - frames, power);
    } else {
      // Against the one before until the run is armed: the first may hold the edge.
      if (++steady_ <= kArmed) first_power_ = power;
    }
    buffer_.clear();
    // Room for the sub-blocks of this group and of the one before.
    if (recent_.size() > static_cast<std::size_t>(2 * subs_)) recent_.erase(recent_.begin(), recent_.end() - 2 * subs_);
    in_group_ = 0, square_ = 0, high_ = low_ = 0;
  }

  // Peaks over RMS of a sine: 3 dB, or a little less where the samples never meet the crest.
  bool sine_like(double power) const {
    const double crest = std::sqrt(2 * power);
    return high_ < 1.05 * crest && low_ < 1.05 * crest && high_ > 0.8 * crest && low_ > 0.8 * crest;
  }

  void start_run(std::int64_t start, double power) {
    steady_ = 1, start_ = start, first_power_ = power, checked_ = 0;
    // What stood in front belongs to the tone as far as it is as loud.
    lead_.assign(recent_.begin(),
                 recent_.end() - std::min<std::ptrdiff_t>(subs_, static_cast<std::ptrdiff_t>(recent_.size())));
  }

  bool confirm(std::int64_t start) {
    const auto sine = find_sine(buffer_.data(), static_cast<int>(buffer_.size()));
    const double hz = sine.turns * rate_;
    const double amplitude = sine.amplitude();
    if (!(hz >= kLowestHz * (1 - kFrequency) && hz <= kHighestHz * (1 + kFrequency)) || amplitude <= 0 ||
        10 * std::log10(sine.residual / (amplitude * amplitude / 2)) > kPurityDb)
      return false;
    const double db = 20 * std::log10(amplitude);
    if (checked_ > 0 && (std::abs(hz / hz_ - 1) > kFrequency || std::abs(db - level_db_) > kLevelDb)) return false;
    if (checked_++ == 0) hz_ = hz, level_db_ = db;
    last_ = sine, last_start_ = start;
    return true;
  }

  // Energy of the last fitted sine over one sub-block.
  double expected(std::int64_t frame) const {
    double sum = 0;
    for (int n = 0; n < dsp::kSubBlock; ++n) {
      const double phase = 2 * std::numbers::pi * last_.turns * static_cast<double>(frame + n - last_start_);
      const double v = last_.a * std::cos(phase) + last_.b * std::sin(phase) + last_.c;
      sum += v * v;
    }
    return sum;
  }
  bool as_loud(float square, std::int64_t frame) const {
    const double ratio = static_cast<double>(square) / std::max(1e-30, expected(frame));
    return ratio > 0.7 && ratio < 1.4;
  }

  /// `seen`: the frame up to which recent_ reaches.
  void end_run(std::int64_t seen) {
    if (steady_ > kArmed && checked_ > 0) {
      auto end = last_start_ + static_cast<std::int64_t>(subs_) * dsp::kSubBlock;
      for (auto at = recent_.size() - static_cast<std::size_t>(std::clamp<std::int64_t>(
                                          (seen - end) / dsp::kSubBlock, 0, static_cast<std::int64_t>(recent_.size())));
           at < recent_.size() && as_loud(recent_[at], end); ++at)
        end += dsp::kSubBlock;
      auto start = start_;
      for (auto at = lead_.size(); at > 0 && as_loud(lead_[at - 1], start - dsp::kSubBlock); --at)
        start -= dsp::kSubBlock;
      if (static_cast<double>(end - start) >= kLeastS * rate_ - dsp::kSubBlock && tones_.size() < kMostTones)
        tones_.push_back({start, end, hz_, level_db_});
    }
    steady_ = 0, checked_ = 0;
  }

  const int rate_, subs_;
  std::vector<float> buffer_, recent_, lead_;
  Series groups_;
  float high_ = 0, low_ = 0;
  double square_ = 0, first_power_ = 0, hz_ = 0, level_db_ = 0;
  int in_group_ = 0;
  std::int64_t steady_ = 0, checked_ = 0, start_ = 0, last_start_ = 0;
  Sine last_;
  std::vector<Tone> tones_;
};

class ToneMeter final : public Meter {
 public:
  explicit ToneMeter(const Setup& setup)
      : rate_(setup.format.sample_rate),
        finders_(static_cast<std::size_t>(setup.format.channels), ToneFinder(setup.format.sample_rate)) {}

  void process(const Block& block) override {
    for (int c = 0; c < block.channels; ++c) finders_[static_cast<std::size_t>(c)].take(block, c);
  }

  void report(const Bus& bus, Report& report) override {
    struct Found {
      Tone tone;
      std::vector<std::size_t> channels;
    };
    std::vector<Found> found;
    for (auto& finder : finders_) finder.finish(bus.frames);
    for (std::size_t c = 0; c < finders_.size(); ++c) {
      for (const auto& tone : finders_[c].tones()) {
        if (!alone(c, tone)) continue;
        const auto same = std::find_if(found.begin(), found.end(), [&](const Found& f) {
          return std::abs(f.tone.hz / tone.hz - 1) < kFrequency && std::abs(f.tone.level_db - tone.level_db) < 0.5 &&
                 overlap(f.tone, tone);
        });
        if (same == found.end()) {
          found.push_back({tone, {c}});
        } else {
          same->tone.start = std::min(same->tone.start, tone.start),
          same->tone.end = std::max(same->tone.end, tone.end);
          same->channels.push_back(c);
        }
      }
    }
    std::stable_sort(found.begin(), found.end(),
                     [](const Found& a, const Found& b) { return a.tone.start < b.tone.start; });
    if (found.empty()) {
      report.value("lineup_tone", std::string("none"));
      return;
    }
    const auto& longest = *std::max_element(found.begin(), found.end(), [](const Found& a, const Found& b) {
      return a.tone.end - a.tone.start < b.tone.end - b.tone.start;
    });
    auto& m = report.value("lineup_tone", words(longest.tone));
    m.note = level_words(longest.tone.level_db);
    for (const auto& f : found) {
      ++m.where_total;
      if (m.where.size() == kMaxWhere) continue;
      const bool one = f.channels.size() == 1 && finders_.size() > 1;
      m.where.push_back(
          place(f.tone.start, f.tone.end, rate_, one ? static_cast<int>(f.channels.front()) + 1 : 0, words(f.tone)));
    }
  }

 private:
  static bool overlap(const Tone& a, const Tone& b) { return a.start < b.end && b.start < a.end; }

  // Every other channel has a tone as well, or is silent beside it.
  bool alone(std::size_t c, const Tone& tone) const {
    for (std::size_t other = 0; other < finders_.size(); ++other) {
      if (other == c) continue;
      const auto& tones = finders_[other].tones();
      if (std::any_of(tones.begin(), tones.end(), [&](const Tone& t) { return overlap(t, tone); })) continue;
      const double beside = power_db(finders_[other].loudest(tone.start, tone.end)) + 10 * std::log10(2.0);
      if (beside > tone.level_db + kOtherDb) return false;
    }
    return true;
  }

  std::string words(const Tone& tone) const {
    return base::fixed(tone.hz, tone.hz < 99.95 ? 1 : 0) + " Hz at " + base::fixed(tone.level_db, 1) + " dBFS for " +
           base::fixed(static_cast<double>(tone.end - tone.start) / rate_, 1) + " s";
  }
  static std::string level_words(double db) {
    if (std::abs(db + 18) <= 0.1) return "at the level of EBU R 68, 18 dB below full scale";
    if (std::abs(db + 20) <= 0.1) return "at the level of SMPTE RP 155, 20 dB below full scale";
    return base::fixed(std::abs(db + 18), 1) + " dB " + (db > -18 ? "above" : "below") + " the level of EBU R 68, " +
           base::fixed(std::abs(db + 20), 1) + " dB " + (db > -20 ? "above" : "below") + " that of SMPTE RP 155";
  }

  const int rate_;
  std::vector<ToneFinder> finders_;
};

std::unique_ptr<Meter> create(const Setup& setup) { return std::make_unique<ToneMeter>(setup); }

}  // namespace

extern const MeterModule kToneModule{kEntries, create};

}  // namespace sendworthy::measure
