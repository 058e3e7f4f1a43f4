#include "pair/align.h"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <optional>
#include <span>

#include "base/text.h"
#include "pair/correlate.h"
#include "pair/follow.h"
#include "pair/windows.h"

namespace sendworthy::pair {
namespace {

constexpr std::int64_t kBlock = 32768;
constexpr std::size_t kCandidates = 10, kManyCandidates = 40, kWaveforms = 4, kProbes = 20;
constexpr double kFound = 0.3;     // a mean correlation of less is chance
constexpr double kAsGood = 0.02, kPlainly = 0.1, kHopeless = 0.3, kPerfect = 0.97, kHalfWay = 0.3;
constexpr double kStrong = 0.97;      // two windows of it at one lag are something in common
// What a window must reach at a lag, from what the better ones of the whole file reach: an edit must not lower it, and in a song a
// lag that is off by a beat comes near.
constexpr double kSameMost = 0.97, kSameLess = 0.03, kSameHalf = 1.5, kSameLeast = 0.35;
constexpr double kStep = 0.6;                      // frames by which a lag must step where the clocks agree
constexpr std::int64_t kPassage = 9;  // windows
constexpr std::int64_t kWideSamples = 1 << 24;  // three minutes of stereo: looking far back shall not mean decoding again
constexpr float kFaint = 1e-4f;
constexpr double kToTheSample = 1 - 5e-6, kMostly = 0.75;  // correlation; share of the windows that sound
constexpr double kOften = 32;                  // windows
constexpr double kNoLag = 0.02;                // frames
constexpr double kClearlyFaster = 1.3;
constexpr double kDriftLeast = 0.4, kDriftRest = 0.5;  // frames
constexpr double kDriftShare = 0.02;  // of the whole drift: a fast one smears each window
constexpr int kDriftRounds = 3;

struct Clock {
  double speed;  // seconds of new per second of old
  const char* what;
};
// Rates that are taken for each other, and film speeds.
constexpr Clock kClocks[] = {
    {44.1 / 48, "44.1 kHz material played at 48 kHz"}, {48 / 44.1, "48 kHz material played at 44.1 kHz"},
    {1000.0 / 1001, "29.97 frames a second played at 30"}, {1001.0 / 1000, "30 frames a second played at 29.97"},
    {24.0 / 25, "24 frames a second played at 25"}, {25.0 / 24, "25 frames a second played at 24"},
};

class Aligner {
 public:
  Aligner(const std::string& old_path, const std::string& new_path, const Hooks& hooks) : old_path_(old_path), new_path_(new_path), hooks_(hooks) {}

  Result<Alignment> run() {
    auto old_file = Reader::open(old_path_);
    if (!old_file) return tl::unexpected(old_file.error());
    auto new_file = Reader::open(new_path_);
    if (!new_file) return tl::unexpected(new_file.error());
    const double old_rate = old_file->format().sample_rate, new_rate = new_file->format().sample_rate;
    result_.rate = std::min(old_rate, new_rate);
    result_.channels = common_channels(old_file->format(), new_file->format());
    if (old_rate == new_rate && old_file->expected() == new_file->expected()) {
      if (const auto opened = open(); !opened) return tl::unexpected(opened.error());
      if (straight()) return result_;
      if (stopped()) return fail(ErrorCode::interrupted, base::for_terminal(new_path_) + ": interrupted");
    }
    Thinned old_thinned, new_thinned;
    std::int64_t old_last = 0, new_last = 0;
    old_onsets_ = onsets_of(*old_file, 0, old_thinned, old_last), new_onsets_ = onsets_of(*new_file, 0.25, new_thinned, new_last);
    if (stopped()) return fail(ErrorCode::interrupted, base::for_terminal(new_path_) + ": interrupted");
    const auto old_length = old_file->length(), new_length = new_file->length();
    auto candidates = choose_clock();
    if (const auto opened = open(); !opened) return tl::unexpected(opened.error());
    for (auto& one : candidates) one.lag *= Onsets::kStepS * result_.rate / result_.speed;
    if (old_rate == new_rate && result_.speed == 1) {
      for (const double lag : waveform_lags(old_thinned, new_thinned, kWaveforms)) candidates.push_back({lag, 1});
    }
    const auto none = std::ranges::find_if(candidates, [](const Candidate& one) { return one.lag == 0 && one.likeness == 0; });
    if (none == candidates.end()) candidates.push_back({});
    for (int round = 0;; ++round) {
      result_.old_frames = windows_->old_file().step() == 1 ? old_length : std::llround(static_cast<double>(old_length) / windows_->old_file().step());
      result_.new_frames = windows_->new_file().step() == 1 ? new_length : std::llround(static_cast<double>(new_length) / windows_->new_file().step());
      sounds_end_ = static_cast<double>(new_last) / windows_->new_file().step() - static_cast<double>(old_last) / windows_->old_file().step();
      if (!choose_lag(candidates)) {
        result_.stretches.clear();
        return result_;
      }
      follow(round == 0);
      if (stopped()) return fail(ErrorCode::interrupted, base::for_terminal(new_path_) + ": interrupted");
      for (const auto* file : {&windows_->old_file(), &windows_->new_file()}) {
        if (file->error()) return tl::unexpected(*file->error());
      }
      const auto line = drift();
      if (!line || round == kDriftRounds) break;
      result_.speed *= 1 + line->slope;
      candidates = {{line->start / (1 + line->slope), 1}};
      if (const auto opened = open(); !opened) return tl::unexpected(opened.error());
    }
    follower_->simplify();
    follower_->group(kStep);
    settle_lags();
    return result_;
  }

