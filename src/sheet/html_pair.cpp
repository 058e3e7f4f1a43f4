// Two bounces held against each other, as a page: what it comes to, the places, what is left over time and by octave, what
// reads differently.
#include "sheet/html_pair.h"

#include <algorithm>
#include <cmath>
#include <string>
#include <vector>

#include "base/text.h"
#include "sheet/html_frame.h"
#include "sheet/pair_words.h"
#include "sheet/phrases.h"
#include "sheet/plot.h"

namespace sendworthy::sheet {
namespace {

constexpr double kLowestDb = -144, kHighestDb = 12;

std::string decibels(double db) { return base::fixed(db, 1) + " dB"; }

double lowest_of(double least) { return std::max(kLowestDb, std::floor(least / 12) * 12); }

Plot over_time(const Pair& pair) {
  Plot plot;
  plot.id = "pair-null-time", plot.kind = "null-time", plot.over_time = true;
  plot.title = "What is left, over time";
  Series line;
  double least = -24, most = -200;
  std::size_t at = 0;
  for (std::size_t i = 0; i < pair.null_over_time.size(); ++i) {
    line.x.push_back((static_cast<double>(i) + 0.5) * pair.null_step_s);
    const double y = static_cast<double>(pair.null_over_time[i]);
    line.y.push_back(y);
    if (!std::isfinite(y)) continue;
    least = std::min(least, y);
    if (y > most) most = y, at = i;
  }
  const double length = std::max(0.001, static_cast<double>(pair.null_over_time.size()) * pair.null_step_s);
  plot.x = {0, length, false, "time from the start of the old file (minutes:seconds)", time_ticks(0, length, 6)};
  const double low = lowest_of(least);
  plot.y = {low, kHighestDb, false, "left, over the old file (dB)", round_ticks(low, kHighestDb, 5)};
  for (auto& y : line.y) {
    if (std::isfinite(y)) y = std::clamp(y, low, kHighestDb);
  }
  plot.caption = most < -199 ? "Nothing was paired: there is nothing to show."
                             : "Most is left at " + base::clock_time(static_cast<double>(at) * pair.null_step_s, 1) + " (" + decibels(most) + "), over the whole file " + decibels(pair.null_db) + ".";
  if (!pair.edits.empty()) plot.caption += " The marks are the places where the two part.";
  for (std::size_t i = 0; i < pair.edits.size(); ++i)
    plot.marks.push_back({pair.edits[i].old_start_s, std::max(pair.edits[i].old_start_s, pair.edits[i].old_end_s), std::to_string(i + 1), Status::warn});
  plot.series.push_back(std::move(line));
  return plot;
}

Plot by_octave(const Pair& pair) {
  Plot plot;
  plot.id = "pair-null-octave", plot.kind = "null-octave";
  plot.title = "What is left, by octave";
  Series bars;
  bars.kind = Series::Kind::bars;
  bars.bar_width = 1.3;
  double least = -24;
  const Pair::Octave* most = &pair.octaves.front();
  for (const auto& one : pair.octaves) {
    least = std::min(least, one.null_db);
    if (one.null_db > most->null_db) most = &one;
  }
  const double low = lowest_of(least);
  for (const auto& one : pair.octaves) {
    bars.x.push_back(one.centre_hz);
    bars.y.push_back(std::clamp(one.null_db, low, kHighestDb));
    plot.x.ticks.push_back({one.centre_hz, octave_name(one.centre_hz)});
  }
  plot.x.low = pair.octaves.front().centre_hz / 1.6, plot.x.high = pair.octaves.back().centre_hz * 1.6, plot.x.logarithmic = true;
  plot.x.label = "octaves by their middle";
  plot.y = {low, kHighestDb, false, "left, over the old file (dB)", round_ticks(low, kHighestDb, 5)};
  plot.caption = "Most is left in the octave round " + octave_name(most->centre_hz) + " (" + decibels(most->null_db) + ")" +
                 (pair.edits.empty() ? "." : ", outside of the places where the two part.");
  plot.series.push_back(std::move(bars));
  return plot;
}

class PairPage {
 public:
  PairPage(const Sheet& sheet, const Catalog& catalog) : sheet_(sheet), catalog_(catalog) {}

