#include "pair/leak.h"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>
#include <string>
#include <utility>
#include <vector>

#include "base/text.h"
#include "pair/leak_judge.h"
#include "pair/leak_sums.h"
#include "pair/octaves.h"

namespace sendworthy::pair {
namespace {

constexpr double kNearestShiftS = 1.5, kFurthestShiftS = 12;
constexpr std::int64_t kShiftsEachWay = 16, kFewShiftsEachWay = 8;  // few in a long file, where each tells more
constexpr double kLeastActiveS = 5, kLeastS = 10;
constexpr double kBlockS = 2;
constexpr std::int64_t kMostBlocks = 4096;
constexpr float kDeepest = 1e-3f;           // no line tells of less than −30 dB, or a few silent passages would speak for the whole
constexpr float kSoftest = 1e-6f;
constexpr double kNothing = 1e-7;           // of the suspect's power: what two dithered 16-bit files leave is no sound
constexpr std::int64_t kProbe = 8, kFewProbe = 2;  // every so many frames for the mean powers
constexpr std::int64_t kFewFrames = 250;    // of a part that belongs there, about
constexpr double kActive = 3e-3, kSounds = 1e-4;  // of the source's own loud frames

double quantile(std::vector<double> values, double share) {
  if (values.empty()) return 0;
  const auto at = values.begin() + static_cast<std::ptrdiff_t>(share * static_cast<double>(values.size() - 1));
  std::nth_element(values.begin(), at, values.end());
  return *at;
}

// A Signal's spectra.
class SignalReader {
 public:
  static Result<SignalReader> open(const Signal& signal, const Clock& clock, std::span<const OctaveLines> octaves, const Hooks& hooks) {
    auto file = SpectrumReader::open(signal.file, clock);
    if (!file) return tl::unexpected(file.error());
    SignalReader reader(std::move(*file), octaves);
    if (!signal.less) return reader;
    auto less = SpectrumReader::open(*signal.less, clock);
    if (!less) return tl::unexpected(less.error());
    reader.less_.emplace(std::move(*less));
    auto gain = shared_gain(signal.file, *signal.less, hooks);
    if (!gain) return tl::unexpected(gain.error());
    reader.gain_ = std::move(*gain);
    return reader;
  }

  bool read(std::int64_t t, Spectrum& spectrum) {
    if (!file_.read(t, spectrum)) return false;
    if (!less_) return true;
    if (!less_->read(t, other_)) return false;
    for (std::size_t c = 0; c < spectrum.real.size(); ++c) {
      for (std::size_t o = 0; o < octaves_.size(); ++o) {
        const float re = c < gain_.real.size() && o < gain_.real[c].size() ? gain_.real[c][o] : 0.0f;
        const float im = c < gain_.imaginary.size() && o < gain_.imaginary[c].size() ? gain_.imaginary[c][o] : 0.0f;
        const bool unknown = re == 0 && im == 0;
        for (auto k = octaves_[o].first; k < octaves_[o].last; ++k) {
          float &r = spectrum.real[c][k], &i = spectrum.imaginary[c][k];
          const float br = other_.real[c][k], bi = other_.imaginary[c][k];
          r = unknown ? 0 : r - (re * br - im * bi), i = unknown ? 0 : i - (re * bi + im * br);
        }
      }
    }
    return true;
  }
  [[nodiscard]] bool difference() const { return less_.has_value(); }
  [[nodiscard]] const SharedGain& gain() const { return gain_; }
  [[nodiscard]] bool ended(std::int64_t t) { return file_.ended(t) || (less_ && less_->ended(t)); }
  [[nodiscard]] std::int64_t expected_frames() const { return file_.expected_frames(); }
  [[nodiscard]] double own_seconds(std::int64_t t) const { return file_.own_seconds(t); }
  [[nodiscard]] double own_rate() const { return file_.own_rate(); }
  [[nodiscard]] std::optional<Error> error() const { return file_.error() ? file_.error() : less_ ? less_->error() : std::nullopt; }

