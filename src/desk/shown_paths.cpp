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

void show(Measurement& measurement, std::string_view folder) {
  show(measurement.outcome, folder);
  show(measurement.note, folder);
  show(measurement.where, folder);
}

void show(Pair& pair, std::string_view folder) {
  show(pair.old_path, folder);
  show(pair.new_path, folder);
  show(pair.remark, folder);
  for (auto& change : pair.changes) {
    show(change.before, folder);
    show(change.after, folder);
  }
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

std::vector<std::string> show_paths(Sheet& sheet, std::string_view folder) {
  const auto shown = [&](const std::string& path) { return with_shown_paths(path, folder); };
  std::vector<std::string> paths;
  for (const auto& file : sheet.files) paths.push_back(file.path);
  std::stable_sort(paths.begin(), paths.end(), [&](const std::string& a, const std::string& b) { return shown(a) < shown(b); });
  for (auto& file : sheet.files) {
    show(file.path, folder);
    if (file.error) show(file.error->text, folder);
    for (auto& measurement : file.measurements) show(measurement, folder);
    for (auto& finding : file.findings) show(finding, folder);
    for (auto& skipped : file.skipped) show(skipped.reason, folder);
  }
  for (auto& finding : sheet.findings) show(finding, folder);
  for (auto& pair : sheet.pairs) show(pair, folder);
  std::stable_sort(sheet.files.begin(), sheet.files.end(), [](const FileSheet& a, const FileSheet& b) { return a.path < b.path; });
  return paths;
}

}  // namespace sendworthy::desk