  std::string write() {
    const auto& pair = sheet_.pairs.front();
    const auto word = std::string(to_string(pair.kind));
    out_ = page_head(word + ": " + pair.new_path);
    const bool same = pair.kind == Pair::Kind::identical_bits || pair.kind == Pair::Kind::identical_audio;
    out_ += "<header>\n<p class=\"verdict " + std::string(same ? "pass" : "warn") + "\">" + safe(summary_of(pair)) + "</p>\n<h1>" + safe(base::for_terminal(pair.new_path)) +
            " held against " + safe(base::for_terminal(pair.old_path)) + "</h1>\n";
    for (const auto& [label, path] : {std::pair{"Old: ", &pair.old_path}, std::pair{"New: ", &pair.new_path}}) {
      const auto file = std::ranges::find(sheet_.files, *path, &FileSheet::path);
      if (file != sheet_.files.end()) out_ += "<p>" + std::string(label) + safe(facts_line(file->facts)) + "</p>\n";
    }
    out_ += "</header>\n<main>\n<section class=\"file\" id=\"pair\" aria-labelledby=\"pair-name\">\n<h2 id=\"pair-name\">What differs</h2>\n";
    edits(pair);
    pictures(pair);
    turns(pair);
    changes(pair);
    out_ += "</section>\n</main>\n" + page_foot(sheet_.tool_version);
    return std::move(out_);
  }

 private:
  void edits(const Pair& pair) {
    if (pair.edits.empty()) return;
    out_ += "<h3>Where they part (" + std::to_string(pair.edits_total) + ")</h3>\n<ol class=\"findings\">\n";
    for (std::size_t i = 0; i < pair.edits.size(); ++i) {
      const auto number = std::to_string(i + 1);
      out_ += "<li class=\"warn-row\"><span class=\"number warn\">" + number + "</span><p class=\"head\">" + safe(words_of(pair.edits[i])) +
              " <button type=\"button\" hidden data-place=\"" + base::shortest(pair.edits[i].old_start_s) + "\" aria-label=\"Look there, place " + number + "\">Look there</button></p></li>\n";
    }
    out_ += "</ol>\n";
    const auto rest = and_more(pair.edits.size(), pair.edits_total);
    if (!rest.empty()) out_ += "<p>" + rest + "</p>\n";
  }

  void pictures(const Pair& pair) {
    if (!pair.aligned || pair.null_over_time.empty()) return;
    out_ += "<h3>What is left of the new file once the old one is taken out</h3>\n" + picture_tools(!pair.edits.empty()) + "<div class=\"pictures\">\n" + figure_of(over_time(pair));
    if (!pair.octaves.empty()) out_ += figure_of(by_octave(pair));
    out_ += "</div>\n";
  }

  void turns(const Pair& pair) {
    if (pair.turns.empty()) return;
    out_ += "<h3>Findings that turned (" + std::to_string(pair.turns.size()) + ")</h3>\n<table><thead><tr><th scope=\"col\">Rule</th><th scope=\"col\">Old</th><th scope=\"col\">New</th></tr></thead><tbody>\n";
    for (const auto& one : pair.turns)
      out_ += "<tr><td>" + safe(one.rule) + " <span class=\"soft\">" + safe(one.ruleset) + "</span></td><td>" + std::string(to_string(one.before)) + "</td><td>" + std::string(to_string(one.after)) + "</td></tr>\n";
    out_ += "</tbody></table>\n";
  }

  void changes(const Pair& pair) {
    out_ += "<h3>Measurements that changed (" + std::to_string(pair.changes.size()) + "; " + std::to_string(pair.unchanged) + " read the same)</h3>\n";
    if (pair.changes.empty()) return;
    out_ += "<table class=\"changes\"><thead><tr><th scope=\"col\">Measurement</th><th scope=\"col\">Old</th><th scope=\"col\">New</th><th scope=\"col\">Change</th></tr></thead><tbody>\n";
    for (const auto& one : pair.changes)
      out_ += "<tr><td>" + safe(title_of(one.before, catalog_)) + "</td><td>" + safe(value_of(one.before, catalog_)) + "</td><td>" + safe(value_of(one.after, catalog_)) + "</td><td>" +
              safe(difference_of(one, catalog_)) + "</td></tr>\n";
    out_ += "</tbody></table>\n";
  }

  const Sheet& sheet_;
  const Catalog& catalog_;
  std::string out_;
};

}  // namespace

std::string null_figure(const Pair& pair, const std::string& id) {
  auto plot = over_time(pair);
  plot.id = id;
  return figure_of(plot);
}

std::string pair_page(const Sheet& sheet, const Catalog& catalog) { return PairPage(sheet, catalog).write(); }

}  // namespace sendworthy::sheet
