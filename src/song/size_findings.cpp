// Sections against one another: which is the biggest, how far the quietest lies below it, what the drums do, and whether parts move.
#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "base/text.h"
#include "song/as_printed.h"
#include "song/song_findings.h"
#include "song/standing.h"

namespace sendworthy::song {
namespace {

constexpr double kDrumsLowerLu = 1;
constexpr double kLeastActiveS = 1;

using Part = SongSheet::Section;

std::string quoted(const Part& section) { return "\"" + base::for_terminal(section.name) + "\""; }

void measure_sections(const SongReading& reading, SongSheet& sheet) {
  const auto& mix = reading.mix;
  for (auto& one : sheet.sections) {
    const auto steps = steps_between(one.start_s, one.end_s, mix.loudness.size());
    one.loudness = integrated(mix.loudness, steps);
    one.max_short_term_loudness = max_short_term(mix.loudness, steps);
    if (const auto peak = true_peak(mix, steps); peak && one.loudness) one.peak_to_loudness_ratio = *peak - *one.loudness;
    one.low_share = low_share(mix, steps), one.side_to_mid = side_to_mid(mix, steps);
    one.density = density(mix, one.start_s, one.end_s);
  }
  for (auto& one : sheet.sections) {
    if (!one.loudness) continue;
    one.rank = 1 + static_cast<std::size_t>(std::ranges::count_if(sheet.sections, [&](const Part& other) { return other.loudness && *other.loudness > *one.loudness; }));
  }
}

const Part* marked(const SongSheet& sheet, bool Part::* which) {
  const auto found = std::ranges::find_if(sheet.sections, [&](const Part& one) { return one.*which; });
  return found == sheet.sections.end() ? nullptr : &*found;
}

constexpr double kLeastLoudS = 0.4;

/// That sections end in the plan where there is no mix any more; empty: none does.
std::string cut_off(const Measured& song) {
  constexpr double kMeantS = 0.1;  // less is how an end was rounded
  std::vector<std::string> names;
  for (const auto& one : song.plan.sections) {
    if (one.end_s && *one.end_s > song.reading->duration_s + kMeantS) names.push_back("\"" + one.name + "\"");
  }
  return names.empty() ? std::string() : fmt::format("; the mix ends at {}, before {} {} in the plan", base::clock_time(song.reading->duration_s, 1), listed(names), names.size() == 1 ? "does" : "do");
}

/// Silence within the mix has no loudness either, and is not loud.
bool could_be_loud(const Part& section, double duration_s) {
  return !section.loudness && (std::min(section.end_s, duration_s) - section.start_s < kLeastLoudS || section.start_s >= duration_s);
}

void biggest(const Measured& song, const SongSheet& sheet, Findings& findings) {
  constexpr std::string_view kId = "biggest-section";
  const auto& plan = song.plan;
  const std::vector<std::string> files{plan.mix};
  const auto* top = marked(sheet, &Part::biggest);
  if (top == nullptr) {
    findings.push_back(not_stated(kId, plan.severities, plan.sections.empty() ? "[[section]] with name, start and biggest = true" : "biggest = true in one [[section]]", files));
    return;
  }
  if (!top->loudness) {
    findings.push_back(unmeasured(kId, plan.severities, fmt::format("{} has no loudness: it is shorter than 0.4 s, silent, or beyond the end of the mix", quoted(*top)), files, "Correct the section's start and end in the plan."));
    return;
  }
  const double wanted = plan.dynamics.biggest_margin_lu;
  std::vector<const Part*> others;
  std::vector<std::string> unknown;
  for (const auto& one : sheet.sections) {
    if (&one != top && one.loudness) others.push_back(&one);
    if (could_be_loud(one, song.reading->duration_s)) unknown.push_back(quoted(one));
  }
  if (others.empty()) {
    findings.push_back(unmeasured(kId, plan.severities, "there is no other section with a loudness", files, "Give the plan the song's other sections."));
    return;
  }
  std::ranges::sort(others, [](const Part* a, const Part* b) { return *a->loudness > *b->loudness; });
  std::vector<std::string> near;
  std::vector<Move> moves;
  std::vector<Where> places;
  for (const auto* one : others) {
    const double margin = *top->loudness - *one->loudness;
    if (at_least(margin, std::max(0.0, wanted))) continue;
    moves.push_back({quoted(*one), margin - std::max(0.0, wanted)});
    near.push_back(fmt::format("{} {}", quoted(*one), margin < 0 ? "is " + lu(-margin) + " louder" : "comes within " + lu(margin)));
    places.push_back(place(one->start_s, one->end_s, song.reading->rate, plan.mix, fmt::format("{}, {} LUFS", base::for_terminal(one->name), base::fixed(*one->loudness, 1))));
  }
  if (near.empty() && !unknown.empty()) {
    findings.push_back(unmeasured(kId, plan.severities, fmt::format("{}: shorter than 0.4 s, or beyond the end of the mix", listed(unknown)), files, "Correct the section's start and end in the plan."));
    return;
  }
  if (near.empty()) {
    findings.push_back(passed(kId, fmt::format("{} at {} LUFS, {} over {}", quoted(*top), base::fixed(*top->loudness, 1), lu(*top->loudness - *others.front()->loudness), quoted(*others.front())) + cut_off(song), files));
    return;
  }
  auto finding = faulted(kId, plan.severities, fmt::format("{} at {} LUFS: {}{}", quoted(*top), base::fixed(*top->loudness, 1), listed(near), wanted > 0 ? "; at least " + lu(wanted) + " are wanted" : "") + cut_off(song), files);
  put_moves(finding, "The mix", moves);
  put_places(finding, std::move(places));
  finding.every_place = true;
  findings.push_back(std::move(finding));
}

void quiet_to_loud(const Measured& song, const SongSheet& sheet, Findings& findings) {
  constexpr std::string_view kId = "quiet-to-loud";
  const auto& plan = song.plan;
  const std::vector<std::string> files{plan.mix};
  const auto *top = marked(sheet, &Part::biggest), *low = marked(sheet, &Part::quietest);
  if (top == nullptr || low == nullptr) {
    findings.push_back(not_stated(kId, plan.severities, top != nullptr ? "quietest = true in one [[section]]" : low != nullptr ? "biggest = true in one [[section]]" : "biggest = true in one [[section]], and quietest = true in another", files));
    return;
  }
  if (!plan.dynamics.quiet_to_loud_lu) {
    findings.push_back(not_stated(kId, plan.severities, "[dynamics] quiet_to_loud, in LU", files, top->loudness && low->loudness ? lu(*top->loudness - *low->loudness) : std::string()));
    return;
  }
  if (!top->loudness || !low->loudness) {
    findings.push_back(unmeasured(kId, plan.severities, fmt::format("{} has no loudness: it is shorter than 0.4 s, silent, or beyond the end of the mix", quoted(top->loudness ? *low : *top)), files, "Correct the section's start and end in the plan."));
    return;
  }
  const double wanted = *plan.dynamics.quiet_to_loud_lu, got = *top->loudness - *low->loudness;
  auto text = fmt::format("{} from {} to {}", lu(got), quoted(*low), quoted(*top));
  for (const auto& one : sheet.sections) {
    if (one.loudness && *one.loudness < *low->loudness) text += fmt::format("; {} is quieter, by {}", quoted(one), lu(*low->loudness - *one.loudness));
  }
  text += cut_off(song);
  if (at_least(got, wanted)) {
    findings.push_back(passed(kId, std::move(text), files));
    return;
  }
  auto finding = faulted(kId, plan.severities, text + "; at least " + lu(wanted) + " are wanted", files);
  put_moves(finding, "The mix", {{quoted(*low), got - wanted}});
  put_places(finding, {place(low->start_s, low->end_s, song.reading->rate, plan.mix, base::for_terminal(low->name)), place(top->start_s, top->end_s, song.reading->rate, plan.mix, base::for_terminal(top->name))});
  finding.every_place = true;
  findings.push_back(std::move(finding));
}

}  // namespace

void size_findings(const Measured& song, SongSheet& sheet, Findings& findings) {
  if (!song.reading) {
    for (const auto* id : {"biggest-section", "quiet-to-loud"}) findings.push_back(unmeasured(id, song.plan.severities, song.why_not, {song.plan.mix}));
    return;
  }
  measure_sections(*song.reading, sheet);
  biggest(song, sheet, findings);
  quiet_to_loud(song, sheet, findings);
}

void percussion_finding(const Measured& song, SongSheet& sheet, Findings& findings) {
  constexpr std::string_view kId = "percussion-in-biggest";
  const auto& plan = song.plan;
  std::vector<std::size_t> drums;
  for (std::size_t i = 0; i < plan.stems.size(); ++i) {
    if (is_drum(plan.stems[i].role)) drums.push_back(i);
  }
  const auto files = song.mix_and(drums);
  const auto none = [&](std::string why, std::string_view remedy = {}) { findings.push_back(unmeasured(kId, plan.severities, std::move(why), files, remedy)); };
  if (!song.why_no_stems.empty()) return none(song.why_no_stems);
  if (drums.empty()) {
    if (song.stems_are_the_mix()) {
      findings.push_back(noted(kId, "there are no drums among the stems, which are all of the mix", files));
    } else {
      none("no stem has the role kick, snare, drums or percussion", "Print the drums as a stem and add it to the plan; where the song has none, write percussion-in-biggest = \"note\" under [severity].");
    }
    return;
  }
  const auto& reading = *song.reading;
  // Without all stems the rest is what the mix has more than drums.
  const bool by_stems = stems_tell_the_mix(song) && !reading.without_drums.empty();
  if (const auto why = by_stems || !song.sum ? std::string() : shared_by_all(song); !why.empty()) return none(why + ", so that the mix less the drums is not the rest", kPrintAgain);
  const auto& rest = by_stems ? reading.without_drums : reading.mix_without_drums;
  const auto active = active_windows(reading.drums);
  const auto whole = against(reading.drums, rest, active, {0, active.size()});
  if (whole) sheet.drums_over_rest = whole->difference_lu;
  for (auto& one : sheet.sections) {
    const auto here = against(reading.drums, rest, active, windows_between(one.start_s, one.end_s, active.size()));
    if (here && here->seconds >= kLeastActiveS) one.drums_over_rest = here->difference_lu;
  }
  const auto* top = marked(sheet, &Part::biggest);
  if (top == nullptr) {
    findings.push_back(not_stated(kId, plan.severities, "biggest = true in one [[section]]", files));
    return;
  }
  if (!whole) return none("the drums are silent, or nothing plays beside them", "Look at the stems' files.");
  if (could_be_loud(*top, reading.duration_s)) return none(fmt::format("{} is shorter than 0.4 s, or beyond the end of the mix", quoted(*top)), "Correct the section's start and end in the plan.");
  if (!top->drums_over_rest) {
    auto finding = faulted(kId, plan.severities, fmt::format("there are none in {}", quoted(*top)), files);
    put_places(finding, {place(top->start_s, top->end_s, reading.rate, plan.mix, base::for_terminal(top->name))});
    findings.push_back(std::move(finding));
    return;
  }
  const double change = as_printed(*top->drums_over_rest) - as_printed(whole->difference_lu);
  auto text = fmt::format("{} over the rest in {}, {} over the rest wherever the drums play; by more than {} lower is outside", lu(*top->drums_over_rest), quoted(*top), lu(whole->difference_lu), lu(kDrumsLowerLu));
  if (!by_stems) text += "; the rest is the mix less the drums";
  if (at_least(change, -kDrumsLowerLu)) {
    findings.push_back(passed(kId, text, files));
    return;
  }
  auto finding = faulted(kId, plan.severities, text, files);
  put_moves(finding, "The drums", {{quoted(*top), -change}});
  put_places(finding, {place(top->start_s, top->end_s, reading.rate, plan.mix, base::for_terminal(top->name))});
  finding.every_place = true;
  findings.push_back(std::move(finding));
}

void movement_finding(const Measured& song, SongSheet& sheet, Findings& findings) {
  constexpr std::string_view kId = "movement";
  const auto& plan = song.plan;
  std::vector<std::size_t> all(plan.stems.size());
  for (std::size_t i = 0; i < all.size(); ++i) all[i] = i;
  const auto none = [&](std::string why, std::string_view remedy = {}) { findings.push_back(unmeasured(kId, plan.severities, std::move(why), song.mix_and(all), remedy)); };
  if (!song.why_no_stems.empty()) return none(song.why_no_stems);
  for (std::size_t i = 0; i < plan.stems.size(); ++i) {
    const auto& loudness = song.reading->stems[i].loudness;
    auto& stem = sheet.stems[i];
    stem.loudness = integrated(loudness, {0, loudness.size()});
    const auto active = active_windows(loudness);
    stem.noise = noise_between(loudness);
    stem.active_s = static_cast<double>(std::ranges::count(active, true)) * kStepS;
    std::optional<double> lowest, highest;
    for (const auto& section : sheet.sections) {
      double sum = 0, windows = 0;
      const auto range = windows_between(section.start_s, section.end_s, active.size());
      for (auto k = range.from; k < range.to; ++k) {
        if (active[k]) sum += window_power(loudness, k), ++windows;
      }
      auto& here = stem.by_section.emplace_back();
      if (windows * kStepS < kLeastActiveS) continue;
      here = lufs_of(sum / windows);
      lowest = std::min(lowest.value_or(*here), *here), highest = std::max(highest.value_or(*here), *here);
    }
    if (std::ranges::count_if(stem.by_section, [](const auto& one) { return one.has_value(); }) >= 2) stem.movement = *highest - *lowest;
  }
  if (plan.stems.empty()) return none("the plan has no stems", "Print the stems and add them to the plan.");
  if (!plan.dynamics.movement_db) {
    std::vector<std::string> moves;
    for (const auto& stem : sheet.stems) {
      if (stem.movement) moves.push_back(fmt::format("{} {}", base::for_terminal(stem.name), db(*stem.movement)));
    }
    findings.push_back(not_stated(kId, plan.severities, "[dynamics] movement, in dB", song.mix_and(all), moves.empty() ? std::string() : listed(moves)));
    return;
  }
  std::vector<std::string> still, moving, more;
  std::vector<std::size_t> at_fault;
  for (std::size_t i = 0; i < sheet.stems.size(); ++i) {
    const auto& stem = sheet.stems[i];
    if (!stem.movement) continue;
    const auto text = fmt::format("{} {}", base::for_terminal(stem.name), db(*stem.movement));
    if (!at_least(*stem.movement, *plan.dynamics.movement_db)) {
      still.push_back(text), at_fault.push_back(i);
      more.push_back(fmt::format("{} {}", base::for_terminal(stem.name), db(std::ceil((*plan.dynamics.movement_db - *stem.movement) * 10 - 1e-6) / 10)));
    } else {
      moving.push_back(text);
    }
  }
  if (still.empty() && moving.empty()) return none("no stem plays in two sections or more", "Give the plan the song's sections.");
  if (still.empty()) {
    findings.push_back(passed(kId, listed(moving), song.mix_and(all)));
  } else {
    auto finding = faulted(kId, plan.severities, fmt::format("{}: less than {}", listed(still), db(*plan.dynamics.movement_db)), song.mix_and(at_fault));
    finding.each_file = true;
    finding.remedy = fmt::format("Further from section to section: {}. {}", listed(more), finding.remedy);
    findings.push_back(std::move(finding));
  }
}

}  // namespace sendworthy::song
