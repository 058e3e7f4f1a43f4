// What pokes out and what disappears when the mix is played very quietly.
#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "base/text.h"
#include "song/as_printed.h"
#include "song/quiet.h"
#include "song/song_findings.h"
#include "song/standing.h"

namespace sendworthy::song {
namespace {

std::string moved(double value) { return fmt::format("{}{}", value > 0 ? "+" : "", db(value)); }

/// What a part does on a small loudspeaker, beside what it does on a large one.
std::string on_small(const SongSheet::Stem& stem) { return stem.moved_small_speaker ? fmt::format("small loudspeaker {}", moved(*stem.moved_small_speaker)) : std::string(); }

}  // namespace

void quiet_finding(const Measured& song, SongSheet& sheet, Findings& findings) {
  constexpr std::string_view kId = "quiet-listening";
  const auto& plan = song.plan;
  std::vector<std::size_t> front;
  for (std::size_t i = 0; i < plan.stems.size(); ++i) {
    if (stands_in_front(plan.stems[i].role)) front.push_back(i);
  }
  const auto files = song.mix_and(front);
  const auto none = [&](std::string why, std::string_view remedy = {}) { findings.push_back(unmeasured(kId, plan.severities, std::move(why), files, remedy)); };
  if (!song.why_no_stems.empty()) return none(song.why_no_stems);
  if (front.size() < 2) return none("fewer than two stems have the role lead vocal, lead, kick or snare, so that nothing can move against anything", "Print those parts as stems and add them to the plan.");
  const bool lead = std::ranges::any_of(front, [&](std::size_t i) { return plan.stems[i].role == Role::lead_vocal || plan.stems[i].role == Role::lead; });
  if (!lead && !stems_tell_the_mix(song)) return none("no stem has the role lead vocal or lead, and the stems are not all of the mix", "Print what leads as a stem and add it to the plan.");
  const auto loudness = integrated(song.reading->mix.loudness, {0, song.reading->mix.loudness.size()});
  if (!loudness) return none("the mix has no loudness", "Look at the mix's file.");
  std::vector<PartBands> bands;
  for (const auto i : front) bands.push_back(*song.reading->stems[i].spectrum);
  const auto heard = listen_quietly(bands, {*loudness, plan.quiet.reference_db_spl, plan.quiet.level_db_spl});
  std::vector<std::string> out, gone, gone_small, still;
  std::size_t measured = 0;
  for (std::size_t k = 0; k < front.size(); ++k) {
    const auto& part = heard[k];
    auto& stem = sheet.stems[front[k]];
    stem.reference_level = part.reference.level, stem.quiet_level = part.quiet.level, stem.moved = part.quiet.moved_db, stem.disappears = part.disappears();
    if (plan.quiet.small_speaker) stem.moved_small_speaker = part.small.moved_db;
    if (!part.reference.level) continue;
    ++measured;
    const auto name = base::for_terminal(stem.name), small = on_small(stem);
    if (part.disappears()) {
      gone.push_back(name);
    } else if (part.quiet.moved_db && !at_most(std::abs(*part.quiet.moved_db), plan.quiet.moved_db)) {
      out.push_back(fmt::format("{} {} ({}{})", name, *part.quiet.moved_db > 0 ? "pokes out" : "sinks", moved(*part.quiet.moved_db), small.empty() ? "" : "; " + small));
    } else {
      still.push_back(fmt::format("{} {}{}", name, part.quiet.moved_db ? moved(*part.quiet.moved_db) : "alone", small.empty() ? "" : " (" + small + ")"));
    }
    if (plan.quiet.small_speaker && part.disappears_small() && !part.disappears()) gone_small.push_back(name);
  }
  if (measured < 2) return none("of the leads, kick and snare fewer than two are heard at the reference level", "Look at the stems' files, and at [quiet] reference_db_spl.");
  const auto levels = fmt::format("from {} to {} dB SPL, an estimate", base::shortest(plan.quiet.reference_db_spl), base::shortest(plan.quiet.level_db_spl));
  if (out.empty() && gone.empty() && gone_small.empty()) {
    findings.push_back(passed(kId, fmt::format("{}; {}", listed(still), levels), files));
    return;
  }
  std::vector<std::string> parts;
  if (!out.empty()) parts.push_back(listed(out));
  if (!gone.empty()) parts.push_back(listed(gone) + (gone.size() == 1 ? " disappears" : " disappear"));
  if (!gone_small.empty()) parts.push_back(listed(gone_small) + (gone_small.size() == 1 ? " disappears" : " disappear") + " on a small loudspeaker");
  std::string text;
  for (const auto& one : parts) text += (text.empty() ? "" : "; ") + one;
  findings.push_back(faulted(kId, plan.severities, fmt::format("{}; {}; more than {} is outside", text, levels, db(plan.quiet.moved_db)), files));
}

}  // namespace sendworthy::song
