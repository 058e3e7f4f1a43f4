#include "song/asked.h"

#include <fmt/format.h>
#include <sendworthy/catalog.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <iterator>
#include <map>
#include <optional>
#include <set>
#include <string_view>
#include <utility>

#include "base/text.h"
#include "sheet/phrases.h"
#include "song/song_findings.h"

namespace sendworthy::song {
namespace {

constexpr std::array kOfSections{"vocal-placement", "backing-placement", "percussion-in-biggest", "biggest-section"};
constexpr std::size_t kMostPlaces = 5, kMostMoved = 6, kMostNumbers = 300;

/// Standard questions, as new_plan writes them. Effects have nothing that could be measured of them alone.
constexpr std::array<std::pair<std::string_view, std::string_view>, 17> kBelong{{{"feeling", "intent-stated"},
                                                                                 {"biggest-section", "biggest-section"},
                                                                                 {"percussion", "percussion-in-biggest"},
                                                                                 {"vocal-placement", "vocal-placement"},
                                                                                 {"vocal-quality", "vocal-condition"},
                                                                                 {"priorities", "priority-masking"},
                                                                                 {"backing-vocals", "backing-placement"},
                                                                                 {"backing-vocals", "backing-masked"},
                                                                                 {"dynamics", "quiet-to-loud"},
                                                                                 {"dynamics", "movement"},
                                                                                 {"very-quiet", "quiet-listening"},
                                                                                 {"lows", "kick-over-bass"},
                                                                                 {"lows", "low-end-order"},
                                                                                 {"lows", "bass-steadiness"},
                                                                                 {"lows", "mono-low-end"},
                                                                                 {"whole", "stems-sum-to-mix"},
                                                                                 {"whole", "stems-aligned"}}};

void add_by_role(Role role, std::set<std::string_view>& wanted) {
  switch (role) {
    case Role::lead_vocal: wanted.insert({"vocal-placement", "vocal-condition", "priority-masking"}); break;
    case Role::backing_vocal: wanted.insert({"backing-placement", "backing-masked"}); break;
    case Role::kick: wanted.insert({"kick-over-bass", "low-end-order", "percussion-in-biggest"}); break;
    case Role::bass: wanted.insert({"kick-over-bass", "low-end-order", "bass-steadiness"}); break;
    case Role::snare:
    case Role::drums:
    case Role::percussion: wanted.insert({"percussion-in-biggest", "movement"}); break;
    default: wanted.insert({"priority-masking", "movement"}); break;
  }
}

void add_by_way(Heard heard, std::set<std::string_view>& wanted) {
  if (heard == Heard::quiet || heard == Heard::small_speaker) wanted.insert("quiet-listening");
  if (heard == Heard::lows) wanted.insert({"kick-over-bass", "low-end-order", "bass-steadiness"});
  if (heard == Heard::lows || heard == Heard::mono) wanted.insert("mono-low-end");
}

ListeningPlace place_of(const Section& section) { return {section.start_s, section.end_s, section.name}; }

std::string_view unit_of(std::string_view finding) {
  if (finding == "priority-masking" || finding == "backing-masked") return "%";
  if (finding == "low-end-order") return "Hz";
  if (finding == "biggest-section" || finding == "quiet-to-loud") return "LUFS";
  constexpr std::array kDecibels{"movement", "quiet-listening", "kick-over-bass", "bass-steadiness", "mono-low-end"};
  return std::ranges::find(kDecibels, finding) != kDecibels.end() ? "dB" : "LU";
}

class Noting {
 public:
  explicit Noting(const Sheet& sheet) {
    for (const auto& one : sheet.findings) {
      if (one.ruleset != kPlanRules || one.rule == "listening-pass") continue;
      auto& status = noted_[one.rule].status;
      // A rule may stand on the sheet for several places; the worst of them is what it says.
      if (status.empty() || is_worse(one.status, worst_[one.rule])) {
        status = std::string(to_string(one.status));
        worst_[one.rule] = one.status;
      }
    }
    if (sheet.song) take(*sheet.song);
  }

  Snapshot taken() { return std::move(noted_); }

 private:
  static bool is_worse(Status a, Status b) {
    constexpr std::array kOrder{Status::pass, Status::note, Status::waived, Status::warn, Status::not_measured, Status::fail};
    return std::ranges::find(kOrder, a) > std::ranges::find(kOrder, b);
  }

