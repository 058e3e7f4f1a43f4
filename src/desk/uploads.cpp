#include "desk/uploads.h"

#include <algorithm>
#include <filesystem>
#include <system_error>
#include <utility>

#include "base/text.h"

namespace sendworthy::desk {
namespace {

namespace fs = std::filesystem;

constexpr std::size_t kLongestName = 255;       // of a file on the usual file systems
constexpr std::int64_t kLookAfter = 16u << 20;  // bytes after which the disk is asked again

bool is_a_name(std::string_view name) {
  return !name.empty() && name.size() <= kLongestName && name != "." && name != ".." && name.find('/') == name.npos &&
         name.find('\\') == name.npos && name.find('\0') == name.npos;
}

std::string tenths_of_gib(std::int64_t bytes) {
  const double tenths = static_cast<double>(bytes) / static_cast<double>(std::int64_t{1} << 30);
  return tenths < 0.1 ? "less than 0.1" : base::fixed(tenths, 1);
}

std::string gibibytes(std::int64_t bytes) { return std::to_string(bytes >> 30) + " GiB"; }

}  // namespace

tl::unexpected<UploadRefusal> Uploads::disk_is_full(std::int64_t bytes) const {
  return tl::unexpected(UploadRefusal{507, "disk_full",
                                      "there is no room for this file of " + tenths_of_gib(bytes) + " GiB in the folder for temporary files: of its disk " + tenths_of_gib(scratch_.free_bytes()) +
                                          " GiB are free, and " + gibibytes(limits_.free_bytes) +
                                          " must stay so; make room there, set TMPDIR to another folder, or put the file into the opened folder, where it is not copied"});
}

tl::expected<std::unique_ptr<Uploads::Incoming>, UploadRefusal> Uploads::begin(std::string_view name, std::int64_t bytes) {
  const auto refuse = [](int status, std::string code, std::string text) {
    return tl::unexpected(UploadRefusal{status, std::move(code), std::move(text)});
  };
  if (!is_a_name(name)) return refuse(400, "name", "that is no name of a file: it wants 1 to 255 bytes without slashes; rename the file");
  if (bytes < 0) return refuse(400, "length", "the length of the file is missing; drop it again");
  if (bytes > limits_.file_bytes)
    return refuse(413, "too_large", "the file is larger than " + gibibytes(limits_.file_bytes) + "; put it into the opened folder, where it is not copied");
  if (scratch_.free_bytes() - bytes < limits_.free_bytes) return disk_is_full(bytes);
  const std::lock_guard lock(mutex_);
  if (all_.size() >= limits_.files)
    return refuse(413, "too_many", "there are " + std::to_string(limits_.files) + " dropped files already; remove some checks, or open the folder they lie in");
  if (total_bytes_ + bytes > limits_.total_bytes)
    return refuse(413, "too_large", "the dropped files together are larger than " + gibibytes(limits_.total_bytes) + "; remove some checks, or open the folder they lie in");
  auto id = "u" + std::to_string(++last_);
  auto file = base::NewFile::make(path_of(id));
  if (!file) return refuse(507, "not_written", file.error().text + "; make room for temporary files");
  all_[id] = {std::string(name), bytes, 0, last_, false};
  total_bytes_ += bytes;
  return std::unique_ptr<Incoming>(new Incoming(*this, std::move(id), bytes, std::move(*file)));
}

Uploads::Incoming::~Incoming() {
  if (!finished_) uploads_.remove(id_);
}

tl::expected<void, UploadRefusal> Uploads::Incoming::write(std::string_view bytes) {
  written_ += static_cast<std::int64_t>(bytes.size());
  if (written_ > bytes_) return tl::unexpected(UploadRefusal{400, "length", "more came than was announced; drop the file again"});
  if (written_ - looked_at_ >= kLookAfter) {
    looked_at_ = written_;
    if (uploads_.scratch_.free_bytes() < uploads_.limits_.free_bytes) return uploads_.disk_is_full(bytes_);
  }
  if (const auto ok = file_.write(bytes); !ok)
    return tl::unexpected(UploadRefusal{507, "not_written", ok.error().text + "; make room for temporary files"});
  return {};
}

tl::expected<std::string, UploadRefusal> Uploads::Incoming::finish() {
  if (written_ != bytes_) return tl::unexpected(UploadRefusal{400, "length", "the file came in part only; drop it again"});
  const std::lock_guard lock(uploads_.mutex_);
  const auto found = uploads_.all_.find(id_);
  if (found == uploads_.all_.end()) return tl::unexpected(UploadRefusal{404, "no_upload", "the file was removed while it came"});
  found->second.whole = finished_ = true;
  return id_;
}

void Uploads::erase(std::map<std::string, One, std::less<>>::iterator found) {
  std::error_code ignored;
  fs::remove(path_of(found->first), ignored);
  total_bytes_ -= found->second.bytes;
  all_.erase(found);
}

bool Uploads::remove(std::string_view id) {
  const std::lock_guard lock(mutex_);
  const auto found = all_.find(id);
  if (found == all_.end()) return false;
  erase(found);
  return true;
}

std::vector<Uploads::Listed> Uploads::list() const {
  const std::lock_guard lock(mutex_);
  std::vector<std::pair<std::uint64_t, Listed>> found;
  for (const auto& [id, one] : all_) {
    if (one.whole) found.push_back({one.number, {id, one.name, one.bytes}});
  }
  std::ranges::sort(found, {}, [](const auto& one) { return one.first; });
  std::vector<Listed> listed;
  for (auto& one : found) listed.push_back(std::move(one.second));
  return listed;
}

tl::expected<Uploads::Lent, UploadRefusal> Uploads::lend(std::string_view id, const std::string& folder) {
  const std::lock_guard lock(mutex_);
  const auto found = all_.find(id);
  if (found == all_.end() || !found->second.whole)
    return tl::unexpected(UploadRefusal{404, "no_upload", "a dropped file is not there any more; drop it again"});
  auto& one = found->second;
  // Two dropped files may have one name: the second gets a folder below, which a third may be called like.
  std::error_code error;
  auto where = folder;
  const auto is_free = [&] { return fs::is_directory(fs::symlink_status(where, error)) && !fs::exists(fs::symlink_status(where + "/" + one.name, error)); };
  for (std::size_t below = 2; !is_free() && below <= limits_.files + 2; ++below) {
    where = folder + "/" + std::to_string(below);
    fs::create_directory(where, error);
  }
  auto path = where + "/" + one.name;
  fs::create_hard_link(path_of(id), path, error);
  if (error) return tl::unexpected(UploadRefusal{507, "not_written", "a dropped file could not be laid ready: " + error.message()});
  ++one.lent;
  return Lent{std::move(path), one.name};
}

void Uploads::take_back(std::string_view id) {
  const std::lock_guard lock(mutex_);
  if (const auto found = all_.find(id); found != all_.end()) --found->second.lent;
}

void Uploads::give_back(std::string_view id) {
  const std::lock_guard lock(mutex_);
  const auto found = all_.find(id);
  if (found == all_.end()) return;
  if (--found->second.lent <= 0) erase(found);
}

}  // namespace sendworthy::desk