 private:
  [[nodiscard]] bool stopped() const { return hooks_.stop != nullptr && hooks_.stop->load(std::memory_order_relaxed); }

  // `last_sound`: the last frame that stands above −80 dBFS.
  std::vector<float> onsets_of(Reader& file, double from, Thinned& thinned, std::int64_t& last_sound) {
    Onsets onsets(file.format().sample_rate);
    const auto guess = std::max<std::int64_t>(1, file.expected());
    for (std::int64_t at = 0; !stopped(); at += kBlock) {
      const auto rows = file.see(at, kBlock);
      const auto frames = std::min(kBlock, file.known_end() - at);
      if (frames <= 0) break;
      onsets.push(rows, frames);
      thinned.push(rows, frames);
      for (const float* row : rows) {
        auto n = frames - 1;
        while (n >= 0 && std::abs(row[n]) <= kFaint && at + n > last_sound) --n;
        if (n >= 0) last_sound = std::max(last_sound, at + n);
      }
      if (hooks_.progress) hooks_.progress(from + 0.25 * std::min(1.0, static_cast<double>(at) / static_cast<double>(guess)));
      if (frames < kBlock) break;
    }
    return onsets.finish();
  }

  std::vector<Candidate> choose_clock() {
    const double apart = 5;
    // A piece of a song resembles other pieces of it.
    const auto shorter = std::min(old_onsets_.size(), new_onsets_.size()), longer = std::max(old_onsets_.size(), new_onsets_.size());
    const auto most = 10 * shorter < 9 * longer ? kManyCandidates : kCandidates;
    auto best = likely_lags(old_onsets_, new_onsets_, apart, most);
    double likeness = best.empty() ? 0 : best.front().likeness;
    for (const auto& clock : kClocks) {
      auto other = likely_lags(stretched(old_onsets_, clock.speed), new_onsets_, apart, kCandidates);
      if (other.empty() || other.front().likeness < kClearlyFaster * likeness || other.front().likeness < kFound) continue;
      likeness = other.front().likeness;
      best = std::move(other);
      result_.speed = clock.speed, result_.clock = clock.what;
    }
    return best;
  }

  Result<void> open() {
    auto old_file = open_old(old_path_, result_);
    if (!old_file) return tl::unexpected(old_file.error());
    auto new_file = open_new(new_path_, result_);
    if (!new_file) return tl::unexpected(new_file.error());
    new_file->keep(kWideSamples);
    windows_.emplace(std::move(*old_file), std::move(*new_file), result_.rate);
    window_ = windows_->length();
    return {};
  }

  // Both stand together from end to end, and part for less time than another lag would have to hold: no other need be looked for.
  bool straight() {
    double sounding = 0, exact = 0;
    std::int64_t lost = 0, end = 0;
    std::vector<double> likeness, lags;
    for (std::int64_t at = 0;; at += window_) {
      if (stopped()) return false;
      const bool sounds = windows_->take(at);
      if (!windows_->old_file().met_sound()) break;
      if (!sounds) continue;
      const double here = windows_->likeness(at, 0);
      likeness.push_back(here), ++sounding;
      // What fits but for a little may lie a frame beside it.
      lost = here >= kToTheSample ? 0 : lost + 1;
      if (lost >= kPassage || (lost > 0 && exact == 0)) return false;
      if (lost > 0) continue;
      end = at + window_;
      if (std::fmod(exact++, kOften) == 0) lags.push_back(windows_->placed(at, 0, here).lag);
    }
    if (lost > 0 || lags.empty() || exact < kMostly * sounding) return false;
    const auto [least, most] = std::ranges::minmax_element(lags);
    if (*least < -kNoLag || *most > kNoLag || windows_->old_file().length() != windows_->new_file().length()) return false;
    if (windows_->old_file().error() || windows_->new_file().error()) return false;
    result_.old_frames = result_.new_frames = windows_->old_file().length();
    result_.stretches = {{0, end, 0, middle_of(likeness)}};
    return true;
  }

