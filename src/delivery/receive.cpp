// The whole flow of `deliver receive`: the manifest → what lies in the folder → every byte of it → what is not as it was sent.
// Files are opened by the names that the folder gives, never by those in the manifest, so that no manifest leads out of it.
#include <sendworthy/check.h>
#include <sendworthy/deliver.h>
#include <fmt/format.h>

#include <algorithm>
#include <filesystem>
#include <map>
#include <mutex>
#include <optional>
#include <set>
#include <system_error>

#include "audio/digest.h"
#include "base/files.h"
#include "base/os.h"
#include "base/text.h"
#include "base/unicode.h"
#include "delivery/hand_off.h"
#include "delivery/set_rules.h"
#include "measure/crew.h"
#include "sheet/manifest.h"

namespace sendworthy {
namespace delivery {
namespace {

using sheet::SentFile;

constexpr std::string_view kId = "manifest-intact";
constexpr std::size_t kMostFiles = 100'000;
constexpr int kDeepest = 32;

enum class Found { file, link, other };

/// What lies in the folder, relative to it.
struct Contents {
  std::map<std::string, Found> all;
  std::map<std::string, std::int64_t> sizes;  ///< bytes of each file
  std::vector<Finding> trouble;  ///< what could not be looked at
  bool full = false;
};

void walk(const std::string& folder, const std::string& prefix, int level, Contents& contents) {
  const auto entries = base::list_folder(folder);
  if (!entries) {
    contents.trouble.push_back(unmeasured(kId, base::for_terminal(entries.error().text), {folder}));
    return;
  }
  for (const auto& entry : *entries) {
    if (contents.all.size() >= kMostFiles) {
      if (!contents.full) contents.trouble.push_back(unmeasured(kId, fmt::format("the folder holds more than {} files", kMostFiles), {}));
      contents.full = true;
      return;
    }
    const auto path = prefix + entry.name;
    if (entry.link) {
      contents.all[path] = Found::link;
    } else if (entry.kind == base::FolderEntry::Kind::folder) {
      if (level >= kDeepest) {
        contents.trouble.push_back(unmeasured(kId, fmt::format("folders are nested more than {} deep", kDeepest), {folder + entry.name}));
        continue;
      }
      walk(folder + entry.name + "/", path + "/", level + 1, contents);
    } else {
      const bool is_file = entry.kind == base::FolderEntry::Kind::file;
      contents.all[path] = is_file ? Found::file : Found::other;
      if (is_file) contents.sizes[path] = entry.stamp.size;
    }
  }
}

/// What systems put into a folder that somebody only looked at.
bool left_by_a_system(std::string_view path) {
  const auto name = path.substr(path.rfind('/') + 1);
  return name == ".DS_Store" || name == "Thumbs.db" || name == "desktop.ini" || name.starts_with("._");
}

class Receiving {
 public:
  Receiving(std::string folder, const sheet::Manifest& manifest, const CheckHooks& hooks) : folder_(std::move(folder)), manifest_(manifest), hooks_(hooks) {}

  Result<std::vector<Finding>> run(int jobs) {
    walk(folder_, "", 0, contents_);
    pair_up();
    look_for_renamed();
    if (!read(jobs)) return fail(ErrorCode::interrupted, "interrupted; nothing was written");
    pair_renamed();
    for (std::size_t i = 0; i < manifest_.files.size(); ++i) judge(i);
    if (std::ranges::none_of(manifest_.files, [](const SentFile& one) { return one.kind == SentFile::Kind::item; }))
      findings_.push_back(unmeasured(kId, "the manifest lists no sound, so there is nothing of a set that could be intact", {folder_ + std::string(kManifestName)}));
    sums();
    added();
    std::move(contents_.trouble.begin(), contents_.trouble.end(), std::back_inserter(findings_));
    if (std::ranges::none_of(findings_, [](const Finding& one) { return verdict_of({one}) == Verdict::fail; })) {
      const auto count = manifest_.files.size();
      findings_.insert(findings_.begin(), passed(kId, fmt::format("{} {}, as listed{} on {}", count, count == 1 ? "file" : "files",
                                                                  manifest_.by.empty() ? "" : " by " + base::for_terminal(manifest_.by), base::for_terminal(manifest_.date)), {}));
    }
    if (!manifest_.anyway.empty())
      findings_.push_back(with_status(kId, Status::note, "the set failed its check and was handed over all the same: " + base::for_terminal(manifest_.anyway), {}));
    return std::move(findings_);
  }

 private:
  struct Read {
    std::string name;  ///< as the folder has it; empty: missing
    bool respelt = false, renamed = false;
    std::optional<Result<audio::FileDigests>> digests;
  };

