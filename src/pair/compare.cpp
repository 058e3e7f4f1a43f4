// Two files, checked and held against each other: the whole flow of `compare`.
#include <sendworthy/compare.h>
#include <sendworthy/render.h>

#include <algorithm>
#include <cmath>
#include <map>
#include <string_view>
#include <tuple>
#include <utility>

#include "base/text.h"
#include "check/copies.h"
#include "pair/align.h"
#include "pair/copies.h"
#include "pair/null.h"
#include "pair/pair_of.h"
#include "pair/place.h"

namespace sendworthy {
namespace {

constexpr double kSameGainDb = 0.005, kSameGain = 1e-4;
constexpr double kNullDb = -60, kConvertedNullDb = -50;  // what rounding, and what converters leave
constexpr double kDitherSteps = 4.5;                     // both dithered: up to three steps and the rounding of each
constexpr double kEvenDb = 6, kShapedDb = 25, kShapedSteps = 128;  // of shaped dither; own
constexpr double kSameSpeed = 1e-7, kMostEdited = 0.75, kGone = 1e-6;
constexpr double kLooseDb = -10;  // what is left: more, and least squares fit noise
constexpr double kShortestWord = 16;
constexpr double kLeastFrames = 0.01, kLeastEndS = 0.0005;

bool is_problem(Status status) { return status != Status::pass && status != Status::note; }

void find_changes(Pair& pair, const FileSheet& before, const FileSheet& after, const Catalog& names) {
  std::map<std::string_view, const Measurement*> old_ones;
  for (const auto& one : before.measurements) old_ones[one.key] = &one;
  for (const auto& one : after.measurements) {
    const auto old = old_ones.find(one.key);
    if (old == old_ones.end()) continue;
    const auto* entry = names.find(one.id);
    const auto show = [&](const Measurement& m) {
      return show_value(m.outcome, entry != nullptr ? entry->unit : Unit::text, entry != nullptr ? entry->decimals : -1);
    };
    if (show(*old->second) == show(one)) {
      ++pair.unchanged;
    } else {
      pair.changes.push_back({one.id, one.key, *old->second, one});
    }
  }
}

void find_turns(Pair& pair, const FileSheet& before, const FileSheet& after) {
  using Name = std::tuple<std::string, std::string, std::string>;
  std::map<Name, std::pair<Status, Status>> both;
  for (const auto& one : before.findings) both[{one.ruleset, one.rule, one.measure}].first = one.status;
  for (const auto& one : after.findings) both[{one.ruleset, one.rule, one.measure}].second = one.status;
  for (const auto& [name, statuses] : both) {
    const auto& [was, is] = statuses;
    if (was != is && (is_problem(was) || is_problem(is))) pair.turns.push_back({std::get<0>(name), std::get<1>(name), std::get<2>(name), was, is});
  }
}

Pair::Kind kind_of(const Pair& pair, const pair::Null& null, const pair::Alignment& alignment, bool same_length) {
  const bool inverted = std::ranges::any_of(pair.inverted, [](bool one) { return one; });
  const bool moved = std::abs(pair.offset_frames) > kLeastFrames;
  const bool in_place = pair.folded_to == 0 && !moved && !inverted && !pair.swapped && std::abs(pair.speed - 1) < kSameSpeed && !null.converted;
  const auto every_gain = [&](auto is) {
    for (std::size_t c = 0; c < null.mapping.gains.size(); ++c) {
      if (null.mapping.known[c] && !is(std::abs(null.mapping.gains[c]))) return false;
    }
    return true;
  };
  const bool same_gain = every_gain([](double gain) { return std::abs(gain - 1) < kSameGain; });
  if (null.islands.empty() && same_length && in_place && same_gain) {
    // Whether samples are equal is for their digests to say, where a float cannot hold them.
    if (null.largest_left == 0 && null.exact && pair.remark.empty()) return Pair::Kind::identical_audio;
    if (null.largest_left <= kDitherSteps * null.step && pair.remark.empty()) return Pair::Kind::dither_only;
    // Noise shaping makes dither louder where it is heard less; it stays as even as it was.
    const double over_step_db = null.left_dbfs - 20 * std::log10(null.step);
    if (null.steady_db <= kEvenDb && over_step_db <= kShapedDb && null.largest_left <= kShapedSteps * null.step && pair.remark.empty()) return Pair::Kind::dither_only;
  }
  const double limit = null.converted ? kConvertedNullDb : kNullDb;
  // A soft channel must null by itself, too.
  const bool nulls = (null.outside_db <= limit && null.worst_channel_db <= limit) || null.left_dbfs <= null.floor_dbfs;
  // A channel that fell silent is no matter of level.
  if (!nulls || !every_gain([](double gain) { return gain > kGone; })) return Pair::Kind::different_mix;
  if (static_cast<double>(null.island_frames) > kMostEdited * static_cast<double>(alignment.old_frames)) return Pair::Kind::different_mix;
  if (!null.islands.empty()) return Pair::Kind::edited;
  return in_place && pair.gain_db != 0 ? Pair::Kind::gain_only : Pair::Kind::same_mix;
}

void describe(Pair& pair, const pair::Null& null, const pair::Alignment& alignment, int new_rate, bool same_length) {
  const auto seconds = [&](std::int64_t frames) { return static_cast<double>(frames) / alignment.rate; };
  pair.aligned = true;
  pair.folded_to = alignment.channels;
  pair.speed = std::abs(null.speed - 1) < kSameSpeed ? 1 : null.speed;
  pair.clock = alignment.clock;
  const double lag = null.stretches.front().lag;
  pair.offset_s = lag / alignment.rate;
  pair.offset_frames = pair.offset_s * new_rate * pair.speed;
  if (std::abs(pair.offset_frames - std::round(pair.offset_frames)) < kLeastFrames) pair.offset_frames = std::round(pair.offset_frames);
  pair.ends_later_s = seconds(alignment.new_frames - alignment.old_frames) - null.stretches.back().lag / alignment.rate;
  if (std::abs(pair.ends_later_s) < kLeastEndS) pair.ends_later_s = 0;
  pair.gain_db = null.mapping.gain_db();
  if (std::abs(pair.gain_db) < kSameGainDb) pair.gain_db = 0;
  pair.swapped = null.mapping.swapped;
  for (std::size_t c = 0; c < null.mapping.gains.size(); ++c) {
    const double gain = null.mapping.gains[c];
    pair.channel_gains_db.push_back(!null.mapping.known[c] ? std::nullopt : std::optional(std::abs(gain) <= kGone ? -144.0 : 20 * std::log10(std::abs(gain))));
    pair.inverted.push_back(gain < 0);
  }
  pair.null_db = null.null_db, pair.null_outside_db = null.outside_db, pair.left_dbfs = null.left_dbfs;
  pair.null_step_s = null.step_s, pair.null_over_time = null.over_time;
  for (const auto& octave : null.octaves) pair.octaves.push_back({octave.centre_hz, octave.null_db, octave.change_db});
  pair.kind = kind_of(pair, null, alignment, same_length);
  pair.edits_total = null.island_total;
  pair.loose = pair.kind == Pair::Kind::different_mix && pair.null_db > kLooseDb;
  if (pair.loose) pair.offset_frames = std::round(pair.offset_frames);
  // Of another mix everything differs: where it does so most is in the null over time.
  if (pair.kind == Pair::Kind::different_mix) return;
  for (const auto& one : null.islands)
    pair.edits.push_back({seconds(one.old_from), seconds(one.old_to), seconds(one.new_from) * pair.speed, seconds(one.new_to) * pair.speed, one.level_db});
}

// A file of longer words may hold shorter ones; fewer than 16 bits are how a sound was made, not how it was exported.
double step_in_use(const FileSheet& file) {
  const auto bits = std::ranges::find(file.measurements, "effective_bit_depth", &Measurement::id);
  const auto used = bits == file.measurements.end() ? std::nullopt : number(bits->outcome);
  return used && *used >= kShortestWord ? std::exp2(1 - *used) : 0;
}

// Bits that need no listening: the sound itself is one.
void describe_identical(Pair& pair, const FileSheet& file) {
  pair.aligned = true;
  pair.null_db = pair.null_outside_db = pair.left_dbfs = -144;
  pair.channel_gains_db.assign(static_cast<std::size_t>(file.facts.channels), std::optional(0.0));
  pair.inverted.assign(static_cast<std::size_t>(file.facts.channels), false);
}

}  // namespace

bool is_identical(const Pair& pair) { return pair.kind == Pair::Kind::identical_bits || pair.kind == Pair::Kind::identical_audio; }

namespace pair {

Result<Pair> pair_of(const FileSheet& before, const FileSheet& after, const Hooks& hooks, std::optional<Alignment>* found) {
  Pair pair;
  pair.old_path = before.path, pair.new_path = after.path;
  pair.old_rate = before.facts.sample_rate, pair.new_rate = after.facts.sample_rate;
  const auto no_number = [](const FileSheet& one) {
    const auto reading = std::ranges::find(one.measurements, "non_finite_samples", &Measurement::id);
    return reading != one.measurements.end() && number(reading->outcome).value_or(0) > 0;
  };
  // Every meter reads them as silence, the digest too.
  if (no_number(before) || no_number(after)) pair.remark = "samples that are no number were read as silence";
  const auto silent = [](const FileSheet& one) {
    const auto reading = std::ranges::find(one.measurements, "sample_peak", &Measurement::id);
    return reading != one.measurements.end() && !number(reading->outcome);
  };
  if (silent(before) || silent(after)) pair.remark = silent(before) && silent(after) ? "both are digital silence" : silent(before) ? "the old file is digital silence" : "the new file is digital silence";
  const bool same_bytes = !before.file_digest.empty() && before.file_digest == after.file_digest;
  // What could not be decoded has none.
  const bool same_audio = !before.audio_digest.empty() && before.audio_digest == after.audio_digest && !no_number(before);
  if (same_bytes || same_audio) {
    pair.kind = same_bytes ? Pair::Kind::identical_bits : Pair::Kind::identical_audio;
    describe_identical(pair, before);
    return pair;
  }
  try {
    const auto alignment = align(before.path, after.path, hooks);
    if (!alignment) return tl::unexpected(alignment.error());
    if (!alignment->stretches.empty()) {
      auto null = null_of(before.path, after.path, *alignment, hooks);
      if (!null) return tl::unexpected(null.error());
      null->step = std::max({null->step, step_in_use(before), step_in_use(after)});
      const bool same_length = before.facts.frames == after.facts.frames && before.facts.sample_rate == after.facts.sample_rate &&
                               before.facts.channels == after.facts.channels;
      describe(pair, *null, *alignment, after.facts.sample_rate, same_length);
      if (pair.kind == Pair::Kind::different_mix && pair.remark.empty()) {
        const auto lags = channel_lags(before.path, after.path, *alignment, hooks);
        if (!lags) return tl::unexpected(lags.error());
        if (*lags && (*lags)->apart()) {
          pair.remark = in_words(**lags);
          // Between the two is where neither stands.
          pair.offset_frames = std::abs((*lags)->left) <= std::abs((*lags)->right) ? (*lags)->left : (*lags)->right;
          pair.offset_s = pair.offset_frames / after.facts.sample_rate;
        }
      }
      if (found != nullptr) *found = *alignment;
    }
  } catch (const std::exception& problem) {
    return fail(ErrorCode::unreadable, base::for_terminal(after.path) + ": " + base::for_terminal(problem.what()));
  }
  return pair;
}

}  // namespace pair

Sheet compare_files(const std::string& old_path, const std::string& new_path, const std::vector<RuleSet>& rule_sets, CheckOptions options,
                    const CheckHooks& hooks) {
  return compare_copies(old_path, new_path, "", rule_sets, std::move(options), hooks);
}

void keep_only_failures(Sheet& sheet) {
  if (sheet.pairs.empty()) std::erase_if(sheet.files, [](const FileSheet& file) { return !file.error; });
}

Sheet compare_copies(const std::string& old_path, const std::string& new_path, const std::string& copies_in, const std::vector<RuleSet>& rule_sets,
                     CheckOptions options, const CheckHooks& hooks) {
  options.file_digest = true;
  auto sheet = check_copies({old_path, new_path}, copies_in, rule_sets, options, hooks);
  const auto file = [&](const std::string& path) { return std::ranges::find_if(sheet.files, [&](const FileSheet& one) { return one.path == path; }); };
  const auto before = file(old_path), after = file(new_path);
  if (before->error || after->error) return sheet;
  sheet.libraries["libsoxr"] = pair::converter_version();
  pair::Hooks pairing;
  pairing.stop = hooks.stop;
  if (hooks.progress) pairing.progress = [&](double fraction) { hooks.progress({1, 2, new_path, fraction}); };
  auto pair = pair::pair_of(*before, *after, pairing);
  if (!pair) {
    // What cannot be read again is the file that says so.
    const bool old_one = !pair::Reader::open(old_path) && pair::Reader::open(new_path);
    (old_one ? before : after)->error = pair.error();
    (old_one ? before : after)->verdict = sheet.verdict = Verdict::fail;
    return sheet;
  }
  find_changes(*pair, *before, *after, catalog());
  if (options.judge) find_turns(*pair, *before, *after);
  sheet.pairs.push_back(std::move(*pair));
  return sheet;
}

}  // namespace sendworthy
