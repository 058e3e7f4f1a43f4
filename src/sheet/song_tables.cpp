#include "sheet/song_tables.h"

#include <algorithm>
#include <cmath>
#include <vector>

#include "base/text.h"
#include "sheet/html_findings.h"
#include "sheet/html_frame.h"
#include "sheet/phrases.h"
#include "sheet/song_canvas.h"

namespace sendworthy::sheet {
namespace {

constexpr std::size_t kSectionsAcross = 24;  // of the table of stems; more would hide the rest
constexpr double kHeading = 14 * kSongLetter;  // of a column
constexpr std::size_t kPairsListed = 8, kPassages = 3;

std::string number(const std::optional<double>& value, int decimals = 1) { return value && std::isfinite(*value) ? base::fixed(*value, decimals) : "–"; }

struct Column {
  std::string title;
  std::string unit;
};

/// Opens a table in a box of its own that scrolls, since it may be wider than the screen.
std::string open(std::string_view name, const std::vector<Column>& columns) {
  auto out = "<div class=\"scroll\" role=\"group\" tabindex=\"0\" aria-label=\"" + safe(name) + "\"><table class=\"numbers\"><thead><tr>";
  for (const auto& one : columns) out += "<th scope=\"col\">" + safe(one.title) + (one.unit.empty() ? "" : " <span class=\"unit\">" + safe(one.unit) + "</span>") + "</th>";
  return out + "</tr></thead><tbody>\n";
}

std::string close() { return "</tbody></table></div>\n"; }

std::string heading(std::string_view title) { return "<h3>" + safe(title) + "</h3>\n"; }

std::string cell(const std::string& html) { return "<td>" + html + "</td>"; }

std::string span_of(double start_s, double end_s) {
  return "<span class=\"whole\">" + base::clock_time(start_s, 1) + (end_s > start_s && std::isfinite(end_s) ? " to " + base::clock_time(end_s, 1) : "") + "</span>";
}

/// Under a value what the plan wants of it.
std::string wanted(const std::optional<SongSheet::Wanted>& range) {
  return range ? "<span class=\"unit whole\">wanted " + base::fixed(range->low, 1) + " to " + base::fixed(range->high, 1) + "</span>" : std::string();
}

std::string hertz(double value) { return value >= 1000 ? base::fixed(value / 1000, 1) + " kHz" : base::fixed(value, 0) + " Hz"; }

/// What of a file was measured by itself.
std::optional<double> reading(const FileSheet& file, std::string_view id) {
  const auto found = std::ranges::find(file.measurements, id, &Measurement::key);
  return found == file.measurements.end() ? std::nullopt : sendworthy::number(found->outcome);
}

}  // namespace

std::string sections_table(const SongSheet& song) {
  if (song.sections.empty()) return {};
  auto out = heading("Sections") + open("Sections", {{"Section", ""}, {"Time", ""}, {"Rank", ""}, {"Integrated", "LUFS"}, {"Max short-term", "LUFS"}, {"Peak to loudness", "dB"}, {"Below 120 Hz", "dB of all"},
                                                     {"Side to mid", "dB"}, {"Onsets", "a second"}, {"Vocal over bed", "LU"}, {"Lead over backing", "LU"}, {"Drums over the rest", "LU"}, {"Kick over bass", "dB"}});
  for (std::size_t i = 0; i < song.sections.size(); ++i) {
    const auto& one = song.sections[i];
    const std::string mark = one.biggest ? "biggest" : one.quietest ? "quietest" : "";
    out += "<tr><th scope=\"row\">" + std::to_string(i + 1) + ". " + safe(one.name) + (mark.empty() ? "" : " <span class=\"soft\">" + mark + "</span>") + "</th>" + cell(span_of(one.start_s, one.end_s)) +
           cell(one.rank > 0 ? std::to_string(one.rank) : "–");
    for (const auto* value : {&one.loudness, &one.max_short_term_loudness, &one.peak_to_loudness_ratio, &one.low_share, &one.side_to_mid, &one.density}) out += cell(number(*value));
    out += cell(number(one.vocal_over_bed) + wanted(one.wanted_vocal_over_bed)) + cell(number(one.lead_over_backing) + wanted(one.wanted_lead_over_backing));
    for (const auto* value : {&one.drums_over_rest, &one.kick_over_bass}) out += cell(number(*value));
    out += "</tr>\n";
  }
  return out + close();
}

std::string stems_table(const SongSheet& song) {
  if (song.stems.empty()) return {};
  std::vector<Column> columns{{"Stem", ""}, {"Role", ""}, {"Priority", ""}, {"Loudness", "LUFS"}, {"Plays", "s"}, {"Movement", "dB"}};
  const bool quietly = std::ranges::any_of(song.stems, [](const auto& one) { return one.reference_level.has_value(); });
  if (quietly) columns.push_back({"Very quietly", "dB moved"}), columns.push_back({"Small speaker", "dB moved"});
  const auto sections = std::min(kSectionsAcross, song.sections.size());
  for (std::size_t i = 0; i < sections; ++i) columns.push_back({fitting(song.sections[i].name, kHeading), "LUFS"});
  auto out = heading("Stems") + open("Stems", columns);
  for (const auto& one : song.stems) {
    out += "<tr><th scope=\"row\">" + safe(one.name) + "</th>" + cell(safe(one.role)) + cell(one.priority ? std::to_string(*one.priority) : "–") + cell(number(one.loudness)) + cell(number(one.active_s)) + cell(number(one.movement));
    if (quietly) {
      const auto moved = [](const std::optional<double>& value) { return value && std::isfinite(*value) ? with_sign(*value, {}) : std::string("–"); };
      out += cell(one.disappears ? "not heard" : moved(one.moved)) + cell(moved(one.moved_small_speaker));
    }
    for (std::size_t i = 0; i < sections; ++i) out += cell(i < one.by_section.size() ? number(one.by_section[i]) : "–");
    out += "</tr>\n";
  }
  out += close();
  if (const auto more = and_more(sections, static_cast<std::int64_t>(song.sections.size())); !more.empty()) out += "<p class=\"soft\">The first " + std::to_string(sections) + " sections are shown, " + safe(more) + "; the sheet as JSON has all.</p>\n";
  return out;
}

std::string pairs_table(const SongSheet& song) {
  if (song.pairs.empty()) return {};
  auto out = open("Where parts are covered", {{"Part", ""}, {"Under", ""}, {"Covered", "%"}, {"Free without it", "%"}, {"Where most", ""}});
  const auto listed = std::min(kPairsListed, song.pairs.size());
  for (std::size_t i = 0; i < listed; ++i) {
    const auto& one = song.pairs[i];
    out += "<tr><th scope=\"row\">" + safe(one.part) + "</th>" + "<td class=\"called\">" + safe(one.masker) + "</td>" + cell(base::fixed(one.masked, 0)) + cell(base::fixed(one.freed, 0)) + "<td class=\"said\">";
    for (std::size_t k = 0; k < std::min(kPassages, one.passages.size()); ++k) {
      const auto& passage = one.passages[k];
      out += "<span class=\"part\">" + span_of(passage.start_s, passage.end_s) + ", " + hertz(passage.low_hz) + " to " + hertz(passage.high_hz) + ": " + base::fixed(passage.masked, 0) + " %</span>";
    }
    out += "</td></tr>\n";
  }
  out += close();
  if (const auto more = and_more(listed, static_cast<std::int64_t>(song.pairs.size())); !more.empty()) out += "<p class=\"soft\">" + safe(more) + "; the sheet as JSON has all.</p>\n";
  return out;
}

std::string low_end_facts(const SongSheet& song) {
  if (!song.low_end) return {};
  const auto& low = *song.low_end;
  std::string rows;
  const auto row = [&rows](std::string_view label, const std::optional<double>& value, int decimals, const std::string& unit, const std::string& more = {}) {
    if (value && std::isfinite(*value)) rows += about_row(label, base::fixed(*value, decimals) + " " + unit + more);
  };
  row("kick centred at", low.kick_centre_hz, 0, "Hz");
  row("bass centred at", low.bass_centre_hz, 0, "Hz");
  row("kick over bass, median", low.kick_over_bass, 1, "dB",
      (low.kick_over_bass_p10 ? "; 10th percentile " + base::fixed(*low.kick_over_bass_p10, 1) + " dB" : "") + (low.wanted_kick_over_bass ? "; at least " + base::fixed(*low.wanted_kick_over_bass, 1) + " dB wanted" : ""));
  row("hits under the bass", low.share_below_zero, 0, "%");
  row("steadiness of the bass", low.bass_steadiness, 1, "dB");
  if (low.cancellation && std::isfinite(*low.cancellation))
    rows += about_row("kick and bass at the hits", (*low.cancellation < 0 ? "cancel by " : "add up by ") + base::fixed(std::abs(*low.cancellation), 1) + " dB");
  row("bass turned round would add", low.flipped_gain, 1, "dB");
  row("bass moved would add", low.best_shift_gain, 1, "dB", low.best_shift_ms ? ", " + base::fixed(std::abs(*low.best_shift_ms), 1) + " ms " + (*low.best_shift_ms < 0 ? "earlier" : "later") : "");
  row("lost in mono", low.mono_loss, 1, "dB", low.mono_loss_worst ? "; at most " + base::fixed(*low.mono_loss_worst, 1) + " dB" + (low.mono_loss_worst_at_s ? " at " + base::clock_time(*low.mono_loss_worst_at_s, 1) : "") : "");
  row("rise at the mix's onsets", low.punch, 1, "dB");
  return rows.empty() ? rows : "<h4>The low end below " + base::fixed(low.below_hz, 0) + " Hz</h4>\n<dl class=\"held\">\n" + rows + "</dl>\n";
}

std::string references_table(const Sheet& sheet) {
  const auto& song = *sheet.song;
  if (song.references.empty()) return {};
  auto out = heading("Beside it, never judged") + open("References", {{"File", ""}, {"Integrated", "LUFS"}, {"Peak to loudness", "dB"}, {"Below 120 Hz", "dB of all"}, {"Side to mid", "dB"}});
  const auto mix = std::ranges::find(sheet.files, song.mix, &FileSheet::path);
  if (mix != sheet.files.end() && !mix->error) {
    const auto loudness = reading(*mix, "integrated_loudness"), ratio = reading(*mix, "peak_to_loudness_ratio");
    if (loudness || ratio) out += "<tr><th scope=\"row\">" + safe(song.mix) + " <span class=\"soft\">the mix</span></th>" + cell(number(loudness)) + cell(number(ratio)) + cell("") + cell("") + "</tr>\n";
  }
  for (const auto& one : song.references) {
    out += "<tr><th scope=\"row\">" + safe(one.path) + "</th>";
    if (!one.trouble.empty()) {
      out += "<td class=\"said\" colspan=\"4\">" + safe(one.trouble) + "</td></tr>\n";
      continue;
    }
    for (const auto* value : {&one.loudness, &one.peak_to_loudness_ratio, &one.low_share, &one.side_to_mid}) out += cell(number(*value));
    out += "</tr>\n";
  }
  return out + close();
}

}  // namespace sendworthy::sheet
