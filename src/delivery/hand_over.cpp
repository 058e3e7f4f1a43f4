// The whole flow of `deliver manifest`: check → digests of the very same bytes → what goes out with the set, all of it or nothing.
#include <sendworthy/catalog.h>
#include <sendworthy/deliver.h>
#include <fmt/format.h>

#include <algorithm>
#include <filesystem>
#include <map>
#include <mutex>
#include <optional>
#include <set>
#include <system_error>
#include <utility>

#include "audio/digest.h"
#include "base/files.h"
#include "base/os.h"
#include "base/text.h"
#include "delivery/gather.h"
#include "delivery/hand_off.h"
#include "delivery/order.h"
#include "measure/crew.h"
#include "sheet/manifest.h"

namespace sendworthy {
namespace delivery {
namespace {

namespace fs = std::filesystem;
using sheet::SentFile;

std::string in_quotes(const std::string& path) { return "\"" + base::for_terminal(path) + "\""; }

/// By what a file that was written to in the meantime gives itself away.
struct Stamp {
  std::uintmax_t size = 0;
  fs::file_time_type time;
  bool operator==(const Stamp&) const = default;
};

std::optional<Stamp> stamp_of(const std::string& path) {
  std::error_code error;
  Stamp stamp;
  stamp.size = fs::file_size(path, error);
  if (error) return std::nullopt;
  stamp.time = fs::last_write_time(path, error);
  return error ? std::nullopt : std::optional(stamp);
}

/// Every file that goes out, as it stands right now.
struct Standing {
  std::set<std::string> items, others;  ///< relative
  std::map<std::string, std::optional<Stamp>> stamps;  ///< by shown path, the order among them
  bool operator==(const Standing&) const = default;
};

Standing standing(const Order& order) {
  const auto own = own_files(order);
  const auto gathered = gather(order, own);
  Standing now;
  for (const auto& files : gathered.files) now.items.insert(files.begin(), files.end());
  const std::set<std::string> foreign(gathered.foreign.begin(), gathered.foreign.end());
  const std::set<std::string> ours(own.begin(), own.end());
  for (const auto& file : gathered.all) {
    if (!now.items.contains(file) && !ours.contains(file) && !foreign.contains(file)) now.others.insert(file);
  }
  for (const auto* files : {&now.items, &now.others}) {
    for (const auto& file : *files) now.stamps[shown(order, file)] = stamp_of(shown(order, file));
  }
  now.stamps[order.path] = stamp_of(order.path);
  return now;
}

std::string sha256_of(std::string_view text) {
  audio::Digest digest(audio::Digest::Kind::sha256);
  digest.add(text.data(), text.size());
  return digest.hex();
}

tl::unexpected<Error> not_replaced(const std::string& which, std::string_view why) {
  return fail(ErrorCode::usage, fmt::format("{} {}; it is not replaced: move it out of the way, or remove it", which, why));
}

/// Refuses where a name is taken by what no earlier run wrote, or by what somebody has changed since.
Result<void> may_replace(const Order& order) {
  std::map<std::string, std::string> known;
  std::string others;  // that no manifest, or another one, tells of
  bool one = true, any_manifest = false;
  std::error_code ignored;
  for (const auto name : {kManifestName, kSha256Name, kMd5Name, kNoteName, kPageName}) {
    const auto target = shown(order, std::string(name));
    const auto status = fs::symlink_status(target, ignored);
    if (!fs::exists(status)) continue;
    if (!fs::is_regular_file(status)) return not_replaced(in_quotes(target), "is a link, a folder or a device");
    const auto text = base::read_text(target, sheet::kMostManifestBytes);
    if (!text) return not_replaced(in_quotes(target), "stands there already and cannot be read");
    if (name == kManifestName) {
      const auto manifest = sheet::read_manifest(*text);
      if (!manifest) return not_replaced(in_quotes(target), "stands there already and is no manifest of this program");
      for (const auto& file : manifest->files) known[file.path] = file.sha256;
      any_manifest = true;
    } else if (const auto found = known.find(std::string(name)); found == known.end() || found->second != sha256_of(*text)) {
      one = others.empty();
      others += (one ? "" : ", ") + in_quotes(target);
    }
  }
  if (others.empty()) return {};
  const std::string_view why = any_manifest ? "not as \"manifest.json\" lists them: somebody changed them, or an earlier run was broken off"
                                            : "there already and no \"manifest.json\" lists them: an earlier run was broken off, or somebody else wrote them";
  const auto what = fmt::format("{} {} {}", others, one ? "is" : "are", why);
  return fail(ErrorCode::usage, what + "; nothing is replaced: remove what such a run left, and move away what is wanted");
}

constexpr int kDeepest = 32;

/// Links, and what is neither file nor folder: whoever receives the set follows none of them, and finds it not intact.
void not_files_below(const std::string& folder, int level, std::vector<std::string>& links, std::vector<std::string>& others) {
  const auto entries = base::list_folder(folder.empty() ? "." : folder);
  if (!entries || level > kDeepest) return;  // the check finds that
  for (const auto& entry : *entries) {
    if (entry.link) {
      links.push_back(folder + entry.name);
    } else if (entry.kind == base::FolderEntry::Kind::folder) {
      not_files_below(folder + entry.name + "/", level + 1, links, others);
    } else if (entry.kind != base::FolderEntry::Kind::file) {
      others.push_back(folder + entry.name);
    }
  }
}

Result<void> holds_files_only(const Order& order) {
  std::vector<std::string> links, others;
  not_files_below(order.folder, 0, links, others);
  for (auto* found : {&links, &others}) {
    if (found->empty()) continue;
    std::ranges::sort(*found);
    const auto more = found->size() == 1 ? std::string() : fmt::format(" (and {} more)", found->size() - 1);
    const std::string_view why = found == &links ? "is a link, which does not go out with a set and is not followed where it is received; put the file itself "
                                                   "in its place, or move the link out of the folder"
                                                 : "is neither a file nor a folder, and cannot be handed over; move it out of the folder";
    return fail(ErrorCode::usage, fmt::format("{}{} {}: nothing was written", in_quotes(found->front()), more, why));
  }
  return {};
}

/// Reads every file once for both digests, on all threads.
class Hashing {
 public:
  Hashing(const Order& order, std::vector<SentFile>& files, const CheckHooks& hooks) : order_(order), files_(files), hooks_(hooks) {}

