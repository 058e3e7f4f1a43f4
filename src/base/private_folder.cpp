#include "base/private_folder.h"

#include <dirent.h>
#include <fcntl.h>
#include <sys/stat.h>
#include <unistd.h>

#include <cerrno>
#include <ctime>
#include <memory>

#include "base/files.h"

namespace sendworthy::base {
namespace {

constexpr mode_t kForThisUser = 0700;
constexpr std::time_t kLeftBehindS = 3600;

bool make_folders(const std::string& path) {
  for (std::size_t slash = path.find('/', 1);; slash = path.find('/', slash + 1)) {
    const auto part = path.substr(0, slash);
    if (::mkdir(part.c_str(), kForThisUser) != 0 && errno != EEXIST) {
      // A folder above may be closed to writing and still lead to one that is there.
      struct stat info {};
      if (::stat(part.c_str(), &info) != 0 || !S_ISDIR(info.st_mode)) return false;
    }
    if (slash == std::string::npos) return true;
  }
}

class Descriptor {
 public:
  explicit Descriptor(int number) : number_(number) {}
  Descriptor(const Descriptor&) = delete;
  Descriptor& operator=(const Descriptor&) = delete;
  ~Descriptor() {
    if (number_ >= 0) ::close(number_);
  }
  [[nodiscard]] int number() const { return number_; }

 private:
  int number_;
};

}  // namespace

std::optional<PrivateFolder> PrivateFolder::open(const std::string& path) {
  if (!path.starts_with('/') || path.ends_with('/') || path.find('\0') != std::string::npos) return std::nullopt;
  if (!make_folders(path)) return std::nullopt;
  struct stat info {};
  if (::lstat(path.c_str(), &info) != 0 || !S_ISDIR(info.st_mode)) return std::nullopt;
  if (info.st_uid != ::geteuid() || (info.st_mode & (S_IWGRP | S_IWOTH)) != 0) return std::nullopt;
  return PrivateFolder(path);
}

std::optional<std::string> PrivateFolder::read(const std::string& name, std::size_t limit) const {
  const Descriptor file(::open(path_of(name).c_str(), O_RDONLY | O_NOFOLLOW | O_NONBLOCK | O_CLOEXEC | O_NOCTTY));
  if (file.number() < 0 && errno == ENOENT) return std::nullopt;
  struct stat info {};
  if (file.number() < 0 || ::fstat(file.number(), &info) != 0 || !S_ISREG(info.st_mode) || info.st_uid != ::geteuid() ||
      info.st_size > static_cast<off_t>(limit)) {
    remove(name);
    return std::nullopt;
  }
  std::string content(static_cast<std::size_t>(info.st_size), '\0');
  for (std::size_t done = 0; done < content.size();) {
    const auto got = ::read(file.number(), content.data() + done, content.size() - done);
    if (got < 0 && errno == EINTR) continue;
    if (got <= 0) return std::nullopt;
    done += static_cast<std::size_t>(got);
  }
  // The system's own time of reading is not kept everywhere; the time of writing is at nobody else's service here.
  ::futimens(file.number(), nullptr);
  return content;
}

bool PrivateFolder::write(const std::string& name, std::string_view content) const {
  return write_private(path_of(name), content).has_value();
}

void PrivateFolder::remove(const std::string& name) const { ::unlink(path_of(name).c_str()); }

std::vector<PrivateFolder::Item> PrivateFolder::items() const {
  std::vector<Item> items;
  const std::unique_ptr<DIR, int (*)(DIR*)> folder(::opendir(path_.c_str()), &::closedir);
  if (!folder) return items;
  const auto now = std::time(nullptr);
  while (const auto* entry = ::readdir(folder.get())) {
    struct stat info {};
    if (::fstatat(::dirfd(folder.get()), entry->d_name, &info, AT_SYMLINK_NOFOLLOW) != 0 || !S_ISREG(info.st_mode)) continue;
    const std::string_view name = entry->d_name;
    if (name.starts_with(kTemporaryStart) && name.ends_with(kTemporaryEnd) && info.st_mtime < now - kLeftBehindS) {
      remove(std::string(name));
      continue;
    }
    items.push_back({std::string(name), static_cast<std::int64_t>(info.st_size),
                     static_cast<std::int64_t>(info.st_mtim.tv_sec) * 1'000'000'000 + info.st_mtim.tv_nsec});
  }
  return items;
}

}  // namespace sendworthy::base
