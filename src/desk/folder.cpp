#include "desk/folder.h"

#include <sendworthy/check.h>

#include <algorithm>
#include <filesystem>
#include <map>
#include <system_error>
#include <utility>

#include "base/os.h"

namespace sendworthy::desk {
namespace {

namespace fs = std::filesystem;

Result<void> is_ours(std::string_view relative) {
  const auto refuse = [&](std::string_view why) {
    return fail(ErrorCode::usage, "\"" + std::string(relative) + "\" is no path in the opened folder: " + std::string(why));
  };
  if (relative.find('\0') != relative.npos) return refuse("it holds a NUL");
  if (relative.find('\\') != relative.npos) return refuse("it holds a backslash");
  for (std::size_t begin = 0; !relative.empty() && begin <= relative.size();) {
    const auto end = std::min(relative.find('/', begin), relative.size());
    const auto segment = relative.substr(begin, end - begin);
    if (segment.empty()) return refuse("a part of it is empty");
    if (segment == "." || segment == "..") return refuse("a part of it is \"" + std::string(segment) + "\"");
    begin = end + 1;
  }
  return {};
}

std::string joined(std::string_view folder, std::string_view name) {
  if (folder.empty()) return std::string(name);
  return std::string(folder) + (folder.ends_with('/') ? "" : "/") + std::string(name);
}

/// A path with every link in it followed, as far as it exists; empty where that cannot be told.
std::string without_links(const std::string& path) {
  try {
    std::error_code error;
    const auto real = fs::weakly_canonical(fs::absolute(fs::path(path)), error);
    return error ? std::string() : real.string();
  } catch (const std::exception&) {
    return {};
  }
}

tl::unexpected<Error> leads_out(std::string_view relative) {
  return fail(ErrorCode::unreadable, "\"" + std::string(relative) + "\" leads out of the opened folder by a link; open the folder it leads to");
}

}  // namespace

Result<Folder> Folder::open(const std::string& given) {
  if (const auto listed = base::list_folder(given); !listed) return tl::unexpected(listed.error());
  Folder folder;
  folder.given_ = given;
  folder.real_ = without_links(given);
  if (folder.real_.empty()) return fail(ErrorCode::unreadable, "cannot open \"" + given + "\": where it lies cannot be told");
  folder.name_ = fs::path(folder.real_).filename().string();
  if (folder.name_.empty()) folder.name_ = folder.real_;
  return folder;
}

bool Folder::is_below(const std::string& real) const {
  if (real.empty()) return false;
  return real == real_ || real_ == "/" || (real.starts_with(real_) && real[real_.size()] == '/');
}

bool Folder::holds(const std::string& path) const { return is_below(without_links(path)); }

Result<std::string> Folder::real_path_of(std::string_view relative) const {
  const auto path = path_of(relative);
  if (!path) return path;
  auto real = without_links(*path);
  if (!is_below(real)) return leads_out(relative);
  return real;
}

Result<std::string> Folder::path_of(std::string_view relative) const {
  if (auto ok = is_ours(relative); !ok) return tl::unexpected(ok.error());
  // Whoever is in the folder writes "mix.wav" and not "./mix.wav", and so the sheet says it.
  const auto in_place = given_ == "." || given_ == "./";
  auto path = relative.empty() ? given_ : in_place ? std::string(relative) : joined(given_, relative);
  if (!holds(path)) return leads_out(relative);
  return path;
}

Result<Folder::Listing> Folder::list(std::string_view relative) const {
  const auto path = path_of(relative);
  if (!path) return tl::unexpected(path.error());
  const auto found = base::list_folder(*path);
  if (!found) return tl::unexpected(found.error());
  std::map<std::string, const base::FolderEntry*> by_name;
  for (const auto& entry : *found) by_name[entry.name] = &entry;
  Listing listing;
  const auto take = [&](std::vector<Entry>& to, const base::FolderEntry& entry) {
    if (entry.link && !holds(joined(*path, entry.name))) return;
    // What the page could not ask for, such as a name with a backslash, it is not offered.
    if (!is_ours(joined(relative, entry.name))) {
      ++listing.left_off;
      return;
    }
    if (to.size() >= kMost) {
      ++listing.left_off;
      return;
    }
    to.push_back({entry.name, joined(relative, entry.name), entry.stamp.size, entry.stamp.modified_ns});
  };
  for (const auto& [name, entry] : by_name) {
    if (entry->kind == base::FolderEntry::Kind::folder && name.front() != '.') take(listing.folders, *entry);
  }
  // Of folders size and time say nothing here, and would tell of a change wherever a file in them changes.
  for (auto& folder : listing.folders) folder.bytes = folder.modified_ns = 0;
  for (const auto& file : expand_inputs({*path}, Folders::flat).files) {
    const auto entry = by_name.find(fs::path(file).filename().string());
    if (entry != by_name.end() && entry->second->kind == base::FolderEntry::Kind::file) take(listing.files, *entry->second);
  }
  const auto left_off = listing.left_off;
  for (const auto& [name, entry] : by_name) {
    if (entry->kind == base::FolderEntry::Kind::file && name.ends_with(".toml") && name.front() != '.') take(listing.documents, *entry);
  }
  listing.left_off = left_off;  // that is of what is listed on the page
  return listing;
}

}  // namespace sendworthy::desk
