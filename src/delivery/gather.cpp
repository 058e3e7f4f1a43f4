#include "delivery/gather.h"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <map>
#include <set>
#include <string_view>

#include "audio/audio_names.h"
#include "base/os.h"
#include "base/text.h"
#include "base/unicode.h"
#include "delivery/set_rules.h"
#include "measure/name_checks.h"

namespace sendworthy::delivery {
namespace {

constexpr std::size_t kMostFiles = 100'000;
constexpr int kDeepest = 32;

// What people send along with sound: documents, pictures, tables, maps of tempo, lists of digests.
constexpr std::string_view kTravelsAlong =
    " txt md pdf doc docx rtf odt html htm csv tsv xls xlsx ods json jsonl xml jpg jpeg png tif tiff gif webp svg cue m3u m3u8 toml mid lrc srt vtt "
    "sha256 md5 ";

std::string ending_of(std::string_view name) {
  const auto dot = name.rfind('.');
  if (dot == std::string_view::npos || dot == 0) return {};
  auto ending = std::string(name.substr(dot + 1));
  for (auto& c : ending) c = c >= 'A' && c <= 'Z' ? static_cast<char>(c - 'A' + 'a') : c;
  return ending;
}

bool travels_along(std::string_view name) {
  const auto ending = ending_of(name);
  return !name.starts_with('.') && ((!ending.empty() && kTravelsAlong.find(" " + ending + " ") != std::string_view::npos) || name == "SHA256SUMS" || name == "MD5SUMS");
}

void list(const std::string& folder, const std::string& prefix, int level, Gathered& gathered) {
  const auto entries = base::list_folder(folder.empty() ? "." : folder);
  if (!entries) {
    if (gathered.trouble.empty()) gathered.trouble = base::for_terminal(entries.error().text);
    return;
  }
  for (const auto& entry : *entries) {
    if (gathered.all.size() >= kMostFiles) {
      gathered.trouble = fmt::format("more than {} files below \"{}\"", kMostFiles, base::for_terminal(folder));
      return;
    }
    if (entry.kind == base::FolderEntry::Kind::folder) {
      if (entry.link) continue;  // can lead in circles
      if (level >= kDeepest) {
        gathered.trouble = fmt::format("folders are nested deeper than {} below \"{}\"", kDeepest, base::for_terminal(folder));
        continue;
      }
      list(folder + entry.name + "/", prefix + entry.name + "/", level + 1, gathered);
    } else {
      gathered.all.push_back(prefix + entry.name);
    }
  }
}

bool is_pattern(std::string_view file) { return file.find_first_of("*?") != std::string_view::npos; }

/// A pattern without a slash looks at the folder itself only, and * never crosses a slash.
bool fits(std::string_view pattern, std::string_view path) {
  while (true) {
    const auto slash = pattern.find('/'), other = path.find('/');
    if ((slash == std::string_view::npos) != (other == std::string_view::npos)) return false;
    if (!base::matches_pattern(pattern.substr(0, slash), path.substr(0, other))) return false;
    if (slash == std::string_view::npos) return true;
    pattern.remove_prefix(slash + 1);
    path.remove_prefix(other + 1);
  }
}

std::vector<std::string> files_of(const Item& item, const Gathered& gathered, const std::set<std::string>& own) {
  std::vector<std::string> found;
  // A name that holds a star is that file's before it is a pattern.
  if (std::ranges::binary_search(gathered.all, item.file)) return {item.file};
  const auto wanted = base::composed(item.file);
  for (const auto& path : gathered.all) {
    if (own.contains(path)) continue;
    const bool fit = is_pattern(item.file) ? audio::named_like_audio(measure::file_name_of(path)) && fits(wanted, base::composed(path)) : base::composed(path) == wanted;
    if (fit) found.push_back(path);
  }
  return found;
}

/// A name that differs from the one looked for in capitals or its ending only.
std::string nearly(const std::string& file, const Gathered& gathered) {
  const auto stem = [](std::string_view path) { return path.substr(0, path.size() - ending_of(path).size()); };
  for (const auto& path : gathered.all) {
    if (base::case_folded(path) == base::case_folded(file)) return fmt::format("there is \"{}\", which differs in capitals", base::for_terminal(path));
    if (stem(path) == stem(file) && audio::named_like_audio(measure::file_name_of(path))) return fmt::format("there is \"{}\"", base::for_terminal(path));
  }
  std::vector<std::string_view> sounds;
  for (const auto& path : gathered.extra) sounds.push_back(path);
  const auto near = base::nearest(file, sounds);
  return near.empty() ? std::string() : fmt::format("there is \"{}\"", base::for_terminal(near));
}

}  // namespace

std::string shown(const Order& order, const std::string& relative) { return order.folder + relative; }

Gathered gather(const Order& order, const std::vector<std::string>& own) {
  Gathered gathered;
  list(order.folder, "", 0, gathered);
  std::ranges::sort(gathered.all);
  const std::set<std::string> ours(own.begin(), own.end());
  std::set<std::string> taken;
  for (const auto& item : order.items) {
    gathered.files.push_back(files_of(item, gathered, ours));
    taken.insert(gathered.files.back().begin(), gathered.files.back().end());
  }
  for (const auto& path : gathered.all) {
    const auto name = measure::file_name_of(path);
    if (taken.contains(path) || ours.contains(path)) continue;
    if (audio::named_like_audio(name)) {
      gathered.extra.push_back(path);
    } else if (!travels_along(name)) {
      gathered.foreign.push_back(path);
    }
  }
  return gathered;
}

std::vector<Finding> presence_findings(const Order& order, const Gathered& gathered) {
  std::vector<Finding> findings;
  const auto files = [&](const std::vector<std::string>& relative) {
    std::vector<std::string> all;
    for (const auto& one : relative) all.push_back(shown(order, one));
    return all;
  };
  std::map<std::string, std::vector<std::size_t>> owners;
  for (std::size_t i = 0; i < order.items.size(); ++i) {
    const auto& item = order.items[i];
    const auto name = name_of(item, order);
    const auto& there = gathered.files[i];
    for (const auto& one : there) owners[one].push_back(i);
    if (there.empty()) {
      const auto near = nearly(item.file, gathered);
      const auto what = fmt::format("{}: no file \"{}\"{}", name, base::for_terminal(item.file), near.empty() ? "" : "; " + near);
      findings.push_back(gathered.trouble.empty() || item.required ? with_status("item-missing", item.required ? Status::fail : Status::note, what, {shown(order, item.file)})
                                                                   : unmeasured("item-missing", gathered.trouble, {shown(order, item.file)}, kListFolder));
      continue;
    }
    findings.push_back(passed("item-missing", fmt::format("{}: {}", name, there.size() == 1 ? "there" : fmt::format("{} files", there.size())), files(there)));
    if (there.size() > 1 && item.version != Version::stem)
      findings.push_back(faulted("item-duplicate", fmt::format("{}: {} files for one item", name, there.size()), files(there)));
  }
  bool twice = std::ranges::any_of(findings, [](const Finding& one) { return one.rule == "item-duplicate"; });
  for (const auto& [path, items] : owners) {
    if (items.size() < 2) continue;
    twice = true;
    std::string names;
    for (const auto i : items) names += (names.empty() ? "" : ", ") + name_of(order.items[i], order);
    findings.push_back(faulted("item-duplicate", fmt::format("one file for {} items: {}", items.size(), names), {shown(order, path)}));
  }
  if (!twice) findings.push_back(passed("item-duplicate", "none twice", {}));
  if (!gathered.trouble.empty()) {
    findings.push_back(unmeasured("item-extra", gathered.trouble, {}, kListFolder));
    findings.push_back(unmeasured("foreign-files", gathered.trouble, {}, kListFolder));
    return findings;
  }
  if (gathered.extra.empty()) {
    findings.push_back(passed("item-extra", "none", {}));
  } else {
    findings.push_back(with_status("item-extra", order.allow_extra ? Status::note : Status::fail,
                                   fmt::format("{} {}", gathered.extra.size(), gathered.extra.size() == 1 ? "file" : "files"), files(gathered.extra)));
  }
  findings.push_back(gathered.foreign.empty() ? passed("foreign-files", "none", {})
                                              : faulted("foreign-files", fmt::format("{} {}", gathered.foreign.size(), gathered.foreign.size() == 1 ? "file" : "files"), files(gathered.foreign)));
  return findings;
}

}  // namespace sendworthy::delivery
