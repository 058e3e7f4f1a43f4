#include "delivery/album.h"

#include <fmt/format.h>

#include <algorithm>
#include <charconv>
#include <cmath>

#include "base/text.h"
#include "delivery/set_rules.h"
#include "measure/name_checks.h"
#include "pair/reader.h"

namespace sendworthy::delivery {
namespace {

constexpr double kLoudestTolerance = 0.2;  // AES TD1008, table 1: upper tolerance of music
constexpr double kGapTolerance = 0.25;     // common practice, no source
constexpr double kStepsAboveUsual = 4;     // own; a join that is none lies among its neighbours
constexpr std::int64_t kCdFrame = 588;     // IEC 60908: 44,100 / 75
constexpr double kCdMinutes = 79.8, kCdShortest = 4;
constexpr std::size_t kCdTracks = 99;
constexpr std::int64_t kAround = 256, kAtJoin = 2;
constexpr float kQuiet = 1e-4F;            // -80 dBFS: under the noise of any room, over dither of 16 bits
constexpr double kQuietFor = 0.005;        // seconds; own
constexpr double kDipDb = -14;             // own: of 3,600 cuts through music and its parts, alone and together, 3 voices reached it
constexpr double kSameLeft = 1e-4, kUnlikeLeft = 0.5;  // own: what dither leaves, and what passages of one key and meter share
constexpr int kMostTries = 64;
constexpr double kBlockStep = 0.1001;  // blocks of 400 ms overlap by three quarters

using Songs = std::vector<const Member*>;  // by place; nothing where a song has no file, or more than one

constexpr std::string_view kAddSong = "Put one file for each song of the running order into the folder, then check again.";

std::string missing(std::size_t place) { return fmt::format("song {} has no file, or more than one", place + 1); }

std::string song(const Members& members, const Member& member) {
  return fmt::format("\"{}\"", base::for_terminal(members.item_of(member).title == members.order.title ? measure::file_name_of(member.relative) : std::string_view(members.item_of(member).title)));
}

void loudness(const Members& members, const Songs& songs, std::vector<Finding>& findings) {
  const auto& album = *members.order.album;
  std::vector<std::vector<float>> momentary;
  std::vector<std::pair<double, const Member*>> each;
  std::vector<std::string> paths, without, too_long;
  for (std::size_t i = 0; i < songs.size(); ++i) {
    const auto* one = songs[i];
    if (one == nullptr) {
      findings.push_back(unmeasured("album-loudness", "the album is not complete: " + missing(i), {}, kAddSong));
      return;
    }
    paths.push_back(one->path);
    const auto integrated = one->readable() ? number_of(*one->file, "integrated_loudness") : std::nullopt;
    if (!integrated) {
      without.push_back(one->path);
      continue;
    }
    each.emplace_back(*integrated, one);
    // Of a song beyond some 13 minutes the series has fewer points than there are blocks.
    const auto line = std::ranges::find(one->file->timelines, "momentary", &Timeline::id);
    if (line == one->file->timelines.end() || line->step_s > kBlockStep) {
      too_long.push_back(one->path);
    } else {
      momentary.push_back(line->values);
    }
  }
  if (!without.empty()) {
    const auto reason = "the loudness of a song could not be measured";
    if (album.loudest || album.spread) {
      findings.push_back(unmeasured("album-loudness", reason, std::move(without), "Export that song again with its sound in it, or take loudest and spread out of [album]; then check again."));
    } else {
      findings.push_back(with_status("album-loudness", Status::note, fmt::format("not told: {}", reason), std::move(without)));
    }
    return;
  }
  if (each.empty()) return;
  const auto [softest, loudest] = std::ranges::minmax_element(each, {}, [](const auto& one) { return one.first; });
  const double spread = loudest->first - softest->first;
  const auto all = loudness_of_all(momentary);
  // Limits are on single songs: what all are together is told where it is known.
  const auto together = !too_long.empty() ? fmt::format("\"{}\" is longer than 13 minutes, so what all are together is not told", base::for_terminal(measure::file_name_of(too_long.front())))
                                          : fmt::format("{} LUFS together", all ? base::fixed(*all, 1) : "no");
  auto text = fmt::format("{}, loudest {} {} LUFS, spread {} LU", together, song(members, *loudest->second), base::fixed(loudest->first, 1), base::fixed(spread, 1));
  std::vector<std::string> faults;
  std::string remedy;
  if (album.loudest && std::abs(loudest->first - *album.loudest) > kLoudestTolerance + 1e-9) {
    const double change = *album.loudest - loudest->first;
    faults.push_back(fmt::format("the loudest should have {} LUFS", base::fixed(*album.loudest, 1)));
    remedy = fmt::format("Turn all songs {} by {} dB, one gain for all; the steps between them stay.", change < 0 ? "down" : "up", base::fixed(std::abs(change), 1));
  }
  if (album.spread && spread > *album.spread + 1e-9) {
    faults.push_back(fmt::format("the spread should be at most {} LU, softest is {} with {} LUFS", base::fixed(*album.spread, 1), song(members, *softest->second), base::fixed(softest->first, 1)));
    remedy += (remedy.empty() ? "" : " ") + fmt::format("Bring {} and {} nearer to each other by {} dB, if the step is not meant.", song(members, *loudest->second), song(members, *softest->second), base::fixed(spread - *album.spread, 1));
  }
  for (const auto& one : faults) text += "; " + one;
  // What the client states fails; without a limit the figures are told and nothing is asked.
  auto finding = with_status("album-loudness", faults.empty() ? Status::pass : Status::fail, text, faults.empty() ? paths : std::vector<std::string>{loudest->second->path, softest->second->path});
  if (!remedy.empty()) finding.remedy = remedy;
  findings.push_back(std::move(finding));
}

int leading_number(std::string_view text) {
  int number = 0;
  std::from_chars(text.data(), text.data() + text.size(), number);
  return number;
}

void numbers(const Members& members, const Songs& songs, std::vector<Finding>& findings) {
  for (std::size_t i = 0; i < songs.size(); ++i) {
    if (songs[i] == nullptr) {
      findings.push_back(unmeasured("album-order", missing(i), {}, kAddSong));
      continue;
    }
    const auto& one = *songs[i];
    const int place = static_cast<int>(i) + 1;
    std::vector<std::string> faults;
    const auto named = measure::track_in_name(measure::stem_of(measure::file_name_of(one.relative)), members.item_of(one).title);
    if (named && *named != place) faults.push_back(fmt::format("its name says {}", *named));
    if (one.readable()) {
      for (const auto& tag : one.file->facts.tags) {
        const int number = tag.name == "track" ? leading_number(tag.value) : place;
        if (number != place) faults.push_back(fmt::format("its tag says {} ({})", base::for_terminal(tag.value), base::for_terminal(tag.origin)));
      }
    }
    std::string text = fmt::format("song {}", place);
    for (const auto& fault : faults) text += "; " + fault;
    if (!faults.empty()) {
      findings.push_back(faulted("album-order", text, {one.path}));
    } else if (!one.readable()) {
      findings.push_back(unmeasured("album-order", fmt::format("song {}: the file has no sheet, so what its tags say is not known", place), {one.path}));
    } else {
      findings.push_back(passed("album-order", text, {one.path}));
    }
  }
}

/// Whether two neighbours are both there; says so where they are not.
bool both_there(const Songs& songs, std::size_t second, std::string_view what, std::vector<Finding>& findings) {
  if (songs[second - 1] != nullptr && songs[second] != nullptr) return true;
  const auto lost = songs[second - 1] == nullptr ? second - 1 : second;
  std::vector<std::string> paths;
  for (const auto* one : {songs[second - 1], songs[second]}) {
    if (one != nullptr) paths.push_back(one->path);
  }
  findings.push_back(unmeasured("album-order", fmt::format("the {} from song {} to song {}: {}", what, second, second + 1, missing(lost)), std::move(paths), kAddSong));
  return false;
}

void gaps(const Members& members, const Songs& songs, std::vector<Finding>& findings) {
  const double wanted = *members.order.album->gap_s;
  for (std::size_t i = 1; i < songs.size(); ++i) {
    if (!both_there(songs, i, "gap", findings)) continue;
    const auto &before = *songs[i - 1], &after = *songs[i];
    const auto tail = before.readable() ? number_of(*before.file, "trailing_silence") : std::nullopt;
    const auto head = after.readable() ? number_of(*after.file, "leading_silence") : std::nullopt;
    if (!tail || !head) {
      findings.push_back(unmeasured("album-order", "the gap needs the silence at the end of one song and at the start of the next", {before.path, after.path}, "Export the song that has no sheet, or no sound, again; then check again."));
      continue;
    }
    const double gap = *tail + *head;
    const auto text = fmt::format("gap of {} s, ordered {} s", base::fixed(gap, 2), base::shortest(wanted));
    findings.push_back(std::abs(gap - wanted) <= kGapTolerance ? passed("album-order", text, {before.path, after.path}) : faulted("album-order", text, {before.path, after.path}));
  }
}

void joins(const Songs& songs, std::vector<Finding>& findings) {
  for (std::size_t i = 1; i < songs.size(); ++i) {
    if (!both_there(songs, i, "join", findings)) continue;
    const auto &before = *songs[i - 1], &after = *songs[i];
    const std::vector<std::string> paths{before.path, after.path};
    if (!before.readable() || !after.readable()) {
      findings.push_back(unmeasured("album-order", "the join needs both songs", paths, kMakeReadable));
      continue;
    }
    if (before.file->facts.sample_rate != after.file->facts.sample_rate || before.file->facts.channels != after.file->facts.channels) {
      findings.push_back(unmeasured("album-order", "songs of another rate or number of channels cannot be joined", paths, "Export all songs at one rate and with one number of channels, then check again."));
      continue;
    }
    const auto join = join_of(before.path, after.path);
    if (!join) {
      findings.push_back(unmeasured("album-order", base::for_terminal(join.error().text), paths));
      continue;
    }
    std::vector<std::string> faults;
    const auto rate = before.file->facts.sample_rate;
    const auto seconds = [&](std::int64_t frames) { return base::fixed(static_cast<double>(frames) / rate, 3); };
    if (join->silent_frames > 0) {
      faults.push_back(fmt::format("{} frames of digital silence at the join ({} s)", join->silent_frames, seconds(join->silent_frames)));
    } else if (static_cast<double>(join->quiet_frames) >= kQuietFor * rate) {
      faults.push_back(fmt::format("{} frames under -80 dBFS at the join ({} s)", join->quiet_frames, seconds(join->quiet_frames)));
    } else if (join->dip_db <= kDipDb) {
      faults.push_back("the first fades out into the join and the second fades in from it");
    }
    if (join->repeated_frames > 0) faults.push_back(fmt::format("the last {} frames of the first ({} s) come once more at the start of the second", join->repeated_frames, seconds(join->repeated_frames)));
    if (join->step > kStepsAboveUsual * std::max(join->usual_step, 0x1p-15)) faults.push_back(fmt::format("a step of {} dBFS, {} dB over what is usual there", base::fixed(20 * std::log10(join->step), 1), base::fixed(20 * std::log10(join->step / std::max(join->usual_step, 0x1p-15)), 0)));
    if (before.file->facts.sample_rate == 44100 && before.file->facts.frames % kCdFrame != 0)
      faults.push_back(fmt::format("the first ends {} {} into a CD frame", before.file->facts.frames % kCdFrame, before.file->facts.frames % kCdFrame == 1 ? "sample" : "samples"));
    std::string text = faults.empty() ? "runs on, by level, steps and repeats; what was cut out there cannot be seen" : "";
    for (const auto& fault : faults) text += (text.empty() ? "" : "; ") + fault;
    findings.push_back(faults.empty() ? passed("album-order", text, paths) : faulted("album-order", text, paths));
  }
}

void disc(const Songs& songs, std::vector<Finding>& findings) {
  double seconds = 0;
  bool cd = !songs.empty();
  std::vector<std::string> paths, too_short;
  for (const auto* one : songs) {
    if (one == nullptr || !one->readable()) return;
    cd = cd && one->file->facts.sample_rate == 44100 && one->file->facts.bit_depth == 16;
    seconds += one->file->facts.duration_s;
    paths.push_back(one->path);
    if (one->file->facts.duration_s < kCdShortest) too_short.push_back(one->path);
  }
  if (!cd) return;
  const auto total = fmt::format("{} songs, {}", songs.size(), base::clock_time(seconds, 1));
  if (!too_short.empty()) findings.push_back(faulted("album-order", fmt::format("shorter than the {} s that a CD track has at least", kCdShortest), std::move(too_short)));
  if (songs.size() > kCdTracks || seconds > kCdMinutes * 60) {
    findings.push_back(with_status("album-order", Status::warn, fmt::format("{}: a CD holds {} tracks and, by plant, 74 to {} min", total, kCdTracks, base::shortest(kCdMinutes)), std::move(paths)));
  } else {
    findings.push_back(passed("album-order", total, std::move(paths)));
  }
}

/// The frames of one side of a join, counted from the join on.
class Side {
 public:
  Side(const pair::Rows& rows, bool ends_at_join) : rows_(rows), frames_(static_cast<std::int64_t>(rows.front().size())), ends_at_join_(ends_at_join) {}

