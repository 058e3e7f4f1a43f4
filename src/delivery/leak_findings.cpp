// Vocal in instrumentals, band in a cappellas, lead in TV mixes; level and polarity of versions: by what leaks and what is shared.
#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "base/text.h"
#include "delivery/set_rules.h"
#include "delivery/version_findings.h"
#include "measure/name_checks.h"
#include "pair/leak.h"

namespace sendworthy::delivery {
namespace {

// Own: what a bus compressor does by itself when the vocal is gone, and when the band is.
constexpr double kLevelSlackDb = 0.5, kVoicesSlackDb = 5;

// Leaks under this are judged only where nothing else explains them; what explains one of the band has to be louder by so much: own,
// no source.
constexpr double kLeaksBelowDb = -40, kFarLouderDb = 20;

// Own: a backing voice of a TV mix stands within a few dB of where its stem stands, or it is not there.
constexpr double kThereDb = -20;
constexpr double kTooSoftDb = -66;  // own: under the noise of any room at the level music is played at
constexpr double kBleedDb = -50;    // own: of a band that is known as what the mix has more alone; microphones hear as much
constexpr double kLikely = 0.97;    // of both sounds, before their sides tell left from right where a band and a voice share little
// Own: where a band plays, some of its energy lies in the octave around 63 Hz; of voices next to none does.
constexpr double kBandLow = 0.01, kFarLess = 0.03;

constexpr std::string_view kFileOfIt = "Put a file of what is looked for into the folder and on the order, then check again; or listen for it.";
constexpr std::string_view kByEar = "Export both in one go from one session and check again, or lay them together and listen.";

std::string db(double value) { return base::fixed(value, 1) + " dB"; }

/// A file with the place where it stands on the main mix's clock.
pair::Track track_of(const Member& member, const std::vector<HeldAgainst>& held) {
  for (const auto& one : held) {
    if (one.version == &member) return {member.path, one.alignment};
  }
  return {member.path, std::nullopt};
}

bool has_word(const std::string& role, std::initializer_list<std::string_view> words) {
  const auto parts = measure::name_parts(role);
  return std::ranges::any_of(parts, [&](const std::string& part) { return std::ranges::find(words, part) != words.end(); });
}

bool is_backing(const Item& item) { return has_word(item.role, {"backing", "backings", "background", "bgv", "bgvs", "bv", "bvs", "harmony", "harmonies", "choir"}); }
bool names_voice(const std::string& text) { return has_word(text, {"vocal", "vocals", "vox", "voc", "voice", "voices", "singer", "rap"}); }
/// By its role; where that is none, or "lead", which may be a guitar, by its name.
bool is_vocal(const Item& item, const Member& member) {
  if (item.version != Version::stem) return false;
  if (is_backing(item) || names_voice(item.role)) return true;
  const auto role = measure::name_parts(item.role);
  return (role.empty() || (role.size() == 1 && role.front() == "lead")) && names_voice(std::string(measure::stem_of(measure::file_name_of(member.path))));
}

enum class Voices { all, lead, backing };

/// The stems of a song that are voices.
std::vector<const Member*> vocal_stems(const Members& members, const std::string& title, Voices which) {
  std::vector<const Member*> found;
  for (const auto& one : members.all) {
    const auto& item = members.item_of(one);
    if (!one.readable() || item.title != title || !is_vocal(item, one)) continue;
    if (which == Voices::all || is_backing(item) == (which == Voices::backing)) found.push_back(&one);
  }
  return found;
}

struct Source {
  pair::Signal signal;
  std::string words;  ///< "the a cappella"
  const Member* member = nullptr;  ///< whose sound it is; none for what one file has more than another
};

/// Where the sound is at hand that must not be in a version: files of its own, each looked for by itself, since one voice that was
/// muted says nothing of the others; else what the main mix has more.
std::vector<Source> sources_for(const Members& members, const std::vector<HeldAgainst>& held, const HeldAgainst& one) {
  const auto version = members.item_of(*one.version).version;
  const auto& title = members.item_of(*one.version).title;
  std::vector<Source> sources;
  const auto take = [&](const Member& file, std::string_view words) {
    // A stem stands where the mix stands: whether it does is asked by the sum of the stems.
    sources.push_back({{track_of(file, held), std::nullopt}, fmt::format("{} \"{}\"", words, base::for_terminal(measure::file_name_of(file.path))), &file});
  };
  if (version == Version::tv_mix) {
    for (const auto* stem : vocal_stems(members, title, Voices::lead)) take(*stem, "the stem");
  } else if (const auto* other = members.version(version == Version::instrumental ? Version::a_cappella : Version::instrumental, title)) {
    take(*other, version == Version::instrumental ? "the a cappella" : "the instrumental");
  } else if (version == Version::instrumental) {
    for (const auto* stem : vocal_stems(members, title, Voices::all)) take(*stem, "the stem");
  }
  // What is left of the main mix is what was taken out: it finds what was taken out in part, and nothing that was left in whole.
  if (sources.empty() && one.pair && one.pair->aligned)
    sources.push_back({{{one.reference->path, std::nullopt}, track_of(*one.version, held)}, "the main mix less this file, which does not show what was left in as it was", nullptr});
  return sources;
}

std::string_view rule_for(Version version) {
  switch (version) {
    case Version::instrumental: return "vocal-in-instrumental";
    case Version::a_cappella: return "band-in-a-cappella";
    case Version::tv_mix: return "lead-in-tv-mix";
    default: return {};
  }
}

double level_of(const pair::Leak& leak) { return leak.diffuse ? leak.diffuse_db : leak.leak_db; }

const LeakSeen* answer_to(const LeakSeen& seen, const std::deque<LeakSeen>& all) {
  for (const auto& other : all) {
    if (other.suspect == seen.source && other.source == seen.suspect) return &other;
  }
  return nullptr;
}

/// In a TV mix one voice must be gone and others not: which is meant has to be said.
std::string of_what(const LeakSeen& one) { return one.rule == rule_for(Version::tv_mix) ? " of the lead" : ""; }

Finding leak_finding(const LeakSeen& one, const Members& members, const std::deque<LeakSeen>& all) {
  const auto& leak = one.leak;
  const std::vector<std::string> files{one.suspect->path, one.source_path};
  const auto seen = fmt::format("smallest that could be seen {}", db(leak.smallest_db));
  if (!one.spoiled.empty() && (leak.found || leak.measured)) return unmeasured(one.rule, fmt::format("{}: what would be heard of another part may be that alone", one.spoiled), files, "Mend that first, then check again.");
  const bool bleed = one.difference && one.rule == rule_for(Version::a_cappella);
  if (leak.found && level_of(leak) < (bleed ? kBleedDb : kTooSoftDb)) return passed(one.rule, fmt::format("{}{}, too soft to matter; {}; by {}", db(level_of(leak)), of_what(one), seen, one.words), files);
  // What a few places alone tell, where so little can be seen, may be a processor at work.
  const bool hardly = leak.found && !leak.diffuse && leak.leak_db < leak.smallest_db && leak.smallest_db > kLeaksBelowDb;
  if (hardly) return unmeasured(one.rule, fmt::format("in places something is left that may be it, {}, but the {}", db(leak.leak_db), seen), files, kFileOfIt);
  if (leak.found && leak.diffuse && one.difference)
    return unmeasured(one.rule, fmt::format("what one mix has more than the other comes back at {}: reverberation of it, or a channel whose level or place is another", db(leak.diffuse_db)), files, kFileOfIt);
  if (leak.found) {
    if (const auto* other = one.source != nullptr ? answer_to(one, all) : nullptr; other != nullptr) {
      if (const auto reason = explained_by(one, *other); !reason.empty())
        return unmeasured(one.rule, reason, files, fmt::format("Mend \"{}\" first, then check again.", base::for_terminal(measure::file_name_of(one.source_path))));
    }
    auto finding = faulted(one.rule, leak.diffuse ? fmt::format("reverberation of it at {}{}; {}; by {}", db(leak.diffuse_db), of_what(one), seen, one.words)
                                                  : fmt::format("{}{}{}; {}; by {}", db(leak.leak_db), of_what(one), leak.inverted ? ", inverted" : "", seen, one.words),
                           files);
    for (const auto& place : leak.where) {
      if (finding.where.size() >= kMaxWhere) break;
      const auto rate = one.suspect->file->facts.sample_rate;
      finding.where.push_back({place.from_s, place.to_s, std::llround(place.from_s * rate), std::llround(place.to_s * rate), 0, one.suspect->path, db(place.leak_db)});
    }
    finding.where_total = static_cast<std::int64_t>(leak.where.size());
    return finding;
  }
  if (leak.measured && one.in_line) return passed(one.rule, fmt::format("none{}; {}; by {}", of_what(one), seen, one.words), files);
  // Sounds that stand a second apart would not be found in each other.
  if (leak.measured)
    return unmeasured(one.rule, fmt::format("none was found where both start together; whether they do is not known: {}; {}; by {}", members.without_reference(*one.suspect), seen, one.words), files, kAddMain);
  return unmeasured(one.rule, leak.reason.empty() ? seen : leak.reason + (leak.smallest_db > -144 && leak.smallest_db < 0 ? "; " + seen : ""), files,
                    "Put a file of what is looked for into the folder and on the order, over the whole song and in line with this one, then check again; or listen for it.");
}

void gain_finding(const HeldAgainst& one, double gain_db, std::string_view how, double slack_db, std::vector<Finding>& findings) {
  const auto files = files_of(one);
  const auto level = fmt::format("{}{} {}", gain_db > 0 ? "+" : "", db(gain_db), how);
  auto gain = std::abs(gain_db) <= slack_db ? passed("version-gain", level, files) : faulted("version-gain", level, files);
  if (gain.status != Status::pass)
    gain.remedy = fmt::format("Turn it {} by {}, or print it again with the main mix's levels.", gain_db > 0 ? "down" : "up", db(std::abs(gain_db)));
  findings.push_back(std::move(gain));
}

/// `inverted`: of the whole, where its channels do not tell.
void polarity_finding(const HeldAgainst& one, std::optional<bool> inverted, bool swapped, std::vector<Finding>& findings) {
  const auto files = files_of(one);
  std::string turned;
  if (one.channels) {
    if (one.channels->one_inverted()) turned = one.channels->left_inverted ? "its left channel inverted" : "its right channel inverted";
    else if (one.channels->left_inverted) turned = "inverted";
  } else if (inverted && *inverted) {
    turned = "inverted";
  }
  if (swapped) turned += std::string(turned.empty() ? "" : ", ") + "left and right changed about";
  if (!turned.empty()) findings.push_back(faulted("version-polarity", turned, files));
  else if (one.channels || inverted) findings.push_back(passed("version-polarity", "the same", files));
  else findings.push_back(unmeasured("version-polarity", "no passage was found in which both sound alike", files, kByEar));
}

/// Level and polarity of a version of which only a part is told: by what both share.
void level_findings(const HeldAgainst& one, const pair::SharedGain& shared, std::vector<Finding>& findings) {
  if (shared.swapped || (one.channels && one.channels->one_inverted()))
    findings.push_back(unmeasured("version-gain", "its channels do not stand as those of the main mix do", files_of(one), "Mend the channels first, then check again."));
  else if (shared.known) gain_finding(one, shared.gain_db, "where both sound most alike", kLevelSlackDb, findings);
  else findings.push_back(unmeasured("version-gain", "no passage was found in which both sound alike", files_of(one), kByEar));
  polarity_finding(one, shared.known ? std::optional(shared.inverted) : std::nullopt, shared.swapped, findings);
}

/// The same of an a cappella, beside which the band plays all through: by how loud it stands in the main mix.
void voice_findings(const HeldAgainst& one, const pair::Leak& in_main, const pair::SharedGain& shared, std::vector<Finding>& findings) {
  if (in_main.found && !in_main.diffuse) gain_finding(one, -in_main.leak_db, "by how it stands in the main mix", kVoicesSlackDb, findings);
  else findings.push_back(unmeasured("version-gain", "it was not found in the main mix as it is", files_of(one), kByEar));
  polarity_finding(one, in_main.found && !in_main.diffuse ? std::optional(in_main.inverted) : std::nullopt, shared.known && shared.swapped && shared.likeness > kLikely, findings);
}

/// What keeps a version from being held against the main mix part by part.
std::string spoiled_by(const HeldAgainst& one) {
  if (one.channels && one.channels->apart()) return pair::in_words(*one.channels);
  if (one.channels && one.channels->one_inverted()) return "one of its channels is inverted";
  if (one.pair && one.pair->aligned && one.pair->speed != 1) return "it runs at another speed than the main mix";
  if (one.pair && one.pair->aligned && !one.pair->loose && one.pair->swapped) return "its left and right are changed about";
  return {};
}

}  // namespace

std::string explained_by(const LeakSeen& seen, const LeakSeen& other) {
  if (!other.leak.found || level_of(seen.leak) >= kLeaksBelowDb) return {};
  // A voice in the instrumental is looked for with the a cappella, which is the very voice: it is believed at any level.
  const bool by_voice = other.rule == rule_for(Version::instrumental);
  if (!by_voice && level_of(other.leak) - level_of(seen.leak) < kFarLouderDb) return {};
  const auto whose = by_voice ? "the instrumental holds the voice itself" : "the a cappella holds the band itself";
  return fmt::format("{}, at {}: what it finds at {} may be that alone", whose, db(level_of(other.leak)), db(level_of(seen.leak)));
}

void Leaks::add_tasks(std::vector<Task>& tasks) {
  for (const auto& one : held_) {
    const auto rule = rule_for(members_.item_of(*one.version).version);
    if (!rule.empty()) {
      const auto sources = one.version->readable() ? sources_for(members_, held_, one) : std::vector<Source>{};
      if (sources.empty()) {
        const auto reason = !one.version->readable()    ? std::string("the file has no sheet")
                            : one.reference == nullptr ? members_.without_reference(*one.version)
                                                       : std::string("there is neither a file of what is looked for, nor a main mix that it could be lined up with");
        findings_.emplace_back().push_back(unmeasured(rule, reason, files_of(one), one.version->readable() ? kAddMain : kMakeReadable));
      }
      for (const auto& source : sources) {
        auto& into = findings_.emplace_back();
        auto& seen = seen_.emplace_back();
        seen.rule = rule, seen.suspect = one.version, seen.source = source.member, seen.source_path = source.signal.file.path, seen.words = source.words;
        seen.in_line = one.reference != nullptr, seen.into = &into, seen.difference = source.signal.less.has_value(), seen.spoiled = spoiled_by(one);
        tasks.push_back({one.version->path, [this, &into, &one, &seen, source](const pair::Hooks& hooks) {
                           auto leak = pair::leak_of(source.signal, {track_of(*one.version, held_), std::nullopt}, hooks);
                           if (leak) {
                             seen.leak = std::move(*leak);
                           } else {
                             seen.failed = true;
                             into.push_back(unmeasured(seen.rule, base::for_terminal(leak.error().text), files_of(one)));
                           }
                         }});
      }
    }
    if (one.pair && one.pair->aligned && members_.item_of(*one.version).version == Version::tv_mix) add_backing_tasks(one, tasks);
    if (!one.pair || !one.pair->aligned) continue;  // said by "aligned"
    const bool voices = members_.item_of(*one.version).version == Version::a_cappella;
    auto& into = findings_.emplace_back();
    if (!one.pair->loose) {
      gain_finding(one, one.pair->gain_db, "where both sound most alike", voices ? kVoicesSlackDb : kLevelSlackDb, into);
      continue;  // polarity was said already, channel by channel
    }
    auto& sides = shared_.emplace_back();
    sides.version = one.version;
    tasks.push_back({one.version->path, [this, &into, &one, &sides, voices](const pair::Hooks& hooks) {
                       const pair::Track main{one.reference->path, std::nullopt}, version = track_of(*one.version, held_);
                       const auto shared = pair::shared_gain(main, version, hooks);
                       if (!shared) {
                         into.push_back(unmeasured("version-gain", base::for_terminal(shared.error().text), files_of(one)));
                         return;
                       }
                       if (!voices) {
                         sides.swapped = shared->known && shared->swapped;
                         level_findings(one, *shared, into);
                         return;
                       }
                       const auto in_main = pair::level_of_part(version, main, hooks);
                       if (in_main) voice_findings(one, *in_main, *shared, into);
                       else into.push_back(unmeasured("version-gain", base::for_terminal(in_main.error().text), files_of(one)));
                     }});
  }
}

void Leaks::add_backing_tasks(const HeldAgainst& one, std::vector<Task>& tasks) {
  const auto rule = rule_for(Version::tv_mix);
  for (const auto* stem : vocal_stems(members_, members_.item_of(*one.version).title, Voices::backing)) {
    auto& into = findings_.emplace_back();
    tasks.push_back({one.version->path, [this, &into, &one, stem, rule](const pair::Hooks& hooks) {
                       const std::vector<std::string> files{one.version->path, stem->path};
                       const auto name = base::for_terminal(measure::file_name_of(stem->path));
                       const auto part = pair::level_of_part({stem->path, std::nullopt}, track_of(*one.version, held_), hooks);
                       if (!part) {
                         into.push_back(unmeasured(rule, base::for_terminal(part.error().text), files));
                       } else if (part->found && level_of(*part) > kThereDb) {
                         into.push_back(passed(rule, fmt::format("backing voice \"{}\" there, at {}", name, db(level_of(*part))), files));
                       } else if (!part->reason.empty() && part->smallest_db == 0) {
                         into.push_back(unmeasured(rule, fmt::format("whether backing voice \"{}\" is there: {}", name, part->reason), files, kByEar));
                       } else if (part->smallest_db > kThereDb) {
                         into.push_back(unmeasured(rule, fmt::format("whether backing voice \"{}\" is there: the smallest that could be seen is {}", name, db(part->smallest_db)), files, kByEar));
                       } else {
                         into.push_back(faulted(rule, fmt::format("backing voice \"{}\" missing: {}", name, part->found ? db(level_of(*part)) : "none; smallest that could be seen " + db(part->smallest_db)), files));
                       }
                     }});
  }
}

void Leaks::tell_exchanged() {
  const auto per_cent = [](double share) { return base::fixed(100 * share, 1) + " %"; };
  for (auto& one : seen_) {
    if (one.failed || one.rule != rule_for(Version::instrumental) || one.source == nullptr || members_.item_of(*one.source).version != Version::a_cappella) continue;
    const double band = one.leak.suspect_low, voices = one.leak.source_low;
    if (voices < kBandLow || band > kFarLess * voices) continue;
    const std::vector<std::string> files{one.source->path, one.suspect->path};
    findings_.emplace_back().push_back(faulted(rule_for(Version::a_cappella),
                                               fmt::format("it has {} of its energy around 63 Hz, where kick and bass are, and the instrumental has {}: are the two changed about?", per_cent(voices), per_cent(band)), files));
    for (auto& other : seen_) {
      const bool pair = (&other == &one) || (other.suspect == one.source && other.source == one.suspect);
      if (!pair || other.failed) continue;
      other.failed = true;
      if (other.rule != rule_for(Version::a_cappella)) other.into->push_back(unmeasured(other.rule, "instrumental and a cappella seem to be changed about", {other.suspect->path, other.source_path}, "Give each its own name, then check again."));
    }
  }
}

std::deque<std::vector<Finding>> Leaks::findings() {
  for (auto& one : seen_) {
    const bool swapped = std::ranges::any_of(shared_, [&](const Shared& sides) { return sides.version == one.suspect && sides.swapped; });
    if (swapped && one.spoiled.empty()) one.spoiled = "its left and right are changed about";
  }
  tell_exchanged();
  for (const auto& one : seen_) {
    if (!one.failed) one.into->push_back(leak_finding(one, members_, seen_));
  }
  for (const auto& one : seen_) {
    // The band in an a cappella is what both files share most of: its level would be told as that of the voice.
    if (one.rule != rule_for(Version::a_cappella) || !one.leak.found || level_of(one.leak) <= kLeaksBelowDb) continue;
    for (auto& some : findings_) {
      for (auto& finding : some) {
        if (finding.rule == "version-gain" && finding.status != Status::not_measured && finding.files.front() == one.suspect->path)
          finding = unmeasured("version-gain", fmt::format("the band stands in it at {}, so that what both share tells nothing of the voice's level", db(level_of(one.leak))), finding.files, "Take the band out of the a cappella first, then check again.");
      }
    }
  }
  return std::move(findings_);
}

}  // namespace sendworthy::delivery
