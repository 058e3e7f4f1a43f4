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
#include "sheet/html_assets.h"
#include "sheet/order.h"
#include "sheet/phrases.h"

namespace sendworthy {
namespace sheet {
namespace {

constexpr std::size_t kPlacesShown = 4;

std::string safe(std::string_view text) { return base::for_xml(base::for_terminal(text)); }

class HtmlPage {
 public:
  HtmlPage(const Sheet& sheet, const Catalog& catalog)
      : sheet_(sheet), catalog_(catalog), files_(in_order(sheet.files)) {}

  std::string write() {
    const bool several = files_.size() != 1;
    const auto title =
        several ? plural(static_cast<std::int64_t>(files_.size()), "file", "files") : path_of(*files_.front());
    out_ +=
        "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n"
        "<meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; style-src '";
    out_ += std::string(kPageStyleDigest) + "'; script-src '" + std::string(kPageScriptDigest) +
            "'; base-uri 'none'; form-action 'none'\">\n<meta name=\"viewport\" content=\"width=device-width, "
            "initial-scale=1\">\n"
            "<meta name=\"color-scheme\" content=\"light dark\">\n<title>";
    out_ += std::string(verdict_word(sheet_.verdict)) + ": " + safe(title) + "</title>\n<style>" +
            std::string(kPageStyle) + "</style>\n</head>\n<body>\n";
    header(title, several);
    out_ += "<main>\n";
    if (several) index();
    set_findings();
    for (std::size_t i = 0; i < files_.size(); ++i) file(*files_[i], i + 1, several);
    out_ += "</main>\n<footer class=\"soft\"><p>sendworthy " + safe(sheet_.tool_version) +
            ". Nothing passes that was not measured; what was not asked was not judged.</p></footer>\n<script>" +
            std::string(kPageScript) + "</script>\n</body>\n</html>\n";
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
      out_ += "<p>" + safe(counts_text(count(files_.front()->findings))) + "</p>\n";
    }
    for (const auto& set : sheet_.rules) {
      out_ += "<p class=\"soft\">Rules: " + safe(set.name) + (set.title.empty() ? "" : ", " + safe(set.title)) +
              (set.origin.empty() || set.origin == "shipped" ? "" : " (" + safe(set.origin) + ")") +
              (set.purpose.empty() ? "" : ". " + safe(set.purpose)) + "</p>\n";
    }
    out_ += "</header>\n";
  }

  void index() {
    out_ +=
        "<nav aria-label=\"Files\"><h2>Files</h2>\n<table><thead><tr><th scope=\"col\">File</th><th "
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
    out_ += "</tbody></table></nav>\n";
  }

  void set_findings() {
    if (sheet_.findings.empty()) return;
    out_ +=
        "<section aria-labelledby=\"whole-set\"><h2 id=\"whole-set\">Of the whole set</h2>\n<ol class=\"findings\">\n";
    int number = 0;
    for (const auto& one : sheet_.findings) item({++number, &one}, 0, false);
    out_ += "</ol></section>\n";
  }