  // The lag at which both files end together, as 0 is that at which they begin so.
  [[nodiscard]] double end_to_end() const { return static_cast<double>(result_.new_frames - result_.old_frames); }

  // Windows from the first to the last sound of the old file that the new one reaches at this lag.
  std::vector<std::int64_t> probes(double lag) {
    std::vector<std::int64_t> places;
    const auto first = std::clamp<std::int64_t>(-std::llround(lag), 0, std::max<std::int64_t>(0, result_.old_frames - window_));
    const auto last = std::max(first, std::min<std::int64_t>(result_.old_frames, result_.new_frames - std::llround(lag)) - window_);
    const auto count = std::min<std::int64_t>(4 * static_cast<std::int64_t>(kProbes), (last - first) / std::max<std::int64_t>(1, window_) + 1);
    for (std::int64_t i = 0; i < count; ++i) {
      const auto at = count == 1 ? first : first + (last - first) * i / (count - 1);
      if (windows_->take(at)) places.push_back(at);
    }
    std::vector<std::int64_t> some;
    const auto wanted = std::min(kProbes, places.size());
    for (std::size_t i = 0; i < wanted; ++i) some.push_back(places[wanted == 1 ? 0 : i * (places.size() - 1) / (wanted - 1)]);
    return some;
  }

  bool choose_lag(std::vector<Candidate> candidates) {
    candidates.push_back({end_to_end(), 0});
    struct Score {
      double lag, mean, upper;  ///< upper quartile of the likeness
      std::size_t strong;
      bool alone;  ///< one window is all there is
      bool plain;     ///< both begin, or end, together, and a good part of it fits to the sample
      double fitting; ///< windows that do
    };
    std::vector<Score> scores;
    double best = 0;
    for (const auto& candidate : candidates) {
      // One that lies further off cannot be taken before one that fits throughout.
      if (best >= kPerfect && std::ranges::any_of(scores, [&](const Score& one) { return one.mean >= kPerfect && std::abs(one.lag) < std::abs(candidate.lag); })) continue;
      if (stopped()) return false;
      const auto places = probes(candidate.lag);
      if (places.empty()) continue;
      // Of lags that fit, as many do in a loop, the one at which most of the shorter file meets the other.
      const double meet = std::min(static_cast<double>(result_.old_frames), static_cast<double>(result_.new_frames) - candidate.lag) - std::max(0.0, -candidate.lag);
      const double worth = meet / static_cast<double>(std::max<std::int64_t>(1, std::min(result_.old_frames, result_.new_frames)));
      double sum = 0;
      std::size_t looked = 0;
      std::vector<double> lags, likeness;
      for (const auto at : places) {
        (void)windows_->take(at);
        const auto fit = windows_->search(at, candidate.lag);
        sum += fit.likeness;
        likeness.push_back(fit.likeness);
        if (fit.likeness >= kFound) lags.push_back(fit.lag);
        // Not even if all that is to come fits: behind a cut it may.
        ++looked;
        if (sum + static_cast<double>(places.size() - looked) < (best - kHopeless) * static_cast<double>(places.size())) break;
        // Half of them, and not one that comes near: what follows a lag from place to place finds the rest.
        if (candidate.likeness > 0 && 2 * looked >= places.size() && *std::ranges::max_element(likeness) < kHalfWay) break;
      }
      if (lags.empty() || looked < places.size()) continue;
      std::nth_element(lags.begin(), lags.begin() + static_cast<std::ptrdiff_t>(lags.size() / 2), lags.end());
      std::sort(likeness.begin(), likeness.end());
      const auto strong = static_cast<std::size_t>(std::ranges::count_if(likeness, [](double one) { return one >= kStrong; }));
      scores.push_back({lags[lags.size() / 2], worth * sum / static_cast<double>(places.size()), likeness[likeness.size() * 3 / 4],
                        strong, places.size() < 2, candidate.likeness == 0 && 4 * strong >= places.size(), worth * static_cast<double>(strong)});
      best = std::max(best, scores.back().mean);
    }
    if (scores.empty()) return false;
    const Score* chosen = nullptr;
    const auto most = std::ranges::max_element(scores, {}, &Score::mean)->fitting;
    for (const auto& score : scores) {
      if (score.mean >= best - (score.plain && score.fitting + 1 >= most ? kPlainly : kAsGood) && (chosen == nullptr || std::abs(score.lag) < std::abs(chosen->lag))) chosen = &score;
    }
    const double upper = chosen->strong >= 2 ? std::max(kStrong, chosen->upper) : chosen->upper;
    lag_ = chosen->lag, same_ = std::clamp(upper - kSameLess - kSameHalf * (1 - upper), kSameLeast, kSameMost);
    return best >= kFound || chosen->strong >= 2 || chosen->alone;
  }

