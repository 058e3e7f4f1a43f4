// A song held against its plan, as a page: what it comes to, what it is meant to be, what speaks against it, the pictures,
// every number, what is in order.
#include "sheet/html_song.h"

#include <sendworthy/song.h>

#include <algorithm>
#include <cmath>
#include <map>
#include <set>
#include <string>
#include <utility>
#include <vector>

#include "base/lines.h"
#include "base/text.h"
#include "sheet/html_findings.h"
#include "sheet/html_frame.h"
#include "sheet/order.h"
#include "sheet/phrases.h"
#include "sheet/song_plots.h"
#include "sheet/song_tables.h"

namespace sendworthy::sheet {
namespace {

std::string safe_lines(std::string_view text) {
  std::string out;
  for (const auto& line : base::lines_for_terminal(text)) out += (out.empty() ? "" : "<br>") + base::for_xml(line);
  return out;
}

class SongPage {
 public:
  SongPage(const Sheet& sheet, const Catalog& catalog) : sheet_(sheet), song_(*sheet.song), catalog_(catalog), files_(in_order(sheet.files)) {
    for (const auto* one : files_) {
      if (one->path == song_.mix && mix_ == nullptr) mix_ = one;
    }
  }

  std::string write() {
    const auto title = (song_.title.empty() ? song_.path : song_.title) + (song_.artist.empty() ? "" : ", " + song_.artist);
    out_ = page_head(std::string(verdict_word(sheet_.verdict)) + ": " + base::for_terminal(title));
    header(title);
    out_ += "<main>\n<section class=\"file\" id=\"song\" aria-labelledby=\"song-name\">\n<h2 id=\"song-name\">What speaks against it</h2>\n";
    against();
    out_ += "</section>\n<section class=\"file\" id=\"pictures\" aria-labelledby=\"pictures-name\">\n<h2 id=\"pictures-name\">How it sounds</h2>\n";
    pictures();
    out_ += "</section>\n";
    if (const auto tables = sections_table(song_) + stems_table(song_) + references_table(sheet_); !tables.empty())
      out_ += "<section id=\"numbers\" aria-labelledby=\"numbers-name\">\n<h2 id=\"numbers-name\">Numbers</h2>\n" + tables + "</section>\n";
    rest();
    out_ += "</main>\n" + page_foot(sheet_.tool_version, PageScript::none);
    return std::move(out_);
  }

 private:
  void header(const std::string& title) {
    auto counted = sheet_.findings;
    for (const auto& file : sheet_.files) counted.insert(counted.end(), file.findings.begin(), file.findings.end());
    const auto numbers = counts_text(count(counted));
    out_ += "<header>\n<p class=\"verdict " + std::string(to_string(sheet_.verdict)) + "\">" + std::string(verdict_word(sheet_.verdict)) + ": " + std::string(verdict_meaning(sheet_.verdict)) + "</p>\n";
    if (!numbers.empty()) out_ += "<p>" + safe(numbers) + "</p>\n";
    out_ += "<h1>" + safe(title) + "</h1>\n<dl class=\"meant\">\n";
    constexpr std::string_view kOpen = "<span class=\"soft\">not stated</span>";
    out_ += about_row("to feel", song_.feeling.empty() ? std::string(kOpen) : "<span class=\"feeling\">" + safe_lines(song_.feeling) + "</span>");
    out_ += about_row("approach", song_.approach.empty() ? std::string(kOpen) : safe_lines(song_.approach));
    out_ += about_row("mix", safe(song_.mix) + (mix_ == nullptr ? "" : ": " + safe(mix_->error ? mix_->error->text : facts_line(mix_->facts))));
    out_ += about_row("plan", safe(song_.path));
    std::string rules;
    for (const auto& set : sheet_.rules) rules += "<span class=\"part\">" + safe(set.name) + (set.title.empty() ? "" : ", " + safe(set.title)) + "</span>";
    out_ += about_row("rules", rules) + "</dl>\n</header>\n";
  }

