#include "desk/plans_here.h"

#include <algorithm>
#include <optional>
#include <utility>

#include "base/bounds.h"
#include "base/document.h"
#include "base/files.h"
#include "base/os.h"
#include "base/text.h"

namespace sendworthy::desk {
namespace {

constexpr std::size_t kMostOfOne = 1u << 20;  // of a plan or an order

enum class Kind { plan, order };

/// A line that holds nothing but this heading.
bool has_heading(std::string_view text, std::string_view heading) {
  for (std::size_t begin = 0; begin < text.size();) {
    const auto end = std::min(text.find('\n', begin), text.size());
    auto line = text.substr(begin, end - begin);
    line = line.substr(0, line.find('#'));
    const auto first = std::min(line.find_first_not_of(" \t\r"), line.size());
    line = line.substr(first, line.find_last_not_of(" \t\r") + 1 - first);
    if (line == heading) return true;
    begin = end + 1;
  }
  return false;
}

std::optional<Kind> kind_of(const std::string& text, const std::string& path, std::string& title) {
  const auto document = base::Document::parse(text, path);
  if (!document) {
    if (has_heading(text, "[song]")) return Kind::plan;
    return has_heading(text, "[order]") ? std::optional(Kind::order) : std::nullopt;
  }
  for (const auto& [key, kind] : {std::pair{"song", Kind::plan}, {"order", Kind::order}}) {
    const auto table = document->root().find(key);
    if (!table || table->type() != base::Node::Type::table) continue;
    const auto named = table->find("title");
    if (const auto words = named ? named->text() : Result<std::string>(); words) title = *words;
    return kind;
  }
  return std::nullopt;
}

}  // namespace

PlansHere plans_here(const Folder& folder, std::string_view relative) {
  PlansHere here;
  const auto path = folder.path_of(relative);
  if (!path) return here;
  const auto found = base::list_folder(*path);
  if (!found) return here;
  std::vector<std::string> names;
  for (const auto& entry : *found) {
    if (entry.kind == base::FolderEntry::Kind::file && entry.name.ends_with(".toml") && !entry.name.starts_with('.')) names.push_back(entry.name);
  }
  std::ranges::sort(names);
  if (names.size() > kMostTomlFiles) names.resize(kMostTomlFiles);
  std::size_t bytes = 0;
  for (auto& name : names) {
    auto below = relative.empty() ? name : std::string(relative) + "/" + name;
    const auto file = folder.path_of(below);
    if (!file) continue;
    const auto text = base::read_text_in_bounds(*file, std::min(kMostOfOne, kMostTomlBytes - bytes));
    if (!text) continue;
    bytes += text->size();
    PlansHere::One one{std::move(name), std::move(below), {}};
    const auto kind = kind_of(*text, one.path, one.title);
    if (kind) (*kind == Kind::plan ? here.plans : here.orders).push_back(std::move(one));
  }
  return here;
}

}  // namespace sendworthy::desk