  void follow(bool shown) {
    stretched_ = result_.speed == 1 ? old_onsets_ : stretched(old_onsets_, result_.speed);
    std::function<void(double)> progress;
    if (hooks_.progress && shown) progress = [&](double fraction) { hooks_.progress(0.5 + 0.3 * fraction); };
    follower_.emplace(*windows_, FollowInput{result_.rate, result_.speed, result_.old_frames, result_.new_frames, sounds_end_, stretched_, new_onsets_, lag_, same_, progress, hooks_.stop});
    follower_->follow();
  }

  // The lag as a line over time.
  struct Line {
    double slope = 0, start = 0, rest = 0;  ///< frames per frame; at frame 0; root mean square of what is off it
  };
  static Line line_through(std::span<const WindowPoint> points) {
    double n = 0, x = 0, y = 0, xx = 0, xy = 0;
    for (const auto& point : points) {
      const double at = static_cast<double>(point.at);
      ++n, x += at, y += point.lag, xx += at * at, xy += at * point.lag;
    }
    Line line;
    line.slope = (n * xy - x * y) / (n * xx - x * x), line.start = (y - line.slope * x) / n;
    for (const auto& point : points) {
      const double off = point.lag - line.start - line.slope * static_cast<double>(point.at);
      line.rest += off * off / n;
    }
    line.rest = std::sqrt(line.rest);
    return line;
  }

  // Where the lag moves evenly, in both halves of the longest group alike: a step in the middle is no drift.
  std::optional<Line> drift() const {
    const std::vector<WindowPoint>* longest = nullptr;
    for (const auto& one : follower_->groups()) {
      if (longest == nullptr || one.size() > longest->size()) longest = &one;
    }
    if (longest == nullptr || longest->size() < 8) return std::nullopt;
    const std::span<const WindowPoint> all(*longest);
    const auto line = line_through(all), first = line_through(all.first(all.size() / 2)), second = line_through(all.subspan(all.size() / 2));
    const double moved = std::abs(line.slope) * static_cast<double>(all.back().at - all.front().at);
    const auto alike = [&](const Line& half) { return std::abs(half.slope - line.slope) <= 0.5 * std::abs(line.slope); };
    if (moved < kDriftLeast || line.rest > std::max(kDriftRest, kDriftShare * moved) || !alike(first) || !alike(second)) return std::nullopt;
    return line;
  }

  void settle_lags() {
    result_.stretches.clear();
    for (const auto& one : follower_->groups()) {
      std::vector<double> lags, likeness;
      for (const auto& point : one) lags.push_back(point.lag), likeness.push_back(point.likeness);
      result_.stretches.push_back({one.front().at, one.back().at + window_, middle_of(std::move(lags)), middle_of(std::move(likeness))});
    }
    // Neighbours that met again at one lag are one.
    std::vector<Stretch> merged;
    for (const auto& one : result_.stretches) {
      if (!merged.empty() && std::abs(merged.back().lag - one.lag) <= kStep) {
        merged.back().to = one.to;
      } else {
        merged.push_back(one);
      }
    }
    result_.stretches = std::move(merged);
  }

  const std::string& old_path_;
  const std::string& new_path_;
  const Hooks& hooks_;
  Alignment result_;
  std::vector<float> old_onsets_, new_onsets_, stretched_;
  std::optional<Windows> windows_;
  std::int64_t window_ = 0;
  double lag_ = 0, same_ = kSameMost, sounds_end_ = 0;
  std::optional<Follower> follower_;
};

}  // namespace

Result<Reader> open_old(const std::string& path, const Alignment& alignment) {
  auto file = Reader::open(path, 1, alignment.channels);
  if (!file || file->format().sample_rate == alignment.rate) return file;
  return Reader::open(path, file->format().sample_rate / alignment.rate, alignment.channels);
}

Result<Reader> open_new(const std::string& path, const Alignment& alignment) {
  auto file = Reader::open(path, 1, alignment.channels);
  if (!file) return file;
  const double step = file->format().sample_rate * alignment.speed / alignment.rate;
  return step == 1 ? std::move(file) : Reader::open(path, step, alignment.channels);
}

Result<Alignment> align(const std::string& old_path, const std::string& new_path, const Hooks& hooks) {
  return Aligner(old_path, new_path, hooks).run();
}

}  // namespace sendworthy::pair