  using Which = bool (*)(const Finding&);

  /// Findings of one kind, numbered on; those of a file by themselves carry its channels and name their rule set.
  void group(std::string_view title, std::string_view css, const std::vector<Finding>& findings, int channels, Which which) {
    const auto from = numbered_.size();
    for (const auto& one : findings) {
      if (which(one)) numbered_.push_back({static_cast<int>(numbered_.size()) + 1, &one});
    }
    if (numbered_.size() == from) return;
    out_ += "<h3 class=\"" + std::string(css) + "\">" + std::string(title) + " (" + std::to_string(numbered_.size() - from) + ")</h3>\n<ol class=\"findings\">\n";
    for (auto i = from; i < numbered_.size(); ++i)
      out_ += finding_entry({numbered_[i], channels, false, "finding-", channels > 0 && sheet_.rules.size() > 1, [this](const std::string& path) { return name(path); }}, catalog_);
    out_ += "</ol>\n";
  }

  static bool fails(const Finding& one) { return one.status == Status::fail; }
  static bool unmeasured(const Finding& one) { return one.status == Status::not_measured && !one.optional; }
  static bool warns(const Finding& one) { return one.status == Status::warn; }
  static bool notes(const Finding& one) { return one.status == Status::note; }
  static bool unneeded(const Finding& one) { return one.status == Status::not_measured && one.optional; }
  static bool waived(const Finding& one) { return one.status == Status::waived; }

  void serious(const std::vector<Finding>& findings, int channels) {
    group("Fail", "fail", findings, channels, fails);
    group("Not measured", "fail", findings, channels, unmeasured);
    group("Warn", "warn", findings, channels, warns);
  }

  void against() {
    serious(sheet_.findings, 0);
    bool clean = numbered_.empty();
    for (const auto* file : files_) {
      if (file->error) {
        clean = false;
        out_ += "<p class=\"fail\"><b>NO SHEET: " + safe(name(file->path)) + "</b></p>\n<p>" + safe(file->error->text) + "</p>\n";
      } else if (std::ranges::any_of(file->findings, [](const Finding& one) { return fails(one) || unmeasured(one) || warns(one); })) {
        clean = false;
        out_ += "<h3>" + safe(name(file->path)) + ", as a file: <span class=\"" + std::string(to_string(file->verdict)) + "\">" + std::string(verdict_word(file->verdict)) + "</span></h3>\n";
        serious(file->findings, file->facts.channels);
      }
    }
    if (clean) out_ += "<p>Nothing that speaks against it.</p>\n";
  }

  [[nodiscard]] double length() const {
    double length = mix_ != nullptr && !mix_->error ? mix_->facts.duration_s : 0;
    for (const auto& one : song_.sections) {
      if (std::isfinite(one.end_s)) length = std::max(length, one.end_s);
    }
    return length;
  }

  void pictures() {
    out_ += "<div class=\"wide-pictures\">\n";
    const auto show = [this](const std::string& figure, std::string_view missing) { out_ += figure.empty() ? "<p class=\"soft\">" + std::string(missing) + "</p>\n" : figure; };
    show(sizes_figure(song_, numbered_, length()), song_.sections.empty() ? "No picture of the sections' sizes: the plan has no sections." : "No picture of the sections' sizes: their loudness was not measured.");
    show(vocal_figure(song_, numbered_, length()), "No picture of the vocal over the bed: it was not measured.");
    show(masking_figure(song_), "No table of parts under parts: no two parts with priorities were measured.");
    if (!song_.pairs.empty()) out_ += pairs_table(song_);
    show(quiet_figure(song_), "No picture of very quiet listening: it takes two of leads, kick and snare as stems.");
    show(kick_figure(song_, numbered_, length()), "No picture of kick and bass: no hits of a kick were measured.");
    out_ += low_end_facts(song_) + "</div>\n";
  }

