#include "measure/shape.h"

#include <algorithm>
#include <cmath>

#include "measure/meter.h"

namespace sendworthy::measure {
namespace {

// Fades.
constexpr double kHopS = 0.1;
constexpr std::ptrdiff_t kSmooth = 5;    // hops to each side: a bar's beats even out
constexpr std::ptrdiff_t kPlateau = 40;  // hops without any rise end the search
constexpr double kPlateauDb = 1, kNearTopDb = 1.5;
constexpr double kLeastFallDb = 20, kLeastFadeS = 1;
constexpr double kSameColourDb = 3, kReadDb = 35;
constexpr double kDipDb = 2.5, kSummitsFallDb = 12;
constexpr std::size_t kFewestSummits = 3;
constexpr double kEverFaster = 1.6;

// Head events.
constexpr double kBodyUnderDb = 35, kQuietDb = -55, kGapUnderDb = 45;
constexpr double kJoinS = 0.08, kBodyS = 3, kBodyShare = 0.7;
constexpr double kPauseS = 0.7, kTalkS = 2.5, kStickS = 0.12, kStickGapS = 0.2;
constexpr std::size_t kMostEvents = 8;
constexpr double kEvenly = 0.06;

double db(double power) { return 10 * std::log10(power + 1e-15); }

struct Hop {
  double power = 0, motion = 0;
};

// Hops of 100 ms in the order outer edge first.
std::vector<Hop> hops_from(std::span<const Tick> ticks, double tick_s, Edge edge) {
  const auto per = std::max<std::size_t>(1, static_cast<std::size_t>(std::lround(kHopS / tick_s)));
  std::vector<Hop> hops;
  for (std::size_t i = 0; i + per <= ticks.size(); i += per) {
    Hop hop;
    for (std::size_t k = 0; k < per; ++k) {
      const auto& tick = edge == Edge::head ? ticks[i + k] : ticks[ticks.size() - 1 - i - k];
      hop.power += static_cast<double>(tick.power), hop.motion += static_cast<double>(tick.motion);
    }
    hop.power /= static_cast<double>(per), hop.motion /= static_cast<double>(per);
    hops.push_back(hop);
  }
  return hops;
}

template <class F>
double mean_of(std::ptrdiff_t from, std::ptrdiff_t to, F value) {
  double sum = 0;
  for (auto i = from; i < to; ++i) sum += value(i);
  return to > from ? sum / static_cast<double>(to - from) : 0;
}

}  // namespace

Fade find_fade(std::span<const Tick> ticks, double tick_s, Edge edge, double floor_db) {
  const auto hops = hops_from(ticks, tick_s, edge);
  const auto count = static_cast<std::ptrdiff_t>(hops.size());
  const auto at = [&](std::ptrdiff_t i) -> const Hop& { return hops[static_cast<std::size_t>(i)]; };
  const auto level = [&](std::ptrdiff_t i) { return db(at(i).power); };
  std::ptrdiff_t outer = 0;  // where there is something to read
  while (outer < count && level(outer) < floor_db) ++outer;
  if (outer >= count) return {};

  // Inwards as long as something still rises above all that stands farther out; gaps between beats do not count.
  std::vector<std::ptrdiff_t> summits;
  double top = level(outer), dip = top, plateau_from = -200;
  std::ptrdiff_t inner = outer;
  for (auto i = outer; i < count && i - inner <= kPlateau; ++i) {
    dip = std::min(dip, level(i));
    if (level(i) > top || summits.empty()) {
      if (summits.empty() || dip < level(summits.back()) - kDipDb) {
        summits.push_back(i);
      } else {
        summits.back() = i;
      }
      top = std::max(top, level(i)), dip = top;
    }
    if (top > plateau_from + kPlateauDb) plateau_from = top, inner = i;
  }
  // As far as it has come within a little of the top.
  double highest = level(outer);
  for (auto i = outer; i <= inner; ++i) {
    highest = std::max(highest, level(i));
    if (highest > top - kNearTopDb) inner = i;
  }
  const double fall = top - level(outer), length = static_cast<double>(inner - outer) * kHopS;
  if (fall < kLeastFallDb || length < kLeastFadeS) return {};

  // Colour where it is loudest, against where it is still well above the floor.
  std::ptrdiff_t readable = inner;
  while (readable > outer && level(readable - 1) > floor_db + 10 && top - level(readable - 1) < kReadDb) --readable;
  for (const auto summit : summits) {
    if (top - level(summit) < kReadDb) readable = std::min(readable, summit);
  }
  const auto colour = [&](std::ptrdiff_t from, std::ptrdiff_t to) {
    return db(mean_of(from, to, [&](auto k) { return at(k).motion; })) - db(mean_of(from, to, [&](auto k) { return at(k).power; }));
  };
  const auto part = std::max<std::ptrdiff_t>(2, (inner - readable) / 3);
  if (inner - readable < 2 * part) return {};
  const double change = colour(readable, readable + part) - colour(inner - part, inner);
  if (std::abs(change) > kSameColourDb) return {};

  // Does something begin under it again and again, each time softer?
  std::vector<double> steps;
  for (const auto summit : summits) {
    if (summit <= inner && top - level(summit) < kReadDb) steps.push_back(level(summit));
  }
  const bool goes_on = steps.size() >= kFewestSummits && steps.back() - steps.front() >= kSummitsFallDb;
  // Of decibels, not of powers: a straight decay stays straight.
  const auto smooth = [&](std::ptrdiff_t i) {
    return mean_of(std::max(readable, i - kSmooth), std::min(inner + 1, i + kSmooth + 1), [&](auto k) { return level(k); });
  };
  const auto middle = readable + (inner - readable) / 2;
  const bool ever_faster = smooth(middle) - smooth(readable) > kEverFaster * std::max(smooth(inner) - smooth(middle), 1.0);
  return goes_on || ever_faster ? Fade{length, fall} : Fade{};
}

HeadEvents find_head_events(std::span<const Tick> ticks, double tick_s) {
  HeadEvents found;
  if (ticks.empty()) return found;
  std::vector<float> powers;
  for (const auto& tick : ticks) powers.push_back(tick.power);
  const double body = db(static_cast<double>(percentile(powers, 0.75)));
  const double line = std::max(body - kBodyUnderDb, kQuietDb);
  const auto in_ticks = [&](double seconds) { return std::max<std::int64_t>(1, std::llround(seconds / tick_s)); };
  const auto count = static_cast<std::int64_t>(ticks.size());
  const auto active = [&](std::int64_t i) { return db(static_cast<double>(ticks[static_cast<std::size_t>(i)].power)) > line; };

  const auto run_from = [&](std::int64_t start) {
    std::int64_t end = start + 1, next = end;
    for (; next < count; ++next) {
      if (!active(next)) continue;
      if (next - end >= in_ticks(kJoinS)) break;
      end = next + 1;
    }
    return std::pair{end, next};
  };

  std::vector<HeadEvents::Event> runs;
  std::int64_t body_at = -1;
  for (std::int64_t i = 0; i < count; ++i) {
    if (!active(i)) continue;
    if (!runs.empty() && i - runs.back().end < in_ticks(kJoinS)) {
      runs.back().end = i + 1;
      continue;
    }
    // A sound begins: is it the music? Not when it stops at once and quiet follows.
    const auto reach = in_ticks(kBodyS);
    if (i + reach > count) return found;
    const auto [end, next] = run_from(i);
    const bool alone = (end - i <= in_ticks(kStickS) && next - end >= in_ticks(kStickGapS)) ||
                       (end - i <= in_ticks(kTalkS) && next - end >= in_ticks(kPauseS));
    std::int64_t busy = 0;
    for (auto k = i; k < i + reach; ++k) busy += active(k) ? 1 : 0;
    if (!alone && static_cast<double>(busy) >= kBodyShare * static_cast<double>(reach)) {
      body_at = i;
      break;
    }
    runs.push_back({i, i + 1});
    if (runs.size() > kMostEvents) return found;
  }
  if (body_at < 0 || runs.empty()) return found;

  // Nothing but quiet between them.
  const auto quiet = [&](std::int64_t from, std::int64_t to) {
    if (to - from < 4) return false;
    std::vector<float> gap;
    for (auto k = from + 1; k < to - 1; ++k) gap.push_back(ticks[static_cast<std::size_t>(k)].power);
    return db(static_cast<double>(percentile(gap, 0.5))) < std::max(body - kGapUnderDb, -90.0);
  };
  for (std::size_t k = 0; k < runs.size(); ++k) {
    const auto next = k + 1 < runs.size() ? runs[k + 1].first : body_at;
    if (!quiet(runs[k].end, next)) return found;
  }
  const auto pause = body_at - runs.back().end;
  const bool short_ones = std::ranges::all_of(runs, [&](const auto& run) { return run.end - run.first <= in_ticks(kStickS); });
  bool evenly = runs.size() >= 2;
  const double beat = static_cast<double>(body_at - runs.front().first) / static_cast<double>(runs.size());
  for (std::size_t k = 0; k < runs.size(); ++k) {
    const auto next = k + 1 < runs.size() ? runs[k + 1].first : body_at;
    const auto distance = static_cast<double>(next - runs[k].first);
    if (std::abs(distance - beat) > kEvenly * beat + 1.5 || next - runs[k].end < in_ticks(kStickGapS)) evenly = false;
  }
  const bool talk = pause >= in_ticks(kPauseS) &&
                    std::ranges::all_of(runs, [&](const auto& run) { return run.end - run.first <= in_ticks(kTalkS); });
  if ((short_ones && evenly) || talk) found.events = runs;
  return found;
}

}  // namespace sendworthy::measure
