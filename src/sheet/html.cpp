// The sheet as a page: one file that needs nothing else. Verdict, what to do, pictures, what is in order, facts,
// cautions.
#include <sendworthy/render.h>

#include <algorithm>
#include <map>
#include <set>
#include <string>
#include <vector>

#include "base/text.h"
#include "sheet/file_plots.h"
#include "sheet/html_findings.h"
#include "sheet/html_frame.h"
#include "sheet/html_pair.h"
#include "sheet/html_set.h"
#include "sheet/html_song.h"
#include "sheet/order.h"
#include "sheet/phrases.h"

namespace sendworthy {
namespace sheet {
namespace {

// Characters of findings beyond which paper gets smaller type, so that two pages still do for 25 of them.
constexpr std::size_t kMuchText = 3500, kVeryMuchText = 8500;

class HtmlPage {
 public:
  HtmlPage(const Sheet& sheet, const Catalog& catalog)
      : sheet_(sheet), catalog_(catalog), files_(in_order(sheet.files)) {}

  std::string write() {
    const bool several = files_.size() != 1 || sheet_.order;
    const auto title =
        sheet_.order ? base::for_terminal(sheet_.order->title) + ", " + base::for_terminal(sheet_.order->artist) :
        several ? plural(static_cast<std::int64_t>(files_.size()), "file", "files") : path_of(*files_.front());
    out_ = page_head(std::string(verdict_word(sheet_.verdict)) + ": " + title);
    header(title, several);
    out_ += "<main>\n";
    if (sheet_.order) out_ += set_matrix(sheet_, catalog_);
    if (sheet_.order) set_findings();
    if (sheet_.order) out_ += set_pairs(sheet_);
    if (several) index();
    if (!sheet_.order) set_findings();
    for (std::size_t i = 0; i < files_.size(); ++i) file(*files_[i], i + 1, several);
    out_ += "</main>\n" + page_foot(sheet_.tool_version);
    return std::move(out_);
  }

 private:
  void header(const std::string& title, bool several) {
    const auto css = to_string(sheet_.verdict);
    out_ += "<header>\n<p class=\"verdict " + std::string(css) + "\">" + std::string(verdict_word(sheet_.verdict)) +
            ": " + std::string(verdict_meaning(sheet_.verdict)) + "</p>\n<h1>" + safe(title) + "</h1>\n";
    if (!several && !files_.front()->error) {
      out_ += "<p>" + safe(facts_line(files_.front()->facts)) +
              (files_.front()->role.empty() ? "" : " (as " + safe(files_.front()->role) + ")") + "</p>\n";
      out_ += "<p>" + safe(counts_text(count(files_.front()->findings))) + of_the_set() + "</p>\n";
    }
    if (several) {
      std::map<std::string, std::int64_t> by_verdict;
      for (const auto* one : files_) ++by_verdict[one->error ? "NO SHEET" : std::string(verdict_word(one->verdict))];
      std::string totals;
      for (const auto& [word, many] : by_verdict)
        totals += (totals.empty() ? "" : ", ") + std::to_string(many) + " " + word;
      out_ += "<p>" + (totals.empty() ? "no file" : totals) + of_the_set() + "</p>\n";
    }
    for (const auto& set : sheet_.rules) {
      out_ += "<p class=\"soft\">Rules: " + safe(set.name) + (set.title.empty() ? "" : ", " + safe(set.title)) +
              (set.origin.empty() || set.origin == "shipped" ? "" : " (" + safe(set.origin) + ")") +
              (set.purpose.empty() ? "" : ". " + safe(set.purpose)) + "</p>\n";
    }
    out_ += "</header>\n";
  }

  /// Else a set would fail above a line in which every file passes.
  [[nodiscard]] std::string of_the_set() const {
    const auto words = about_the_set(sheet_.findings);
    return words.empty() ? words : "; " + words;
  }

  void index() {
    out_ +=
        "<nav id=\"files\" aria-labelledby=\"files-name\"><h2 id=\"files-name\">Files</h2>\n<table><thead><tr><th "
        "scope=\"col\">File</th><th "
        "scope=\"col\">Verdict</th>"
        "<th scope=\"col\">What is in it</th><th scope=\"col\">Findings</th></tr></thead><tbody>\n";
    for (std::size_t i = 0; i < files_.size(); ++i) {
      const auto& one = *files_[i];
      out_ += "<tr><td><a href=\"#file-" + std::to_string(i + 1) + "\">" + safe(path_of(one)) +
              "</a></td><td class=\"" + std::string(one.error ? "fail" : to_string(one.verdict)) + "\">" +
              (one.error ? "NO SHEET" : std::string(verdict_word(one.verdict))) + "</td><td>" +
              (one.error ? safe(one.error->text) : safe(facts_line(one.facts))) + "</td><td>" +
              (one.error ? "" : safe(counts_text(count(one.findings)))) + "</td></tr>\n";
    }
    if (sheet_.order) {
      for (const auto& item : sheet_.order->items) {
        if (item.required && item.files.empty())
          out_ += "<tr><td>" + safe(item.wanted) + "</td><td class=\"fail\">MISSING</td><td>" + safe(item.name) + "</td><td></td></tr>\n";
      }
    }
    out_ += "</tbody></table></nav>\n";
  }

