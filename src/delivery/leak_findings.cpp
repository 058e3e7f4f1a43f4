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

// Own: what a bus compressor does by itself when the vocal is gone; and an a cappella is never all that the main mix plays.
constexpr double kLevelSlackDb = 0.5, kVoicesSlackDb = 1.5;

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
bool is_vocal(const Item& item) {
  return item.version == Version::stem && (is_backing(item) || has_word(item.role, {"vocal", "vocals", "vox", "voc", "voice", "voices", "singer", "rap"}));
}

/// The stems of a song that are voices, or its lead alone.
std::vector<const Member*> vocal_stems(const Members& members, const std::string& title, bool lead) {
  std::vector<const Member*> found;
  for (const auto& one : members.all) {
    const auto& item = members.item_of(one);
    if (one.readable() && item.title == title && is_vocal(item) && !(lead && is_backing(item))) found.push_back(&one);
  }
  return found;
}

struct Source {
  pair::Signal signal;
  std::string words;  ///< "the a cappella"
};

/// Where the sound is at hand that must not be in a version: files of its own, each looked for by itself, since one voice that was
/// muted says nothing of the others; else what the main mix has more.
std::vector<Source> sources_for(const Members& members, const std::vector<HeldAgainst>& held, const HeldAgainst& one) {
  const auto version = members.item_of(*one.version).version;
  const auto& title = members.item_of(*one.version).title;
  std::vector<Source> sources;
  const auto take = [&](const Member& file, std::string_view words) {
    // A stem stands where the mix stands: whether it does is asked by the sum of the stems.
    sources.push_back({{track_of(file, held), std::nullopt}, fmt::format("{} \"{}\"", words, base::for_terminal(measure::file_name_of(file.path)))});
  };
  if (version == Version::tv_mix) {
    for (const auto* stem : vocal_stems(members, title, true)) take(*stem, "the stem");
  } else if (const auto* other = members.version(version == Version::instrumental ? Version::a_cappella : Version::instrumental, title)) {
    take(*other, version == Version::instrumental ? "the a cappella" : "the instrumental");
  } else if (version == Version::instrumental) {
    for (const auto* stem : vocal_stems(members, title, false)) take(*stem, "the stem");
  }
  // What is left of the main mix is what was taken out: it finds what was taken out in part, and nothing that was left in whole.
  if (sources.empty() && one.pair && one.pair->aligned)
    sources.push_back({{{one.reference->path, std::nullopt}, track_of(*one.version, held)}, "the main mix less this file, which does not show what was left in as it was"});
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

Finding leak_finding(std::string_view rule, const HeldAgainst& one, const Source& source, const pair::Leak& leak) {
  const std::vector<std::string> files{one.version->path, source.signal.file.path};
  const auto seen = fmt::format("smallest that could be seen {}", db(leak.smallest_db));
  if (leak.found) {
    auto finding = faulted(rule, leak.diffuse ? fmt::format("reverberation of it at {}; {}; by {}", db(leak.diffuse_db), seen, source.words)
                                              : fmt::format("{}{}; {}; by {}", db(leak.leak_db), leak.inverted ? ", inverted" : "", seen, source.words),
                           files);
    for (const auto& place : leak.where) {
      if (finding.where.size() >= kMaxWhere) break;
      const auto rate = one.version->file->facts.sample_rate;
      finding.where.push_back({place.from_s, place.to_s, std::llround(place.from_s * rate), std::llround(place.to_s * rate), 0, one.version->path, db(place.leak_db)});
    }
    finding.where_total = static_cast<std::int64_t>(leak.where.size());
    return finding;
  }
  if (leak.measured) return passed(rule, fmt::format("none; {}; by {}", seen, source.words), files);
  return unmeasured(rule, leak.reason.empty() ? seen : leak.reason + (leak.smallest_db > -144 && leak.smallest_db < 0 ? "; " + seen : ""), files);
}

void level_findings(const HeldAgainst& one, const pair::SharedGain& shared, double slack_db, std::vector<Finding>& findings) {
  const std::vector<std::string> files{one.version->path, one.reference->path};
  if (!shared.known) {
    const auto reason = "no passage was found in which both sound alike";
    findings.push_back(unmeasured("version-gain", reason, files));
    findings.push_back(unmeasured("version-polarity", reason, files));
    return;
  }
  const auto level = fmt::format("{}{} where both sound most alike", shared.gain_db > 0 ? "+" : "", db(shared.gain_db));
  auto gain = std::abs(shared.gain_db) <= slack_db ? passed("version-gain", level, files) : faulted("version-gain", level, files);
  if (gain.status != Status::pass)
    gain.remedy = fmt::format("Turn it {} by {}, or print it again with the main mix's levels.", shared.gain_db > 0 ? "down" : "up", db(std::abs(shared.gain_db)));
  findings.push_back(std::move(gain));
  findings.push_back(shared.inverted ? faulted("version-polarity", "inverted", files) : passed("version-polarity", "the same", files));
}

}  // namespace

void add_leak_tasks(const Members& members, const std::vector<HeldAgainst>& held, std::vector<Task>& tasks, std::deque<std::vector<Finding>>& findings) {
  for (const auto& one : held) {
    const auto rule = rule_for(members.item_of(*one.version).version);
    const std::vector<std::string> files{one.version->path, one.reference->path};
    if (!rule.empty()) {
      const auto sources = one.version->readable() ? sources_for(members, held, one) : std::vector<Source>{};
      if (sources.empty())
        findings.emplace_back().push_back(
            unmeasured(rule, one.version->readable() ? "there is neither a file of what is looked for, nor a main mix that it could be lined up with" : "the file has no sheet", files));
      for (const auto& source : sources) {
        auto& into = findings.emplace_back();
        tasks.push_back({one.version->path, [&into, &one, &held, rule, source](const pair::Hooks& hooks) {
                           const auto leak = pair::leak_of(source.signal, {track_of(*one.version, held), std::nullopt}, hooks);
                           into.push_back(leak ? leak_finding(rule, one, source, *leak)
                                               : unmeasured(rule, base::for_terminal(leak.error().text), {one.version->path, one.reference->path}));
                         }});
      }
    }
    if (!one.pair) continue;
    const double slack_db = members.item_of(*one.version).version == Version::a_cappella ? kVoicesSlackDb : kLevelSlackDb;
    if (one.pair->aligned && !one.pair->loose) {
      pair::SharedGain exact;
      exact.known = true;
      exact.gain_db = one.pair->gain_db;
      exact.inverted = std::ranges::any_of(one.pair->inverted, [](bool inverted) { return inverted; });
      auto& into = findings.emplace_back();
      level_findings(one, exact, slack_db, into);
      std::erase_if(into, [](const Finding& finding) { return finding.rule == "version-polarity"; });  // said already, channel by channel
      continue;
    }
    if (!one.pair->aligned) continue;  // said by "aligned"
    auto& into = findings.emplace_back();
    tasks.push_back({one.version->path, [&into, &one, &held, slack_db](const pair::Hooks& hooks) {
                       const auto shared = pair::shared_gain({one.reference->path, std::nullopt}, track_of(*one.version, held), hooks);
                       if (shared) {
                         level_findings(one, *shared, slack_db, into);
                       } else {
                         into.push_back(unmeasured("version-gain", base::for_terminal(shared.error().text), {one.version->path, one.reference->path}));
                       }
                     }});
  }
}

}  // namespace sendworthy::delivery
