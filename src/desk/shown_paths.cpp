#include "desk/shown_paths.h"

#include <algorithm>

namespace sendworthy::desk {
namespace {

void show(std::string& text, std::string_view folder) {
  if (text.find(folder) != text.npos) text = with_shown_paths(text, folder);
}

void show(Outcome& outcome, std::string_view folder) {
  if (auto* const value = std::get_if<Value>(&outcome)) {
    if (auto* const text = std::get_if<std::string>(value)) show(*text, folder);
  } else if (auto* const missing = std::get_if<NotMeasured>(&outcome)) {
    show(missing->reason, folder);
  } else {
    show(std::get<NotApplicable>(outcome).reason, folder);
  }
}

void show(std::vector<Where>& places, std::string_view folder) {
  for (auto& where : places) {
    show(where.file, folder);
    show(where.note, folder);
  }
}

void show(Finding& finding, std::string_view folder) {
  show(finding.outcome, folder);
  show(finding.note, folder);
  show(finding.where, folder);
  for (auto& file : finding.files) show(file, folder);
}

}  // namespace

std::string with_shown_paths(std::string_view text, std::string_view folder) {
  const auto way = std::string(folder) + "/f/";
  std::string out;
  for (;;) {
    const auto found = text.find(way);
    out += text.substr(0, found);
    if (found == text.npos) return out;
    text.remove_prefix(found + way.size());
  }
}

void show_paths(Sheet& sheet, std::string_view folder) {
  for (auto& file : sheet.files) {
    show(file.path, folder);
    if (file.error) show(file.error->text, folder);
    for (auto& measurement : file.measurements) {
      show(measurement.outcome, folder);
      show(measurement.note, folder);
      show(measurement.where, folder);
    }
    for (auto& finding : file.findings) show(finding, folder);
    for (auto& skipped : file.skipped) show(skipped.reason, folder);
  }
  for (auto& finding : sheet.findings) show(finding, folder);
  std::stable_sort(sheet.files.begin(), sheet.files.end(), [](const FileSheet& a, const FileSheet& b) { return a.path < b.path; });
}

}  // namespace sendworthy::desk
