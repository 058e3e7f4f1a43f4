// Parts that matter less over parts that matter more, and what is left of the backing vocals.
#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <iterator>
#include <set>

#include "base/text.h"
#include "song/as_printed.h"
#include "song/masking.h"
#include "song/song_findings.h"

namespace sendworthy::song {
namespace {

constexpr std::size_t kMostPairsNamed = 3;
constexpr double kReferenceLufs = 0;  // what a mean square of 1 is, K-weighted, to within a unit

std::string hz(double value) { return value < 1000 ? fmt::format("{} Hz", std::round(value)) : fmt::format("{} kHz", base::fixed(value / 1000, 1)); }
std::string percent(double share) { return base::fixed(100 * share, 0) + " %"; }

struct Pairing {
  std::size_t target;
  std::vector<std::size_t> maskers;
};

std::vector<Pairing> by_priority(const Plan& plan) {
  std::vector<Pairing> all;
  for (std::size_t i = 0; i < plan.stems.size(); ++i) {
    if (!plan.stems[i].priority) continue;
    Pairing one{i, {}};
    for (std::size_t k = 0; k < plan.stems.size(); ++k) {
      if (plan.stems[k].priority && *plan.stems[k].priority > *plan.stems[i].priority) one.maskers.push_back(k);
    }
    if (!one.maskers.empty()) all.push_back(std::move(one));
  }
  return all;
}

SongSheet::Pair described(const Plan& plan, std::size_t target, std::size_t masker, const MaskerCoverage& covered) {
  SongSheet::Pair pair;
  pair.part = plan.stems[target].name, pair.masker = plan.stems[masker].name;
  pair.masked = 100 * covered.alone.share, pair.freed = 100 * covered.uncovered;
  for (int band = 0; band < BandFrames::kBands; ++band) pair.bands.emplace_back(BandFrames::centre_hz(band), 100 * covered.alone.bands[static_cast<std::size_t>(band)]);
  for (const auto& one : covered.alone.passages) pair.passages.push_back({one.start_s, one.end_s, one.low_hz, one.high_hz, 100 * one.share});
  return pair;
}

void add_places(const SongSheet::Pair& pair, double rate, const std::string& mix, std::vector<Where>& places) {
  for (const auto& one : pair.passages)
    places.push_back(place(one.start_s, one.end_s, rate, mix, fmt::format("{} over {}, {} to {}, {} covered", base::for_terminal(pair.masker), base::for_terminal(pair.part), hz(one.low_hz), hz(one.high_hz), percent(one.masked / 100))));
}

void priorities(const Measured& song, const std::vector<Pairing>& pairings, const std::vector<Masking>& measured, SongSheet& sheet, Findings& findings) {
  constexpr std::string_view kId = "priority-masking";
  const auto& plan = song.plan;
  std::vector<std::string> resting;
  for (std::size_t i = 0; i < pairings.size(); ++i) {
    const auto& [target, maskers] = pairings[i];
    if (measured[i].active_s == 0) {
      resting.push_back(plan.stems[target].name);
      continue;
    }
    for (std::size_t k = 0; k < maskers.size(); ++k) sheet.pairs.push_back(described(plan, target, maskers[k], measured[i].each[k]));
  }
  std::ranges::stable_sort(sheet.pairs, [](const auto& a, const auto& b) { return a.masked > b.masked; });
  std::vector<std::size_t> all;
  for (std::size_t i = 0; i < plan.stems.size(); ++i) {
    if (plan.stems[i].priority) all.push_back(i);
  }
  if (all.empty()) {
    findings.push_back(not_stated(kId, plan.severities, "priority = 1 and on for [[stem]]", {plan.path}));
    return;
  }
  if (!plan.most_masked_percent) {
    const auto* most = sheet.pairs.empty() ? nullptr : &sheet.pairs.front();
    findings.push_back(not_stated(kId, plan.severities, "[masking] most, in %", song.mix_and(all), most != nullptr ? fmt::format("at most {}: {} over {}", percent(most->masked / 100), base::for_terminal(most->masker), base::for_terminal(most->part)) : std::string()));
    return;
  }
  if (sheet.pairs.empty()) {
    findings.push_back(unmeasured(kId, plan.severities, resting.empty() ? (all.size() < 2 ? "not stated: only one part has a priority" : "all parts have one priority: there is no pair to look at") : "silent: " + listed(resting), song.mix_and(all), "Give the stems priorities that differ, 1 for what matters most."));
    return;
  }
  std::vector<std::string> covered;
  std::set<std::string_view> named;
  std::vector<Where> places;
  for (const auto& pair : sheet.pairs) {
    if (at_most(pair.masked, *plan.most_masked_percent, 0)) continue;
    std::string bands;
    if (!pair.passages.empty()) bands = fmt::format(", most from {} to {}", hz(pair.passages.front().low_hz), hz(pair.passages.front().high_hz));
    covered.push_back(fmt::format("{} of {} covered by {}{}", percent(pair.masked / 100), pair.part, pair.masker, bands));
    named.insert({pair.part, pair.masker});
    add_places(pair, song.reading->rate, plan.mix, places);
  }
  if (!covered.empty()) {
    std::vector<std::size_t> at_fault;
    std::ranges::copy_if(all, std::back_inserter(at_fault), [&](std::size_t i) { return named.contains(plan.stems[i].name); });
    auto finding = faulted(kId, plan.severities, fmt::format("{}; at most {} are wanted", listed(covered, kMostPairsNamed), percent(*plan.most_masked_percent / 100)), song.mix_and(at_fault));
    put_places(finding, std::move(places));
    findings.push_back(std::move(finding));
    return;
  }
  const auto& worst = sheet.pairs.front();
  if (!resting.empty()) {
    findings.push_back(unmeasured(kId, plan.severities, "silent, so that nothing can be said of it: " + listed(resting), song.mix_and(all), "Look at the stems' files."));
    return;
  }
  findings.push_back(passed(kId, fmt::format("at most {}: {} over {}", percent(worst.masked / 100), base::for_terminal(worst.masker), base::for_terminal(worst.part)), song.mix_and(all)));
}

void backing(const Measured& song, const std::vector<std::size_t>& maskers, const Masking& masking, SongSheet& sheet, Findings& findings) {
  constexpr std::string_view kId = "backing-masked";
  const auto& plan = song.plan;
  const auto voices = song.with_role(Role::backing_vocal);
  const auto files = song.mix_and(voices);
  if (!maskers.empty() && masking.active_s > 0) sheet.backing_masked = 100 * masking.together.share;
  if (!plan.most_masked_percent) {
    findings.push_back(not_stated(kId, plan.severities, "[masking] most, in %", files, sheet.backing_masked ? percent(*sheet.backing_masked / 100) + " covered" : std::string()));
    return;
  }
  if (maskers.empty() || masking.active_s == 0) {
    findings.push_back(unmeasured(kId, plan.severities, maskers.empty() ? "there are no stems but vocals" : "the backing vocals are silent", files, "Add the other stems to the plan, or look at the stem's file."));
    return;
  }
  auto text = fmt::format("{} covered", percent(masking.together.share));
  if (masking.named) text += fmt::format(", most by {}", base::for_terminal(plan.stems[maskers[*masking.named]].name));
  if (at_most(100 * masking.together.share, *plan.most_masked_percent, 0)) {
    findings.push_back(passed(kId, text, files));
    return;
  }
  auto finding = faulted(kId, plan.severities, fmt::format("{}; at most {} are wanted", text, percent(*plan.most_masked_percent / 100)), files);
  std::vector<Where> places;
  for (const auto& one : masking.together.passages)
    places.push_back(place(one.start_s, one.end_s, song.reading->rate, plan.mix, fmt::format("{} to {}, {} covered", hz(one.low_hz), hz(one.high_hz), percent(one.share))));
  put_places(finding, std::move(places));
  findings.push_back(std::move(finding));
}

}  // namespace

void masking_findings(const Measured& song, SongSheet& sheet, Findings& findings) {
  const auto& plan = song.plan;
  const auto voices = song.with_role(Role::backing_vocal);
  const auto no_voices = [&] {
    if (song.stems_are_the_mix()) return noted("backing-masked", "there are no backing vocals among the stems, which are all of the mix", {plan.mix});
    return unmeasured("backing-masked", plan.severities, "no stem has the role backing vocal", {plan.mix}, "Print the backing vocals as a stem and add it to the plan; where the song has none, write backing-masked = \"note\" under [severity].");
  };
  if (!song.why_no_stems.empty() || plan.stems.empty()) {
    const auto why = plan.stems.empty() ? std::string("the plan has no stems") : song.why_no_stems;
    const std::string_view remedy = plan.stems.empty() ? "Print the stems and add them to the plan." : "";
    for (const auto* id : {"priority-masking", "backing-masked"}) findings.push_back(unmeasured(id, plan.severities, why, {plan.mix}, remedy));
    return;
  }
  std::vector<const BandFrames*> parts;
  for (const auto& stem : song.reading->stems) parts.push_back(&stem.bands);
  const auto pairings = by_priority(plan);
  std::vector<MaskingCase> cases;
  for (const auto& one : pairings) cases.push_back({{one.target}, one.maskers});
  std::vector<std::size_t> others;
  for (std::size_t i = 0; i < plan.stems.size(); ++i) {
    if (plan.stems[i].role != Role::backing_vocal && plan.stems[i].role != Role::lead_vocal) others.push_back(i);
  }
  if (!voices.empty() && !others.empty()) cases.push_back({voices, others});
  std::vector<TimeSpan> spans;
  for (const auto& section : sheet.sections) spans.push_back({section.start_s, section.end_s});
  MaskingOptions options;
  // The plan says how loud the mix plays at the reference level, and so how loud full scale does.
  if (const auto loudness = integrated(song.reading->mix.loudness, {0, song.reading->mix.loudness.size()})) options.full_scale_db_spl = plan.quiet.reference_db_spl - *loudness + kReferenceLufs;
  const auto measured = measure_masking(parts, cases, spans, options);
  priorities(song, pairings, measured, sheet, findings);
  if (voices.empty()) {
    findings.push_back(no_voices());
  } else {
    backing(song, others, others.empty() ? Masking{} : measured.back(), sheet, findings);
  }
}

}  // namespace sendworthy::song
