#include "song/vocal_condition.h"

#include <algorithm>
#include <cmath>
#include <functional>

#include "song/activity.h"

namespace sendworthy::song {
namespace {

// Bands [first, last).
constexpr int kLowTo = 2, kMiddleFrom = 6, kMiddleTo = 24, kEssFrom = 28, kEssTo = 34;
constexpr std::int64_t kAround = 50;  // frames, 1 s to both sides

double db_of(double power) { return 10 * std::log10(std::max(power, 1e-30)); }

void keep(VocalPlaces& list, std::vector<VocalPlace> places) {
  list.count = static_cast<std::int64_t>(places.size());
  if (places.size() > VocalPlaces::kMostPlaces) {
    std::stable_sort(places.begin(), places.end(), [](const auto& a, const auto& b) { return a.value > b.value; });
    places.resize(VocalPlaces::kMostPlaces);
    std::stable_sort(places.begin(), places.end(), [](const auto& a, const auto& b) { return a.start_s < b.start_s; });
  }
  list.places = std::move(places);
}

std::int64_t frame_of(double seconds) { return std::llround(seconds / BandFrames::kFrame_s); }
double seconds(std::int64_t frame) { return static_cast<double>(frame) * BandFrames::kFrame_s; }

class Voice {
 public:
  Voice(const BandFrames& bands, const VocalLimits& limits) : bands_(bands), limits_(limits), frames_(bands.frames()) {
    for (std::int64_t t = 0; t < frames_; ++t) {
      all_.push_back(sum(t, 0, BandFrames::kBands));
      low_.push_back(sum(t, 0, kLowTo));
      middle_.push_back(sum(t, kMiddleFrom, kMiddleTo));
      ess_.push_back(sum(t, kEssFrom, kEssTo));
    }
    sings_ = frames_that_play(all_);
    find_middle();
  }

  [[nodiscard]] std::int64_t active() const { return std::count(sings_.begin(), sings_.end(), true); }

  [[nodiscard]] std::vector<VocalPlace> esses() const {
    const double least = std::pow(10, limits_.ess_over_middle_db / 10);
    return runs_of([&](std::size_t t) {
      const auto ess = static_cast<double>(ess_[t]);
      return ess > static_cast<double>(middle_[t]) && ess >= least * around_[t] && around_[t] > 0;
    }, ess_, 2);
  }

  [[nodiscard]] std::vector<VocalPlace> plosives() const {
    std::vector<float> own;
    for (std::size_t t = 0; t < low_.size(); ++t) {
      if (sings_[t]) own.push_back(low_[t]);
    }
    if (own.empty()) return {};
    const auto high = own.begin() + static_cast<std::ptrdiff_t>(own.size() * 9 / 10);
    std::nth_element(own.begin(), high, own.end());
    const double over_own = static_cast<double>(*high) * std::pow(10, limits_.plosive_over_own_low_db / 10);
    const double over_middle = std::pow(10, limits_.plosive_over_middle_db / 10);
    auto found = runs_of([&](std::size_t t) {
      const auto low = static_cast<double>(low_[t]);
      return around_[t] > 0 && low >= over_middle * around_[t] && low >= over_own;
    }, low_, 1);
    std::erase_if(found, [&](const VocalPlace& place) { return place.end_s - place.start_s > 0.3 + 1e-9 || !at_start_of_sound(place); });
    return found;
  }

