// Whether the stems are the mix, and whether each of them stands where it stands in it.
#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <iterator>
#include <map>

#include "base/text.h"
#include "pair/sum_words.h"
#include "song/song_findings.h"

namespace sendworthy::song {
namespace {

pair::SumNames names_of(const Plan& plan) {
  std::map<std::string, std::string> by_path;
  for (const auto& stem : plan.stems) by_path[stem.file] = stem.name;
  pair::SumNames names;
  names.name = [by_path](const pair::SumPart& part) {
    const auto found = by_path.find(part.path);
    return base::for_terminal(found != by_path.end() ? found->second : part.path);
  };
  return names;
}

std::vector<std::size_t> all_of(const Plan& plan) {
  std::vector<std::size_t> all(plan.stems.size());
  for (std::size_t i = 0; i < all.size(); ++i) all[i] = i;
  return all;
}

std::string left_of(double residual_db) {
  const auto level = fmt::format("{}{} against the mix", db(residual_db), residual_db <= -160 ? " or less" : "");
  return residual_db <= -144 ? "nothing is left (" + level + ")" : level + " is left";
}

constexpr double kHeardLufs = -70;  // noise of all stems: less is no matter; common practice, no source

/// What the stems bring along between their notes adds up in whoever mixes on from them; empty where that is no matter.
std::string noise_of(const Measured& song, SongSheet& sheet) {
  double sum = 0, most = 0;
  std::size_t noisy = 0, loudest = 0;
  for (std::size_t i = 0; i < sheet.stems.size(); ++i) {
    if (!sheet.stems[i].noise) continue;
    const double power = std::pow(10, *sheet.stems[i].noise / 10);
    sum += power, ++noisy;
    if (power > most) most = power, loudest = i;
  }
  if (noisy == 0) return {};
  sheet.noise_of_stems = 10 * std::log10(sum);
  if (noisy < 2 || *sheet.noise_of_stems < kHeardLufs) return {};
  return fmt::format("; noise of {} stems adds up to {} LUFS where they rest, most of it in {}", noisy, base::fixed(*sheet.noise_of_stems, 1), base::for_terminal(song.plan.stems[loudest].name));
}

void sum_finding(const Measured& song, SongSheet& sheet, Findings& findings) {
  constexpr std::string_view kId = "stems-sum-to-mix";
  const auto& plan = song.plan;
  const auto files = song.mix_and(all_of(plan));
  if (!song.sum || song.sum->not_measured) {
    findings.push_back(unmeasured(kId, plan.severities, song.sum ? *song.sum->not_measured : song.why_no_stems, files));
    return;
  }
  if (song.stems_are_the_mix()) {
    findings.push_back(passed(kId, left_of(song.sum->residual_db) + noise_of(song, sheet), files));
    return;
  }
  const auto names = names_of(plan);
  auto finding = faulted(kId, plan.severities, pair::words_of(*song.sum, names) + noise_of(song, sheet), files);
  if ((song.sum->rest || song.sum->ends) && song.mix != nullptr) put_places(finding, pair::places_of(*song.sum, names, plan.mix, song.mix->facts.sample_rate));
  findings.push_back(std::move(finding));
}

constexpr double kTellsDb = -22;  // left beside processing of the mix bus: more could hide a stem that is late

/// What the sum says of single parts holds.
bool explained(const Measured& song) {
  using enum pair::SumCause;
  switch (song.sum->cause) {
    case unexplained: return false;
    case bus_processing:
    case each_processing:
    case bus_filter:
    case bus_distortion: return song.sum->residual_db <= kTellsDb;
    default: return true;
  }
}

/// What is wrong with all stems alike, or with the mix.
std::vector<std::string> faults_of_all(const pair::Sum& sum) {
  std::vector<std::string> faults;
  if (sum.common_delay_frames != 0) faults.push_back(pair::late_or_early(sum.common_delay_frames));
  if (sum.common_inverted) faults.push_back("upside down");
  return faults;
}

/// What is wrong with one stem as a file beside the mix, whatever it holds.
std::vector<std::string> faults_by_file(const Measured& song, std::size_t i) {
  std::vector<std::string> faults;
  const auto *file = song.stems[i], *mix = song.mix;
  if (file != nullptr && mix != nullptr) {
    const auto &own = file->facts, &whole = mix->facts;
    const auto off = std::abs(own.frames - whole.frames);
    if (own.sample_rate != whole.sample_rate) faults.push_back(fmt::format("{} Hz, the mix has {} Hz", own.sample_rate, whole.sample_rate));
    else if (off != 0) faults.push_back(fmt::format("{} {} {} than the mix", off, off == 1 ? "frame" : "frames", own.frames < whole.frames ? "shorter" : "longer"));
    if (own.channels != 1 && own.channels != whole.channels) faults.push_back(fmt::format("{} channels, the mix has {}", own.channels, whole.channels));
  }
  const auto clipped = clipping_of(file), mix_clipped = clipping_of(mix);
  if (clipped && clipped->is_heard() && mix_clipped && !mix_clipped->is_heard()) faults.push_back(clipped->words() + ", and the mix is not");
  return faults;
}

/// And by how it stands in the mix.
std::vector<std::string> faults_of(const Measured& song, std::size_t i, const pair::SumNames& names) {
  std::vector<std::string> faults;
  const auto& part = song.sum->parts[i];
  // Where nothing explains the sum, a fit of single parts says nothing about them.
  if (explained(song)) {
    if (const double late = part.delay_frames - song.sum->common_delay_frames; late != 0) faults.push_back(pair::late_or_early(late));
    if (part.inverted) faults.push_back("upside down");
    if (const auto channels = pair::inverted_channels(part); !channels.empty()) faults.push_back(channels + " upside down");
    if (part.crossed) faults.push_back("left and right changed about");
  }
  if (part.silent) faults.push_back("silent");
  if (part.whole_mix) faults.push_back("the whole mix");
  if (part.copy_of) faults.push_back("the same sound as " + names.name(song.sum->parts[*part.copy_of]));
  if (part.not_in_mix) faults.push_back("not in the mix");
  std::ranges::move(faults_by_file(song, i), std::back_inserter(faults));
  return faults;
}

void in_line(const Measured& song, Findings& findings) {
  constexpr std::string_view kId = "stems-aligned";
  const auto& plan = song.plan;
  const auto files = song.mix_and(all_of(plan));
  std::vector<std::string> texts, unknown;
  std::vector<std::size_t> at_fault;
  if (!song.sum || song.sum->not_measured) {
    for (std::size_t i = 0; i < plan.stems.size() && song.why_no_stems.empty(); ++i) {
      if (const auto faults = faults_by_file(song, i); !faults.empty()) texts.push_back(fmt::format("{}: {}", base::for_terminal(plan.stems[i].name), listed(faults))), at_fault.push_back(i);
    }
    const auto why = song.sum ? *song.sum->not_measured : song.why_no_stems;
    if (texts.empty()) return findings.push_back(unmeasured(kId, plan.severities, why, files));
    auto finding = faulted(kId, plan.severities, listed(texts, 6) + "; where they stand was not measured: " + why, song.mix_and(at_fault));
    finding.each_file = true;
    return findings.push_back(std::move(finding));
  }
  const auto names = names_of(plan);
  if (explained(song)) {
    if (const auto faults = faults_of_all(*song.sum); !faults.empty()) texts.push_back(fmt::format("all stems against the mix: {}", listed(faults))), at_fault = all_of(plan);
  }
  for (std::size_t i = 0; i < plan.stems.size(); ++i) {
    if (const auto faults = faults_of(song, i, names); !faults.empty()) {
      texts.push_back(fmt::format("{}: {}", base::for_terminal(plan.stems[i].name), listed(faults)));
      if (at_fault.size() < plan.stems.size()) at_fault.push_back(i);
    } else if (!song.stems_are_the_mix() && (!explained(song) || !song.sum->parts[i].known) && !song.sum->parts[i].silent) {
      unknown.push_back(plan.stems[i].name);
    }
  }
  if (!texts.empty()) {
    std::string text;
    constexpr std::size_t kShown = 6;
    for (std::size_t k = 0; k < std::min(kShown, texts.size()); ++k) text += (k == 0 ? "" : "; ") + texts[k];
    if (texts.size() > kShown) text += fmt::format("; and {} more", texts.size() - kShown);
    auto finding = faulted(kId, plan.severities, std::move(text), song.mix_and(at_fault));
    finding.each_file = true;
    findings.push_back(std::move(finding));
  } else if (!unknown.empty()) {
    findings.push_back(unmeasured(kId, plan.severities, "cannot be told apart from what the sum leaves: " + listed(unknown), files, "Mend what stems-sum-to-mix names first."));
  } else {
    findings.push_back(passed(kId, song.sum->nulls ? "in line, the right way up, as long as the mix" : "in line to within two frames, the right way up, as long as the mix", files));
  }
}

}  // namespace

void stem_findings(const Measured& song, SongSheet& sheet, Findings& findings) {
  if (song.plan.stems.empty()) {
    for (const auto* id : {"stems-sum-to-mix", "stems-aligned"}) findings.push_back(unmeasured(id, song.plan.severities, "the plan has no stems", {song.plan.mix}, "Print the stems and add them to the plan."));
    return;
  }
  sum_finding(song, sheet, findings);
  in_line(song, findings);
}

}  // namespace sendworthy::song
