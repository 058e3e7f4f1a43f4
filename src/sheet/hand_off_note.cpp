// What the sender writes for people: one page that says what was sent, what it was found to be, what was waived, what stands open,
// and how to see that it came over whole. The same words as Markdown and as HTML.
#include <algorithm>
#include <functional>
#include <string>
#include <utility>
#include <vector>

#include "base/text.h"
#include "sheet/html_frame.h"
#include "sheet/manifest.h"
#include "sheet/markdown.h"
#include "sheet/phrases.h"

namespace sendworthy::sheet {
namespace {

constexpr std::size_t kFilesShown = 24, kRowsShown = 10;  // it stays one page; the manifest has all
constexpr std::size_t kDigitsShown = 8;

/// The page as plain texts; what they become is the format's business.
struct Page {
  std::string title;
  std::vector<std::pair<std::string, std::string>> about;
  std::vector<std::vector<std::string>> rows;
  std::string more_rows;
  struct Section {
    std::string heading;
    std::string text;
    std::vector<std::string> points;
  };
  std::vector<Section> sections;
  std::vector<std::pair<std::string, std::string>> how;  ///< command, what it does
};

constexpr std::string_view kColumns[] = {"Version", "File", "Format", "Length", "Loudness", "True peak", "Verdict", "SHA-256"};

std::string reading(const FileSheet& file, std::string_view id, const Catalog& catalog) {
  const auto found = std::ranges::find(file.measurements, id, &Measurement::key);
  return found == file.measurements.end() ? std::string() : value_of(*found, catalog);
}

std::string format_of(const FileSheet& file) {
  const auto& facts = file.facts;
  if (facts.container.empty()) return "not read";
  return base::for_terminal(facts.container) + ", " + rate_text(facts.sample_rate) + ", " + depth_text(facts) + ", " + base::for_terminal(facts.channel_layout);
}

class Maker {
 public:
  Maker(const Manifest& manifest, const Sheet& sheet, const Catalog& catalog) : manifest_(manifest), sheet_(sheet), catalog_(catalog) {
    for (const auto& file : manifest.files) {
      if (file.kind == SentFile::Kind::item) items_.push_back(&file);
    }
  }

  Page make() {
    page_.title = manifest_.title + (manifest_.artist.empty() ? "" : " \u2013 " + manifest_.artist);
    about();
    table();
    if (!manifest_.anyway.empty())
      page_.sections.push_back({"Sent although it fails", manifest_.anyway, {}});
    list("What stands open", [](const Finding& one) {
      return one.status == Status::fail || one.status == Status::warn || one.status == Status::not_measured;
    });
    list("Left as it is on purpose", [](const Finding& one) { return one.status == Status::waived; });
    page_.how = {{"sendworthy deliver receive .", "every byte of every file, and what is missing or was added"},
                 {"sha256sum -c SHA256SUMS", "the same for the files listed, with the tool that most systems have"}};
    return std::move(page_);
  }

 private:
  void about() {
    auto& about = page_.about;
    if (!manifest_.album.empty()) about.emplace_back("Album", manifest_.album);
    if (!manifest_.client.empty()) about.emplace_back("For", manifest_.client);
    about.emplace_back("Handed over by", manifest_.by.empty() ? "not said" : manifest_.by);
    about.emplace_back("Day", manifest_.date);
    about.emplace_back("Verdict", std::string(verdict_word(manifest_.verdict)) + ", " + std::string(verdict_meaning(manifest_.verdict)));
    std::string rules;
    for (const auto& set : sheet_.rules) rules += (rules.empty() ? "" : "; ") + (set.title.empty() ? set.name : set.title);
    if (!rules.empty()) about.emplace_back("Judged by", rules);
  }

  std::string version_of(const SentFile& file) const {
    std::string names;
    if (!sheet_.order) return names;
    for (const auto& item : sheet_.order->items) {
      if (std::ranges::find(item.files, file.sheet->path) != item.files.end()) names += (names.empty() ? "" : ", ") + item.name;
    }
    return names;
  }

  void table() {
    for (const auto* file : items_) {
      if (page_.rows.size() == kFilesShown) break;
      const auto& sheet = *file->sheet;
      page_.rows.push_back({version_of(*file), file->path, format_of(sheet), sheet.facts.container.empty() ? "" : base::clock_time(sheet.facts.duration_s, 1),
                            reading(sheet, "integrated_loudness", catalog_), reading(sheet, "true_peak", catalog_), std::string(to_string(sheet.verdict)),
                            file->sha256.substr(0, kDigitsShown)});
    }
    page_.more_rows = and_more(page_.rows.size(), static_cast<std::int64_t>(items_.size()));
  }