 private:
  SignalReader(SpectrumReader file, std::span<const OctaveLines> octaves) : file_(std::move(file)), octaves_(octaves) {}
  SpectrumReader file_;
  std::optional<SpectrumReader> less_;
  SharedGain gain_;
  std::span<const OctaveLines> octaves_;
  Spectrum other_;
};

class LeakMeter {
 public:
  LeakMeter(const Signal& source, const Signal& suspect, bool few_frames, const Hooks& hooks) : source_(source), suspect_(suspect), few_frames_(few_frames), hooks_(hooks) {}

  Result<Leak> run() {
    std::vector<const Track*> tracks;
    for (const auto* signal : {&source_, &suspect_}) {
      tracks.push_back(&signal->file);
      if (signal->less) tracks.push_back(&*signal->less);
    }
    for (const auto* track : tracks) {
      if (track->alignment && track->alignment->stretches.empty()) return not_measured("the files could not be aligned");
    }
    auto clock = common_clock(tracks);
    if (!clock) return tl::unexpected(clock.error());
    clock_ = *clock, octaves_ = octaves_of(clock_);
    peaks_.emplace(clock_, octaves_);
    const auto lines = static_cast<std::size_t>(clock_.bins);
    evidence_.plain = evidence_.straight = LeakSums(lines, octaves_.size());
    if (auto done = open(); !done) return tl::unexpected(done.error());
    if (few_frames_) {
      const auto apart = x_->expected_frames() * clock_.hop / clock_.size / kFewFrames;
      if (apart > 1) clock_.hop = static_cast<int>(apart) * clock_.size;
      if (auto done = open(); !done) return tl::unexpected(done.error());
    }
    for (const auto* one : {&*x_, &*y_}) {
      if (one->difference() && !one->gain().known) return not_measured("the two mixes share no passage from which the gain between them could be told");
    }
    if (auto done = probe(); !done) return tl::unexpected(done.error());
    if (suspect_power_ <= 0) return not_measured("the file is silent");
    if (source_power_ <= kNothing * suspect_power_) return not_measured(source_.less ? "nothing is left between the two mixes" : "the source is silent");
    if (auto done = gather(); !done) return tl::unexpected(done.error());
    if (length_s_ < kLeastS || leak_.active_s < kLeastActiveS) return not_measured("too short: ten seconds, and five in which the source sounds, are the least");
    evidence_.difference = source_.less && source_.less->path == suspect_.file.path && !suspect_.less;
    if (evidence_.difference) evidence_.gain = (x_->gain().inverted ? -1 : 1) * std::pow(10, x_->gain().gain_db / 20);
    judge(evidence_, *peaks_, leak_);
    if (few_frames_ && leak_.found && !leak_.diffuse) leak_.leak_db = level_there();
    leak_.offset_frames *= y_->own_rate() / clock_.rate;
    return leak_;
  }

 private:
  Leak not_measured(std::string reason) {
    leak_.reason = std::move(reason);
    return leak_;
  }
  // A part that belongs there is itself a share of the mix, which must not be taken out of it: what the octaves say without that, the one
  // in the middle by energy.
  [[nodiscard]] double level_there() const {
    std::vector<std::pair<double, double>> levels;
    double all = 0, below = 0;
    for (std::size_t o = 0; o < octaves_.size(); ++o) {
      if (!(evidence_.plain.denominator[o] > 0)) continue;
      levels.emplace_back(10 * std::log10(std::max(1e-14, std::norm(peaks_->leak_of(evidence_.plain, o, static_cast<int>(leak_.offset_frames))))), evidence_.shares[o]);
      all += evidence_.shares[o];
    }
    std::ranges::sort(levels);
    for (const auto& [level, share] : levels) {
      below += share;
      if (2 * below >= all) return level;
    }
    return leak_.leak_db;
  }
  [[nodiscard]] bool stopped() const { return hooks_.stop != nullptr && hooks_.stop->load(std::memory_order_relaxed); }
  [[nodiscard]] static tl::unexpected<Error> interrupted() { return fail(ErrorCode::interrupted, "interrupted"); }
  void progress(double share) const {
    if (hooks_.progress) hooks_.progress(std::min(1.0, share));
  }

  Result<void> open() {
    Hooks quiet;
    quiet.stop = hooks_.stop;
    auto x = SignalReader::open(source_, clock_, octaves_, quiet), y = SignalReader::open(suspect_, clock_, octaves_, quiet);
    if (!x) return tl::unexpected(x.error());
    if (!y) return tl::unexpected(y.error());
    x_.emplace(std::move(*x)), y_.emplace(std::move(*y));
    return {};
  }

