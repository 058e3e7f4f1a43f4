#include "delivery/version_findings.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <mutex>

#include "audio/file.h"
#include "base/text.h"
#include "delivery/set_rules.h"
#include "delivery/version_names.h"
#include "measure/crew.h"
#include "measure/name_checks.h"
#include "pair/pair_of.h"
#include "pair/place.h"
#include "pair/reader.h"
#include "pair/sum_words.h"

namespace sendworthy::delivery {
namespace {

constexpr double kEditSlack = 0.25;    // as the order's contract says
constexpr double kLongestEdit = 3;     // seconds; own: a word or a line, not a verse
constexpr double kSameLengthShare = 0.1;
constexpr std::size_t kMostPrevious = 200;
constexpr double kLeastMove = 0.6;     // frames; clocks that differ are told by themselves
constexpr double kLeastMovedS = 1;     // own: less may be a sound that resembles another
constexpr double kFoldSlackDb = 0.5;   // own
constexpr double kAlikeLu = 0.1;       // own: dither and rounding move integrated loudness by far less

constexpr std::string_view kNamePrevious = "Let previous in the order name files that can be read, or take it out of the order; then check again.";

std::string place_of(double from_s, double to_s) { return base::clock_time(from_s) + " to " + base::clock_time(to_s); }

Where where_of(double from_s, double to_s, const Member& member, std::string note = {}) {
  const auto rate = member.file->facts.sample_rate;
  return {from_s, to_s, std::llround(from_s * rate), std::llround(to_s * rate), 0, member.path, std::move(note)};
}

bool is_one_sound(Pair::Kind kind) { return kind == Pair::Kind::identical_bits || kind == Pair::Kind::identical_audio; }
bool differs_by_a_hair(Pair::Kind kind) {
  return is_one_sound(kind) || kind == Pair::Kind::dither_only || kind == Pair::Kind::gain_only || kind == Pair::Kind::same_mix;
}

/// Versions that stand where the main mix stands and share sound with it.
bool held_against_main(Version version) { return version != Version::stem && is_whole_song(version); }

std::vector<HeldAgainst> to_hold(const Members& members) {
  std::vector<HeldAgainst> held;
  for (const auto& member : members.all) {
    const auto& item = members.item_of(member);
    const auto* reference = members.reference(member);
    // Cut-downs and alternates are held against something only where the order says so.
    if (item.version == Version::stem || (!held_against_main(item.version) && item.against.empty())) continue;
    if (item.version == Version::main && item.against.empty()) continue;
    if (reference != nullptr && reference->file == member.file) continue;
    held.push_back({&member, reference, {}, {}, {}});
  }
  return held;
}

/// What would have been said, had the two been held against each other.
void without_pair(const HeldAgainst& one, const Members& members, std::vector<Finding>& findings) {
  const auto reason = one.reference == nullptr   ? members.without_reference(*one.version)
                      : one.error                ? base::for_terminal(one.error->text)
                      : one.version->readable() ? std::string("what it is held against has no sheet")
                                                : std::string("the file has no sheet");
  const auto version = members.item_of(*one.version).version;
  const auto remedy = one.reference == nullptr ? kAddMain : std::string_view();
  for (const auto id : {"aligned", "version-polarity", "version-gain"}) findings.push_back(unmeasured(id, reason, files_of(one), remedy));
  if (version != Version::main) findings.push_back(unmeasured(version == Version::clean_edit ? "clean-differs-only-at-edits" : "not-identical", reason, files_of(one), remedy));
}

/// Where a version leaves the place at which it began: "441 frames late from 0:20.000 on".
std::vector<std::string> moves_of(const HeldAgainst& one) {
  std::vector<std::string> moves;
  if (!one.alignment || one.alignment->stretches.empty()) return moves;
  const auto& alignment = *one.alignment;
  double lag = alignment.stretches.front().lag;
  for (const auto& stretch : alignment.stretches) {
    const double length_s = static_cast<double>(stretch.to - stretch.from) / alignment.rate;
    if (std::abs(stretch.lag - lag) < kLeastMove || length_s < kLeastMovedS) continue;
    lag = stretch.lag;
    moves.push_back(fmt::format("{} from {} on", lag == 0 ? "to the frame" : pair::late_or_early(lag), base::clock_time(static_cast<double>(stretch.from) / alignment.rate)));
  }
  return moves;
}

void aligned(const HeldAgainst& one, std::vector<Finding>& findings) {
  const auto files = files_of(one);
  const auto& pair = *one.pair;
  if (!pair.aligned) {
    findings.push_back(unmeasured("aligned", "no place was found at which both hold the same sound" + (pair.remark.empty() ? "" : "; " + pair.remark), files, "Export both in one go from the same start and check again, or lay them together and listen."));
    return;
  }
  if (pair.speed != 1) {
    auto text = fmt::format("runs at {} times the speed", base::fixed(1 / pair.speed, 7));
    if (!pair.clock.empty()) text += ": " + pair.clock;
    findings.push_back(faulted("aligned", text, files));
    return;
  }
  // Where one is upside down, both together tell of no place.
  const bool by_channel = one.channels && one.channels->one_inverted();
  const double frames = by_channel ? one.channels->left : pair.loose ? std::round(pair.offset_frames) : pair.offset_frames;
  const auto moves = by_channel ? std::vector<std::string>{} : moves_of(one);
  // Where the channels part, what both together seem to do is one or the other.
  if (one.channels && one.channels->apart()) {
    findings.push_back(faulted("aligned", pair::in_words(*one.channels), files));
    return;
  }
  if (frames == 0 && moves.empty()) {
    findings.push_back(passed("aligned", "to the frame", files));
    return;
  }
  auto text = frames == 0 ? std::string("to the frame at first") : fmt::format("{} ({})", pair::late_or_early(frames), time_in_words(std::abs(frames) / pair.new_rate, 4));
  constexpr std::size_t kShown = 3;
  for (std::size_t i = 0; i < std::min(kShown, moves.size()); ++i) text += "; " + moves[i];
  if (moves.size() > kShown) text += fmt::format("; and {} more", moves.size() - kShown);
  findings.push_back(faulted("aligned", text, files));
}

bool surround_against_stereo(const HeldAgainst& one) {
  const auto channels = std::minmax({one.version->file->facts.channels, one.reference->file->facts.channels});
  return channels.first <= 2 && channels.second > 2;
}

void fold_down(const HeldAgainst& one, std::vector<Finding>& findings) {
  const auto files = files_of(one);
  const auto& pair = *one.pair;
  if (!pair.aligned) {
    findings.push_back(unmeasured("fold-down", "no place was found at which both hold the same sound", files, "Fold the surround mix down to stereo and listen to both."));
    return;
  }
  const bool same = differs_by_a_hair(pair.kind);
  const auto text = fmt::format("{}: {} dB are left, level {}{} dB", same ? "the same mix folded down" : to_string(pair.kind), base::fixed(pair.null_db, 1), pair.gain_db > 0 ? "+" : "", base::fixed(pair.gain_db, 2));
  findings.push_back(same && std::abs(pair.gain_db) <= kFoldSlackDb ? passed("fold-down", text, files) : faulted("fold-down", text, files));
}

void identity(const HeldAgainst& one, const Members& members, std::vector<Finding>& findings) {
  if (surround_against_stereo(one)) return fold_down(one, findings);
  const auto version = members.item_of(*one.version).version;
  if (version == Version::clean_edit || version == Version::main) return;
  const auto files = files_of(one);
  const auto& pair = *one.pair;
  // The same samples are said of all items at once.
  if (is_one_sound(pair.kind)) return;
  if (pair.aligned && differs_by_a_hair(pair.kind)) {
    findings.push_back(faulted("not-identical", fmt::format("the same mix as what it is held against: {}", to_string(pair.kind)), files));
  } else {
    findings.push_back(passed("not-identical", "yes", files));
  }
}

void polarity_and_swap(const HeldAgainst& one, std::vector<Finding>& findings) {
  const auto& pair = *one.pair;
  if (!pair.aligned || pair.loose) return;  // said by what both share, in the passages where they are most alike
  const auto files = files_of(one);
  const auto inverted = std::ranges::count(pair.inverted, true);
  std::string text;
  if (inverted > 0) text = inverted == static_cast<std::ptrdiff_t>(pair.inverted.size()) ? "inverted" : "one channel inverted";
  if (pair.swapped) text += std::string(text.empty() ? "" : ", ") + "left and right changed about";
  findings.push_back(text.empty() ? passed("version-polarity", "the same", files) : faulted("version-polarity", text, files));
}

void clean_edit(const HeldAgainst& one, const Members& members, std::vector<Finding>& findings) {
  const auto& item = members.item_of(*one.version);
  if (item.version != Version::clean_edit) return;
  const auto files = files_of(one);
  const auto& pair = *one.pair;
  if (!pair.aligned) {
    findings.push_back(unmeasured("clean-differs-only-at-edits", "it could not be lined up with the main mix", files, "Make the edit in the approved main mix itself, without moving what follows, and check again; or listen to all of it."));
    return;
  }
  if (differs_by_a_hair(pair.kind)) {
    findings.push_back(faulted("clean-differs-only-at-edits", fmt::format("differs nowhere from the main mix ({})", to_string(pair.kind)), files));
    return;
  }
  if (pair.kind == Pair::Kind::different_mix) {
    findings.push_back(faulted("clean-differs-only-at-edits", fmt::format("another mix throughout: {} dB are left", base::fixed(pair.null_db, 1)), files));
    return;
  }
  std::vector<std::string> faults;
  std::vector<Where> where, as_ordered;
  std::vector<bool> met(item.edits.size(), false);
  for (const auto& edit : pair.edits) {
    std::string note;
    if (item.edits.empty()) {
      if (std::max(edit.old_end_s - edit.old_start_s, edit.new_end_s - edit.new_start_s) >= kLongestEdit) note = fmt::format("lasts {} s or more", base::shortest(kLongestEdit));
    } else {
      bool inside = false;
      for (std::size_t i = 0; i < item.edits.size(); ++i) {
        const auto& allowed = item.edits[i];
        if (edit.old_end_s >= allowed.from_s - kEditSlack && edit.old_start_s <= allowed.to_s + kEditSlack) met[i] = true;
        if (edit.old_start_s >= allowed.from_s - kEditSlack && edit.old_end_s <= allowed.to_s + kEditSlack) inside = true;
      }
      if (!inside) note = "not within an edit of the order";
    }
    if (!note.empty()) faults.push_back(fmt::format("{} {}", place_of(edit.old_start_s, edit.old_end_s), note));
    auto& into = note.empty() ? as_ordered : where;
    if (where.size() + as_ordered.size() < kMaxWhere) into.push_back(where_of(edit.old_start_s, edit.old_end_s, *one.reference, note.empty() ? "edit" : note));
  }
  if (pair.edits_total > static_cast<std::int64_t>(pair.edits.size())) faults.push_back(fmt::format("{} places in all, more than are listed", pair.edits_total));
  std::vector<std::string> unmet;
  for (std::size_t i = 0; i < met.size(); ++i) {
    if (!met[i]) unmet.push_back(place_of(item.edits[i].from_s, item.edits[i].to_s));
  }
  for (const auto& place : unmet) faults.push_back(fmt::format("{} is as in the main mix, though the order has an edit there", place));
  auto text = fmt::format("{} {}", pair.edits_total, pair.edits_total == 1 ? "edit" : "edits");
  constexpr std::size_t kShown = 4;
  for (std::size_t i = 0; i < std::min(kShown, faults.size()); ++i) text += "; " + faults[i];
  if (faults.size() > kShown) text += fmt::format("; and {} more", faults.size() - kShown);
  // Edits that are as they should be are no places at which it fails.
  const auto right = static_cast<std::int64_t>(as_ordered.size());
  auto edits = faults.empty() ? passed("clean-differs-only-at-edits", text, files)
                              : with_status("clean-differs-only-at-edits", Status::note, fmt::format("{} {} as {} should be", right, right == 1 ? "edit" : "edits", right == 1 ? "it" : "they"), files);
  edits.where = std::move(as_ordered);
  edits.where_total = faults.empty() ? pair.edits_total : right;
  if (!faults.empty()) {
    auto finding = faulted("clean-differs-only-at-edits", text, files);
    finding.where = std::move(where);
    finding.where_total = pair.edits_total - right;
    findings.push_back(std::move(finding));
  }
  if (faults.empty() || right > 0) findings.push_back(std::move(edits));
}

/// The files of the last delivery that a main mix may be one of: those of nearly its length, and among them those whose name tells of
/// a main mix, where any does.
std::vector<const FileSheet*> likely_predecessors(const Sheet& previous, const Member& main) {
  std::vector<const FileSheet*> likely, named;
  for (const auto& file : previous.files) {
    if (file.error || std::abs(file.facts.duration_s - main.file->facts.duration_s) > kSameLengthShare * main.file->facts.duration_s) continue;
    likely.push_back(&file);
    const auto name = measure::file_name_of(file.path);
    if (name == measure::file_name_of(main.path) || guessed_version(name) == Version::main) named.push_back(&file);
  }
  return named.empty() ? likely : named;
}

void earlier_delivery(const Members& members, const CheckOptions& options, const CheckHooks& hooks, std::vector<Finding>& findings, std::vector<Pair>& pairs) {
  const auto& order = members.order;
  if (order.previous.empty()) return;
  auto inputs = expand_inputs({order.previous}, Folders::with_subfolders);
  auto plain = options;
  plain.judge = plain.timelines = plain.pictures = plain.second_meter = false;
  Sheet previous;
  std::string trouble;
  if (!inputs.without_sheet.empty()) trouble = base::for_terminal(inputs.without_sheet.front().error->text);
  if (inputs.files.size() > kMostPrevious) trouble = fmt::format("more than {} files in \"{}\"", kMostPrevious, base::for_terminal(order.previous));
  if (trouble.empty()) {
    CheckHooks quiet;
    quiet.stop = hooks.stop;
    quiet.progress = hooks.progress;
    quiet.store = hooks.store;
    previous = check_files(inputs.files, {}, plain, quiet);
    if (std::ranges::all_of(previous.files, [](const FileSheet& file) { return file.error.has_value(); }))
      trouble = previous.files.empty() ? "no file" : base::for_terminal(previous.files.front().error->text);
  }
  if (std::ranges::none_of(members.all, [&](const Member& member) { return members.item_of(member).version == Version::main; }))
    findings.push_back(unmeasured("main-is-current", "there is no main mix to hold against the last delivery", {order.previous}, "Put the main mix into the folder and on the order, or take previous out of the order; then check again."));
  for (const auto& member : members.all) {
    if (members.item_of(member).version != Version::main) continue;
    if (!trouble.empty() || !member.readable()) {
      findings.push_back(unmeasured("main-is-current", trouble.empty() ? "the file has no sheet" : "the last delivery: " + trouble, {member.path, order.previous}, trouble.empty() ? kMakeReadable : kNamePrevious));
      continue;
    }
    const FileSheet* same = nullptr;
    std::string how, error;
    std::optional<Pair> nearest;
    for (const auto& file : previous.files) {
      if (!file.error && file.audio_digest == member.file->audio_digest) same = &file, how = "the same sound as";
    }
    if (same == nullptr) {
      for (const auto* file : likely_predecessors(previous, member)) {
        pair::Hooks pairing;
        pairing.stop = hooks.stop;
        auto pair = pair::pair_of(*file, *member.file, pairing);
        if (!pair) {
          error = base::for_terminal(pair.error().text);
          continue;
        }
        if (pair->aligned && differs_by_a_hair(pair->kind)) same = file, how = fmt::format("differs by {} alone from", pair->kind == Pair::Kind::gain_only ? "level" : pair->kind == Pair::Kind::dither_only ? "dither" : "place, level or order");
        if (pair->aligned && (!nearest || pair->null_db < nearest->null_db)) nearest = std::move(*pair);
        if (same != nullptr) break;
      }
    }
    if (same != nullptr) {
      findings.push_back(faulted("main-is-current", fmt::format("{} \"{}\" of the last delivery", how, base::for_terminal(measure::file_name_of(same->path))), {member.path, same->path}));
    } else if (!error.empty()) {
      findings.push_back(unmeasured("main-is-current", error, {member.path, order.previous}, kNamePrevious));
    } else if (nearest) {
      findings.push_back(passed("main-is-current", fmt::format("{} against \"{}\"", to_string(nearest->kind), base::for_terminal(measure::file_name_of(nearest->old_path))), {member.path, nearest->old_path}));
    } else {
      findings.push_back(passed("main-is-current", "unlike every file of the last delivery", {member.path, order.previous}));
    }
    if (nearest) pairs.push_back(std::move(*nearest));
  }
}

bool placed_quickly(HeldAgainst& one, const pair::Hooks& hooks) {
  auto alignment = pair::quick_alignment(*one.reference->file, *one.version->file, hooks);
  if (!alignment) {
    one.error = alignment.error();
    return true;
  }
  if (!*alignment) return false;
  Pair pair;
  pair.old_path = one.reference->path, pair.new_path = one.version->path;
  pair.old_rate = pair.new_rate = one.version->file->facts.sample_rate;
  pair.aligned = pair.loose = true;
  pair.offset_frames = (*alignment)->stretches.front().lag;
  pair.offset_s = pair.offset_frames / (*alignment)->rate;
  pair.inverted.assign(static_cast<std::size_t>(one.version->file->facts.channels), false);
  pair.remark = "lined up at some places alone, since most of it differs";
  one.pair = std::move(pair);
  one.alignment = std::move(**alignment);
  return true;
}

/// Files that are lined up as wholes may have channels that are not.
void place_channels(HeldAgainst& one, const pair::Hooks& hooks) {
  if (!one.pair || !one.pair->aligned || !one.alignment || differs_by_a_hair(one.pair->kind) || one.pair->kind == Pair::Kind::edited) return;
  const auto lags = pair::channel_lags(one.reference->path, one.version->path, *one.alignment, hooks);
  if (lags) {
    one.channels = *lags;
  } else {
    one.error = lags.error();
    one.pair.reset();
  }
}

/// Two versions of one song that nothing holds against each other.
struct Alike {
  const Member *one = nullptr, *other = nullptr;
  std::vector<Finding> findings;
};

/// Loudness alike; or, of the same sound at another level, what a gain leaves as it is.
bool sheets_alike(const FileSheet& a, const FileSheet& b) {
  const auto difference = [&](std::string_view id) -> std::optional<double> {
    const auto of_a = number_of(a, id), of_b = number_of(b, id);
    return of_a && of_b ? std::optional(*of_a - *of_b) : std::nullopt;
  };
  const auto loudness = difference("integrated_loudness"), peak = difference("true_peak"), range = difference("loudness_range");
  if (!loudness) return false;
  return std::abs(*loudness) <= kAlikeLu || (peak && range && std::abs(*loudness - *peak) <= kAlikeLu && std::abs(*range) <= kAlikeLu);
}

/// Versions whose sheets are so near each other that they may be one sound but for level or dither: that far the digests do not see.
std::vector<Alike> likely_alike(const Members& members, const std::vector<HeldAgainst>& held) {
  std::vector<Alike> alike;
  const auto may_be = [&](const Member& one) {
    const auto version = members.item_of(one).version;
    return one.readable() && version != Version::stem && version != Version::premaster;
  };
  const auto is_held = [&](const Member& a, const Member& b) {
    return std::ranges::any_of(held, [&](const HeldAgainst& one) { return (one.version == &a && one.reference == &b) || (one.version == &b && one.reference == &a); });
  };
  for (std::size_t i = 0; i < members.all.size(); ++i) {
    for (std::size_t k = i + 1; k < members.all.size(); ++k) {
      const auto &a = members.all[i], &b = members.all[k];
      if (!may_be(a) || !may_be(b) || a.file == b.file || members.item_of(a).title != members.item_of(b).title) continue;
      // One version in two formats was ordered as that.
      if (members.item_of(a).version == members.item_of(b).version && (members.item_of(a).version == Version::main || members.item_of(a).rules != members.item_of(b).rules)) continue;
      if (a.file->audio_digest == b.file->audio_digest || is_held(a, b)) continue;
      if (a.file->facts.frames != b.file->facts.frames || a.file->facts.sample_rate != b.file->facts.sample_rate) continue;
      if (sheets_alike(*a.file, *b.file)) alike.push_back({&a, &b, {}});
    }
  }
  return alike;
}

/// A finding where they are one sound; that they are not is said by the main mix, or needs no word.
void hold_alike(Alike& two, const pair::Hooks& hooks) {
  const std::vector<std::string> files{two.one->path, two.other->path};
  const auto quick = pair::quick_alignment(*two.one->file, *two.other->file, hooks);
  if (quick && *quick) return;
  const auto pair = pair::pair_of(*two.one->file, *two.other->file, hooks);
  if (!pair) {
    two.findings.push_back(unmeasured("not-identical", base::for_terminal(pair.error().text), files));
  } else if (pair->aligned && differs_by_a_hair(pair->kind)) {
    two.findings.push_back(faulted("not-identical", fmt::format("two versions are one and the same mix: {}", to_string(pair->kind)), files));
  }
}

/// An a cappella shares too little with the main mix to be lined up by itself, or for its level to be told well. Where it and the
/// instrumental add up to the mix as they are, all three stand together and at one level.
void settled_by_sum(const std::deque<SumSeen>& sums, std::vector<Finding>& findings) {
  constexpr std::string_view kWhy = ", since instrumental and a cappella add up to the main mix";
  for (const auto& sum : sums) {
    if (sum.rule != "versions-sum" || !sum.as_they_are) continue;
    for (auto& one : findings) {
      if (one.files.empty() || std::ranges::find(sum.files, one.files.front()) == sum.files.end()) continue;
      if (one.rule == "version-gain" && one.status != Status::pass) one = passed("version-gain", fmt::format("0.0 dB{}", kWhy), one.files);
      if (one.rule == "aligned" && one.status == Status::not_measured) one = passed("aligned", fmt::format("to the frame{}", kWhy), one.files);
    }
  }
}

void run_all(const std::vector<Task>& tasks, std::size_t files, const CheckOptions& options, const CheckHooks& hooks) {
  measure::Crew crew(options.jobs);
  std::mutex mutex;
  crew.run(tasks.size(), [&](std::size_t index) {
    if (hooks.stop != nullptr && hooks.stop->load()) return;
    pair::Hooks pairing;
    pairing.stop = hooks.stop;
    if (hooks.progress) {
      pairing.progress = [&, index](double fraction) {
        const std::lock_guard lock(mutex);
        hooks.progress({files + index, files + tasks.size(), tasks[index].path, fraction});
      };
    }
    tasks[index].run(pairing);
  });
}

}  // namespace

std::vector<std::string> files_of(const HeldAgainst& one) {
  std::vector<std::string> files{one.version->path};
  if (one.reference != nullptr) files.push_back(one.reference->path);
  return files;
}

VersionFindings version_findings(const Members& members, const CheckOptions& options, const CheckHooks& hooks) {
  VersionFindings made;
  auto held = to_hold(members);
  std::vector<Task> tasks;
  for (auto& one : held) {
    if (!one.version->readable() || one.reference == nullptr || !one.reference->readable()) continue;
    const bool edit = members.item_of(*one.version).version == Version::clean_edit;
    tasks.push_back({one.version->path, [&one, edit](const pair::Hooks& pairing) {
                       // A version without a part of the mix leaves most of it: where it stands is all that is asked of it. One that may
                       // be the mix itself, or stands elsewhere, is held against it sample by sample.
                       if (!edit && one.reference->file->audio_digest != one.version->file->audio_digest && placed_quickly(one, pairing)) {
                         place_channels(one, pairing);
                         return;
                       }
                       auto pair = pair::pair_of(*one.reference->file, *one.version->file, pairing, &one.alignment);
                       if (pair) {
                         one.pair = std::move(*pair);
                         place_channels(one, pairing);
                       } else {
                         one.error = pair.error();
                       }
                     }, edit});
  }
  // Sample by sample takes longest.
  std::stable_partition(tasks.begin(), tasks.end(), [](const Task& task) { return task.long_one; });
  auto alike = likely_alike(members, held);
  for (auto& two : alike) tasks.push_back({two.one->path, [&two](const pair::Hooks& pairing) { hold_alike(two, pairing); }});
  run_all(tasks, members.all.size(), options, hooks);
  if (!tasks.empty()) made.libraries["libsoxr"] = pair::converter_version();
  for (const auto& one : held) {
    if (!one.pair) {
      without_pair(one, members, made.findings);
      continue;
    }
    aligned(one, made.findings);
    identity(one, members, made.findings);
    polarity_and_swap(one, made.findings);
    clean_edit(one, members, made.findings);
    if (!one.pair->null_over_time.empty()) made.pairs.push_back(*one.pair);
  }
  for (auto& two : alike) std::move(two.findings.begin(), two.findings.end(), std::back_inserter(made.findings));
  earlier_delivery(members, options, hooks, made.findings, made.pairs);

  std::vector<Task> second;
  std::deque<SumSeen> sums;  // tasks keep places in it
  Leaks leaks(members, held);
  // The longest first, so that nobody waits for it at the end.
  add_sum_tasks(members, held, second, sums);
  leaks.add_tasks(second);
  run_all(second, members.all.size(), options, hooks);
  for (auto& some : leaks.findings()) std::move(some.begin(), some.end(), std::back_inserter(made.findings));
  for (auto& one : sums) std::move(one.findings.begin(), one.findings.end(), std::back_inserter(made.findings));
  settled_by_sum(sums, made.findings);
  return made;
}

}  // namespace sendworthy::delivery