  [[nodiscard]] std::int64_t run_under(float level, std::int64_t most) const {
    std::int64_t count = 0;
    while (count < std::min(most, frames_) && std::ranges::all_of(rows_, [&](const auto& row) { return std::abs(at(row, count)) <= level; })) ++count;
    return count;
  }

  /// Windows from 8 frames on: how far the one at the join lies under the lowest of those that begin 16 to 64 windows away. What
  /// fades in a straight line halves its level with half the distance, and nothing else does so down to the last samples. A zero
  /// crossing does not: level and steps both have to be low.
  [[nodiscard]] double dip_db(std::int64_t most) const {
    const auto length = std::min(most, frames_);
    std::vector<double> levels{0}, steps{0};
    for (std::int64_t n = 0; n < length; ++n) {
      double level = 0, step = 0;
      for (const auto& row : rows_) {
        const double here = static_cast<double>(at(row, n)), next = n + 1 < length ? static_cast<double>(at(row, n + 1)) : here;
        level += here * here, step += (next - here) * (next - here);
      }
      levels.push_back(levels.back() + level), steps.push_back(steps.back() + step);
    }
    double deepest = 0;
    for (std::int64_t window = 8; 64 * window <= length; window *= 2) {
      const auto energy = [&](const std::vector<double>& sums, std::int64_t from) { return std::max(0.0, sums[static_cast<std::size_t>(from + window)] - sums[static_cast<std::size_t>(from)]); };
      std::vector<double> some_levels, some_steps;
      for (auto from = 16 * window; from <= 63 * window; from += window / 2) some_levels.push_back(energy(levels, from)), some_steps.push_back(energy(steps, from));
      const double level = middle(some_levels), step = middle(some_steps);
      if (level <= 0 || step <= 0) continue;
      double lowest = 1;
      for (std::size_t i = 0; i < some_levels.size(); ++i) lowest = std::min(lowest, std::max(some_levels[i] / level, some_steps[i] / step));
      const double here = std::max(energy(levels, 0) / level, energy(steps, 0) / step);
      deepest = std::min(deepest, 10 * std::log10(std::max(here, 1e-12) / std::max(lowest, 1e-6)));
    }
    return deepest;
  }