  // Mean powers of both by channel and octave, and how loud the source's louder frames are.
  Result<void> probe() {
    const auto channels = static_cast<std::size_t>(clock_.channels);
    std::vector<std::vector<double>> x_power(channels, std::vector<double>(octaves_.size(), 0.0)), y_power(x_power);
    Spectrum a, b;
    std::vector<double> levels;
    std::int64_t count = 0;
    const auto power_of = [&](const Spectrum& s, std::vector<std::vector<double>>& powers) {
      double all = 0;
      for (std::size_t c = 0; c < channels; ++c) {
        for (std::size_t o = 0; o < octaves_.size(); ++o) {
          double sum = 0;
          for (auto k = octaves_[o].first; k < octaves_[o].last; ++k)
            sum += static_cast<double>(s.real[c][k]) * static_cast<double>(s.real[c][k]) + static_cast<double>(s.imaginary[c][k]) * static_cast<double>(s.imaginary[c][k]);
          powers[c][o] += sum / static_cast<double>(octaves_[o].last - octaves_[o].first);
          all += sum;
        }
      }
      return all;
    };
    for (std::int64_t t = 0; !x_->ended(t) && !y_->ended(t); t += few_frames_ ? kFewProbe : kProbe) {
      if (stopped()) return interrupted();
      progress(0.3 * static_cast<double>(t) / static_cast<double>(x_->expected_frames()));
      if (!x_->read(t, a) || !y_->read(t, b)) continue;
      ++count;
      const double level = power_of(a, x_power);
      levels.push_back(level), source_power_ += level, suspect_power_ += power_of(b, y_power);
    }
    loud_ = quantile(levels, 0.95);
    if (count == 0) return {};
    x_floors_.assign(channels, std::vector<float>(octaves_.size())), y_floors_ = x_floors_;
    evidence_.shares.assign(octaves_.size(), 0.0);
    for (std::size_t c = 0; c < channels; ++c) {
      for (std::size_t o = 0; o < octaves_.size(); ++o) {
        const auto x = static_cast<float>(x_power[c][o] / static_cast<double>(count)), y = static_cast<float>(y_power[c][o] / static_cast<double>(count));
        x_floors_[c][o] = kSoftest * y, y_floors_[c][o] = kDeepest * x;
        evidence_.shares[o] += x_power[c][o] * static_cast<double>(octaves_[o].last - octaves_[o].first);
      }
    }
    const auto low_share = [&](const std::vector<std::vector<double>>& powers) {
      double low = 0, all = 0;
      for (const auto& channel : powers) {
        for (std::size_t o = 0; o < octaves_.size(); ++o) {
          const double energy = channel[o] * static_cast<double>(octaves_[o].last - octaves_[o].first);
          all += energy, low += o == 0 ? energy : 0;
        }
      }
      return all > 0 ? low / all : 0;
    };
    leak_.source_low = low_share(x_power), leak_.suspect_low = low_share(y_power);
    double all = 0;
    for (const double share : evidence_.shares) all += share;
    for (auto& share : evidence_.shares) share = all > 0 ? share / all : 0;
    return {};
  }