  Result<void> run(int jobs) {
    std::vector<std::optional<Error>> errors(files_.size());
    measure::Crew crew(jobs);
    crew.run(files_.size(), [&](std::size_t i) { errors[i] = read(i); });
    for (auto& error : errors) {
      if (error) return tl::unexpected(std::move(*error));
    }
    return {};
  }

 private:
  std::optional<Error> read(std::size_t index) {
    auto& file = files_[index];
    const auto path = file.kind == SentFile::Kind::order ? order_.path : shown(order_, file.path);
    const auto go_on = [&](std::int64_t bytes) {
      if (hooks_.progress && file.size > 0) {
        const std::lock_guard lock(mutex_);
        hooks_.progress({index, files_.size(), path, std::min(1.0, static_cast<double>(bytes) / static_cast<double>(file.size))});
      }
      return hooks_.stop == nullptr || !hooks_.stop->load();
    };
    auto digests = audio::digests_of_file(path, audio::WithMd5::yes, go_on);
    if (!digests) return digests.error();
    file.size = digests->size;
    file.sha256 = std::move(digests->sha256), file.md5 = std::move(digests->md5);
    return std::nullopt;
  }

  const Order& order_;
  std::vector<SentFile>& files_;
  const CheckHooks& hooks_;
  std::mutex mutex_;
};

std::vector<SentFile> files_of(const Order& order, const Standing& now, const Sheet& sheet) {
  std::vector<SentFile> files;
  const auto add = [&](const std::string& path, SentFile::Kind kind, const std::string& shown_path) {
    SentFile file;
    file.path = path, file.kind = kind;
    if (const auto stamp = now.stamps.find(shown_path); stamp != now.stamps.end() && stamp->second) file.size = static_cast<std::int64_t>(stamp->second->size);
    if (kind == SentFile::Kind::item) {
      const auto found = std::ranges::find(sheet.files, shown_path, &FileSheet::path);
      if (found != sheet.files.end()) file.sheet = &*found;
    }
    files.push_back(std::move(file));
  };
  for (const auto& file : now.items) add(file, SentFile::Kind::item, shown(order, file));
  for (const auto& file : now.others) add(file, SentFile::Kind::other, shown(order, file));
  if (const auto own = order_below(order)) add(*own, SentFile::Kind::order, order.path);
  std::ranges::sort(files, {}, &SentFile::path);
  return files;
}

SentFile own_file(std::string_view name, std::string_view text) {
  SentFile file;
  file.path = name;
  file.kind = kind_of_own(name);
  file.size = static_cast<std::int64_t>(text.size());
  file.sha256 = sha256_of(text);
  audio::Digest md5(audio::Digest::Kind::md5);
  md5.add(text.data(), text.size());
  file.md5 = md5.hex();
  return file;
}

/// Adds our own files to the list as they are made, since each list of digests names those made before it.
std::vector<std::pair<std::string, std::string>> written(const Order& order, sheet::Manifest& manifest, const Sheet& sheet) {
  std::vector<std::pair<std::string, std::string>> all;
  const auto add = [&](std::string_view name, std::string text) {
    manifest.files.push_back(own_file(name, text));
    all.emplace_back(shown(order, std::string(name)), std::move(text));
  };
  auto note = sheet::render_hand_off_note(manifest, sheet, catalog());
  auto page = sheet::render_hand_off_page(manifest, sheet, catalog());
  add(kNoteName, std::move(note));
  add(kPageName, std::move(page));
  std::ranges::sort(manifest.files, {}, &SentFile::path);
  auto sha256 = sheet::render_checksums(manifest.files, sheet::Checksum::sha256);
  auto md5 = sheet::render_checksums(manifest.files, sheet::Checksum::md5);
  add(kSha256Name, std::move(sha256));
  add(kMd5Name, std::move(md5));
  std::ranges::sort(manifest.files, {}, &SentFile::path);
  // Last, so that a run that the system breaks off leaves a manifest that does not fit, and never one that fits half a set.
  all.emplace_back(shown(order, std::string(kManifestName)), sheet::render_manifest(manifest, sheet, catalog()));
  return all;
}

}  // namespace
}  // namespace delivery

Result<HandOff> hand_off(const std::string& order_path, const HandOffOptions& options, const CheckHooks& hooks) {
  using namespace delivery;
  const auto order = read_order(order_path);
  if (!order) return tl::unexpected(order.error());
  if (const auto free = may_replace(*order); !free) return tl::unexpected(free.error());
  if (const auto files = holds_files_only(*order); !files) return tl::unexpected(files.error());
  const auto before = standing(*order);

  auto check = options.order;
  check.check.file_digest = true;
  auto sheet = check_order(order_path, check, hooks);
  if (!sheet) return tl::unexpected(sheet.error());
  const auto interrupted = [&] { return hooks.stop != nullptr && hooks.stop->load(); };
  if (interrupted()) return fail(ErrorCode::interrupted, "interrupted; nothing was written");
  HandOff done{std::move(*sheet), {}};
  if (done.sheet.verdict == Verdict::fail && options.anyway.empty()) return done;
  if (before.items.empty())
    return fail(ErrorCode::usage, fmt::format("nothing that {} asks for is there, so there is nothing to hand over; nothing was written: put the files there, or mend "
                                              "their names in the order", in_quotes(order->path)));

  sheet::Manifest manifest;
  manifest.tool_version = done.sheet.tool_version;
  manifest.title = order->title, manifest.artist = order->artist, manifest.album = order->album_title, manifest.client = order->client;
  manifest.by = options.by, manifest.date = options.order.check.today;
  if (done.sheet.verdict == Verdict::fail) manifest.anyway = options.anyway;
  manifest.verdict = done.sheet.verdict;
  manifest.folder = order->folder;
  manifest.files = files_of(*order, before, done.sheet);
  if (auto read = Hashing(*order, manifest.files, hooks).run(options.order.check.jobs); !read) {
    if (read.error().code == ErrorCode::interrupted) return fail(ErrorCode::interrupted, "interrupted; nothing was written");
    return tl::unexpected(read.error());
  }
  // What was checked, what was digested and what stands there must be one and the same.
  const auto changed = [](const std::string& path) {
    return fail(ErrorCode::unreadable, fmt::format("{} changed while it was checked; nothing was written: wait until whatever writes it is done, and start again", in_quotes(path)));
  };
  for (const auto& file : manifest.files) {
    if (file.kind != SentFile::Kind::item) continue;
    if (file.sheet == nullptr) return changed(shown(*order, file.path));
    if (!file.sheet->error && file.sheet->file_digest != "sha256:" + file.sha256) return changed(file.sheet->path);
  }
  const auto after = standing(*order);
  for (const auto& [path, stamp] : before.stamps) {
    const auto now = after.stamps.find(path);
    if (now == after.stamps.end() || now->second != stamp) return changed(path);
  }
  if (!(after == before)) return changed(order->folder.empty() ? "." : order->folder);
  if (const auto files = holds_files_only(*order); !files) return tl::unexpected(files.error());
  if (const auto free = may_replace(*order); !free) return tl::unexpected(free.error());

  const auto all = written(*order, manifest, done.sheet);
  if (interrupted()) return fail(ErrorCode::interrupted, "interrupted; nothing was written");
  if (auto wrote = base::write_all_then_rename(all); !wrote) return tl::unexpected(wrote.error());
  for (const auto& [path, text] : all) done.written.push_back(path);
  return done;
}

}  // namespace sendworthy