  void set_findings() {
    if (sheet_.findings.empty()) return;
    out_ +=
        "<section aria-labelledby=\"whole-set\"><h2 id=\"whole-set\">Of the whole set</h2>\n<ol class=\"findings\">\n";
    int number = 0;
    for (const auto& one : sheet_.findings) {
      ++number;
      // Of an ordered set the table says what passed; here stands what is to be looked at.
      if (!sheet_.order || one.status != Status::pass) out_ += finding_entry({{number, &one}, 0, false, "set-", sheet_.rules.size() > 1, {}}, catalog_);
    }
    out_ += "</ol></section>\n";
  }

  static std::string_view density_of(const FileSheet& file) {
    std::size_t text = 0;
    for (const auto& one : file.findings) {
      if (one.status == Status::pass) continue;
      constexpr std::size_t kHead = 90, kPlace = 40;  // about
      text += kHead + kPlace * std::min(kPlacesOnPage, one.where.size()) + one.note.size() + one.why.size() +
              one.remedy.size() + one.source.size();
    }
    return text > kVeryMuchText ? " dense densest" : text > kMuchText ? " dense" : "";
  }

  void file(const FileSheet& file, std::size_t index, bool several) {
    const auto id = "file-" + std::to_string(index);
    out_ += "<section class=\"file" + std::string(density_of(file)) + "\" id=\"" + id + "\" aria-labelledby=\"" + id +
            "-name\">\n<h2 id=\"" + id + "-name\">";
    if (several) {
      out_ += (file.error ? std::string("NO SHEET") : std::string(verdict_word(file.verdict))) + ": " +
              safe(path_of(file)) + "</h2>\n";
      out_ += "<p class=\"soft back\"><a href=\"#files\">All files</a></p>\n";
      if (!file.error) out_ += "<p>" + safe(facts_line(file.facts)) + "</p>\n";
    } else {
      out_ += "What was found</h2>\n";
    }
    if (file.error) {
      out_ += "<p class=\"fail\">" + safe(file.error->text) + "</p>\n</section>\n";
      return;
    }
    std::vector<Numbered> numbered;
    const auto take = [&](auto which) {
      for (const auto& finding : file.findings) {
        if (which(finding)) numbered.push_back({static_cast<int>(numbered.size()) + 1, &finding});
      }
    };
    const auto group = [&](std::string_view title, std::string_view css, auto which) {
      const auto from = numbered.size();
      take(which);
      if (numbered.size() == from) return;
      out_ += "<h3 class=\"" + std::string(css) + "\">" + std::string(title) + " (" +
              std::to_string(numbered.size() - from) + ")</h3>\n<ol class=\"findings\">\n";
      for (auto i = from; i < numbered.size(); ++i) out_ += finding_entry({numbered[i], file.facts.channels, !file.timelines.empty(), {}, sheet_.rules.size() > 1, {}}, catalog_);
      out_ += "</ol>\n";
    };
    group("Fail", "fail", [](const Finding& f) { return f.status == Status::fail; });
    group("Not measured", "fail", [](const Finding& f) { return f.status == Status::not_measured && !f.optional; });
    group("Warn", "warn", [](const Finding& f) { return f.status == Status::warn; });
    group("Notes", "", [](const Finding& f) { return f.status == Status::note; });
    group("Not measured, not required", "",
          [](const Finding& f) { return f.status == Status::not_measured && f.optional; });
    group("Waived", "", [](const Finding& f) { return f.status == Status::waived; });
    if (numbered.empty()) out_ += "<p>Nothing that speaks against it.</p>\n";
    pictures(file, numbered, id + "-");
    passes(file);
    skipped(file);
    facts(file);
    cautions(file);
    out_ += "</section>\n";
  }

  void pictures(const FileSheet& file, const std::vector<Numbered>& numbered, const std::string& prefix) {
    const auto plots = plots_of(file, numbered, catalog_, prefix);
    if (plots.empty()) {
      if (file.timelines.empty() && !file.pictures)
        out_ += "<p class=\"soft\">No pictures: this sheet was joined from written ones, which carry no sound.</p>\n";
      return;
    }
    out_ += "<h3>Pictures</h3>\n" + picture_tools(true) + "<div class=\"pictures\">\n";
    for (const auto& plot : plots) out_ += figure_of(plot);
    out_ += "</div>\n";
    if (file.facts.channels != 2)
      out_ +=
          "<p class=\"soft\">Left against right, the low end in mono and where the sound stands are pictures of two "
          "channels; this file has " +
          std::to_string(file.facts.channels) + ".</p>\n";
  }

