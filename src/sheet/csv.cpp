// A spreadsheet of findings, or of measurements where nothing was judged. RFC 4180; text that a spreadsheet would run
// as a formula is defused, numbers stay numbers.
#include <sendworthy/render.h>

#include <algorithm>
#include <string>
#include <vector>

#include "sheet/csv_row.h"
#include "sheet/order.h"
#include "sheet/phrases.h"

namespace sendworthy {
namespace sheet {
namespace {

std::string joined(const std::vector<std::string>& parts) {
  std::string text;
  for (const auto& part : parts) {
    if (!part.empty()) text += (text.empty() ? "" : "; ") + part;
  }
  return text;
}

void value_cell(CsvRow& row, const Value& value, int decimals) {
  if (const auto* real = std::get_if<double>(&value)) {
    row.raw(digits(*real, decimals));
  } else if (const auto* truth = std::get_if<bool>(&value)) {
    row.raw(*truth ? "true" : "false");
  } else {
    row.text(std::get<std::string>(value));
  }
}

void finding_row(std::string& out, const std::string& file, const Finding& finding, const Catalog& catalog) {
  const int decimals = decimals_of(finding, catalog);
  CsvRow row(out);
  row.text(file);
  row.text(finding.ruleset);
  row.text(finding.rule);
  row.text(finding.key.empty() ? finding.measure : finding.key);
  row.text(title_of(finding, catalog));
  row.text(to_string(finding.status));
  const auto* value = std::get_if<Value>(&finding.outcome);
  value != nullptr ? value_cell(row, *value, decimals) : row.raw("");
  row.text(to_string(finding.unit));
  if (finding.limit) {
    const auto* number = std::get_if<double>(&*finding.limit);
    value_cell(row, *finding.limit, number != nullptr ? decimals_as_written(*number, decimals) : decimals);
  } else {
    row.raw("");
  }
  const Where* first = finding.where.empty() ? nullptr : &finding.where.front();
  row.raw(first != nullptr ? digits(first->start_s, 6) : "");
  row.raw(first != nullptr ? digits(first->end_s, 6) : "");
  row.raw(first != nullptr && first->channel > 0 ? std::to_string(first->channel) : "");
  row.text(joined({reason_of(finding.outcome), finding.note, first != nullptr ? first->note : "",
                   finding.waiver ? "waived: " + waiver_text(*finding.waiver) : ""}));
  row.text(finding.why);
  row.text(finding.remedy);
  row.raw(finding.change_db ? digits(change_to_show(*finding.change_db), 1) : "");
  row.raw(std::to_string(std::max(finding.where_total, static_cast<std::int64_t>(finding.where.size()))));
}

/// A file without a sheet: `columns` cells, the status and the reason where the header has them.
void error_row(std::string& out, const FileSheet& file, int columns, int status_at, int note_at) {
  CsvRow row(out);
  row.text(file.path);
  for (int i = 1; i < columns; ++i) {
    if (i == status_at) {
      row.text("no sheet");
    } else if (i == note_at) {
      row.text(file.error->text);
    } else {
      row.raw("");
    }
  }
}

void measurement_row(std::string& out, const FileSheet& file, const Measurement& measurement, const Catalog& catalog) {
  const auto* entry = catalog.find(measurement.id);
  const int decimals = entry != nullptr ? entry->decimals : -1;
  const auto* value = std::get_if<Value>(&measurement.outcome);
  CsvRow row(out);
  row.text(file.path);
  row.text(measurement.key);
  row.text(title_of(measurement, catalog));
  row.text(entry != nullptr ? to_string(entry->group) : "");
  row.text(value != nullptr                                           ? "measured"
           : std::holds_alternative<NotMeasured>(measurement.outcome) ? "not measured"
                                                                      : "not applicable");
  value != nullptr ? value_cell(row, *value, decimals) : row.raw("");
  row.text(entry != nullptr ? to_string(entry->unit) : "");
  std::string channels;  // "1: -0.1; 2: 0.4", which no spreadsheet takes for a formula
  for (std::size_t i = 0; i < measurement.channels.size(); ++i) {
    const auto& channel = measurement.channels[i];
    channels += (i > 0 ? "; " : "") + std::to_string(i + 1) + ": " + (channel ? digits(*channel, decimals) : "none");
  }
  row.raw(channels);
  row.raw(std::to_string(std::max(measurement.where_total, static_cast<std::int64_t>(measurement.where.size()))));
  row.text(joined({reason_of(measurement.outcome), measurement.note}));
}

}  // namespace
}  // namespace sheet

std::string render_csv(const Sheet& sheet, const Catalog& catalog) {
  std::string out;
  const auto files = sheet::in_order(sheet.files);
  if (!sheet.judged) {
    out = "file,measure,title,group,status,value,unit,channels,places,note\r\n";
    for (const auto* file : files) {
      if (file->error) sheet::error_row(out, *file, 10, 4, 9);
      for (const auto* measurement : sheet::in_order(file->measurements))
        sheet::measurement_row(out, *file, *measurement, catalog);
    }
    return out;
  }
  out =
      "file,ruleset,rule,measure,title,status,value,unit,limit,start_s,end_s,channel,note,why,remedy,change_db,"
      "places\r\n";
  for (const auto* file : files) {
    if (file->error) sheet::error_row(out, *file, 17, 5, 12);
    for (const auto& finding : file->findings) sheet::finding_row(out, file->path, finding, catalog);
  }
  for (const auto& finding : sheet.findings) sheet::finding_row(out, sheet::joined(finding.files), finding, catalog);
  return out;
}

}  // namespace sendworthy