 private:
  [[nodiscard]] float at(const std::vector<float>& row, std::int64_t n) const { return row[static_cast<std::size_t>(ends_at_join_ ? frames_ - 1 - n : n)]; }
  static double middle(std::vector<double> values) {
    const auto half = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
    std::ranges::nth_element(values, half);
    return *half;
  }

  const pair::Rows& rows_;
  std::int64_t frames_;
  bool ends_at_join_;
};

/// How much of `a` from `at` on is left when `b` from `from` on is taken out, over both their energy: 0 where they are one, 1 where
/// they have nothing in common.
double left_over(const pair::Rows& a, std::int64_t at, const pair::Rows& b, std::int64_t from, std::int64_t frames) {
  double left = 0, energy = 0;
  for (std::size_t c = 0; c < a.size(); ++c) {
    for (std::int64_t n = 0; n < frames; ++n) {
      const double x = static_cast<double>(a[c][static_cast<std::size_t>(at + n)]), y = static_cast<double>(b[c][static_cast<std::size_t>(from + n)]);
      left += (x - y) * (x - y), energy += x * x + y * y;
    }
  }
  return energy > 0 ? left / energy : 1;
}

/// Up to a second of the end of `tail` that stands at the start of `head` once more. Music that repeats itself by that very length
/// before or after it does not count.
std::int64_t repeated(const pair::Rows& tail, const pair::Rows& head, std::int64_t most) {
  const auto before = static_cast<std::int64_t>(tail.front().size()), after = static_cast<std::int64_t>(head.front().size());
  if (before < 2 * kAround || after < 2 * kAround) return 0;
  const auto energy_of = [](const std::vector<float>& row, std::int64_t from) {
    double energy = 0;
    for (std::int64_t n = from; n < from + kAround; ++n) energy += static_cast<double>(row[static_cast<std::size_t>(n)]) * static_cast<double>(row[static_cast<std::size_t>(n)]);
    return energy;
  };
  std::size_t loudest = 0;
  for (std::size_t c = 1; c < head.size(); ++c) {
    if (energy_of(head[c], 0) > energy_of(head[loudest], 0)) loudest = c;
  }
  const auto &mark = head[loudest], &row = tail[loudest];
  const double energy = energy_of(mark, 0);
  if (energy <= static_cast<double>(kQuiet * kQuiet) * static_cast<double>(kAround)) return 0;
  int tried = 0;
  for (auto frames = kAround; frames <= std::min({most, before / 2, after / 2}); ++frames) {
    double product = 0;
    for (std::int64_t n = 0; n < kAround; ++n) product += static_cast<double>(mark[static_cast<std::size_t>(n)]) * static_cast<double>(row[static_cast<std::size_t>(before - frames + n)]);
    if (product < 0.999 * std::sqrt(energy * energy_of(row, before - frames))) continue;
    if (++tried > kMostTries) return 0;  // a steady tone fits anywhere
    if (left_over(head, 0, tail, before - frames, frames) > kSameLeft) continue;
    if (left_over(tail, before - 2 * frames, tail, before - frames, frames) < kUnlikeLeft || left_over(head, frames, head, 0, frames) < kUnlikeLeft) continue;
    return frames;
  }
  return 0;
}

}  // namespace

std::optional<double> loudness_of_all(const std::vector<std::vector<float>>& momentary) {
  const auto energy = [](double lufs) { return std::pow(10.0, lufs / 10); };
  const auto mean_above = [&](double gate) -> std::optional<double> {
    double sum = 0;
    std::int64_t count = 0;
    for (const auto& song : momentary) {
      for (const auto value : song) {
        if (!std::isfinite(value) || static_cast<double>(value) <= gate) continue;
        sum += energy(static_cast<double>(value));
        ++count;
      }
    }
    return count == 0 ? std::nullopt : std::optional(10 * std::log10(sum / static_cast<double>(count)));
  };
  const auto ungated = mean_above(-70);
  return ungated ? mean_above(std::max(-70.0, *ungated - 10)) : std::nullopt;
}

Result<Join> join_of(const std::string& before, const std::string& after) {
  auto first = pair::Reader::open(before);
  if (!first) return tl::unexpected(first.error());
  auto second = pair::Reader::open(after);
  if (!second) return tl::unexpected(second.error());
  const std::int64_t second_long = first->format().sample_rate;
  const auto end = first->length();
  pair::Rows head, tail;
  // Twice what a repeat may last: whether the music repeats by itself shows beyond it.
  second->read(0, 2 * second_long, head);
  const auto begun = std::min(2 * second_long, second->known_end());
  for (auto& row : head) row.resize(static_cast<std::size_t>(begun));
  const auto kept = std::min(end, 2 * second_long);
  first->read(end - kept, kept, tail);
  if (first->error()) return tl::unexpected(*first->error());
  if (second->error()) return tl::unexpected(*second->error());
  const auto channels = std::min(tail.size(), head.size());
  tail.resize(channels), head.resize(channels);
  Join join;
  if (channels == 0 || kept == 0 || begun == 0) return join;
  const auto before_join = Side(tail, true), after_join = Side(head, false);
  const auto silent = before_join.run_under(0, second_long) + after_join.run_under(0, second_long);
  // A sample or two may be zero by chance.
  if (silent > 2) join.silent_frames = silent;
  join.quiet_frames = before_join.run_under(kQuiet, second_long) + after_join.run_under(kQuiet, second_long);
  join.dip_db = std::max(before_join.dip_db(second_long), after_join.dip_db(second_long));
  join.repeated_frames = repeated(tail, head, second_long);
  for (std::size_t c = 0; c < channels; ++c) {
    std::vector<double> around;
    const auto from = std::max<std::int64_t>(0, kept - kAround);
    for (auto n = from; n < kept; ++n) around.push_back(static_cast<double>(tail[c][static_cast<std::size_t>(n)]));
    const auto joint = static_cast<std::int64_t>(around.size());
    for (std::int64_t n = 0; n < std::min(begun, kAround); ++n) around.push_back(static_cast<double>(head[c][static_cast<std::size_t>(n)]));
    for (std::int64_t n = 1; n < static_cast<std::int64_t>(around.size()); ++n) {
      const double step = std::abs(around[static_cast<std::size_t>(n)] - around[static_cast<std::size_t>(n - 1)]);
      // A click on the very last samples is none of what is usual.
      auto& target = std::abs(n - joint) <= kAtJoin ? join.step : join.usual_step;
      target = std::max(target, step);
    }
  }
  return join;
}

std::vector<Finding> album_findings(const Members& members) {
  std::vector<Finding> findings;
  if (!members.order.album) return findings;
  Songs songs;
  for (const auto item : members.order.album->order) songs.push_back(members.only(item));
  numbers(members, songs, findings);
  loudness(members, songs, findings);
  if (members.order.album->gap_s) gaps(members, songs, findings);
  if (members.order.album->gapless) joins(songs, findings);
  disc(songs, findings);
  return findings;
}

}  // namespace sendworthy::delivery
