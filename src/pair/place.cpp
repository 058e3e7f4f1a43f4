#include "pair/place.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdlib>
#include <map>
#include <utility>
#include <vector>

#include "pair/correlate.h"

namespace sendworthy::pair {
namespace {

constexpr std::int64_t kWindow = 1 << 15, kReach = 1 << 14;
constexpr std::int64_t kFarWindow = 1 << 16, kFarReach = 1 << 18;  // music that repeats fits itself a beat or a bar away, too
constexpr int kFarEvery = 6;                                       // of the places
constexpr std::size_t kFarLags = 1;
constexpr double kFarOff = 2 * Thinned::kFrames;                   // what waveforms that were thinned tell
constexpr std::int64_t kKept = 1 << 20;  // samples: candidates come in order
constexpr int kCandidates = 48, kPlaces = 24, kLeastPlaces = 5, kLeastInRow = 2;
constexpr double kAgree = 0.7;
constexpr double kLeastRms = 1e-4;      // −80 dBFS: below it there is nothing to go by
constexpr double kClear = 1.25;         // the best lag over the next best elsewhere; own
constexpr std::int64_t kElsewhere = 64; // frames
constexpr std::int64_t kChannelWindow = 1 << 14, kChannelReach = 1 << 11;
constexpr int kChannelPlaces = 16, kLeastChannelPlaces = 4;
constexpr double kChannelsAgree = 0.6;
constexpr double kAlike = 1e-3;         // −30 dB left: sample by sample, then

using Mono = std::vector<float>;

Mono mono_of(Reader& file, std::int64_t from, std::int64_t frames) {
  Mono sum(static_cast<std::size_t>(frames), 0.0f);
  for (const float* row : file.see(from, frames)) {
    for (std::size_t n = 0; n < sum.size(); ++n) sum[n] += row[n];
  }
  return sum;
}

double energy_of(const float* x, std::size_t count) {
  double sum = 0;
  for (std::size_t n = 0; n < count; ++n) sum += static_cast<double>(x[n]) * static_cast<double>(x[n]);
  return sum;
}

struct Place {
  std::int64_t at = 0;
  std::int64_t lag = 0;
  double left = 1;  ///< energy of the new one that the old one does not explain, over the new one's
  bool inverted = false;
};

// `b` reaches further than `a` by `reach` frames at either end.
std::optional<Place> place_at(Correlator& correlator, const Mono& a, const Mono& b, std::int64_t reach) {
  std::vector<float> values;
  correlator.correlate(a, b, true, values);
  const auto magnitude = [&](std::size_t k) { return std::abs(values[k]); };
  // Only lags at which the whole window lies in what was read.
  const auto first = a.size() - 1, last = first + static_cast<std::size_t>(2 * reach);
  std::size_t best = first;
  for (auto k = first; k <= last; ++k) {
    if (magnitude(k) > magnitude(best)) best = k;
  }
  float next = 0;
  for (auto k = first; k <= last; ++k) {
    if (std::abs(static_cast<std::int64_t>(k) - static_cast<std::int64_t>(best)) > kElsewhere) next = std::max(next, magnitude(k));
  }
  if (magnitude(best) < kClear * next) return std::nullopt;
  const auto from = best - first;
  double product = 0;
  for (std::size_t n = 0; n < a.size(); ++n) product += static_cast<double>(a[n]) * static_cast<double>(b[from + n]);
  const double old_energy = energy_of(a.data(), a.size()), new_energy = energy_of(b.data() + from, a.size());
  if (old_energy <= 0 || new_energy <= 0) return std::nullopt;
  return Place{0, static_cast<std::int64_t>(from) - reach, std::max(0.0, 1 - product * product / (old_energy * new_energy)), product < 0};
}

}  // namespace

Result<std::optional<Alignment>> quick_alignment(const FileSheet& old_file, const FileSheet& new_file, const Hooks& hooks) {
  auto before = Reader::open(old_file.path), after = Reader::open(new_file.path);
  if (!before) return tl::unexpected(before.error());
  if (!after) return tl::unexpected(after.error());
  const auto &old_format = before->format(), &new_format = after->format();
  if (old_format.sample_rate != new_format.sample_rate || before->channels() != after->channels()) return std::optional<Alignment>();
  const auto old_frames = old_file.facts.frames, new_frames = new_file.facts.frames;
  const auto common = std::min(old_frames, new_frames);
  if (common < 4 * kWindow) return std::optional<Alignment>();

  // In order of time, so that both files are read through once. A place where one of them is silent gives way to the next candidate.
  before->keep(kKept), after->keep(kKept);
  Correlator correlator(1 << 17);
  std::vector<std::vector<double>> far;
  std::vector<Place> places;
  int looked_at = 0;
  const auto sounds = [](const Mono& x) { return energy_of(x.data(), x.size()) >= kLeastRms * kLeastRms * static_cast<double>(x.size()); };
  for (int i = 0; i < kCandidates;) {
    if (hooks.stop != nullptr && hooks.stop->load()) return fail(ErrorCode::interrupted, "interrupted");
    if (hooks.progress) hooks.progress(static_cast<double>(i) / kCandidates);
    const auto at = (common - kWindow) * i++ / (kCandidates - 1);
    const auto a = mono_of(*before, at, kWindow);
    if (!sounds(a)) continue;
    const auto b = mono_of(*after, at - kReach, kWindow + 2 * kReach);
    if (!sounds(b)) continue;
    if (auto place = place_at(correlator, a, b, kReach)) {
      place->at = at;
      places.push_back(*place);
    }
    while (i % (kCandidates / kPlaces) != 0) ++i;
    if (looked_at++ % kFarEvery != kFarEvery / 2) continue;
    Thinned here, around;
    here.push(before->see(at, kFarWindow), kFarWindow);
    around.push(after->see(at - kFarReach, kFarWindow + 2 * kFarReach), kFarWindow + 2 * kFarReach);
    auto& lags = far.emplace_back(waveform_lags(here, around, kFarLags));
    for (auto& lag : lags) lag -= static_cast<double>(kFarReach);
  }
  if (before->error()) return tl::unexpected(*before->error());
  if (after->error()) return tl::unexpected(*after->error());
  // Places in a row that agree on a lag: one such row, or a few where the version moves on the way.
  struct Row {
    std::int64_t lag, from, to;
    int places;
  };
  std::vector<Row> in_a_row;
  int agreed = 0;
  for (const auto& place : places) {
    if (!in_a_row.empty() && in_a_row.back().lag == place.lag) {
      in_a_row.back().to = place.at, ++in_a_row.back().places;
    } else {
      in_a_row.push_back({place.lag, place.at, place.at, 1});
    }
  }
  std::erase_if(in_a_row, [&](const Row& row) { return row.places < kLeastInRow; });
  std::vector<Row> kept;
  for (const auto& row : in_a_row) {
    agreed += row.places;
    if (!kept.empty() && kept.back().lag == row.lag) {
      kept.back().to = row.to, kept.back().places += row.places;
    } else {
      kept.push_back(row);
    }
  }
  if (kept.empty() || agreed < kLeastPlaces || agreed < kAgree * looked_at) return std::optional<Alignment>();
  // All of them missed it where it is none of the best far around.
  const auto among = [&](const std::vector<double>& lags) {
    return std::ranges::any_of(lags, [&](double lag) {
      return std::ranges::any_of(kept, [&](const Row& row) { return std::abs(lag - static_cast<double>(row.lag)) <= kFarOff; });
    });
  };
  if (!far.empty() && std::ranges::none_of(far, among)) return std::optional<Alignment>();
  std::vector<double> left;
  for (const auto& place : places) left.push_back(place.left);
  std::ranges::nth_element(left, left.begin() + static_cast<std::ptrdiff_t>(left.size() / 2));
  if (left[left.size() / 2] < kAlike) return std::optional<Alignment>();
  Alignment alignment;
  alignment.rate = old_format.sample_rate;
  alignment.old_frames = old_frames, alignment.new_frames = new_frames;
  const double likeness = std::sqrt(1 - left[left.size() / 2]);
  for (std::size_t i = 0; i < kept.size(); ++i) {
    const auto lag = kept[i].lag;
    // Half way between the places that still and that already lie there.
    const auto from = i == 0 ? std::max<std::int64_t>(0, -lag) : (kept[i - 1].to + kWindow + kept[i].from) / 2;
    const auto to = i + 1 == kept.size() ? std::min(old_frames, new_frames - lag) : (kept[i].to + kWindow + kept[i + 1].from) / 2;
    alignment.stretches.push_back({from, to, static_cast<double>(lag), likeness});
  }
  return std::optional(alignment);
}

Result<std::optional<ChannelLags>> channel_lags(const std::string& old_path, const std::string& new_path, const Alignment& alignment, const Hooks& hooks) {
  auto before = Reader::open(old_path), after = Reader::open(new_path);
  if (!before) return tl::unexpected(before.error());
  if (!after) return tl::unexpected(after.error());
  if (before->channels() != 2 || after->channels() != 2 || before->format().sample_rate != after->format().sample_rate || alignment.speed != 1 || alignment.stretches.empty())
    return std::optional<ChannelLags>();
  Correlator correlator(1 << 16);
  std::map<std::array<std::int64_t, 4>, int> votes;  // lags, and which are inverted
  int looked_at = 0;
  for (int i = 0; i < kChannelPlaces; ++i) {
    if (hooks.stop != nullptr && hooks.stop->load()) return fail(ErrorCode::interrupted, "interrupted");
    const auto at = (alignment.old_frames - kChannelWindow) * (2 * i + 1) / (2 * kChannelPlaces);
    const auto stretch = std::ranges::find_if(alignment.stretches, [&](const Stretch& one) { return one.from <= at && one.to >= at + kChannelWindow; });
    if (stretch == alignment.stretches.end()) continue;
    const auto lag = std::llround(stretch->lag);
    std::array<std::int64_t, 4> seen{};
    bool found = true;
    for (std::size_t c = 0; c < 2 && found; ++c) {
      const auto row = [&](Reader& file, std::int64_t from, std::int64_t frames) {
        const float* x = file.see(from, frames)[c];
        return Mono(x, x + frames);
      };
      const auto place = place_at(correlator, row(*before, at, kChannelWindow), row(*after, at + lag - kChannelReach, kChannelWindow + 2 * kChannelReach), kChannelReach);
      found = place.has_value();
      if (found) seen[c] = lag + place->lag, seen[2 + c] = place->inverted ? 1 : 0;
    }
    if (!found) continue;
    ++looked_at;
    ++votes[seen];
  }
  for (const auto* file : {&*before, &*after}) {
    if (file->error()) return tl::unexpected(*file->error());
  }
  const auto most = std::ranges::max_element(votes, {}, [](const auto& one) { return one.second; });
  if (most == votes.end() || most->second < kLeastChannelPlaces || most->second < kChannelsAgree * looked_at) return std::optional<ChannelLags>();
  const auto& [left, right, left_inverted, right_inverted] = most->first;
  return std::optional(ChannelLags{static_cast<double>(left), static_cast<double>(right), left_inverted != 0, right_inverted != 0});
}

std::string in_words(const ChannelLags& lags) {
  std::string text;
  for (const bool right : {false, true}) {
    const auto frames = static_cast<std::int64_t>(right ? lags.right : lags.left);
    if (frames == 0) continue;
    text += (text.empty() ? "its " : ", its ") + std::string(right ? "right" : "left") + " channel " + std::to_string(std::abs(frames)) + (std::abs(frames) == 1 ? " frame " : " frames ") + (frames > 0 ? "late" : "early");
  }
  return text;
}

}  // namespace sendworthy::pair