  void note(std::string_view finding, const std::string& name, std::optional<double> value) {
    if (!value || !std::isfinite(*value)) return;
    const auto found = noted_.find(finding);
    if (found == noted_.end() || found->second.numbers.size() >= kMostNumbers) return;
    found->second.numbers.emplace(name, std::round(*value * 1000) / 1000);
  }

  void take(const SongSheet& song) {
    for (const auto& one : song.sections) {
      note("biggest-section", one.name, one.loudness);
      note("quiet-to-loud", one.name, one.loudness);
      note("percussion-in-biggest", one.name, one.drums_over_rest);
      note("vocal-placement", one.name, one.vocal_over_bed);
      note("backing-placement", one.name, one.lead_over_backing);
    }
    for (const auto& one : song.stems) {
      note("movement", one.name, one.movement);
      note("quiet-listening", one.name, one.moved);
      note("quiet-listening", one.name + " on a small loudspeaker", one.moved_small_speaker);
    }
    note("backing-masked", "all backing vocals", song.backing_masked);
    for (const auto& one : song.pairs) note("priority-masking", one.part + " under " + one.masker, one.masked);
    if (!song.low_end) return;
    const auto& low = *song.low_end;
    note("kick-over-bass", "kick over bass", low.kick_over_bass);
    note("low-end-order", "centre of the kick", low.kick_centre_hz);
    note("low-end-order", "centre of the bass", low.bass_centre_hz);
    note("bass-steadiness", "bass", low.bass_steadiness);
    note("mono-low-end", "lost in mono", low.mono_loss);
  }

