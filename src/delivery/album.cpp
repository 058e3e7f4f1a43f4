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
constexpr std::int64_t kAround = 256;
constexpr double kBlockStep = 0.1001;  // blocks of 400 ms overlap by three quarters

using Songs = std::vector<const Member*>;

std::string song(const Members& members, const Member& member) {
  return fmt::format("\"{}\"", base::for_terminal(members.item_of(member).title == members.order.title ? measure::file_name_of(member.relative) : std::string_view(members.item_of(member).title)));
}

void loudness(const Members& members, const Songs& songs, std::vector<Finding>& findings) {
  std::vector<std::vector<float>> momentary;
  std::vector<std::pair<double, const Member*>> each;
  std::vector<std::string> paths, without;
  for (const auto* one : songs) {
    paths.push_back(one->path);
    const auto integrated = one->readable() ? number_of(*one->file, "integrated_loudness") : std::nullopt;
    const auto line = std::ranges::find(one->file->timelines, "momentary", &Timeline::id);
    // Of a song beyond some 13 minutes the series has fewer points than there are blocks.
    if (!integrated || line == one->file->timelines.end() || line->step_s > kBlockStep) {
      without.push_back(one->path);
      continue;
    }
    each.emplace_back(*integrated, one);
    momentary.push_back(line->values);
  }
  if (!without.empty()) {
    findings.push_back(unmeasured("album-loudness", "the loudness of a song could not be measured, or it is longer than 13 minutes", std::move(without)));
    return;
  }
  if (each.empty()) return;
  const auto [softest, loudest] = std::ranges::minmax_element(each, {}, [](const auto& one) { return one.first; });
  const double spread = loudest->first - softest->first;
  const auto all = loudness_of_all(momentary);
  const auto& album = *members.order.album;
  auto text = fmt::format("{} LUFS together, loudest {} {} LUFS, spread {} LU", all ? base::fixed(*all, 1) : "no", song(members, *loudest->second), base::fixed(loudest->first, 1), base::fixed(spread, 1));
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
    findings.push_back(faults.empty() ? passed("album-order", text, {one.path}) : faulted("album-order", text, {one.path}));
  }
}

void gaps(const Members& members, const Songs& songs, std::vector<Finding>& findings) {
  const double wanted = *members.order.album->gap_s;
  for (std::size_t i = 1; i < songs.size(); ++i) {
    const auto &before = *songs[i - 1], &after = *songs[i];
    const auto tail = before.readable() ? number_of(*before.file, "trailing_silence") : std::nullopt;
    const auto head = after.readable() ? number_of(*after.file, "leading_silence") : std::nullopt;
    if (!tail || !head) {
      findings.push_back(unmeasured("album-order", "the gap needs the silence at the end of one song and at the start of the next", {before.path, after.path}));
      continue;
    }
    const double gap = *tail + *head;
    const auto text = fmt::format("gap of {} s, ordered {} s", base::fixed(gap, 2), base::shortest(wanted));
    findings.push_back(std::abs(gap - wanted) <= kGapTolerance ? passed("album-order", text, {before.path, after.path}) : faulted("album-order", text, {before.path, after.path}));
  }
}