  Result<void> gather() {
    const double hop_s = clock_.hop / clock_.rate;
    const auto total = x_->expected_frames();
    const auto nearest = std::max<std::int64_t>(2, static_cast<std::int64_t>(kNearestShiftS / hop_s));
    const auto each_way = clock_.hop == clock_.size ? kFewShiftsEachWay : kShiftsEachWay;
    const auto furthest = std::clamp(static_cast<std::int64_t>(kFurthestShiftS / hop_s), nearest + each_way, std::max(nearest + each_way, total / 3));
    // None; what rings on, by a frame's length and two; then by chance.
    const auto length = std::max(1, clock_.size / clock_.hop);
    std::vector<std::int64_t> shifts = {0, length, 2 * length};
    const auto first_by_chance = shifts.size();
    for (std::int64_t i = 0; i < each_way; ++i) {
      const auto shift = nearest + i * (furthest - nearest) / (each_way - 1);
      shifts.push_back(-shift), shifts.push_back(shift);
    }
    std::vector<LeakSums> totals(shifts.size(), LeakSums(static_cast<std::size_t>(clock_.bins), octaves_.size()));
    totals[0].line_denominator.assign(static_cast<std::size_t>(clock_.bins), 0.0f);
    auto here = totals;
    const auto block_frames = std::max(static_cast<std::int64_t>(kBlockS / hop_s), total / kMostBlocks);
    const auto ring = static_cast<std::size_t>(furthest + block_frames);
    std::vector<LeakFrame> xs(ring), ys(ring);
    std::vector<LeakPairs> pairs(shifts.size() + 1);
    for (std::size_t i = 0; i < shifts.size(); ++i) pairs[i].sums = &here[i];
    pairs.back().sums = &evidence_.plain, pairs.back().plain = true;
    Spectrum a, b;
    std::int64_t block_first = 0, t = 0, active = 0;
    const auto flush = [&] {
      for (std::size_t i = 0; i < pairs.size(); ++i) {
        pairs[i].frames.clear();
        const auto shift = i < shifts.size() ? shifts[i] : 0;
        for (auto n = std::max(block_first, std::abs(shift)); n < t; ++n) {
          const auto& x = xs[static_cast<std::size_t>(n - std::max<std::int64_t>(0, shift)) % ring];
          const auto& y = ys[static_cast<std::size_t>(n + std::min<std::int64_t>(0, shift)) % ring];
          if (x.known && y.known && x.energy > kSounds * loud_) pairs[i].frames.emplace_back(&x, &y);
        }
      }
      accumulate(pairs, octaves_);
      const double from_s = y_->own_seconds(block_first), to_s = from_s + static_cast<double>(t - block_first) * hop_s;
      for (std::size_t i = 0; i < shifts.size(); ++i) {
        if (i == 0 || i >= first_by_chance) (i == 0 ? evidence_.blocks : evidence_.shifted_blocks).push_back({from_s, to_s, here[i].energy, peaks_->peak_of(here[i])});
        totals[i].add(here[i]);
        here[i].clear();
      }
      block_first = t;
    };
    for (; !x_->ended(t) && !y_->ended(t); ++t) {
      if (stopped()) return interrupted();
      progress(0.3 + 0.7 * static_cast<double>(t) / static_cast<double>(total));
      if (t - block_first >= block_frames) flush();
      auto &x = xs[static_cast<std::size_t>(t) % ring], &y = ys[static_cast<std::size_t>(t) % ring];
      x.known = y.known = false;
      if (!x_->read(t, a) || !y_->read(t, b)) continue;
      prepare(a, octaves_, x_floors_, x);
      prepare(b, octaves_, y_floors_, y);
      active += x.energy > kActive * loud_ ? 1 : 0;
    }
    flush();
    evidence_.straight = totals[0];
    evidence_.later.assign(totals.begin() + 1, totals.begin() + static_cast<std::ptrdiff_t>(first_by_chance));
    evidence_.shifted.assign(totals.begin() + static_cast<std::ptrdiff_t>(first_by_chance), totals.end());
    leak_.active_s = static_cast<double>(active) * hop_s;
    length_s_ = static_cast<double>(t) * hop_s;
    for (const auto* one : {&*x_, &*y_}) {
      if (const auto error = one->error()) return tl::unexpected(*error);
    }
    return {};
  }

  const Signal& source_;
  const Signal& suspect_;
  bool few_frames_;
  const Hooks& hooks_;
  Clock clock_;
  std::vector<OctaveLines> octaves_;
  std::optional<SignalReader> x_, y_;
  Floors x_floors_, y_floors_;
  double source_power_ = 0, suspect_power_ = 0, loud_ = 0, length_s_ = 0;
  std::optional<LeakPeaks> peaks_;
  LeakEvidence evidence_;
  Leak leak_;
};

}  // namespace

Result<Leak> leak_of(const Signal& source, const Signal& suspect, const Hooks& hooks) { return LeakMeter(source, suspect, false, hooks).run(); }

Result<Leak> level_of_part(const Track& part, const Track& mix, const Hooks& hooks) { return LeakMeter({part, std::nullopt}, {mix, std::nullopt}, true, hooks).run(); }

}  // namespace sendworthy::pair