  void list(std::string heading, const std::function<bool(const Finding&)>& wanted) {
    Page::Section section{std::move(heading), {}, {}};
    struct Point {
      int weight;
      std::string text;
    };
    std::vector<Point> points;
    const auto add = [&](const Finding& finding, std::string_view file) {
      if (!wanted(finding)) return;
      std::string point = file.empty() ? "" : std::string(file) + ": ";
      if (finding.status != Status::waived) point += std::string(to_string(finding.status)) + ": ";
      point += headline(finding, catalog_);
      if (finding.waiver) point += "; " + waiver_text(*finding.waiver);
      const bool fails = finding.status == Status::fail || (finding.status == Status::not_measured && !finding.optional);
      points.push_back({fails ? 0 : finding.status == Status::warn ? 1 : 2, std::move(point)});
    };
    for (const auto& finding : sheet_.findings) {
      std::string files;
      if (!finding.files.empty()) files = std::string(below(manifest_, finding.files.front()));
      if (finding.files.size() > 1) files += " " + and_more(1, static_cast<std::int64_t>(finding.files.size()));
      add(finding, files);
    }
    for (const auto* file : items_) {
      for (const auto& finding : file->sheet->findings) add(finding, file->path);
    }
    // The page is short: what the verdict hangs on first, of the whole set before single files.
    std::ranges::stable_sort(points, {}, &Point::weight);
    const auto total = points.size();
    for (std::size_t i = 0; i < std::min(total, kRowsShown); ++i) section.points.push_back(std::move(points[i].text));
    if (total == 0) return;
    if (total > section.points.size()) section.points.push_back(and_more(section.points.size(), static_cast<std::int64_t>(total)) + " in manifest.json");
    page_.sections.push_back(std::move(section));
  }

  const Manifest& manifest_;
  const Sheet& sheet_;
  const Catalog& catalog_;
  std::vector<const SentFile*> items_;
  Page page_;
};

std::string proof() { return "The digests prove " + std::string(kProves) + "."; }

std::string as_markdown(const Page& page) {
  std::string out = "# Hand-off: " + md(page.title) + "\n\n";
  for (const auto& [label, text] : page.about) out += "- " + label + ": " + md(text) + "\n";
  if (!page.rows.empty()) {
    std::string head = "\n|", rule = "|";
    for (const auto column : kColumns) head += " " + std::string(column) + " |", rule += "---|";
    out += head + "\n" + rule + "\n";
    for (const auto& row : page.rows) {
      out += "|";
      for (const auto& cell : row) out += " " + md(cell) + (cell.empty() ? "|" : " |");
      out += "\n";
    }
    if (!page.more_rows.empty()) out += "\n" + page.more_rows + " in manifest.json\n";
  }
  for (const auto& section : page.sections) {
    out += "\n## " + section.heading + "\n\n";
    if (!section.text.empty()) out += md(section.text) + "\n";
    for (const auto& point : section.points) out += "- " + md(point) + "\n";
  }
  out += "\n## Did it come over whole?\n\nIn this folder:\n\n";
  for (const auto& [command, what] : page.how) out += "- `" + command + "`: " + what + "\n";
  return out + "\n" + proof() + "\n";
}

std::string as_html(const Page& page, std::string_view tool_version) {
  std::string out = page_head("Hand-off: " + page.title) + "<header>\n<p class=\"verdict\">Hand-off</p>\n<h1>" + safe(page.title) + "</h1>\n";
  for (const auto& [label, text] : page.about) out += "<p>" + label + ": " + safe(text) + "</p>\n";
  out += "</header>\n<main>\n";
  if (!page.rows.empty()) {
    out += "<h2 id=\"files\">Files</h2>\n<div class=\"scroll\" tabindex=\"0\" role=\"region\" aria-labelledby=\"files\"><table>\n<thead><tr>";
    for (const auto column : kColumns) out += "<th scope=\"col\">" + std::string(column) + "</th>";
    out += "</tr></thead>\n<tbody>\n";
    for (const auto& row : page.rows) {
      out += "<tr>";
      for (const auto& cell : row) out += "<td>" + safe(cell) + "</td>";
      out += "</tr>\n";
    }
    out += "</tbody>\n</table></div>\n";
    if (!page.more_rows.empty()) out += "<p>" + safe(page.more_rows) + " in manifest.json</p>\n";
  }
  for (const auto& section : page.sections) {
    out += "<h2>" + section.heading + "</h2>\n";
    if (!section.text.empty()) out += "<p>" + safe(section.text) + "</p>\n";
    if (section.points.empty()) continue;
    out += "<ul>\n";
    for (const auto& point : section.points) out += "<li>" + safe(point) + "</li>\n";
    out += "</ul>\n";
  }
  out += "<h2>Did it come over whole?</h2>\n<p>In this folder:</p>\n<ul>\n";
  for (const auto& [command, what] : page.how) out += "<li><code>" + safe(command) + "</code>: " + what + "</li>\n";
  return out + "</ul>\n<p>" + proof() + "</p>\n</main>\n" + page_foot(tool_version, PageScript::none);
}

}  // namespace

std::string render_hand_off_note(const Manifest& manifest, const Sheet& sheet, const Catalog& catalog) { return as_markdown(Maker(manifest, sheet, catalog).make()); }

std::string render_hand_off_page(const Manifest& manifest, const Sheet& sheet, const Catalog& catalog) {
  return as_html(Maker(manifest, sheet, catalog).make(), manifest.tool_version);
}

}  // namespace sendworthy::sheet