  void rest() {
    const auto before = std::exchange(out_, {});
    passes();
    const auto lesser = [this](const std::vector<Finding>& findings, int channels) {
      group("Notes", "", findings, channels, notes);
      group("Not measured, not required", "", findings, channels, unneeded);
      group("Waived", "", findings, channels, waived);
    };
    lesser(sheet_.findings, 0);
    for (const auto* file : files_) {
      if (!std::ranges::any_of(file->findings, [](const Finding& one) { return notes(one) || unneeded(one) || waived(one); })) continue;
      out_ += "<h3>" + safe(name(file->path)) + ", as a file</h3>\n";
      lesser(file->findings, file->facts.channels);
    }
    skipped();
    const auto said = std::exchange(out_, before);
    if (!said.empty()) out_ += "<section class=\"file\" id=\"rest\" aria-labelledby=\"rest-name\">\n<h2 id=\"rest-name\">What is in order, and notes</h2>\n" + said + "</section>\n";
    cautions();
  }

  void passes() {
    std::vector<std::pair<std::string, std::string>> rows;
    std::size_t rules = 0;
    const auto take = [&](const std::vector<Finding>& findings, const std::string& of) {
      for (const auto& one : findings) {
        if (one.status != Status::pass) continue;
        ++rules;
        std::pair row{of + title_of(one, catalog_), value_of(one, catalog_)};
        if (std::ranges::find(rows, row) == rows.end()) rows.push_back(std::move(row));
      }
    };
    take(sheet_.findings, {});
    for (const auto* file : files_) take(file->findings, name(file->path) + ": ");
    if (rows.empty()) return;
    out_ += "<h3 class=\"pass\">Pass (" + (rules == rows.size() ? std::to_string(rules) : std::to_string(rules) + " rules, " + std::to_string(rows.size()) + " readings") + ")</h3>\n<dl class=\"held\">\n";
    for (const auto& [title, value] : rows) out_ += about_row(safe(title), safe(value));
    out_ += "</dl>\n";
  }

  void skipped() {
    std::map<std::string, std::set<std::string>> by_reason;
    std::size_t many = 0;
    for (const auto* file : files_) {
      for (const auto& one : file->skipped) ++many, by_reason[base::for_terminal(one.reason)].insert(base::for_terminal(one.rule));
    }
    if (many == 0) return;
    out_ += "<h3>Skipped, do not apply (" + std::to_string(many) + ")</h3>\n";
    for (const auto& [reason, rules] : by_reason) {
      std::string names;
      for (const auto& rule : rules) names += (names.empty() ? "" : ", ") + rule;
      out_ += "<p class=\"soft\">" + safe(names) + ": " + safe(reason) + "</p>\n";
    }
  }

  void cautions() {
    std::set<std::string> told;
    for (const auto* file : files_) {
      for (const auto& one : file->cautions) {
        if (!told.insert(one.text).second) continue;
        if (told.size() == 1) out_ += "<section id=\"cautions\" aria-labelledby=\"cautions-name\">\n<h2 id=\"cautions-name\">Caution</h2>\n";
        out_ += "<p>" + safe(one.text) + (one.source.empty() ? "" : " <span class=\"soft\">[" + safe(one.source) + "]</span>") + "</p>\n";
      }
    }
    if (!told.empty()) out_ += "</section>\n";
  }

  /// As the text sheet has it: stems by their names in the plan.
  [[nodiscard]] std::string name(const std::string& path) const {
    if (path == song_.path) return "the plan";
    if (path == song_.mix) return "the mix";
    const auto stem = std::ranges::find(song_.stems, path, &SongSheet::Stem::path);
    return stem == song_.stems.end() ? path : stem->name;
  }

  const Sheet& sheet_;
  const SongSheet& song_;
  const Catalog& catalog_;
  std::vector<const FileSheet*> files_;
  const FileSheet* mix_ = nullptr;
  std::vector<Numbered> numbered_;
  std::string out_;
};

}  // namespace

std::string song_page(const Sheet& sheet, const Catalog& catalog) { return SongPage(sheet, catalog).write(); }

}  // namespace sendworthy::sheet