  Snapshot noted_;
  std::map<std::string, Status, std::less<>> worst_;
};

/// "0.6 LU, was 1.3 LU", where it moved.
std::optional<std::string> change_of(std::string_view id, const std::string& name, const Snapshot& before, const Snapshot& now) {
  const auto number = [&](const Snapshot& all) -> std::optional<double> {
    const auto finding = all.find(id);
    if (finding == all.end()) return std::nullopt;
    const auto found = finding->second.numbers.find(name);
    return found == finding->second.numbers.end() ? std::nullopt : std::optional(found->second);
  };
  const auto was = number(before), is = number(now);
  if (!was || !is) return std::nullopt;
  const auto unit = unit_of(id);
  const bool coarse = unit == "%" || unit == "Hz";
  constexpr double kRounding = 1e-9;
  if (std::abs(*is - *was) < (coarse ? 1.0 : 0.1) - kRounding) return std::nullopt;
  const int decimals = coarse ? 0 : 1;
  return fmt::format("{} {}, was {} {}", base::fixed(*is, decimals), unit, base::fixed(*was, decimals), unit);
}

/// The words for one number, where it moved.
void add_moved(std::string_view id, const std::string& name, const Snapshot& before, const Snapshot& now, std::vector<std::string>& moved) {
  if (const auto change = change_of(id, name, before, now)) moved.push_back(fmt::format("{}, {}: {}", plan_rule(id).title, name, *change));
}

std::string words_of(const SongSheet::Section& section, std::size_t sections) {
  std::vector<std::string> parts;
  if (section.loudness) parts.push_back(base::fixed(*section.loudness, 1) + " LUFS" + (section.rank > 0 ? fmt::format(", number {} of {} by loudness", section.rank, sections) : std::string()));
  if (section.vocal_over_bed) parts.push_back(fmt::format("lead vocal {} over the bed", lu(*section.vocal_over_bed)));
  if (section.lead_over_backing) parts.push_back(fmt::format("{} over the backing vocals", lu(*section.lead_over_backing)));
  if (section.drums_over_rest) parts.push_back(fmt::format("drums {} over the rest", lu(*section.drums_over_rest)));
  return fmt::format("\"{}\": {}", section.name, parts.empty() ? "nothing that could be measured" : listed(parts));
}

std::set<std::string, std::less<>> as_set(const std::vector<std::string>& texts) { return {texts.begin(), texts.end()}; }

}  // namespace

std::vector<std::string> findings_of(const Plan& plan, const Question& question) {
  std::set<std::string_view> wanted;
  for (const auto& [id, finding] : kBelong) {
    if (id == question.id) wanted.insert(finding);
  }
  if (wanted.empty() && question.id != "effects") {
    if (question.stem) add_by_role(plan.stems[*question.stem].role, wanted);
    add_by_way(question.heard, wanted);
    if (question.section && plan.sections[*question.section].biggest) wanted.insert("biggest-section");
    if (question.section && plan.sections[*question.section].quietest) wanted.insert("quiet-to-loud");
  }
  std::vector<std::string> ids;
  for (const auto& rule : plan_rules()) {
    if (wanted.contains(rule.id)) ids.emplace_back(rule.id);
  }
  return ids;
}

std::string how_to_hear(const Plan& plan, Heard heard) {
  switch (heard) {
    case Heard::full: return "At your usual, moderate level, over the whole range.";
    case Heard::quiet: return "Very quietly: turn down until you can only just follow the vocal, and leave it there.";
    case Heard::mono: return "In mono: both channels added, best from one loudspeaker.";
    case Heard::lows:
      return fmt::format("Below {} Hz alone: put a low-pass there into your monitoring. It sounds softer than it is: do not turn it up.", base::shortest(plan.low_end.below_hz));
    case Heard::small_speaker: return "From something small, such as a phone, no louder than people talk.";
  }
  return "";
}

std::vector<ListeningPlace> places_of(const Plan& plan, const Question& question, const Sheet* measured) {
  std::vector<ListeningPlace> places;
  const auto add = [&](ListeningPlace place) {
    const auto same = [&](const ListeningPlace& one) { return one.start_s == place.start_s && one.end_s.value_or(-1) == place.end_s.value_or(-1) && one.what == place.what; };
    if (std::ranges::none_of(places, same)) places.push_back(std::move(place));
  };
  if (question.section) places.push_back(place_of(plan.sections[*question.section]));
  const bool biggest = question.id == "biggest-section" || question.id == "percussion" || question.id == "dynamics";
  for (const auto& one : plan.sections) {
    if (!question.section && ((one.biggest && biggest) || (one.quietest && question.id == "dynamics"))) places.push_back(place_of(one));
  }
  if (measured == nullptr) return places;
  const auto most = places.size() + kMostPlaces;
  const auto ids = findings_of(plan, question);
  for (const auto& finding : measured->findings) {
    if (finding.ruleset != kPlanRules || std::ranges::find(ids, finding.rule) == ids.end()) continue;
    for (const auto& where : finding.where) {
      // Times in another file than the mix, such as the bounce before, would lead astray.
      const bool stem = std::ranges::any_of(plan.stems, [&](const Stem& one) { return one.file == where.file; });
      if ((where.file.empty() || where.file == plan.mix || stem) && places.size() < most)
        add({where.start_s, std::max(where.start_s, where.end_s), where.note.empty() ? finding.title : where.note});
    }
  }
  return places;
}

Snapshot snapshot_of(const Sheet& measured) { return Noting(measured).taken(); }

std::vector<std::string> moved_in(const std::vector<std::string>& findings, const Snapshot& before, const Snapshot& now) {
  std::vector<std::string> moved;
  for (const auto& id : findings) {
    const auto was = before.find(id), is = now.find(id);
    if (was == before.end() || is == now.end()) continue;
    if (was->second.status != is->second.status) moved.push_back(fmt::format("{}: {}, was {}", plan_rule(id).title, is->second.status, was->second.status));
    for (const auto& number : is->second.numbers) add_moved(id, number.first, before, now, moved);
  }
  if (moved.size() > kMostMoved) moved.resize(kMostMoved);
  return moved;
}

std::vector<std::string> moved_in_section(const std::string& section, const Snapshot& before, const Snapshot& now) {
  std::vector<std::string> moved;
  constexpr std::array kWords{"lead vocal over the rest", "lead over backing vocals", "drums over the rest", "loudness"};
  static_assert(kWords.size() == kOfSections.size());
  for (std::size_t i = 0; i < kOfSections.size(); ++i) {
    if (const auto change = change_of(kOfSections[i], section, before, now)) moved.push_back(fmt::format("{} {}", kWords[i], *change));
  }
  return moved;
}

std::vector<std::string> moved_in_song(const Plan& plan, const Snapshot& before, const Snapshot& now) {
  auto rest = now;
  for (auto& finding : rest) {
    for (const auto& section : plan.sections) finding.second.numbers.erase(section.name);
  }
  std::vector<std::string> ids;
  for (const auto& rule : plan_rules()) ids.emplace_back(rule.id);
  return moved_in(ids, before, rest);
}

std::vector<std::string> moved_for(const Plan& plan, const Question& question, const Snapshot& before, const Snapshot& now) {
  std::vector<std::string> moved;
  if (question.section && !question.stem) {
    for (const auto* id : kOfSections) add_moved(id, plan.sections[*question.section].name, before, now, moved);
  }
  for (auto& words : moved_in(findings_of(plan, question), before, now)) {
    if (moved.size() < kMostMoved && std::ranges::find(moved, words) == moved.end()) moved.push_back(std::move(words));
  }
  return moved;
}

std::vector<std::string> numbers_for(const Plan& plan, const Question& question, const Sheet& measured) {
  std::vector<std::string> numbers;
  if (measured.song == nullptr) return numbers;
  const auto& song = *measured.song;
  if (question.section) {
    const auto found = std::ranges::find(song.sections, plan.sections[*question.section].name, &SongSheet::Section::name);
    if (found != song.sections.end()) numbers.push_back(words_of(*found, song.sections.size()));
  }
  const bool small = question.heard == Heard::small_speaker && plan.quiet.small_speaker;
  if (question.heard != Heard::quiet && !small) return numbers;
  std::vector<std::string> parts;
  for (const auto& one : song.stems) {
    const auto& moved = small ? one.moved_small_speaker : one.moved;
    if (!one.reference_level) continue;
    // Without a number on a small loudspeaker a part is not heard there, or alone as it is everywhere.
    const bool gone = !moved && (one.disappears || (small && one.moved));
    if (moved || gone) parts.push_back(gone ? one.name + " not heard" : fmt::format("{} {}{}", one.name, *moved > 0 ? "+" : "", db(*moved)));
  }
  if (!parts.empty())
    numbers.push_back(fmt::format("{}, against one another and the reference level: {}; an estimate", small ? "very quietly on a small loudspeaker" : "very quietly", listed(parts, 12)));
  return numbers;
}

std::vector<std::string> unasked_of(const Plan& plan, const Sheet& measured, const Snapshot* before, const Snapshot& now) {
  std::set<std::string, std::less<>> asked{"listening-pass"};
  for (const auto& question : plan.questions) asked.merge(as_set(findings_of(plan, question)));
  constexpr std::size_t kMostLines = 8;
  struct Line {
    int rank;  ///< 0: outside, and it moved; 1: fail; 2: warn; 3: it moved
    std::string words;
  };
  std::vector<Line> ranked;
  std::vector<std::string> unknown;
  for (const auto& finding : measured.findings) {
    if (finding.ruleset != kPlanRules || asked.contains(finding.rule)) continue;
    const auto moved = before != nullptr ? moved_in({finding.rule}, *before, now) : std::vector<std::string>();
    if (finding.status == Status::fail || finding.status == Status::warn) {
      const auto was = before != nullptr ? before->find(finding.rule) : Snapshot::const_iterator();
      const bool changed = before != nullptr && was != before->end() && was->second.status != to_string(finding.status);
      ranked.push_back({!moved.empty() ? 0 : finding.status == Status::fail ? 1 : 2, fmt::format("{}{}: {}", to_string(finding.status), changed ? ", was " + was->second.status : "", sheet::headline(finding, catalog()))});
    } else if (!moved.empty()) {
      ranked.push_back({3, "moved: " + moved.front() + (moved.size() > 1 ? ", and more" : "")});
    }
    if (finding.status == Status::not_measured && !finding.optional) unknown.push_back(finding.title);
  }
  std::ranges::stable_sort(ranked, {}, &Line::rank);
  std::vector<std::string> lines;
  for (auto& one : ranked) lines.push_back(std::move(one.words));
  if (lines.size() > kMostLines) {
    const auto more = lines.size() - kMostLines + 1;
    lines.resize(kMostLines - 1);
    lines.push_back(fmt::format("and {} more, which \"sendworthy plan check\" lists", more));
  }
  if (!unknown.empty()) lines.push_back("not measured: " + listed(unknown, 20));
  return lines;
}

}  // namespace sendworthy::song
