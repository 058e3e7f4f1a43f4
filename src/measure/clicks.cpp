#include "measure/clicks.h"

#include <algorithm>
#include <cmath>
#include <numeric>

namespace sendworthy::measure {
namespace {

constexpr int kSub = dsp::kSubBlock;
constexpr std::int64_t kSide = 24;   // sub-blocks before and after in which a lonely click has no like
constexpr std::int64_t kOwn = 8;     // samples round the break that belong to it
constexpr std::int64_t kNear = 160;  // samples it is held against
constexpr double kOverNear = 8, kOverSide = 3;
constexpr double kLowestBend = 0.002;  // −54 dBFS
constexpr double kLevelDb = 8;         // by which the level may differ before and after
constexpr double kQuiet = 1e-6;        // −60 dBFS: below, levels are alike
constexpr std::size_t kMostBreaks = 65536;
constexpr std::int64_t kFewest = 6;  // breaks that make a grid
constexpr std::int64_t kGrid = 64, kWidestGrid = 8192, kLongestBuffer = 4096;

double bend_at(const Window& window, int c, std::int64_t n) {
  return std::abs(static_cast<double>(window.at(c, n - 1)) - 2 * static_cast<double>(window.at(c, n)) +
                  static_cast<double>(window.at(c, n + 1)));
}

}  // namespace

ClickFinder::ClickFinder(int sample_rate, int channels)
    : sample_rate_(sample_rate), bends_(static_cast<std::size_t>(channels)) {}

void ClickFinder::settled(const Window& window, std::int64_t to) {
  // Bends of whole sub-blocks as far as the window reaches.
  const std::int64_t known = first_sub_ + static_cast<std::int64_t>(bends_.front().size());
  const std::int64_t reach = (window.last() - 1) / kSub;  // one more sample is read behind
  for (std::int64_t sub = known; sub < reach;) {
    const auto start = sub * kSub;
    if (start == 0) {  // nothing stands before the first sample
      for (auto& line : bends_) line.push_back(0);
      ++sub;
      continue;
    }
    const auto count = static_cast<int>((reach - sub) * kSub);
    fresh_.resize(static_cast<std::size_t>(reach - sub));
    for (int c = 0; c < window.channels(); ++c) {
      dsp::sub_bends(window.from(c, start), count, fresh_.data());
      bends_[static_cast<std::size_t>(c)].insert(bends_[static_cast<std::size_t>(c)].end(), fresh_.begin(),
                                                 fresh_.end());
    }
    break;
  }
  const std::int64_t ready = std::min(to / kSub, first_sub_ + static_cast<std::int64_t>(bends_.front().size()) - kSide);
  for (; looked_ < ready; ++looked_) {
    if (looked_ < 1) continue;
    for (int c = 0; c < window.channels(); ++c) look(window, c, looked_);
  }
  const auto drop = std::max<std::int64_t>(0, looked_ - kSide - first_sub_);
  for (auto& line : bends_) line.erase(line.begin(), line.begin() + drop);
  first_sub_ += drop;
}

void ClickFinder::look(const Window& window, int channel, std::int64_t sub) {
  const auto& line = bends_[static_cast<std::size_t>(channel)];
  const auto bend = [&](std::int64_t s) {
    const auto at = s - first_sub_;
    return at < 0 || at >= static_cast<std::int64_t>(line.size())
               ? 0.0
               : static_cast<double>(line[static_cast<std::size_t>(at)]);
  };
  const double most = bend(sub);
  if (most < kLowestBend || most < bend(sub - 1) || most <= bend(sub + 1)) return;
  if (kOverNear * bend(sub - 2) > most || kOverNear * bend(sub + 2) > most) return;

  std::int64_t peak = sub * kSub;
  double highest = 0;
  for (std::int64_t n = sub * kSub; n < (sub + 1) * kSub; ++n) {
    if (const double here = bend_at(window, channel, n); here > highest) highest = here, peak = n;
  }
  double near = 0;
  for (auto n = peak - kNear; n <= peak + kNear; ++n) {
    if (std::abs(n - peak) > kOwn) near = std::max(near, bend_at(window, channel, n));
  }
  if (highest < kOverNear * near) return;

  // An onset has such a break too, and a gate; there the level is another before than after.
  for (const double seconds : {0.0025, 0.01}) {
    const auto stretch = static_cast<std::int64_t>(seconds * sample_rate_);
    const double before = std::max(kQuiet, window.mean_square(channel, peak - stretch, peak - kOwn));
    const double after = std::max(kQuiet, window.mean_square(channel, peak + kOwn, peak + stretch));
    const double ratio = std::pow(10, kLevelDb / 10);
    if (before > ratio * after || after > ratio * before) return;
  }
  double side = 0;
  for (auto s = sub - kSide; s <= sub + kSide; ++s) {
    if (std::abs(s - sub) > 1) side = std::max(side, bend(s));
  }
  keep({peak, channel, highest, near > 0 ? highest / near : 1e6, highest >= kOverSide * side});
}

void ClickFinder::keep(const Break& one) {
  // What stands in several channels is one break of the grid.
  if (std::abs(one.frame - last_) > kOwn) {
    ++rests_[static_cast<std::size_t>(one.frame % kGrid)];
    if (all_.size() < kMostBreaks) all_.push_back(one);
    last_ = one.frame;
  }
  if (one.lonely && lonely_.size() < kMostBreaks) lonely_.push_back(one);
}

ClickFinder::Found ClickFinder::finish() {
  Found found;
  std::sort(lonely_.begin(), lonely_.end(), [](const Break& a, const Break& b) { return a.frame < b.frame; });
  // One break in several channels is one.
  std::vector<Break> merged;
  for (const auto& one : lonely_) {
    if (!merged.empty() && one.frame - merged.back().frame <= kOwn) {
      auto& kept = merged.back();
      if (one.channel != kept.channel) kept.channel = -1;
      kept.bend = std::max(kept.bend, one.bend), kept.over = std::max(kept.over, one.over);
    } else {
      merged.push_back(one);
    }
  }
  for (const auto& one : merged) {
    ++found.total;
    if (found.clicks.size() < kMaxWhere)
      found.clicks.push_back(
          {one.frame, bends_.size() == 1 ? 0 : one.channel + 1, 20 * std::log10(one.bend), 20 * std::log10(one.over)});
  }
  // Buffers are multiples of 64 frames: what they break stands on one grid, which other breaks meet one time in 64.
  const auto most = std::max_element(rests_.begin(), rests_.end());
  const auto all = std::accumulate(rests_.begin(), rests_.end(), std::int64_t{0});
  const auto rest = most - rests_.begin();
  for (const auto& one : all_) {
    if (one.frame % kGrid == rest) found.grid.push_back(one.frame);
  }
  if (*most < kFewest || 3 * *most < all || found.grid.empty()) {
    found.grid.clear();
  } else {
    found.on_grid = *most;
    // The beat of a programmed song can stand on that grid as well: then every distance is a multiple of one that is
    // longer than any buffer.
    std::int64_t least = found.grid.back();
    for (std::size_t i = 1; i < found.grid.size(); ++i) least = std::min(least, found.grid[i] - found.grid[i - 1]);
    const bool beat =
        least > kLongestBuffer && std::all_of(found.grid.begin(), found.grid.end(), [&](std::int64_t frame) {
          const auto over = (frame - found.grid.front()) % least;
          return over <= kGrid || least - over <= kGrid;
        });
    if (beat) {
      found.grid.clear(), found.on_grid = 0;
    } else {
      found.grid_step = kGrid;
      for (auto step = 2 * kGrid; step <= kWidestGrid; step *= 2) {
        const auto on = std::count_if(found.grid.begin(), found.grid.end(),
                                      [&](std::int64_t frame) { return (frame - found.grid.front()) % step == 0; });
        if (10 * on >= 9 * static_cast<std::ptrdiff_t>(found.grid.size())) found.grid_step = step;
      }
    }
  }
  return found;
}

}  // namespace sendworthy::measure