  struct Stranger {
    std::string name;
    std::optional<Result<audio::FileDigests>> digests;
  };

  /// Which file of the folder is which of the manifest: by its bytes, else by its letters, since some disks and archives spell an
  /// accent anew.
  void pair_up() {
    read_.resize(manifest_.files.size());
    for (std::size_t i = 0; i < read_.size(); ++i) {
      const auto& path = manifest_.files[i].path;
      if (contents_.all.contains(path)) read_[i].name = path, listed_.emplace(path, i);
    }
    std::map<std::string, std::string> composed;
    for (const auto& [path, found] : contents_.all) {
      if (!listed_.contains(path)) composed.emplace(base::composed(path), path);
    }
    for (std::size_t i = 0; i < read_.size(); ++i) {
      if (!read_[i].name.empty()) continue;
      const auto found = composed.find(base::composed(manifest_.files[i].path));
      if (found == composed.end() || !listed_.emplace(found->second, i).second) continue;
      read_[i].name = found->second;
      read_[i].respelt = true;
    }
  }

  /// What no name tells may be told by bytes: files that the manifest does not list, as long as one that is missing.
  void look_for_renamed() {
    std::set<std::int64_t> missing;
    for (std::size_t i = 0; i < read_.size(); ++i) {
      if (read_[i].name.empty() && manifest_.files[i].size > 0) missing.insert(manifest_.files[i].size);
    }
    for (const auto& [path, size] : contents_.sizes) {
      if (missing.contains(size) && !listed_.contains(path) && path != kManifestName) strangers_.push_back({path, {}});
    }
  }

  void pair_renamed() {
    for (std::size_t i = 0; i < read_.size(); ++i) {
      const auto& sent = manifest_.files[i];
      if (!read_[i].name.empty() || sent.size == 0) continue;
      for (auto& stranger : strangers_) {
        if (listed_.contains(stranger.name) || !*stranger.digests || (*stranger.digests)->size != sent.size || (*stranger.digests)->sha256 != sent.sha256) continue;
        listed_.emplace(stranger.name, i);
        read_[i].name = stranger.name;
        read_[i].renamed = true;
        break;
      }
    }
  }

  struct Todo {
    const std::string* name;
    std::int64_t size;
    std::optional<Result<audio::FileDigests>>* digests;
  };

  /// False: stopped.
  bool read(int jobs) {
    std::vector<Todo> todo;
    for (std::size_t i = 0; i < read_.size(); ++i) {
      if (!read_[i].name.empty() && contents_.all.at(read_[i].name) == Found::file) todo.push_back({&read_[i].name, manifest_.files[i].size, &read_[i].digests});
    }
    for (auto& stranger : strangers_) todo.push_back({&stranger.name, contents_.sizes.at(stranger.name), &stranger.digests});
    const auto stopped = [&] { return hooks_.stop != nullptr && hooks_.stop->load(); };
    measure::Crew crew(jobs);
    crew.run(todo.size(), [&](std::size_t at) {
      const auto path = folder_ + *todo[at].name;
      const auto size = static_cast<double>(std::max<std::int64_t>(1, todo[at].size));
      *todo[at].digests = audio::digests_of_file(path, audio::WithMd5::no, [&](std::int64_t bytes) {
        if (hooks_.progress) {
          const std::lock_guard lock(mutex_);
          hooks_.progress({at, todo.size(), path, std::min(1.0, static_cast<double>(bytes) / size)});
        }
        return !stopped();
      });
    });
    return !stopped();
  }

  void judge(std::size_t index) {
    const auto& sent = manifest_.files[index];
    const auto& one = read_[index];
    const auto path = folder_ + (one.name.empty() ? sent.path : one.name);
    if (one.name.empty()) {
      // Whoever passes on the set alone leaves them out, and nothing of the set is lost.
      const bool ours = kind_of_own(sent.path) != SentFile::Kind::other;
      findings_.push_back(ours ? with_status(kId, Status::note, "not there; it belongs to the hand-off and not to the set", {path}) : faulted(kId, "missing", {path}));
      return;
    }
    if (one.renamed) {
      auto renamed = faulted(kId, fmt::format("renamed to \"{}\"; its bytes are those that were sent", base::for_terminal(one.name)), {folder_ + sent.path});
      renamed.remedy = "Give it its name back.";
      findings_.push_back(std::move(renamed));
      return;
    }
    const auto kind = contents_.all.at(one.name);
    if (kind != Found::file) {
      findings_.push_back(faulted(kId, kind == Found::link ? "a link stands in its place, which is not followed" : "something that is no file stands in its place", {path}));
      return;
    }
    if (!*one.digests) {
      findings_.push_back(unmeasured(kId, base::for_terminal(one.digests->error().text), {path}));
      return;
    }
    const auto& digests = **one.digests;
    if (digests.size != sent.size) {
      findings_.push_back(faulted(kId, fmt::format("changed: {} bytes, and {} were sent", digests.size, sent.size), {path}));
    } else if (digests.sha256 != sent.sha256) {
      findings_.push_back(faulted(kId, "changed: as many bytes as were sent, and other ones", {path}));
    } else if (one.respelt) {
      findings_.push_back(with_status(kId, Status::note, "the same bytes; its name is spelt in another Unicode form than it was sent with", {path}));
    }
  }

