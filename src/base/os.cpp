#include "base/os.h"

#include <dirent.h>
#include <fcntl.h>
#include <sys/stat.h>
#include <unistd.h>

#include <algorithm>
#include <cerrno>
#include <ctime>
#include <memory>
#include <string_view>
#include <system_error>
#include <utility>

#include "base/bounds.h"

namespace sendworthy::base {
namespace {

// std::strerror shares one buffer among threads; this does not.
std::string words_of(int error) { return std::generic_category().message(error); }

std::string cannot_read(const std::string& path, std::string_view why) {
  return "cannot read \"" + path + "\": " + std::string(why);
}

tl::unexpected<Error> open_error(const std::string& path, int error) {
  switch (error) {
    case ENOENT:
    case ENOTDIR:
      return fail(ErrorCode::missing, cannot_read(path, "there is no such file; check the name and the folder"));
    case EACCES:
    case EPERM:
      return fail(ErrorCode::unreadable, cannot_read(path, "permission denied; give yourself the right to read it"));
    case ENAMETOOLONG:
      return fail(ErrorCode::missing, cannot_read(path, "the name is longer than this system allows; shorten it"));
    case ELOOP:
      return fail(ErrorCode::unreadable,
                  cannot_read(path, "its symbolic links lead in a circle; name the file itself"));
    case ENXIO:  // a socket, or a device without a driver behind it
    case ENODEV:
      return fail(ErrorCode::unreadable,
                  cannot_read(path, "it is a socket or a device, not a file; name an audio file"));
    default:
      return fail(ErrorCode::unreadable, cannot_read(path, words_of(error)));
  }
}

std::string_view kind_words(mode_t mode) {
  if (S_ISDIR(mode)) return "it is a folder; name an audio file in it";
  if (S_ISFIFO(mode)) return "it is a pipe, not a file; write the audio to a file first";
  if (S_ISCHR(mode) || S_ISBLK(mode)) return "it is a device, not a file; name an audio file";
  if (S_ISSOCK(mode)) return "it is a socket, not a file; name an audio file";
  return "it is no regular file; name an audio file";
}

std::int64_t nanoseconds(const timespec& time) {
  return static_cast<std::int64_t>(time.tv_sec) * 1'000'000'000 + static_cast<std::int64_t>(time.tv_nsec);
}

FileStamp stamp_from(const struct stat& info) {
  return {static_cast<std::int64_t>(info.st_size), nanoseconds(info.st_mtim), nanoseconds(info.st_ctim),
          static_cast<std::uint64_t>(info.st_ino)};
}

FileState state_in(const struct stat& info) {
  FileState state;
  state.device = static_cast<std::uint64_t>(info.st_dev);
  state.number = static_cast<std::uint64_t>(info.st_ino);
  state.bytes = static_cast<std::int64_t>(info.st_size);
  state.written_ns = nanoseconds(info.st_mtim);
  state.changed_ns = nanoseconds(info.st_ctim);
  return state;
}

}  // namespace

std::optional<FileStamp> stamp_of(const std::string& path) {
  struct stat info {};
  if (::lstat(path.c_str(), &info) != 0 || !S_ISREG(info.st_mode)) return std::nullopt;
  return stamp_from(info);
}

std::optional<FolderIdentity> folder_identity(const std::string& path) {
  struct stat info {};
  if (::stat(path.c_str(), &info) != 0 || !S_ISDIR(info.st_mode)) return std::nullopt;
  return FolderIdentity{static_cast<std::uint64_t>(info.st_dev), static_cast<std::uint64_t>(info.st_ino)};
}

std::optional<FileState> state_of(const std::string& path) {
  struct stat info {};
  if (path.find('\0') != std::string::npos || ::stat(path.c_str(), &info) != 0) return std::nullopt;
  return state_in(info);
}

bool is_settled(const FileState& state) {
  // FAT counts in steps of two seconds; and a mapped page that was not written back yet takes more changes without a new time,
  // which Linux bounds by half a minute unless told otherwise.
  constexpr std::int64_t kYoung = 60'000'000'000;
  timespec now{};
  if (::clock_gettime(CLOCK_REALTIME, &now) != 0) return false;
  return std::max(state.written_ns, state.changed_ns) < nanoseconds(now) - kYoung;
}

Result<InputFile> InputFile::open(const std::string& path) {
  if (path.empty() || path.find('\0') != std::string::npos)
    return fail(ErrorCode::missing, cannot_read(path, "that is no file name"));
  int descriptor;
  do {
    // Without O_NONBLOCK, opening a pipe would wait for a writer for ever.
    descriptor = ::open(path.c_str(), O_RDONLY | O_NONBLOCK | O_CLOEXEC | O_NOCTTY);
  } while (descriptor < 0 && errno == EINTR);
  if (descriptor < 0) return open_error(path, errno);
  InputFile file(descriptor);
  struct stat info {};
  if (::fstat(descriptor, &info) != 0) return fail(ErrorCode::unreadable, cannot_read(path, words_of(errno)));
  if (!S_ISREG(info.st_mode)) return fail(ErrorCode::unreadable, cannot_read(path, kind_words(info.st_mode)));
  if (!lies_in_bounds(descriptor)) return fail(ErrorCode::unreadable, cannot_read(path, kOutOfBounds));
  file.state_ = state_in(info);
  return file;
}

InputFile::InputFile(InputFile&& other) noexcept
    : descriptor_(std::exchange(other.descriptor_, -1)), state_(other.state_), error_(std::move(other.error_)) {}

InputFile& InputFile::operator=(InputFile&& other) noexcept {
  std::swap(descriptor_, other.descriptor_);
  std::swap(state_, other.state_);
  std::swap(error_, other.error_);
  return *this;
}

InputFile::~InputFile() {
  if (descriptor_ >= 0) ::close(descriptor_);
}

std::int64_t InputFile::read_at(std::int64_t offset, void* to, std::int64_t bytes) {
  if (offset < 0 || bytes <= 0) return 0;
  std::int64_t done = 0;
  while (done < bytes) {
    const auto want = static_cast<std::size_t>(std::min<std::int64_t>(bytes - done, std::int64_t{1} << 30));
    const auto got = ::pread(descriptor_, static_cast<char*>(to) + done, want, static_cast<off_t>(offset + done));
    if (got < 0) {
      if (errno == EINTR) continue;
      error_ = words_of(errno);
      break;
    }
    if (got == 0) break;
    done += got;
  }
  return done;
}

Result<std::vector<FolderEntry>> list_folder(const std::string& path, std::size_t limit) {
  const std::unique_ptr<DIR, int (*)(DIR*)> folder(::opendir(path.c_str()), &::closedir);
  if (!folder) {
    if (errno == ENOTDIR) return fail(ErrorCode::unreadable, cannot_read(path, "it is no folder"));
    if (errno == ENOENT) return fail(ErrorCode::missing, cannot_read(path, "there is no such folder; check the name"));
    return open_error(path, errno);
  }
  if (!lies_in_bounds(::dirfd(folder.get()))) return fail(ErrorCode::unreadable, cannot_read(path, kOutOfBounds));
  std::vector<FolderEntry> entries;
  for (;;) {
    errno = 0;
    const auto* entry = ::readdir(folder.get());
    if (entry == nullptr) {
      if (errno != 0) return fail(ErrorCode::unreadable, cannot_read(path, words_of(errno)));
      return entries;
    }
    const std::string_view name = entry->d_name;
    if (name == "." || name == "..") continue;
    if (entries.size() >= limit)
      return fail(ErrorCode::unreadable, cannot_read(path, "the folder holds too many entries; name a smaller one"));
    FolderEntry found;
    found.name = name;
    struct stat info {};
    if (::fstatat(::dirfd(folder.get()), entry->d_name, &info, AT_SYMLINK_NOFOLLOW) == 0 && S_ISLNK(info.st_mode)) {
      found.link = true;
      if (::fstatat(::dirfd(folder.get()), entry->d_name, &info, 0) != 0) info.st_mode = 0;  // it points nowhere
    }
    if (S_ISREG(info.st_mode)) found.kind = FolderEntry::Kind::file;
    if (S_ISDIR(info.st_mode)) found.kind = FolderEntry::Kind::folder;
    found.stamp = stamp_from(info);
    entries.push_back(std::move(found));
  }
}

}  // namespace sendworthy::base