  void file(const FileSheet& file, std::size_t index, bool several) {
    const auto id = "file-" + std::to_string(index);
    out_ +=
        "<section class=\"file\" id=\"" + id + "\" aria-labelledby=\"" + id + "-name\">\n<h2 id=\"" + id + "-name\">";
    if (several) {
      out_ += (file.error ? std::string("NO SHEET") : std::string(verdict_word(file.verdict))) + ": " +
              safe(path_of(file)) + "</h2>\n";
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
      for (auto i = from; i < numbered.size(); ++i) item(numbered[i], file.facts.channels, !file.timelines.empty());
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

  void row(std::string_view label, const std::string& text) {
    if (!text.empty()) out_ += "<dt>" + std::string(label) + "</dt><dd>" + text + "</dd>\n";
  }

  void item(const Numbered& one, int channels, bool pictures) {
    const auto& finding = *one.finding;
    const bool bad = finding.status == Status::fail || (finding.status == Status::not_measured && !finding.optional);
    const std::string css = bad ? "fail" : finding.status == Status::warn ? "warn" : "note";
    out_ += "<li class=\"" + css + "-row\"><span class=\"number " + css + "\">" + std::to_string(one.number) +
            "</span><p class=\"head\">" + safe(headline(finding, catalog_)) + " <span class=\"soft tag\">" +
            safe(finding.rule) + (sheet_.rules.size() > 1 ? " in " + safe(finding.ruleset) : "") +
            "</span></p>\n<dl>\n";
    std::string places;
    for (std::size_t i = 0; i < std::min(kPlacesShown, finding.where.size()); ++i) {
      places += (i > 0 ? "<br>" : "") + safe(place(finding.where[i], channels));
      if (pictures && i == 0)
        places += " <button type=\"button\" hidden data-place=\"" + base::shortest(finding.where[i].start_s) +
                  "\">Look there</button>";
    }
    const auto total = std::max(finding.where_total, static_cast<std::int64_t>(finding.where.size()));
    const auto more = finding.where.empty() ? "" : and_more(std::min(kPlacesShown, finding.where.size()), total);
    row("where", places + (more.empty() ? "" : "<br>" + safe(more)));
    row("note", safe(finding.note));
    row("why", safe(finding.why));
    row("move", safe(move_by(finding)));
    row("do", safe(finding.remedy));
    if (finding.waiver)
      row("waived", safe(std::string(to_string(finding.before_waiver)) + "; " + waiver_text(*finding.waiver)));
    std::string files;
    for (const auto& name : finding.files) files += (files.empty() ? "" : "<br>") + safe(name);
    row("files", files);
    row("source", safe(finding.source));
    out_ += "</dl></li>\n";
  }

  void pictures(const FileSheet& file, const std::vector<Numbered>& numbered, const std::string& prefix) {
    const auto plots = plots_of(file, numbered, catalog_, prefix);
    if (plots.empty()) return;
    out_ +=
        "<h3>Pictures</h3>\n<div class=\"tools\" role=\"group\" aria-label=\"Pictures over time\">"
        "<button type=\"button\" data-move=\"closer\">Closer</button><button type=\"button\" "
        "data-move=\"wider\">Wider</button>"
        "<button type=\"button\" data-move=\"earlier\">Earlier</button><button type=\"button\" "
        "data-move=\"later\">Later</button>"
        "<button type=\"button\" data-move=\"all\">Whole file</button></div>\n<div class=\"pictures\">\n";
    for (const auto& plot : plots) out_ += figure_of(plot);
    out_ += "</div>\n";
  }

  void passes(const FileSheet& file) {
    std::vector<std::pair<std::string, std::string>> rows;
    for (const auto& finding : file.findings) {
      if (finding.status == Status::pass) rows.emplace_back(title_of(finding, catalog_), value_of(finding, catalog_));
    }
    if (rows.empty()) return;
    out_ += "<h3 class=\"pass\">Pass (" + std::to_string(rows.size()) + ")</h3>\n<ul class=\"passes\">\n";
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

  void facts(const FileSheet& file) {
    out_ += "<h3>For whoever receives it</h3>\n<dl>\n";
    row("file", safe(path_of(file)));
    row("format", safe(facts_line(file.facts)) + " (" + std::to_string(file.facts.frames) + " frames)");
    for (const auto& [label, key] : {std::pair{"loudness", "integrated_loudness"},
                                     {"range", "loudness_range"},
                                     {"true peak", "true_peak"},
                                     {"sample peak", "sample_peak"},
                                     {"silence before", "leading_silence"},
                                     {"silence after", "trailing_silence"}})
      row(label, safe(reading(file, key)));
    for (const auto& tag : file.facts.tags) row(safe(tag.name), safe(tag.value) + " (" + safe(tag.origin) + ")");
    row("digest of the audio", safe(file.audio_digest));
    row("digest of the file", safe(file.file_digest));
    for (const char* what : {"version, and which others follow", "on the mix bus", "anything to listen for"})
      row(what, "<span class=\"blank\">&#160;</span>");
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

std::string render_html(const Sheet& sheet, const Catalog& catalog) { return sheet::HtmlPage(sheet, catalog).write(); }

}  // namespace sendworthy