  void noise(VocalCondition& out) const {
    constexpr std::int64_t kAfter = 15, kBefore = 10, kWindow = 25;
    double sung = 0;
    for (std::size_t t = 0; t < all_.size(); ++t) sung += sings_[t] ? static_cast<double>(all_[t]) : 0;
    sung /= static_cast<double>(active());
    std::vector<VocalPlace> places;
    for (std::int64_t t = 0; t < frames_;) {
      if (sings_[static_cast<std::size_t>(t)]) {
        ++t;
        continue;
      }
      const auto start = t;
      while (t < frames_ && !sings_[static_cast<std::size_t>(t)]) ++t;
      const auto from = start == 0 ? 0 : start + kAfter, to = t == frames_ ? t : t - kBefore;
      if (to - from < kWindow) continue;
      auto quietest = from;
      double least = mean(all_, from, from + kWindow);
      for (auto at = from + 1; at + kWindow <= to; ++at) {
        const double here = mean(all_, at, at + kWindow);
        if (here < least) least = here, quietest = at;
      }
      if (least <= 0) {
        out.silent_s += seconds(t - start);
        continue;
      }
      const double first = mean(all_, quietest, quietest + kWindow / 2), last = mean(all_, quietest + kWindow / 2 + 1, quietest + kWindow);
      if (std::abs(db_of(first) - db_of(last)) >= 3) continue;
      places.push_back({seconds(start), seconds(t), db_of(least) - db_of(sung)});
      out.noise_s += seconds(t - start);
    }
    out.noise_db = median(places, out.noise_s);
    if (places.empty()) out.steady = steady(sung);
    keep(out.noise, std::move(places));
  }

 private:
  // Within one stretch that counts as sung. A voice falls lower on its way into a rest or through a consonant; noise that fills the rests
  // is the floor of everything.
  [[nodiscard]] std::optional<VocalPlace> steady(double sung) const {
    std::optional<VocalPlace> longest;
    for (std::int64_t t = 0; t < frames_;) {
      const auto start = t;
      while (t < frames_ && sings_[static_cast<std::size_t>(t)]) ++t;
      const auto here = steady_floor(start, t, sung);
      if (here && (!longest || here->end_s - here->start_s > longest->end_s - longest->start_s)) longest = here;
      t = std::max(t, start + 1);
    }
    return longest;
  }

  [[nodiscard]] std::optional<VocalPlace> steady_floor(std::int64_t start, std::int64_t end, double sung) const {
    constexpr std::int64_t kPiece = 5;           // frames, a tenth of a second
    constexpr std::size_t kShortest = 10;        // pieces
    constexpr double kWithin_db = 4, kBelow_db = 3;
    std::vector<double> levels;
    for (auto t = start + kPiece; t + 2 * kPiece <= end; t += kPiece) levels.push_back(db_of(mean(all_, t, t + kPiece)) - db_of(sung));
    if (levels.size() < 2 * kShortest) return std::nullopt;
    const double floor = *std::ranges::min_element(levels);
    std::optional<VocalPlace> longest;
    for (std::size_t from = 0; from < levels.size();) {
      auto to = from;
      double sum = 0;
      while (to < levels.size() && levels[to] <= floor + kWithin_db) sum += levels[to++];
      const double mean_db = sum / static_cast<double>(std::max<std::size_t>(1, to - from));
      if (to - from >= kShortest && mean_db - floor <= kBelow_db) {
        const auto at = [&](std::size_t piece) { return seconds(start + kPiece + static_cast<std::int64_t>(piece) * kPiece); };
        const VocalPlace here{at(from), at(to), mean_db};
        if (!longest || here.end_s - here.start_s > longest->end_s - longest->start_s) longest = here;
      }
      from = to + 1;
    }
    const auto over = [&](double level) { return longest && level >= longest->value + kBelow_db; };
    return std::ranges::count_if(levels, over) >= static_cast<std::ptrdiff_t>(kShortest) ? longest : std::nullopt;
  }
  [[nodiscard]] float sum(std::int64_t t, int first, int last) const {
    float power = 0;
    const auto codes = bands_.frame(t);
    for (int band = first; band < last; ++band) power += BandFrames::powers()[codes[static_cast<std::size_t>(band)]];
    return power;
  }
  [[nodiscard]] static double mean(const std::vector<float>& powers, std::int64_t from, std::int64_t to) {
    double sum = 0;
    for (auto t = from; t < to; ++t) sum += static_cast<double>(powers[static_cast<std::size_t>(t)]);
    return sum / static_cast<double>(std::max<std::int64_t>(1, to - from));
  }
  // Over time, so that long pauses count for more.
  [[nodiscard]] static std::optional<double> median(std::vector<VocalPlace> places, double all_s) {
    std::sort(places.begin(), places.end(), [](const auto& a, const auto& b) { return a.value < b.value; });
    double before = 0;
    for (const auto& place : places) {
      before += place.end_s - place.start_s;
      if (before * 2 >= all_s) return place.value;
    }
    return std::nullopt;
  }

