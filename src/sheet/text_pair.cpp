// Two bounces held against each other, as text: what it comes to, the places, what is left, what reads differently.
#include <algorithm>
#include <cmath>
#include <string>

#include "base/text.h"
#include "sheet/pair_words.h"
#include "sheet/phrases.h"
#include "sheet/text_parts.h"

namespace sendworthy::sheet {
namespace {

constexpr std::size_t kEditsShown = 20, kWorstShown = 3;
constexpr int kTitleColumns = 34, kValueColumns = 16;

std::string word_of(const Pair& pair) {
  std::string word(to_string(pair.kind));
  for (auto& c : word) c = c >= 'a' && c <= 'z' ? static_cast<char>(c - 'a' + 'A') : c;
  return word;
}

void edits(Page& page, const Pair& pair) {
  if (pair.edits.empty()) return;
  page.blank();
  page.line(0, "Where they part (" + std::to_string(pair.edits_total) + ")", Ink::strong);
  const auto shown = std::min(kEditsShown, pair.edits.size());
  for (std::size_t i = 0; i < shown; ++i) page.line(2, words_of(pair.edits[i]));
  const auto rest = and_more(shown, pair.edits_total);
  if (!rest.empty()) page.line(2, rest);
}

std::string depth(double db) { return db <= -144 ? "nothing" : base::fixed(db, 1) + " dB"; }

void left_over(Page& page, const Pair& pair) {
  if (!pair.aligned || pair.kind == Pair::Kind::identical_bits || pair.kind == Pair::Kind::identical_audio) return;
  page.blank();
  page.line(0, "What is left of the new file once the old one is taken out", Ink::strong);
  page.paragraph(2, "whole file", 16, depth(pair.null_db));
  if (!pair.edits.empty())
    page.paragraph(2, "elsewhere", 16, depth(pair.null_outside_db) + (pair.left_dbfs > -144 ? ", " + base::fixed(pair.left_dbfs, 1) + " dBFS" : ""));
  std::string octaves;
  for (const auto& one : pair.octaves) octaves += (octaves.empty() ? "" : ", ") + unbroken(octave_name(one.centre_hz) + " " + base::fixed(one.null_db, 0));
  if (!octaves.empty()) page.paragraph(2, "by octave, dB", 16, octaves);
  // The moments at which most is left.
  std::vector<std::size_t> order;
  for (std::size_t i = 0; i < pair.null_over_time.size(); ++i) {
    if (!std::isnan(pair.null_over_time[i])) order.push_back(i);
  }
  const auto shown = std::min(kWorstShown, order.size());
  std::partial_sort(order.begin(), order.begin() + static_cast<std::ptrdiff_t>(shown), order.end(), [&](std::size_t a, std::size_t b) {
    return pair.null_over_time[a] != pair.null_over_time[b] ? pair.null_over_time[a] > pair.null_over_time[b] : a < b;
  });
  std::string worst;
  for (std::size_t i = 0; i < shown; ++i)
    worst += (worst.empty() ? "" : ", ") + unbroken(base::fixed(static_cast<double>(pair.null_over_time[order[i]]), 1) + " dB at " + base::clock_time(static_cast<double>(order[i]) * pair.null_step_s));
  if (!worst.empty() && pair.null_db > -144) page.paragraph(2, "most", 16, worst);
}

void changes(Page& page, const Pair& pair, const Catalog& catalog) {
  page.blank();
  page.line(0, "Measurements that changed (" + std::to_string(pair.changes.size()) + "; " + std::to_string(pair.unchanged) + " read the same)", Ink::strong);
  for (const auto& one : pair.changes) {
    const auto padded = [](std::string text, int columns) {
      const auto width = base::columns(text);
      return width < columns ? text + std::string(static_cast<std::size_t>(columns - width), ' ') : text + " ";
    };
    const auto before = value_of(one.before, catalog), after = value_of(one.after, catalog), by = difference_of(one, catalog);
    const bool table = base::columns(before) < kValueColumns && base::columns(after) < kValueColumns && page.width() >= kTitleColumns + 2 * kValueColumns + 8;
    page.paragraph(2, title_of(one.before, catalog), kTitleColumns,
                   table ? unbroken(padded(before, kValueColumns) + padded(after, kValueColumns) + by) : before + " → " + after + (by.empty() ? "" : " (" + by + ")"));
  }
}

void turns(Page& page, const Pair& pair) {
  if (pair.turns.empty()) return;
  page.blank();
  page.line(0, "Findings that turned (" + std::to_string(pair.turns.size()) + ")", Ink::strong);
  for (const auto& one : pair.turns) page.paragraph(2, one.rule, kTitleColumns, words_of(one) + (one.ruleset.empty() ? "" : " [" + one.ruleset + "]"));
}

}  // namespace

std::string pairs_text(const Sheet& sheet, const Catalog& catalog, const TextOptions& options) {
  Page page(options.width, options.colour);
  for (const auto& pair : sheet.pairs) {
    const auto word = word_of(pair);
    const bool same = pair.kind == Pair::Kind::identical_bits || pair.kind == Pair::Kind::identical_audio;
    page.paragraph(0, word, static_cast<int>(word.size()) + 2, summary_of(pair), same ? Ink::pass : Ink::warn);
    if (options.quiet) continue;
    for (const auto& [label, path] : {std::pair{"old", &pair.old_path}, std::pair{"new", &pair.new_path}}) {
      const auto file = std::ranges::find(sheet.files, *path, &FileSheet::path);
      if (file != sheet.files.end()) page.paragraph(2, label, 5, unbroken(path_of(*file)) + ": " + facts_line(file->facts), Ink::faint);
    }
    edits(page, pair);
    left_over(page, pair);
    changes(page, pair, catalog);
    turns(page, pair);
  }
  return page.take();
}

}  // namespace sendworthy::sheet
