#include "base/scratch_folder.h"

#include <fcntl.h>
#include <sys/file.h>
#include <sys/stat.h>
#include <unistd.h>

#include <cerrno>
#include <cstdlib>
#include <ctime>
#include <filesystem>
#include <system_error>
#include <utility>

namespace sendworthy::base {
namespace {

namespace fs = std::filesystem;

constexpr std::string_view kLock = "/lock";
/// A folder whose lock is younger may be one that another program is making just now: first the lock is made, then it is taken.
constexpr std::time_t kYoungS = 10;
/// The same of a folder that has no lock: else it is what is left where the program was killed while it removed it.
constexpr std::time_t kYoungWithoutLockS = 60;

std::string words_of(int error) { return std::generic_category().message(error); }

/// The lock goes last: what is left when the program is killed meanwhile is removed by the next one.
void remove_folder(const fs::path& path) {
  const auto lock = fs::path(kLock).relative_path();
  std::error_code error, stays;
  bool all = true;
  for (auto entry = fs::directory_iterator(path, error); !error && entry != fs::directory_iterator(); entry.increment(error)) {
    if (entry->path().filename() == lock) continue;
    fs::remove_all(entry->path(), stays);
    all = all && !stays;
  }
  if (error || !all) return;
  fs::remove(path / lock, error);
  fs::remove(path, error);
}

/// Removes the folders of this purpose whose makers are gone: their locks are free, or there is none any more.
void remove_left_behind(const fs::path& where, const std::string& start) {
  std::error_code error;
  for (auto entry = fs::directory_iterator(where, error); !error && entry != fs::directory_iterator(); entry.increment(error)) {
    const auto path = entry->path();
    if (!path.filename().string().starts_with(start)) continue;
    struct stat folder {}, lock {};
    if (::lstat(path.c_str(), &folder) != 0 || !S_ISDIR(folder.st_mode) || folder.st_uid != ::geteuid()) continue;
    const auto lock_path = path.string() + std::string(kLock);
    const int descriptor = ::open(lock_path.c_str(), O_RDWR | O_CLOEXEC | O_NOFOLLOW | O_NONBLOCK);
    if (descriptor < 0) {
      if (errno == ENOENT && folder.st_mtime < std::time(nullptr) - kYoungWithoutLockS) remove_folder(path);
      continue;
    }
    const bool old = ::fstat(descriptor, &lock) == 0 && lock.st_mtime < std::time(nullptr) - kYoungS;
    if (old && ::flock(descriptor, LOCK_EX | LOCK_NB) == 0) remove_folder(path);
    ::close(descriptor);
  }
}

}  // namespace

Result<ScratchFolder> ScratchFolder::make(std::string_view purpose) {
  std::error_code error;
  const auto where = fs::temp_directory_path(error);
  if (error) return fail(ErrorCode::output, "there is no folder for temporary files: " + error.message() + "; set TMPDIR to one");
  const auto start = "sendworthy-" + std::string(purpose) + "-";
  remove_left_behind(where, start);
  auto name = fs::absolute(where, error).lexically_normal() / (start + "XXXXXX");
  auto path = name.string();
  const auto cannot = [&](int number) {
    return fail(ErrorCode::output, "cannot make a folder for temporary files in \"" + where.string() + "\": " + words_of(number) +
                                       "; set TMPDIR to a folder that may be written to");
  };
  if (::mkdtemp(path.data()) == nullptr) return cannot(errno);
  const int lock = ::open((path + std::string(kLock)).c_str(), O_RDWR | O_CREAT | O_EXCL | O_CLOEXEC | O_NOFOLLOW, 0600);
  if (lock < 0 || ::flock(lock, LOCK_EX | LOCK_NB) != 0) {
    const int number = errno;
    if (lock >= 0) ::close(lock);
    fs::remove_all(path, error);
    return cannot(number);
  }
  return ScratchFolder(std::move(path), lock);
}

ScratchFolder::ScratchFolder(ScratchFolder&& other) noexcept
    : path_(std::exchange(other.path_, {})), lock_(std::exchange(other.lock_, -1)) {}

ScratchFolder& ScratchFolder::operator=(ScratchFolder&& other) noexcept {
  std::swap(path_, other.path_);
  std::swap(lock_, other.lock_);
  return *this;
}

ScratchFolder::~ScratchFolder() {
  clear();
  if (lock_ >= 0) ::close(lock_);
}

void ScratchFolder::clear() const {
  if (!path_.empty()) remove_folder(path_);
}

std::int64_t ScratchFolder::free_bytes() const {
  std::error_code error;
  const auto space = fs::space(path_, error);
  return error ? 0 : static_cast<std::int64_t>(space.available);
}

Result<NewFile> NewFile::make(const std::string& path) {
  const int descriptor = ::open(path.c_str(), O_WRONLY | O_CREAT | O_EXCL | O_CLOEXEC | O_NOFOLLOW, 0600);
  if (descriptor < 0) return fail(ErrorCode::output, "cannot write \"" + path + "\": " + words_of(errno));
  return NewFile(descriptor);
}

NewFile::NewFile(NewFile&& other) noexcept : descriptor_(std::exchange(other.descriptor_, -1)) {}

NewFile& NewFile::operator=(NewFile&& other) noexcept {
  std::swap(descriptor_, other.descriptor_);
  return *this;
}

NewFile::~NewFile() {
  if (descriptor_ >= 0) ::close(descriptor_);
}

Result<void> NewFile::write(std::string_view bytes) {
  while (!bytes.empty()) {
    const auto wrote = ::write(descriptor_, bytes.data(), bytes.size());
    if (wrote < 0) {
      if (errno == EINTR) continue;
      return fail(ErrorCode::output, "cannot write: " + words_of(errno));
    }
    bytes.remove_prefix(static_cast<std::size_t>(wrote));
  }
  return {};
}

}  // namespace sendworthy::base
