// Measurements without judgement: a table by group, what could not be measured at the end.
#include <algorithm>
#include <map>
#include <string>
#include <vector>

#include "base/text.h"
#include "sheet/order.h"
#include "sheet/phrases.h"
#include "sheet/text_parts.h"

namespace sendworthy::sheet {
namespace {

constexpr int kTitleColumns = 34;
constexpr int kNumberColumns = 9;
constexpr std::size_t kPlacesShown = 2;
constexpr std::size_t kChannelsShown = 8;

/// "(left -0.1, right +0.4)"
std::string channels_text(const Measurement& measurement, const CatalogEntry* entry, int channels) {
  std::string text;
  const auto shown = std::min(measurement.channels.size(), kChannelsShown);
  for (std::size_t i = 0; i < shown; ++i) {
    const auto& value = measurement.channels[i];
    std::string reading =
        value ? figure(*value, entry != nullptr ? entry->unit : Unit::ratio, entry != nullptr ? entry->decimals : -1)
              : "none";
    text += (text.empty() ? "" : ", ") +
            unbroken(channel_name(static_cast<int>(i) + 1, channels) + " " + reading.substr(0, reading.find(' ')));
  }
  const auto rest = and_more(shown, static_cast<std::int64_t>(measurement.channels.size()));
  if (!rest.empty()) text += " " + rest;
  return text.empty() ? text : " (" + text + ")";
}

std::string places_text(const Measurement& measurement, int channels) {
  std::string text;
  const auto shown = std::min(kPlacesShown, measurement.where.size());
  for (std::size_t i = 0; i < shown; ++i) text += (i == 0 ? "at " : "; at ") + place(measurement.where[i], channels);
  if (shown == 0) return text;
  const auto rest =
      and_more(shown, std::max(measurement.where_total, static_cast<std::int64_t>(measurement.where.size())));
  return rest.empty() ? text : text + "; " + rest;
}

void row(Page& page, const Measurement& measurement, const Catalog& catalog, int channels) {
  const auto title = title_of(measurement, catalog);
  const auto value = value_of(measurement, catalog);
  const bool table = page.width() >= kTitleColumns + 30;
  const int start = table ? kTitleColumns : 4;
  int hang = start;
  if (table && number(measurement.outcome)) {  // numbers end in one column, so that the eye can run down it
    const auto end = value.find(' ');
    const int number_columns = static_cast<int>(end == std::string::npos ? value.size() : end);
    hang += std::max(0, kNumberColumns - number_columns);
  }
  const auto text = unbroken(value) + channels_text(measurement, catalog.find(measurement.id), channels);
  page.paragraph(2, title, hang, number(measurement.outcome) ? text : value);
  const auto more = [&](const std::string& words) {
    if (!words.empty()) page.paragraph(2, "", start, words, Ink::none, Ink::faint);
  };
  more(base::for_terminal(measurement.note));
  more(places_text(measurement, channels));
}

void without_value(Page& page, std::string_view title, const std::vector<const Measurement*>& all,
                   const Catalog& catalog) {
  if (all.empty()) return;
  std::vector<std::string> reasons;
  std::map<std::string, std::string> titles;
  for (const auto* measurement : all) {
    const auto reason = reason_of(measurement->outcome);
    auto& text = titles[reason];
    if (text.empty()) reasons.push_back(reason);
    text += (text.empty() ? "" : ", ") + title_of(*measurement, catalog);
  }
  page.blank();
  page.line(0, std::string(title) + " (" + std::to_string(all.size()) + ")", Ink::strong);
  for (const auto& reason : reasons)
    page.line(2, titles[reason] + ": " + (reason.empty() ? "no reason given" : reason));
}

void one_file(Page& page, const FileSheet& file, const Catalog& catalog) {
  const auto name = unbroken(path_of(file));
  if (file.error) {
    page.paragraph(0, "NO SHEET", 10, name, Ink::fail, Ink::strong);
    page.line(10, base::for_terminal(file.error->text));
    return;
  }
  page.line(0, name + ": " + facts_line(file.facts), Ink::strong);
  std::vector<const Measurement*> missing, senseless;
  std::map<int, std::vector<const Measurement*>> groups;
  std::map<const Measurement*, std::size_t> rank;  // the catalog's order within a group; its own parameters after it
  for (const auto* measurement : in_order(file.measurements)) {
    if (std::holds_alternative<NotMeasured>(measurement->outcome)) {
      missing.push_back(measurement);
    } else if (std::holds_alternative<NotApplicable>(measurement->outcome)) {
      senseless.push_back(measurement);
    } else {
      const auto at = std::find_if(catalog.entries.begin(), catalog.entries.end(),
                                   [&](const CatalogEntry* entry) { return entry->id == measurement->id; });
      rank[measurement] = static_cast<std::size_t>(at - catalog.entries.begin());
      groups[at == catalog.entries.end() ? 1000 : static_cast<int>((*at)->group)].push_back(measurement);
    }
  }
  for (auto& [group, measurements] : groups) {
    std::stable_sort(measurements.begin(), measurements.end(),
                     [&rank](const auto* a, const auto* b) { return rank[a] < rank[b]; });
    page.blank();
    page.line(0, group == 1000 ? "Others" : to_string(static_cast<Group>(group)), Ink::strong);
    for (const auto* measurement : measurements) row(page, *measurement, catalog, file.facts.channels);
  }
  without_value(page, "Not measured", missing, catalog);
  without_value(page, "Not applicable", senseless, catalog);
}

}  // namespace

std::string measured_text(const Sheet& sheet, const Catalog& catalog, const TextOptions& options) {
  Page page(options.width, options.colour);
  const auto files = in_order(sheet.files);
  std::size_t without = 0;
  for (const auto* file : files) {
    without += file->error ? 1 : 0;
    if (options.quiet) {
      if (file->error)
        page.paragraph(0, "NO SHEET", 10, unbroken(path_of(*file)) + ": " + base::for_terminal(file->error->text),
                       Ink::fail);
      continue;
    }
    page.blank();
    one_file(page, *file, catalog);
  }
  if (options.quiet) return page.take();
  cautions(page, files);
  if (files.size() > 1) {
    page.blank();
    page.line(0, plural(static_cast<std::int64_t>(files.size()), "file", "files") + ": " +
                     std::to_string(files.size() - without) + " measured, " + std::to_string(without) +
                     " without a sheet");
  }
  return page.take();
}

}  // namespace sendworthy::sheet