void joins(const Songs& songs, std::vector<Finding>& findings) {
  for (std::size_t i = 1; i < songs.size(); ++i) {
    const auto &before = *songs[i - 1], &after = *songs[i];
    const std::vector<std::string> paths{before.path, after.path};
    if (!before.readable() || !after.readable()) {
      findings.push_back(unmeasured("album-order", "the join needs both songs", paths));
      continue;
    }
    if (before.file->facts.sample_rate != after.file->facts.sample_rate || before.file->facts.channels != after.file->facts.channels) {
      findings.push_back(unmeasured("album-order", "songs of another rate or number of channels cannot be joined", paths));
      continue;
    }
    const auto join = join_of(before.path, after.path);
    if (!join) {
      findings.push_back(unmeasured("album-order", base::for_terminal(join.error().text), paths));
      continue;
    }
    std::vector<std::string> faults;
    if (join->silent_frames > 0) faults.push_back(fmt::format("{} frames of digital silence at the join ({} s)", join->silent_frames, base::fixed(static_cast<double>(join->silent_frames) / before.file->facts.sample_rate, 3)));
    if (join->step > kStepsAboveUsual * std::max(join->usual_step, 0x1p-15)) faults.push_back(fmt::format("a step of {} dBFS, {} dB over what is usual there", base::fixed(20 * std::log10(join->step), 1), base::fixed(20 * std::log10(join->step / std::max(join->usual_step, 0x1p-15)), 0)));
    if (before.file->facts.sample_rate == 44100 && before.file->facts.frames % kCdFrame != 0)
      faults.push_back(fmt::format("the first ends {} samples into a CD frame", before.file->facts.frames % kCdFrame));
    std::string text = faults.empty() ? "runs on" : "";
    for (const auto& fault : faults) text += (text.empty() ? "" : "; ") + fault;
    findings.push_back(faults.empty() ? passed("album-order", text, paths) : faulted("album-order", text, paths));
  }
}

void disc(const Songs& songs, std::vector<Finding>& findings) {
  double seconds = 0;
  bool cd = !songs.empty();
  std::vector<std::string> paths, too_short;
  for (const auto* one : songs) {
    if (!one->readable()) return;
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
  const auto end = first->length();
  pair::Rows head, tail;
  second->read(0, second->format().sample_rate, head);
  const auto kept = std::min<std::int64_t>(end, first->format().sample_rate);
  first->read(end - kept, kept, tail);
  if (first->error()) return tl::unexpected(*first->error());
  if (second->error()) return tl::unexpected(*second->error());
  Join join;
  const auto channels = std::min(tail.size(), head.size());
  const auto silent_from = [&](auto is_silent, std::int64_t most) {
    std::int64_t count = 0;
    while (count < most && is_silent(count)) ++count;
    return count;
  };
  const auto all_zero = [&](const pair::Rows& rows, std::size_t at) { return std::ranges::all_of(rows, [&](const auto& row) { return row[at] == 0.0F; }); };
  const auto tail_frames = static_cast<std::int64_t>(tail.empty() ? 0 : tail[0].size()), head_frames = static_cast<std::int64_t>(head.empty() ? 0 : head[0].size());
  const auto silent_tail = silent_from([&](std::int64_t n) { return all_zero(tail, static_cast<std::size_t>(tail_frames - 1 - n)); }, tail_frames);
  const auto silent_head = silent_from([&](std::int64_t n) { return all_zero(head, static_cast<std::size_t>(n)); }, head_frames);
  // A sample or two may be zero by chance.
  if (silent_tail + silent_head > 2) join.silent_frames = silent_tail + silent_head;
  for (std::size_t c = 0; c < channels; ++c) {
    std::vector<double> around;
    const auto from = static_cast<std::size_t>(std::max<std::int64_t>(0, tail_frames - kAround));
    for (auto n = from; n < tail[c].size(); ++n) around.push_back(static_cast<double>(tail[c][n]));
    const auto joint = around.size();
    for (std::size_t n = 0; n < std::min<std::size_t>(head[c].size(), kAround); ++n) around.push_back(static_cast<double>(head[c][n]));
    for (std::size_t n = 1; n < around.size(); ++n) {
      const double step = std::abs(around[n] - around[n - 1]);
      auto& target = n == joint ? join.step : join.usual_step;
      target = std::max(target, step);
    }
  }
  return join;
}

std::vector<Finding> album_findings(const Members& members) {
  std::vector<Finding> findings;
  if (!members.order.album) return findings;
  Songs songs;
  for (const auto item : members.order.album->order) {
    if (const auto* one = members.only(item)) songs.push_back(one);
  }
  if (songs.size() < members.order.album->order.size())
    findings.push_back(unmeasured("album-order", "a song of the running order has no file, or more than one", {}));
  numbers(members, songs, findings);
  loudness(members, songs, findings);
  if (members.order.album->gap_s) gaps(members, songs, findings);
  if (members.order.album->gapless) joins(songs, findings);
  disc(songs, findings);
  return findings;
}

}  // namespace sendworthy::delivery
