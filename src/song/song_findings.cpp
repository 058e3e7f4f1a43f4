#include "song/song_findings.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <utility>

#include "base/table.h"
#include "base/text.h"

namespace sendworthy::song {

std::vector<std::string> Measured::mix_and(const std::vector<std::size_t>& wanted) const {
  std::vector<std::string> paths;
  for (const auto i : wanted) paths.push_back(plan.stems[i].file);
  paths.push_back(plan.mix);
  return paths;
}

std::vector<std::size_t> Measured::with_role(Role role) const {
  std::vector<std::size_t> found;
  for (std::size_t i = 0; i < plan.stems.size(); ++i) {
    if (plan.stems[i].role == role) found.push_back(i);
  }
  return found;
}

namespace {

std::optional<SongSheet::Wanted> wanted(const std::optional<Range>& range) { return range ? std::optional(SongSheet::Wanted{range->low, range->high}) : std::nullopt; }

}  // namespace

void describe(const Measured& song, SongSheet& sheet) {
  const auto& plan = song.plan;
  sheet.path = plan.path, sheet.title = plan.title, sheet.artist = plan.artist, sheet.feeling = plan.feeling, sheet.approach = plan.approach, sheet.mix = plan.mix;
  sheet.quiet_db_spl = plan.quiet.level_db_spl, sheet.reference_db_spl = plan.quiet.reference_db_spl;
  const double end_s = song.reading && !song.reading->too_long ? song.reading->duration_s : 0;
  for (const auto& section : plan.sections) {
    auto& one = sheet.sections.emplace_back();
    one.name = section.name, one.start_s = section.start_s;
    one.end_s = section.end_s.value_or(std::max(end_s, section.start_s));
    if (end_s > 0) one.start_s = std::min(one.start_s, end_s), one.end_s = std::min(one.end_s, end_s);
    one.biggest = section.biggest, one.quietest = section.quietest;
    one.wanted_vocal_over_bed = wanted(vocal_range(plan, section)), one.wanted_lead_over_backing = wanted(plan.under_lead_lu);
  }
  for (const auto& stem : plan.stems) {
    auto& one = sheet.stems.emplace_back();
    one.name = stem.name, one.path = stem.file, one.role = std::string(to_string(stem.role)), one.priority = stem.priority;
  }
}

void intent_finding(const Measured& song, Findings& findings) {
  const auto& plan = song.plan;
  std::vector<std::string> open;
  if (base::is_blank(plan.feeling)) open.push_back("feeling");
  if (base::is_blank(plan.approach)) open.push_back("approach");
  if (std::ranges::none_of(plan.sections, &Section::biggest)) open.push_back("the biggest section");
  if (std::ranges::none_of(plan.sections, &Section::quietest)) open.push_back("the quietest section");
  if (open.empty()) {
    findings.push_back(passed("intent-stated", "stated", {plan.path}));
  } else {
    std::string write, mark;
    for (const auto& [key, blank] : {std::pair{"feeling", base::is_blank(plan.feeling)}, {"approach", base::is_blank(plan.approach)}}) {
      if (blank) write += (write.empty() ? "Write " : " and ") + std::string(key);
    }
    if (!write.empty()) write += " into [song].";
    for (const auto& [key, missing] : {std::pair{"biggest", std::ranges::none_of(plan.sections, &Section::biggest)}, {"quietest", std::ranges::none_of(plan.sections, &Section::quietest)}}) {
      if (missing) mark += (mark.empty() ? "Write " : ", and ") + std::string(key) + " = true into the [[section]] that is meant to be the " + key;
    }
    if (!mark.empty()) mark += ".";
    findings.push_back(unmeasured("intent-stated", plan.severities, "not stated: " + listed(open), {plan.path}, write + (write.empty() || mark.empty() ? "" : " ") + mark));
  }
}

std::string Clipping::words() const {
  const auto places = [](double count) { return fmt::format("{} {}", base::shortest(count), count == 1 ? "place" : "places"); };
  if (at_full_scale == 0) return fmt::format("clipped in {} below full scale, none at it", places(flat_tops));
  return fmt::format("clipped in {} at full scale, {} below it", places(at_full_scale), flat_tops == 0 ? "none" : base::shortest(flat_tops));
}

std::optional<Clipping> clipping_of(const FileSheet* file) {
  if (file == nullptr) return std::nullopt;
  Clipping clipping;
  for (const auto& [id, count] : {std::pair{"clipped_runs", &clipping.at_full_scale}, {"flat_top_runs", &clipping.flat_tops}}) {
    const auto found = std::ranges::find(file->measurements, id, &Measurement::id);
    const auto runs = found != file->measurements.end() ? number(found->outcome) : std::nullopt;
    if (!runs) return std::nullopt;
    *count = *runs;
    clipping.where.insert(clipping.where.end(), found->where.begin(), found->where.end());
  }
  return clipping;
}

Where place(double start_s, double end_s, double rate, std::string file, std::string note) {
  return {start_s, end_s, std::llround(start_s * rate), std::llround(end_s * rate), 0, std::move(file), std::move(note)};
}

void put_places(Finding& finding, std::vector<Where> places) {
  finding.where_total = static_cast<std::int64_t>(places.size());
  if (places.size() > kMaxWhere) places.resize(kMaxWhere);
  finding.where = std::move(places);
}

void put_moves(Finding& finding, std::string_view what, const std::vector<Move>& moves) {
  constexpr std::size_t kMost = 12;
  if (moves.empty()) return;
  // Up, so that the level lies within what is wanted when the fader has moved; 1.0000000002 is 1.0.
  const auto tenths = [](const Move& one) { return std::ceil(std::abs(one.change_db) * 10 - 1e-6) / 10 * (one.change_db < 0 ? -1 : 1); };
  std::vector<std::string> texts;
  for (const auto& one : moves) texts.push_back(fmt::format("{}{}{} by {}", one.where, one.where.empty() ? "" : " ", one.change_db < 0 ? "down" : "up", db(std::abs(tenths(one)))));
  finding.remedy = fmt::format("{}: {}. {}", what, listed(texts, kMost), finding.remedy);
  if (std::ranges::all_of(moves, [&](const Move& one) { return tenths(one) == tenths(moves.front()); })) finding.change_db = moves.front().change_db;
}

std::string listed(const std::vector<std::string>& texts, std::size_t most) {
  std::string all;
  for (std::size_t i = 0; i < std::min(most, texts.size()); ++i) all += (i == 0 ? "" : ", ") + base::for_terminal(texts[i]);
  if (texts.size() > most) all += fmt::format(" and {} more", texts.size() - most);
  return all;
}

std::string lu(double value) { return base::fixed(value, 1) + " LU"; }
std::string db(double value) { return base::fixed(value, 1) + " dB"; }

}  // namespace sendworthy::song