  /// A list that says anything else than the manifest would let the standard tools pass what this does not.
  void sums() {
    for (const auto& [name, checksum] : {std::pair{kSha256Name, sheet::Checksum::sha256}, std::pair{kMd5Name, sheet::Checksum::md5}}) {
      const auto found = contents_.all.find(std::string(name));
      if (found == contents_.all.end() || found->second != Found::file) continue;
      const auto path = folder_ + std::string(name);
      const auto text = base::read_text(path, sheet::kMostManifestBytes);
      if (!text) {
        findings_.push_back(unmeasured(kId, base::for_terminal(text.error().text), {path}));
      } else if (*text != sheet::render_checksums(manifest_.files, checksum)) {
        findings_.push_back(faulted(kId, "lists other digests or files than the manifest", {path}));
      }
    }
  }

  void added() {
    for (const auto& [path, found] : contents_.all) {
      if (listed_.contains(path) || path == kManifestName) continue;
      if (found == Found::file && (path == kSha256Name || path == kMd5Name)) continue;  // judged by what it says
      const auto what = found == Found::link    ? "added: a link, which is not followed"
                        : found == Found::other ? "added: something that is no file"
                        : left_by_a_system(path)           ? "added: left behind by a system that showed the folder"
                                                           : "added: the manifest does not list it";
      const bool harmless = found == Found::file && left_by_a_system(path);
      findings_.push_back(with_status(kId, harmless ? Status::warn : set_rule(kId).severity, what, {folder_ + path}));
    }
  }

  const std::string folder_;
  const sheet::Manifest& manifest_;
  const CheckHooks& hooks_;
  Contents contents_;
  std::vector<Read> read_;
  std::vector<Stranger> strangers_;
  std::map<std::string, std::size_t> listed_;  ///< names in the folder → files of the manifest
  std::vector<Finding> findings_;
  std::mutex mutex_;
};

/// `given`: the folder as the user wrote it; `folder`: with a slash behind it.
Result<sheet::Manifest> manifest_in(const std::string& given, const std::string& folder) {
  std::error_code ignored;
  const auto named = "\"" + base::for_terminal(given) + "\"";
  const auto status = std::filesystem::status(given, ignored);
  if (!std::filesystem::exists(status)) return fail(ErrorCode::missing, fmt::format("cannot read {}: there is no such folder; check the name", named));
  if (!std::filesystem::is_directory(status)) return fail(ErrorCode::unreadable, fmt::format("cannot read {}: it is no folder; name the folder that was received", named));
  const auto path = folder + std::string(kManifestName);
  if (std::filesystem::is_symlink(std::filesystem::symlink_status(path, ignored)))
    return fail(ErrorCode::unreadable, fmt::format("\"{}\" is a link, which is not followed; a hand-off holds the file itself", base::for_terminal(path)));
  if (!std::filesystem::exists(path, ignored) && !ignored)
    return fail(ErrorCode::missing, fmt::format("{} holds no manifest.json, so nothing tells what was sent; name the folder that holds it, or have it sent again", named));
  const auto text = base::read_text(path, sheet::kMostManifestBytes);
  if (!text) return tl::unexpected(text.error());
  auto manifest = sheet::read_manifest(*text);
  if (!manifest) return fail(manifest.error().code, manifest.error().text, {path, 0, 0});
  return manifest;
}

}  // namespace
}  // namespace delivery

Result<Sheet> receive(const std::string& given, int jobs, const CheckHooks& hooks) {
  using namespace delivery;
  const auto folder = given.ends_with('/') ? given : given + "/";
  const auto manifest = manifest_in(given, folder);
  if (!manifest) return tl::unexpected(manifest.error());
  auto findings = Receiving(folder, *manifest, hooks).run(jobs);
  if (!findings) return tl::unexpected(findings.error());
  Sheet sheet;
  sheet.tool_version = version();
  sheet.libraries = library_versions();
  sheet.findings = std::move(*findings);
  sheet.verdict = verdict_of(sheet.findings);
  return sheet;
}

}  // namespace sendworthy
