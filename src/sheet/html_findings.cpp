#include "sheet/html_findings.h"

#include <algorithm>

#include "base/text.h"
#include "sheet/html_frame.h"
#include "sheet/phrases.h"

namespace sendworthy::sheet {
namespace {

// One of several: a line of its own on a screen, one after the other on paper.
std::string part(std::string_view text) { return "<span class=\"part\">" + safe(text) + "</span>"; }

std::string places_of(const FindingEntry& entry) {
  const auto& finding = *entry.one.finding;
  std::string places;
  for (std::size_t i = 0; i < std::min(kPlacesOnPage, finding.where.size()); ++i) {
    // The script shows the button, since without it there is nothing to look closer with.
    const bool button = entry.look && i == 0;
    auto where = finding.where[i];
    if (entry.name && !where.file.empty()) where.file = entry.name(where.file);
    places += "<span class=\"part\">" + safe(place(where, entry.channels)) +
              (button ? " <button type=\"button\" hidden data-place=\"" + base::shortest(finding.where[i].start_s) + "\" aria-label=\"Look there, finding " +
                            std::to_string(entry.one.number) + "\">Look there</button>"
                      : "") +
              "</span>";
  }
  const auto total = std::max(finding.where_total, static_cast<std::int64_t>(finding.where.size()));
  const auto more = finding.where.empty() ? "" : and_more(std::min(kPlacesOnPage, finding.where.size()), total);
  return places + (more.empty() ? "" : part(more));
}

}  // namespace

std::string about_row(std::string_view label, const std::string& html) {
  return html.empty() ? "" : "<div><dt>" + std::string(label) + "</dt><dd>" + html + "</dd></div>\n";
}

std::string_view gravity_of(const Finding& finding) {
  if (finding.status == Status::fail || (finding.status == Status::not_measured && !finding.optional)) return "fail";
  return finding.status == Status::warn ? "warn" : "note";
}

std::string finding_entry(const FindingEntry& entry, const Catalog& catalog) {
  const auto& finding = *entry.one.finding;
  const std::string css(gravity_of(finding)), number = std::to_string(entry.one.number);
  auto out = "<li" + (entry.anchor.empty() ? std::string() : " id=\"" + entry.anchor + number + "\"") + " class=\"" + css + "-row\"><span class=\"number " + css + "\">" + number +
             "</span><p class=\"head\">" + safe(headline(finding, catalog)) + " <span class=\"soft tag\">" + safe(finding.rule) + (entry.rule_set ? " in " + safe(finding.ruleset) : "") +
             "</span></p>\n<dl class=\"about\">\n";
  out += about_row("where", places_of(entry));
  out += about_row("note", safe(finding.note));
  out += about_row("why", safe(finding.why));
  out += about_row("move", safe(move_by(finding)));
  out += about_row("do", safe(finding.remedy));
  if (finding.waiver) out += about_row("waived", safe(std::string(to_string(finding.before_waiver)) + "; " + waiver_text(*finding.waiver)));
  std::string files;
  for (const auto& path : finding.files) {
    // Names in a plan are short: they stand in one line.
    if (entry.name) {
      files += (files.empty() ? "" : ", ") + safe(entry.name(path));
    } else {
      files += part(path);
    }
  }
  out += about_row("files", files);
  out += about_row("source", safe(finding.source));
  return out + "</dl></li>\n";
}

}  // namespace sendworthy::sheet