  void passes(const FileSheet& file) {
    // Several rule sets often ask for the same reading; it stands here once.
    std::vector<std::pair<std::string, std::string>> rows;
    std::int64_t rules = 0;
    for (const auto& finding : file.findings) {
      if (finding.status != Status::pass) continue;
      ++rules;
      std::pair row{title_of(finding, catalog_), value_of(finding, catalog_)};
      if (std::find(rows.begin(), rows.end(), row) == rows.end()) rows.push_back(std::move(row));
    }
    if (rows.empty()) return;
    const auto readings = static_cast<std::int64_t>(rows.size());
    out_ += "<h3 class=\"pass\">Pass (" +
            (readings == rules ? std::to_string(rules)
                               : std::to_string(rules) + " rules, " + std::to_string(readings) + " readings") +
            ")</h3>\n<ul class=\"passes\">\n";
    for (const auto& [title, value] : rows)
      out_ += "<li><span>" + safe(title) + "</span><span>" + safe(value) + "</span></li>\n";
    out_ += "</ul>\n";
  }

  void skipped(const FileSheet& file) {
    if (file.skipped.empty()) return;
    std::map<std::string, std::set<std::string>> by_reason;
    for (const auto& one : file.skipped) by_reason[base::for_terminal(one.reason)].insert(base::for_terminal(one.rule));
    out_ += "<h3>Skipped, do not apply (" + std::to_string(file.skipped.size()) + ")</h3>\n";
    for (const auto& [reason, rules] : by_reason) {
      std::string names;
      for (const auto& rule : rules) names += (names.empty() ? "" : ", ") + base::for_xml(rule);
      out_ += "<p class=\"soft\">" + names + ": " + base::for_xml(reason) + "</p>\n";
    }
  }

  std::string reading(const FileSheet& file, std::string_view key) const {
    for (const auto& one : file.measurements) {
      if (one.key != key || std::holds_alternative<NotApplicable>(one.outcome)) continue;
      const auto reason = reason_of(one.outcome);
      return value_of(one, catalog_) + (reason.empty() ? "" : " (" + reason + ")");
    }
    return "";
  }

  // Lyrics and other long texts would push everything else off the paper.
  static std::string shortened(const std::string& text) {
    constexpr std::size_t kMost = 240;
    auto clean = base::for_terminal(text);
    if (clean.size() <= kMost) return clean;
    auto end = kMost;
    while (end > 0 && (static_cast<unsigned char>(clean[end]) & 0xC0) == 0x80) --end;
    return clean.substr(0, end) + " … (" + std::to_string(text.size()) + " bytes in all)";
  }

  void facts(const FileSheet& file) {
    out_ += "<h3>For whoever receives it</h3>\n<dl class=\"facts\">\n";
    out_ += about_row("file", safe(path_of(file)));
    out_ += about_row("format", safe(facts_line(file.facts)) + " (" + std::to_string(file.facts.frames) + " frames)");
    for (const auto& [label, key] : {std::pair{"loudness", "integrated_loudness"},
                                     {"range", "loudness_range"},
                                     {"true peak", "true_peak"},
                                     {"sample peak", "sample_peak"},
                                     {"silence before", "leading_silence"},
                                     {"silence after", "trailing_silence"}})
      out_ += about_row(label, safe(reading(file, key)));
    for (const auto& tag : file.facts.tags)
      out_ += about_row(safe(tag.name), safe(shortened(tag.value)) + " (" + safe(tag.origin) + ")");
    out_ += about_row("digest of the audio", safe(file.audio_digest));
    out_ += about_row("digest of the file", safe(file.file_digest));
    for (const char* what : {"version, and which others follow", "on the mix bus", "anything to listen for"})
      out_ += about_row(what, "<span class=\"blank\">&#160;</span>");
    out_ += "</dl>\n";
  }

  void cautions(const FileSheet& file) {
    if (file.cautions.empty()) return;
    out_ += "<h3>Caution</h3>\n";
    for (const auto& one : file.cautions)
      out_ += "<p>" + safe(one.text) +
              (one.source.empty() ? "" : " <span class=\"soft\">[" + safe(one.source) + "]</span>") + "</p>\n";
  }

  const Sheet& sheet_;
  const Catalog& catalog_;
  std::vector<const FileSheet*> files_;
  std::string out_;
};

}  // namespace
}  // namespace sheet

std::string render_html(const Sheet& sheet, const Catalog& catalog) {
  if (sheet.song) return sheet::song_page(sheet, catalog);
  return sheet.pairs.empty() || sheet.order ? sheet::HtmlPage(sheet, catalog).write() : sheet::pair_page(sheet, catalog);
}

}  // namespace sendworthy
