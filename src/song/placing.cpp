// Boundaries that are known to a second or so, put where a listener would tap them.
#include <algorithm>
#include <cmath>
#include <cstddef>
#include <utility>
#include <vector>

#include "song/beats.h"
#include "song/boundaries.h"
#include "song/points.h"

namespace sendworthy::song {
namespace {

constexpr double kReachS = 1.5;
constexpr double kBar = 4;              // beats to either side; a bar of three does no harm
constexpr double kWithoutBeatS = 1.5;   // to either side
constexpr std::size_t kMetres[] = {3, 4, 5, 6};
constexpr double kAgreed = 0.85, kMoreThanOthers = 0.15;  // of the largest change at each boundary, on average
constexpr double kDownbeat = 0.5;       // of the largest change: what standing on the bar is worth

struct Place {
  std::size_t beat = 0;
  double at_s = 0;
  double share = 0;  // of the largest change nearby
};

class Placing {
 public:
  Placing(const Features& features, double from_s, double to_s)
      : features_(features), from_(features.frame_at(from_s)), means_(points_of(features, from_, features.frame_at(to_s), 1)), beats_(beats_of(features.onsets)) {}

  std::vector<double> run(std::vector<double> boundaries) {
    std::vector<std::vector<Place>> places;
    for (auto& at : boundaries) {
      places.push_back(beats_near(at));
      if (places.back().empty()) at = nearest_change(at);
    }
    agree(places);
    for (std::size_t i = 0; i < boundaries.size(); ++i) {
      double best = -1;
      for (const auto& place : places[i]) {
        const double worth = place.share + (place.beat % metre_ == phase_ ? kDownbeat : 0.0);
        if (worth > best) best = worth, boundaries[i] = place.at_s;
      }
    }
    return boundaries;
  }

 private:
  // The first frame that holds more of what comes after than of what was before.
  [[nodiscard]] std::size_t frame(double at_s) const { return static_cast<std::size_t>(std::max(0.0, std::ceil(at_s / features_.step_s - 0.25) - static_cast<double>(from_))); }

  [[nodiscard]] double change(std::size_t at, double width_s) const {
    const auto width = static_cast<std::size_t>(std::max(2.0, std::round(width_s / features_.step_s)));
    if (at < width / 2 || at + width / 2 > means_.size()) return 0;
    const auto before = means_.of(at - std::min(at, width), at), after = means_.of(at, std::min(at + width, means_.size()));
    double sum = 0;
    for (const auto aspect : kAspects) sum += static_cast<double>(distance(before, after, aspect));
    return sum;
  }

  [[nodiscard]] double period_at(std::size_t beat) const {
    const auto first = beat - std::min<std::size_t>(beat, 2), last = std::min(beat + 2, beats_.size() - 1);
    return (beats_[last] - beats_[first]) / static_cast<double>(last - first);
  }

  [[nodiscard]] std::vector<Place> beats_near(double at_s) const {
    std::vector<Place> places;
    if (beats_.size() < 4) return places;
    const auto first = std::lower_bound(beats_.begin(), beats_.end(), at_s - kReachS), last = std::upper_bound(first, beats_.end(), at_s + kReachS);
    double most = 0;
    for (auto b = first; b != last; ++b) {
      const auto beat = static_cast<std::size_t>(b - beats_.begin());
      places.push_back({beat, *b, change(frame(*b), kBar * period_at(beat))});
      most = std::max(most, places.back().share);
    }
    for (auto& place : places) place.share /= std::max(1e-12, most);
    return places;
  }

  [[nodiscard]] double nearest_change(double at_s) const {
    const auto first = frame(at_s - kReachS), last = frame(at_s + kReachS);
    double most = 0, best = at_s;
    for (auto t = first; t <= last; ++t) {
      if (const double here = change(t, kWithoutBeatS); here > most) most = here, best = (static_cast<double>(from_ + t) - 0.5) * features_.step_s;
    }
    return best;
  }

  // The bar that most of them stand on, if there is one.
  void agree(const std::vector<std::vector<Place>>& places) {
    double clearest = kMoreThanOthers;
    for (const auto metre : kMetres) {
      double mean = 0, top = 0;
      std::size_t phase = 0;
      for (std::size_t p = 0; p < metre; ++p) {
        double sum = 0, count = 0;
        for (const auto& near : places) {
          double share = 0;
          for (const auto& place : near) {
            if (place.beat % metre == p) share = std::max(share, place.share);
          }
          if (!near.empty()) sum += share, ++count;
        }
        sum /= std::max(1.0, count);
        mean += sum / static_cast<double>(metre);
        if (sum > top) top = sum, phase = p;
      }
      if (top > kAgreed && top - mean > clearest) clearest = top - mean, metre_ = metre, phase_ = phase;
    }
  }

  const Features& features_;
  std::size_t from_;
  Means means_;
  std::vector<double> beats_;
  std::size_t metre_ = 1, phase_ = 0;
};

}  // namespace

std::vector<double> on_the_beat(const Features& features, double from_s, double to_s, std::vector<double> boundaries) {
  if (boundaries.empty()) return boundaries;
  auto placed = Placing(features, from_s, to_s).run(std::move(boundaries));
  std::ranges::sort(placed);
  return placed;
}

}  // namespace sendworthy::song
