#include "sheet/html_set.h"

#include <algorithm>
#include <functional>
#include <map>
#include <string>
#include <vector>

#include "base/text.h"
#include "sheet/html_frame.h"
#include "sheet/html_pair.h"
#include "sheet/pair_words.h"
#include "sheet/phrases.h"

namespace sendworthy::sheet {
namespace {

struct Cell {
  const Finding* finding = nullptr;
  std::size_t number = 0;  ///< from 1
};

/// What weighs more stands in the cell.
int weight(const Finding& finding) {
  switch (finding.status) {
    case Status::fail: return 5;
    case Status::not_measured: return finding.optional ? 1 : 4;
    case Status::warn: return 3;
    case Status::waived: return 2;
    case Status::note: return 1;
    case Status::pass: return 0;
  }
  return 0;
}

struct Row {
  std::string name, file;
  const FileSheet* sheet = nullptr;
  std::map<std::string, Cell> cells;
  std::map<std::string, std::size_t> named;  ///< findings about another file that name this one: rule, and number of the finding
};

std::string_view css_of(const Finding& finding) {
  if (finding.status == Status::fail || (finding.status == Status::not_measured && !finding.optional)) return "fail";
  return finding.status == Status::warn ? "warn" : finding.status == Status::pass ? "pass" : "soft";
}

}  // namespace

std::string set_matrix(const Sheet& sheet, const Catalog& catalog) {
  std::vector<Row> rows;
  std::map<std::string, std::vector<std::size_t>> by_file;
  for (const auto& item : sheet.order->items) {
    auto files = item.files;
    if (files.empty()) files = {item.wanted};
    for (const auto& file : files) {
      by_file[file].push_back(rows.size());
      const auto found = std::ranges::find(sheet.files, file, &FileSheet::path);
      rows.push_back({item.name, file, found != sheet.files.end() ? &*found : nullptr, {}});
    }
  }
  const auto whole = rows.size();
  rows.push_back({"the set", "", nullptr, {}});
  std::vector<std::string> columns;
  std::map<std::string, std::string> titles;
  for (std::size_t i = 0; i < sheet.findings.size(); ++i) {
    const auto& finding = sheet.findings[i];
    if (titles.try_emplace(finding.rule, title_of(finding, catalog)).second) columns.push_back(finding.rule);
    const auto owner = finding.files.empty() ? by_file.end() : by_file.find(finding.files.front());
    const auto places = owner == by_file.end() ? std::vector<std::size_t>{whole} : owner->second;
    for (const auto at : places) {
      auto& cell = rows[at].cells[finding.rule];
      if (cell.finding == nullptr || weight(finding) > weight(*cell.finding)) cell = {&finding, i + 1};
    }
    if (finding.status == Status::pass) continue;
    for (std::size_t f = 1; f < finding.files.size(); ++f) {
      const auto other = by_file.find(finding.files[f]);
      if (other == by_file.end()) continue;
      for (const auto at : other->second) rows[at].named.try_emplace(finding.rule, i + 1);
    }
  }
  // What is at fault stands first: the table is wider than most screens.
  const auto worst = [&](const std::string& column) {
    int most = 0;
    for (const auto& row : rows) {
      const auto cell = row.cells.find(column);
      if (cell != row.cells.end()) most = std::max(most, weight(*cell->second.finding));
    }
    return most;
  };
  std::ranges::stable_sort(columns, std::greater<>{}, worst);
  std::string out = "<section aria-labelledby=\"matrix-name\"><h2 id=\"matrix-name\">Items against findings</h2>\n<div class=\"scroll\"><table class=\"matrix\"><thead><tr><th scope=\"col\">Item</th><th scope=\"col\">By itself</th>";
  for (const auto& column : columns) out += "<th scope=\"col\"><span>" + safe(titles[column]) + "</span></th>";
  out += "</tr></thead><tbody>\n";
  for (const auto& row : rows) {
    if (&row == &rows[whole] && row.cells.empty()) continue;
    out += "<tr><th scope=\"row\">" + safe(row.name) + (row.file.empty() ? "" : " <span class=\"soft\">" + safe(row.file.substr(row.file.rfind('/') + 1)) + "</span>") + "</th>";
    if (row.sheet != nullptr) {
      out += "<td class=\"" + std::string(row.sheet->error ? "fail" : to_string(row.sheet->verdict)) + "\">" + (row.sheet->error ? "no sheet" : std::string(to_string(row.sheet->verdict))) + "</td>";
    } else {
      out += row.file.empty() ? "<td></td>" : "<td class=\"fail\">missing</td>";
    }
    for (const auto& column : columns) {
      const auto cell = row.cells.find(column);
      const auto named = row.named.find(column);
      if (named != row.named.end() && (cell == row.cells.end() || cell->second.finding->status == Status::pass)) {
        out += "<td class=\"soft\"><a href=\"#set-" + std::to_string(named->second) + "\">named</a></td>";
        continue;
      }
      if (cell == row.cells.end()) {
        out += "<td></td>";
        continue;
      }
      const auto& finding = *cell->second.finding;
      const auto word = std::string(to_string(finding.status));
      out += "<td class=\"" + std::string(css_of(finding)) + "\">" + (finding.status == Status::pass ? word : "<a href=\"#set-" + std::to_string(cell->second.number) + "\">" + word + "</a>") + "</td>";
    }
    out += "</tr>\n";
  }
  return out + "</tbody></table></div></section>\n";
}

std::string set_pairs(const Sheet& sheet) {
  std::string out;
  int number = 0;
  for (const auto& pair : sheet.pairs) {
    const bool same = pair.kind == Pair::Kind::identical_bits || pair.kind == Pair::Kind::identical_audio;
    ++number;
    if (!pair.aligned || same || pair.null_over_time.empty()) continue;
    if (out.empty())
      out = "<section aria-labelledby=\"pairs-name\"><h2 id=\"pairs-name\">What is left of a version once its reference is taken out</h2>\n" + picture_tools(false) + "<div class=\"pictures\">\n";
    out += "<div><h3>" + safe(pair.new_path) + "</h3><p>" + safe(summary_of(pair)) + " Against " + safe(pair.old_path) + ".</p>\n" + null_figure(pair, "pair-" + std::to_string(number) + "-null-time") + "</div>\n";
  }
  return out.empty() ? out : out + "</div></section>\n";
}

}  // namespace sendworthy::sheet