  // The voice's middle within a second around each frame, over frames in which there is some: what a listener has in the ear there. A
  // bump in a pause, with nothing of a voice about it, has none.
  void find_middle() {
    std::vector<float> of_middle = middle_;
    for (std::size_t t = 0; t < of_middle.size(); ++t) of_middle[t] = sings_[t] ? of_middle[t] : 0;
    const auto voiced = frames_that_play(of_middle);
    double sum = 0;
    std::int64_t count = 0;
    const auto move = [&](std::int64_t t, int sign) {
      if (t < 0 || t >= frames_ || !voiced[static_cast<std::size_t>(t)]) return;
      sum += sign * static_cast<double>(middle_[static_cast<std::size_t>(t)]), count += sign;
    };
    for (std::int64_t t = 0; t < kAround; ++t) move(t, 1);
    for (std::int64_t t = 0; t < frames_; ++t) {
      move(t + kAround, 1), move(t - kAround - 1, -1);
      around_.push_back(count > 0 ? std::max(0.0, sum / static_cast<double>(count)) : 0);
    }
  }

  // Runs of at least `shortest` frames, with one frame in between bridged. Value: the highest level of `powers` over the middle.
  [[nodiscard]] std::vector<VocalPlace> runs_of(const std::function<bool(std::size_t)>& holds, const std::vector<float>& powers, std::int64_t shortest) const {
    std::vector<VocalPlace> places;
    std::int64_t start = -1, last = -1, held = 0;
    double most = -300;
    const auto close = [&] {
      if (start >= 0 && held >= shortest) places.push_back({seconds(start), seconds(last + 1), most});
      start = -1, held = 0, most = -300;
    };
    for (std::int64_t t = 0; t < frames_; ++t) {
      const auto at = static_cast<std::size_t>(t);
      if (!holds(at)) {
        if (start >= 0 && t - last > 1) close();
        continue;
      }
      if (start < 0) start = t;
      last = t, ++held;
      most = std::max(most, db_of(static_cast<double>(powers[at])) - db_of(around_[at]));
    }
    close();
    return places;
  }

  [[nodiscard]] bool at_start_of_sound(const VocalPlace& place) const {
    const auto start = frame_of(place.start_s), end = frame_of(place.end_s);
    const double before = mean(middle_, std::max<std::int64_t>(0, start - 4), start);
    float after = 0;
    for (auto t = start; t < std::min(frames_, end + 8); ++t) after = std::max(after, middle_[static_cast<std::size_t>(t)]);
    const double least = 0.01 * around_[static_cast<std::size_t>(start)];  // 20 dB under what is sung around
    return static_cast<double>(after) >= least && (start == 0 || static_cast<double>(after) > 4 * before);
  }

  const BandFrames& bands_;
  VocalLimits limits_;
  std::int64_t frames_;
  std::vector<float> all_, low_, middle_, ess_;
  std::vector<bool> sings_;
  std::vector<double> around_;
};

}  // namespace

VocalCondition vocal_condition(const BandFrames& vocal, const VocalLimits& limits) {
  VocalCondition out;
  const Voice voice(vocal, limits);
  out.active_s = seconds(voice.active());
  if (voice.active() == 0) return out;
  keep(out.esses, voice.esses());
  keep(out.plosives, voice.plosives());
  voice.noise(out);
  return out;
}

}  // namespace sendworthy::song
