// Operands → files: folders opened, repetitions dropped.
#include <sendworthy/check.h>

#include <algorithm>
#include <filesystem>
#include <set>
#include <system_error>

#include "audio/file.h"

namespace sendworthy {
namespace {

namespace fs = std::filesystem;

/// One spelling per file: the real folder and the name in it. A link keeps its own name, because names are judged too.
std::string spelling(const std::string& path) {
  try {
    std::error_code error;
    const fs::path given(path);
    const auto folder = given.has_parent_path() ? given.parent_path() : fs::path(".");
    const auto real = fs::canonical(folder, error);
    if (error) return path;
    return (real / given.filename()).string();
  } catch (const std::exception&) {
    return path;
  }
}

bool is_folder(const std::string& path) {
  try {
    std::error_code error;
    return fs::is_directory(fs::path(path), error);
  } catch (const std::exception&) {
    return false;
  }
}

}  // namespace

Inputs expand_inputs(const std::vector<std::string>& paths, Folders folders) {
  Inputs inputs;
  std::set<std::string> seen;
  const auto take = [&](const std::string& path) {
    if (seen.insert(spelling(path)).second) inputs.files.push_back(path);
  };
  for (const auto& path : paths) {
    if (!is_folder(path)) {
      take(path);
      continue;
    }
    const auto found = audio::audio_files_in(path, folders == Folders::flat ? audio::Depth::here : audio::Depth::below);
    if (found) {
      for (const auto& file : *found) take(file);
      continue;
    }
    if (!seen.insert(spelling(path)).second) continue;
    FileSheet sheet;
    sheet.path = path;
    sheet.verdict = Verdict::fail;
    sheet.error = found.error();
    inputs.without_sheet.push_back(std::move(sheet));
  }
  return inputs;
}

void add_without_sheet(Sheet& sheet, std::vector<FileSheet> without_sheet) {
  if (without_sheet.empty()) return;
  std::move(without_sheet.begin(), without_sheet.end(), std::back_inserter(sheet.files));
  std::stable_sort(sheet.files.begin(), sheet.files.end(),
                   [](const FileSheet& a, const FileSheet& b) { return a.path < b.path; });
  sheet.verdict = Verdict::fail;
}

}  // namespace sendworthy
