// The lead vocal over the bed and over the backing vocals, and the state of its recording.
#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <iterator>
#include <limits>
#include <set>

#include "base/text.h"
#include "song/as_printed.h"
#include "song/bus_filter.h"
#include "song/song_findings.h"
#include "song/standing.h"
#include "song/vocal_condition.h"

namespace sendworthy::song {
namespace {

constexpr double kLeastActiveS = 1;        // of a section, for a number of its own
constexpr double kLeastPhraseS = 0.8;
constexpr std::size_t kPauseSteps = 3;     // shorter ones do not end a phrase
constexpr double kPhraseOutLu = 1;         // beyond the range
constexpr double kNearlyAsInTheMixDb = 2;  // by least squares against a mix that holds doubles and reverb as well
constexpr double kLiftedLu = 0.3;            // by a filter on the mix bus, or a fader, which the stems do not have: less is no matter
constexpr double kNoisyDb = -50;           // of pauses against what is sung; own, common practice, no source
constexpr std::string_view kPrintThrough = "Print the stems through the filter of the mix bus, or the mix without it; see stems-sum-to-mix.";
constexpr std::string_view kNoVocal = "no stem has the role lead vocal";
constexpr std::string_view kNoneAtAll = "there is no lead vocal among the stems, which are all of the mix";

std::string add_vocal(std::string_view id) { return fmt::format("Print the lead vocal as a stem and add it to the plan; where the song has none, write {} = \"note\" under [severity].", id); }

/// A part over another, over the song: what the plan wants of it, what it is, and where it is not.
struct Placement {
  std::string_view id;
  std::string over;  ///< "over the bed"
  const Loudness& part;
  const Loudness& other;
  std::vector<bool> windows;
  std::vector<std::string> files;
};

struct Phrase {
  std::size_t from = 0, to = 0;  ///< windows
};

std::vector<Phrase> phrases_of(const std::vector<bool>& windows, const Steps& within) {
  std::vector<Phrase> phrases;
  for (std::size_t i = within.from; i < within.to; ++i) {
    if (!windows[i]) continue;
    if (phrases.empty() || i > phrases.back().to + kPauseSteps) phrases.push_back({i, i});
    phrases.back().to = i + 1;
  }
  return phrases;
}

double outside(double value, const Range& range) {
  if (!at_least(value, range.low)) return as_printed(value) - as_printed(range.low);
  return at_most(value, range.high) ? 0 : as_printed(value) - as_printed(range.high);
}

std::string in_words(const Range& range) { return fmt::format("{} to {}", base::fixed(range.low, 1), lu(range.high)); }

/// Phrases that lie beyond the range by more than a unit; one that goes on into the next section ends with its own.
void add_phrases_outside(const Measured& song, const Placement& what, double from_s, double to_s, const Range& range, std::vector<Where>& places) {
  for (const auto& phrase : phrases_of(what.windows, windows_between(from_s, to_s, what.windows.size()))) {
    const double start_s = std::max(from_s, static_cast<double>(phrase.from) * kStepS);
    const double end_s = std::min(to_s, static_cast<double>(phrase.to - 1 + kWindowSteps) * kStepS);
    const auto here = against(what.part, what.other, what.windows, {phrase.from, phrase.to});
    if (end_s - start_s < kLeastPhraseS || !here || at_most(std::abs(outside(here->difference_lu, range)), kPhraseOutLu)) continue;
    places.push_back(place(start_s, end_s, song.reading->rate, song.plan.mix, fmt::format("{} {}", lu(here->difference_lu), what.over)));
  }
}

void judge(const Measured& song, const Placement& what, SongSheet& sheet, std::optional<double> SongSheet::Section::* target, const std::vector<std::optional<Range>>& wanted, std::string_view key,
           std::string_view bed, double may_be_off_lu, std::set<std::string> stated, Findings& findings) {
  const auto& severities = song.plan.severities;
  struct Row {
    std::string name;
    double value;
    std::optional<Range> range;
  };
  std::vector<Row> rows;
  for (std::size_t i = 0; i < sheet.sections.size(); ++i) {
    auto& section = sheet.sections[i];
    const auto here = against(what.part, what.other, what.windows, windows_between(section.start_s, section.end_s, what.windows.size()));
    if (!here || here->seconds < kLeastActiveS) continue;
    section.*target = here->difference_lu;
    stated.erase(section.name);
    rows.push_back({section.name, here->difference_lu, wanted[i]});
  }
  if (sheet.sections.empty()) {
    if (const auto here = against(what.part, what.other, what.windows, {0, what.windows.size()})) rows.push_back({"the song", here->difference_lu, wanted.front()});
  }
  if (rows.empty()) {
    findings.push_back(unmeasured(what.id, severities, "the parts are not heard together for a second in any section", what.files, "Look at the sections' times in the plan and at the stems' files."));
    return;
  }
  // The fader to move: the lead's own, or that of the voices under it.
  const bool moves_backing = target == &SongSheet::Section::lead_over_backing;
  std::vector<std::string> in, out, open;
  bool doubtful = false;
  std::vector<Move> moves;
  for (const auto& row : rows) {
    const auto text = fmt::format("{} {}", row.name, lu(row.value));
    doubtful = doubtful || (row.range && (outside(row.value, *row.range) == 0) != (outside(row.value + may_be_off_lu, *row.range) == 0));
    if (!row.range) {
      open.push_back(text);
    } else if (const double beyond = outside(row.value, *row.range); beyond == 0) {
      in.push_back(text);
    } else {
      out.push_back(fmt::format("{} ({} wanted)", text, in_words(*row.range)));
      moves.push_back({sheet.sections.empty() ? std::string() : row.name, moves_backing ? beyond : -beyond});
    }
  }
  if (in.empty() && out.empty()) {
    findings.push_back(not_stated(what.id, severities, key, what.files, listed(open)));
    return;
  }
  std::vector<Where> places, phrases;
  // Whole sections that are outside stand in front of all phrases, so that each has its place however many phrases others have.
  for (std::size_t i = 0; i < sheet.sections.size(); ++i) {
    const auto& section = sheet.sections[i];
    if (!wanted[i]) continue;
    if (const auto value = section.*target; value && outside(*value, *wanted[i]) != 0)
      places.push_back(place(section.start_s, section.end_s, song.reading->rate, song.plan.mix, fmt::format("{}: {} {}", base::for_terminal(section.name), lu(*value), what.over)));
    add_phrases_outside(song, what, section.start_s, section.end_s, *wanted[i], phrases);
  }
  if (sheet.sections.empty() && wanted.front()) add_phrases_outside(song, what, 0, song.reading->duration_s, *wanted.front(), phrases);
  if (out.empty() && !stated.empty()) {
    findings.push_back(unmeasured(what.id, severities, fmt::format("a range is stated for {}, where the vocal is not heard for a second", listed({stated.begin(), stated.end()})), what.files, "Correct the section's start and end in the plan, or take its range out of [vocal] sections."));
    return;
  }
  const auto phrases_out = phrases.size();
  std::ranges::move(phrases, std::back_inserter(places));
  std::string text = listed(out.empty() ? in : out);
  if (out.empty() && !open.empty()) text += "; no range is stated for " + listed(open);
  if (!bed.empty()) text += fmt::format("; the bed is the {}", bed);
  if (phrases_out > 0) text += fmt::format("; {} beyond by more than {}", phrases_out == 1 ? "1 phrase lies" : fmt::format("{} phrases lie", phrases_out), lu(kPhraseOutLu));
  if (may_be_off_lu != 0) text += "; the lead vocal may stand " + beside_its_stem(may_be_off_lu);
  if (doubtful) {
    findings.push_back(unmeasured(what.id, severities, "by so much it may be within the range or beyond it: " + text, what.files, kPrintAgain));
    return;
  }
  auto finding = out.empty() ? passed(what.id, text, what.files) : faulted(what.id, severities, text, what.files);
  put_moves(finding, moves_backing ? "Backing vocals" : "Lead vocal", moves);
  put_places(finding, std::move(places));
  finding.every_place = true;
  findings.push_back(std::move(finding));
}

std::vector<std::optional<Range>> wanted_over_bed(const Plan& plan) {
  std::vector<std::optional<Range>> wanted;
  for (const auto& section : plan.sections) wanted.push_back(vocal_range(plan, section));
  if (wanted.empty()) wanted.push_back(plan.above_band_lu);
  return wanted;
}

/// Why the mix less the vocal is not the bed: the stem does not stand in the mix as it is.
std::string not_in_the_mix(const Measured& song) {
  if (song.sum && !song.sum->not_measured && song.sum->cause != pair::SumCause::unexplained) {
    if (auto why = shared_by_all(song); !why.empty()) return why;
    for (const auto i : song.with_role(Role::lead_vocal)) {
      if (auto standing = standing_of(song, i); song.sum->parts[i].known && !standing.why.empty()) return standing.why;
    }
  }
  const auto gain = song.reading->lead_in_mix_db;
  if (!gain || std::abs(*gain) <= kNearlyAsInTheMixDb) return {};
  if (*gain < kGoneDb) return "what the lead vocal's stem holds does not stand at its place in the mix";
  return "the lead vocal stands " + beside_its_stem(*gain);
}

/// How much louder the lead vocal may stand in the mix than in its stem, dB, by a fit that what sounds like it there adds to.
double off_in_the_mix_db(const Measured& song) {
  const bool known = song.sum && !song.sum->not_measured && song.sum->cause != pair::SumCause::unexplained;
  const auto gain = song.reading->lead_in_mix_db;
  return known || !gain || at_most(std::abs(*gain), kLiftedLu) ? 0 : *gain;
}

void over_bed(const Measured& song, SongSheet& sheet, Findings& findings) {
  constexpr std::string_view kId = "vocal-placement";
  const auto& plan = song.plan;
  const auto lead = song.with_role(Role::lead_vocal);
  const auto files = song.mix_and(lead);
  const auto none = [&](std::string why, std::string_view remedy = {}) { findings.push_back(unmeasured(kId, plan.severities, std::move(why), files, remedy)); };
  if (!song.why_no_stems.empty()) return none(song.why_no_stems);
  if (lead.empty() && song.stems_are_the_mix()) return findings.push_back(noted(kId, std::string(kNoneAtAll), files));
  if (lead.empty()) return none(std::string(kNoVocal), add_vocal(kId));
  const auto& reading = *song.reading;
  const bool by_stems = stems_tell_the_mix(song) && !reading.bed_of_stems.empty();
  if (!by_stems) {
    if (const auto why = not_in_the_mix(song); !why.empty()) return none(why + ", so that the mix less the vocal is not the bed", kPrintAgain);
  }
  const auto& bed = by_stems ? reading.bed_of_stems : reading.bed_of_mix;
  const auto windows = active_windows(reading.lead);
  if (windows.empty()) return none("the lead vocal is silent", "Look at the stem's file.");
  SongSheet::Vocal vocal{kStepS, {}, by_stems ? "sum of the other stems" : "mix less the vocal", {}};
  if (plan.above_band_lu) vocal.wanted = SongSheet::Wanted{plan.above_band_lu->low, plan.above_band_lu->high};
  for (std::size_t i = 0; i < windows.size(); ++i) {
    const auto here = windows[i] ? against(reading.lead, bed, windows, {i, i + 1}) : std::nullopt;
    vocal.over_bed.push_back(here ? static_cast<float>(here->difference_lu) : std::numeric_limits<float>::quiet_NaN());
  }
  sheet.vocal = vocal;
  std::set<std::string> stated;
  for (const auto& section : plan.sections) {
    if (section.vocal_lu) stated.insert(section.name);
  }
  judge(song, {kId, "over the bed", reading.lead, bed, windows, files}, sheet, &SongSheet::Section::vocal_over_bed, wanted_over_bed(plan), "[vocal] above_band = [low, high], in LU", vocal.bed, by_stems ? 0 : off_in_the_mix_db(song), std::move(stated), findings);
  if (const double lifted = by_stems ? lead_lifted_by_bus_filter_lu(song) : 0; !at_most(std::abs(lifted), kLiftedLu)) {
    auto& one = findings.back();
    const auto* told = std::get_if<Value>(&one.outcome);
    const auto* text = told != nullptr ? std::get_if<std::string>(told) : nullptr;
    if (text == nullptr) return;
    auto reason = fmt::format("the filter on the mix bus {} the vocal by about {} against the bed; by the stems without it: {}", lifted > 0 ? "lifts" : "lowers", lu(std::abs(lifted)), *text);
    one = unmeasured(kId, plan.severities, std::move(reason), files, kPrintThrough);
  }
}

void over_backing(const Measured& song, SongSheet& sheet, Findings& findings) {
  constexpr std::string_view kId = "backing-placement";
  const auto& plan = song.plan;
  const auto lead = song.with_role(Role::lead_vocal), backing = song.with_role(Role::backing_vocal);
  auto both = lead;
  both.insert(both.end(), backing.begin(), backing.end());
  const auto files = song.mix_and(both);
  const auto none = [&](std::string why, std::string_view remedy = {}) { findings.push_back(unmeasured(kId, plan.severities, std::move(why), files, remedy)); };
  if (!song.why_no_stems.empty()) return none(song.why_no_stems);
  if (backing.empty()) {
    if (song.stems_are_the_mix()) {
      findings.push_back(noted(kId, "there are no backing vocals among the stems, which are all of the mix", files));
      return;
    }
    return none("no stem has the role backing vocal", "Print the backing vocals as a stem and add it to the plan; where the song has none, write backing-placement = \"note\" under [severity].");
  }
  if (lead.empty()) return none(std::string(kNoVocal), add_vocal(kId));
  const auto& reading = *song.reading;
  auto windows = active_windows(reading.lead);
  const auto others = active_windows(reading.backing);
  if (windows.empty() || others.empty()) return none(windows.empty() ? "the lead vocal is silent" : "the backing vocals are silent", "Look at the stem's file.");
  // A window that ends with the one and begins with the other is none in which both sound.
  const auto lead_sounds = sounding_steps(reading.lead), others_sound = sounding_steps(reading.backing);
  for (std::size_t i = 0; i < windows.size(); ++i) {
    std::size_t both_sound = 0;
    for (auto step = i; step < i + kWindowSteps; ++step) both_sound += lead_sounds[step] && others_sound[step] ? 1 : 0;
    windows[i] = windows[i] && i < others.size() && others[i] && 2 * both_sound >= kWindowSteps;
  }
  const std::vector<std::optional<Range>> wanted(std::max<std::size_t>(1, plan.sections.size()), plan.under_lead_lu);
  judge(song, {kId, "over the backing vocals", reading.lead, reading.backing, windows, files}, sheet, &SongSheet::Section::lead_over_backing, wanted, "[backing] under_lead = [low, high], in LU", {}, 0, {}, findings);
}

void add_places(const VocalPlaces& found, double rate, const std::string& file, std::string_view what, std::string_view unit, std::vector<Where>& places) {
  for (const auto& one : found.places) places.push_back(place(one.start_s, one.end_s, rate, file, fmt::format("{}, {} {}", what, base::fixed(one.value, 1), unit)));
}

/// Why the stem tells nothing of the vocal in the mix, whatever its level.
std::string another_take(const Measured& song, std::size_t stem) {
  if (!song.sum || song.sum->not_measured) return {};
  const auto& part = song.sum->parts[stem];
  return part.not_in_mix || part.moving_db != 0 ? standing_of(song, stem).why : std::string();
}

std::string counted(std::int64_t count, std::string_view one, std::string_view many) { return fmt::format("{} {}", count, count == 1 ? one : many); }

}  // namespace

void vocal_findings(const Measured& song, SongSheet& sheet, Findings& findings) {
  over_bed(song, sheet, findings);
  over_backing(song, sheet, findings);
}

void condition_finding(const Measured& song, Findings& findings) {
  constexpr std::string_view kId = "vocal-condition";
  const auto& plan = song.plan;
  const auto lead = song.with_role(Role::lead_vocal);
  if (!song.why_no_stems.empty()) return findings.push_back(unmeasured(kId, plan.severities, song.why_no_stems, song.mix_and(lead)));
  if (lead.empty()) return findings.push_back(song.stems_are_the_mix() ? noted(kId, std::string(kNoneAtAll), song.mix_and(lead)) : unmeasured(kId, plan.severities, std::string(kNoVocal), song.mix_and(lead), add_vocal(kId)));
  for (const auto i : lead) {
    const auto& file = plan.stems[i].file;
    if (auto why = another_take(song, i); !why.empty()) {
      findings.push_back(unmeasured(kId, plan.severities, std::move(why), {file}, kPrintAgain));
      continue;
    }
    const auto condition = vocal_condition(song.reading->stems[i].bands);
    const auto clipping = clipping_of(song.stems[i]);
    if (condition.active_s == 0) {
      findings.push_back(unmeasured(kId, plan.severities, "the lead vocal is silent", {file}, "Look at the stem's file."));
      continue;
    }
    if (!clipping) {
      findings.push_back(unmeasured(kId, plan.severities, "clipping could not be measured", {file}));
      continue;
    }
    std::vector<std::string> faults;
    std::vector<Where> places;
    if (clipping->is_heard()) {
      faults.push_back(clipping->words());
      for (auto one : clipping->where) {
        one.file = file, one.note = "clipped";
        places.push_back(std::move(one));
      }
    }
    if (condition.esses.count > 0) faults.push_back(counted(condition.esses.count, "harsh ess", "harsh esses")), add_places(condition.esses, song.reading->rate, file, "harsh ess", "dB over the voice's middle", places);
    if (condition.plosives.count > 0) faults.push_back(counted(condition.plosives.count, "popped plosive", "popped plosives")), add_places(condition.plosives, song.reading->rate, file, "plosive", "dB over the voice's middle", places);
    if (condition.noise_db && !at_most(*condition.noise_db, kNoisyDb)) faults.push_back(fmt::format("noise between phrases at {} against what is sung, over {}", db(*condition.noise_db), db(kNoisyDb))), add_places(condition.noise, song.reading->rate, file, "noise", "dB against what is sung", places);
    if (faults.empty() && !condition.noise_db && (condition.silent_s == 0 || condition.steady)) {
      auto reason = std::string(condition.silent_s == 0 ? "no pause of a second between phrases, in which noise could be measured" : "noise could not be measured between all phrases");
      if (condition.steady) reason += fmt::format(": a steady sound at {} against what is sung may be noise or a long note", db(condition.steady->value));
      auto finding = unmeasured(kId, plan.severities, std::move(reason), {file}, "Listen to the stem alone between the phrases; where it is clean, write vocal-condition = \"note\" under [severity].");
      if (condition.steady) put_places(finding, {place(condition.steady->start_s, condition.steady->end_s, song.reading->rate, file, "steady")});
      findings.push_back(std::move(finding));
      continue;
    }
    const std::string quiet = condition.noise_db ? fmt::format("noise between phrases at {}", db(*condition.noise_db)) : std::string("silence between phrases");
    auto finding = faults.empty() ? passed(kId, "no harsh esses, plosives or clipping; " + quiet, {file}) : faulted(kId, plan.severities, listed(faults), {file});
    put_places(finding, std::move(places));
    finding.every_place = true;
    findings.push_back(std::move(finding));
  }
}

}  // namespace sendworthy::song
