#include "base/files.h"

#include <fcntl.h>
#include <fmt/format.h>
#include <sys/file.h>
#include <sys/stat.h>
#include <unistd.h>

#include <array>
#include <atomic>
#include <cerrno>
#include <chrono>
#include <cstdint>
#include <cstdio>
#include <cstdlib>
#include <cstring>
#include <memory>
#include <optional>
#include <system_error>
#include <thread>
#include <utility>

#include "base/text.h"

namespace sendworthy::base {
namespace {

/// The system's words, and what to do about it.
std::string reason(int error) {
  const auto words = std::generic_category().message(error);
  switch (error) {
    case ENOENT:
    case ENOTDIR:
      return words + "; check the name and the folder";
    case EACCES:
    case EPERM:
      return words + "; give yourself the right to it, or name another place";
    case ENOSPC:
    case EDQUOT:
      return words + "; make room there, or name another place";
    case EROFS:
      return words + "; name another place";
    case ENAMETOOLONG:
      return words + "; shorten it";
    default:
      return words;
  }
}

std::string shown(const std::string& path) { return fmt::format("\"{}\"", for_terminal(path)); }

class Descriptor {
 public:
  explicit Descriptor(int fd) : fd_(fd) {}
  Descriptor(const Descriptor&) = delete;
  Descriptor& operator=(const Descriptor&) = delete;
  ~Descriptor() { close(); }
  [[nodiscard]] int get() const { return fd_; }
  int close() {  // errors at the end of a write only show here
    const int fd = std::exchange(fd_, -1);
    return fd < 0 ? 0 : ::close(fd);
  }

 private:
  int fd_;
};

int open_retrying(const char* path, int flags, mode_t mode = 0) {
  int fd;
  do {
    fd = ::open(path, flags | O_CLOEXEC, mode);
  } while (fd < 0 && errno == EINTR);
  return fd;
}

// Names of the temporary files of this moment, in memory that a signal handler may read. A slot goes
// free → claimed → named → free; the name does not change while it is named.
enum : int { kFree, kClaimed, kNamed };
struct Slot {
  std::atomic<int> state{kFree};
  char path[4096];
};
std::array<Slot, 16> unfinished;
static_assert(std::atomic<int>::is_always_lock_free, "the slots are read inside signal handlers");

class Registered {
 public:
  explicit Registered(const std::string& path) {
    while (!claim()) std::this_thread::yield();
    std::memcpy(slot_->path, path.c_str(), path.size() + 1);
    slot_->state.store(kNamed, std::memory_order_release);
  }
  Registered(const Registered&) = delete;
  Registered& operator=(const Registered&) = delete;
  ~Registered() { slot_->state.store(kFree, std::memory_order_release); }
  static bool fits(const std::string& path) { return path.size() < sizeof(Slot::path); }

 private:
  bool claim() {
    for (auto& slot : unfinished) {
      int expected = kFree;
      if (slot.state.compare_exchange_strong(expected, kClaimed, std::memory_order_acquire)) {
        slot_ = &slot;
        return true;
      }
    }
    return false;
  }
  Slot* slot_ = nullptr;
};

// 0, or errno.
int write_all(int fd, std::string_view content) {
  while (!content.empty()) {
    const auto wrote = ::write(fd, content.data(), content.size());
    if (wrote < 0) {
      if (errno == EINTR) continue;
      return errno;
    }
    content.remove_prefix(static_cast<std::size_t>(wrote));
  }
  return 0;
}

tl::unexpected<Error> cannot_write(const std::string& path, const std::string& why) {
  return fail(ErrorCode::output, "cannot write " + shown(path) + ": " + why);
}

/// Half a line that another program writes right now looks like one that a crash left. Who cannot lock, or is kept waiting for a
/// second, goes on: at worst the mark of a loss then stands behind an empty line, and nothing is lost.
void wait_for_others(int fd) {
  constexpr int kTries = 1000;
  for (int i = 0; i < kTries && ::flock(fd, LOCK_EX | LOCK_NB) != 0 && (errno == EWOULDBLOCK || errno == EINTR); ++i)
    std::this_thread::sleep_for(std::chrono::milliseconds(1));
}

}  // namespace

Result<std::string> read_text(const std::string& path, std::size_t limit) {
  if (path.empty() || path.find('\0') != std::string::npos)
    return fail(ErrorCode::missing, "cannot read " + shown(path) + ": that is no file name");
  // Without O_NONBLOCK opening a pipe would wait for a writer for ever.
  const Descriptor file(open_retrying(path.c_str(), O_RDONLY | O_NONBLOCK | O_NOCTTY));
  if (file.get() < 0) {
    const int error = errno;
    const auto code = error == ENOENT || error == ENOTDIR ? ErrorCode::missing : ErrorCode::unreadable;
    return fail(code, "cannot read " + shown(path) + ": " + reason(error));
  }
  struct stat info {};
  if (::fstat(file.get(), &info) != 0)
    return fail(ErrorCode::unreadable, "cannot read " + shown(path) + ": " + reason(errno));
  if (S_ISDIR(info.st_mode))
    return fail(ErrorCode::unreadable, "cannot read " + shown(path) + ": it is a folder; a text file is needed");
  if (!S_ISREG(info.st_mode))
    return fail(ErrorCode::unreadable,
                "cannot read " + shown(path) + ": it is a device or a pipe; a plain text file is needed");
  std::string text;
  std::array<char, 1 << 16> buffer;
  for (;;) {
    const auto got = ::read(file.get(), buffer.data(), buffer.size());
    if (got < 0) {
      if (errno == EINTR) continue;
      return fail(ErrorCode::unreadable, "cannot read " + shown(path) + ": " + reason(errno));
    }
    if (got == 0) return text;
    if (text.size() + static_cast<std::size_t>(got) > limit)
      return fail(ErrorCode::unreadable, "cannot read " + shown(path) + ": it is larger than the " +
                                             std::to_string(limit / 1024) + " KiB a text file may have here");
    text.append(buffer.data(), static_cast<std::size_t>(got));
  }
}

namespace {

/// How a file is made.
struct Making {
  mode_t rights = 0666;
  std::optional<mode_t> exact_rights;  ///< of the file that will be replaced, where there is one
  bool synced = true;
};

/// A whole temporary file beside its target, under a name that a signal handler can remove. Gone with this object unless it was
/// put in place.
class Unfinished {
 public:
  Unfinished(std::string path, std::string target, const std::string& temporary)
      : path_(std::move(path)), target_(std::move(target)), temporary_(temporary), registered_(temporary) {}
  Unfinished(const Unfinished&) = delete;
  Unfinished& operator=(const Unfinished&) = delete;
  ~Unfinished() {
    if (there_) ::unlink(temporary_.c_str());
  }

  /// 0, or errno. EEXIST: the name is taken.
  int write(std::string_view content, const Making& making) {
    Descriptor file(open_retrying(temporary_.c_str(), O_WRONLY | O_CREAT | O_EXCL | O_NOFOLLOW, making.rights));
    if (file.get() < 0) return errno;
    there_ = true;
    if (making.exact_rights && ::fchmod(file.get(), *making.exact_rights) != 0) return errno;
    if (const int error = write_all(file.get(), content)) return error;
    // Some file systems cannot sync; that is no reason to lose a sheet that was written.
    if (making.synced && ::fsync(file.get()) != 0 && errno != EINVAL && errno != ENOTSUP && errno != EROFS) return errno;
    return file.close() != 0 ? errno : 0;
  }

  Result<void> put_in_place() {
    if (std::rename(temporary_.c_str(), target_.c_str()) != 0) return cannot_write(path_, reason(errno));
    there_ = false;
    return {};
  }

 private:
  std::string path_, target_, temporary_;
  Registered registered_;  // before the file exists, so that no signal falls between
  bool there_ = false;
};

/// Writes a new file beside `target`. `path` is how the user knows it.
Result<std::unique_ptr<Unfinished>> write_beside(const std::string& path, const std::string& target, std::string_view content, const Making& making) {
  const auto slash = target.rfind('/');
  const std::string folder = slash == std::string::npos ? "" : target.substr(0, slash + 1);
  // A short name of its own, not the target's with an ending: that one may already be as long as names can be.
  static std::atomic<unsigned> counter{0};
  for (int attempt = 0; attempt < 100; ++attempt) {
    const std::string temporary = folder + std::string(kTemporaryStart) + std::to_string(static_cast<long>(::getpid())) + "-" +
                                  std::to_string(counter.fetch_add(1)) + std::string(kTemporaryEnd);
    if (!Registered::fits(temporary)) return cannot_write(path, reason(ENAMETOOLONG));
    auto file = std::make_unique<Unfinished>(path, target, temporary);
    const int error = file->write(content, making);
    if (error == EEXIST) continue;
    if (error != 0) return cannot_write(path, reason(error));
    return file;
  }
  return cannot_write(path, "no free name for a temporary file beside it");
}

Result<std::unique_ptr<Unfinished>> write_beside(const std::string& path, std::string_view content) {
  struct stat info {};
  const bool exists = ::stat(path.c_str(), &info) == 0;
  // A link is followed once, here: renaming over it would replace the link and leave its target as it was.
  std::string target = path;
  if (exists) {
    const std::unique_ptr<char, decltype(&std::free)> real(::realpath(path.c_str(), nullptr), &std::free);
    if (real) target = real.get();
  }
  return write_beside(path, target, content, {0666, exists ? std::optional<mode_t>(info.st_mode & 07777) : std::nullopt, true});
}

}  // namespace

bool is_taken(const std::string& path) {
  struct ::stat state {};
  return ::lstat(path.c_str(), &state) == 0;
}

Result<void> write_then_rename(const std::string& path, std::string_view content) {
  if (path.empty() || path.find('\0') != std::string::npos) return cannot_write(path, "that is no file name");

  struct stat info {};
  const bool exists = ::stat(path.c_str(), &info) == 0;
  if (exists && S_ISDIR(info.st_mode)) return cannot_write(path, "it is a folder; name a file");
  if (exists && !S_ISREG(info.st_mode)) {  // a terminal, /dev/null, a pipe: it must not be replaced by a file
    Descriptor device(open_retrying(path.c_str(), O_WRONLY | O_NOCTTY));
    if (device.get() < 0) return cannot_write(path, reason(errno));
    if (const int error = write_all(device.get(), content)) return cannot_write(path, reason(error));
    if (device.close() != 0) return cannot_write(path, reason(errno));
    return {};
  }
  const auto file = write_beside(path, content);
  if (!file) return tl::unexpected(file.error());
  return (*file)->put_in_place();
}

Result<void> write_private(const std::string& path, std::string_view content) {
  if (path.empty() || path.find('\0') != std::string::npos) return cannot_write(path, "that is no file name");
  const auto file = write_beside(path, path, content, {0600, std::nullopt, false});
  if (!file) return tl::unexpected(file.error());
  return (*file)->put_in_place();
}

Result<void> write_all_then_rename(const std::vector<std::pair<std::string, std::string>>& paths_and_contents) {
  std::vector<std::unique_ptr<Unfinished>> all;
  for (const auto& [path, content] : paths_and_contents) {
    if (path.empty() || path.find('\0') != std::string::npos) return cannot_write(path, "that is no file name");
    struct stat info {};
    if (::stat(path.c_str(), &info) == 0 && !S_ISREG(info.st_mode)) return cannot_write(path, "something that is no file has this name; move it away");
    auto file = write_beside(path, content);
    if (!file) return tl::unexpected(file.error());
    all.push_back(std::move(*file));
  }
  for (const auto& one : all) {
    if (auto placed = one->put_in_place(); !placed) return placed;
  }
  return {};
}

Result<void> append_lines(const std::string& path, std::string_view lines, std::string_view after_unfinished, std::size_t limit) {
  if (path.empty() || path.find('\0') != std::string::npos) return cannot_write(path, "that is no file name");
  // Reading as well, for the end of its last line. Without O_NONBLOCK opening a pipe would wait for a reader for ever.
  Descriptor file(open_retrying(path.c_str(), O_RDWR | O_APPEND | O_CREAT | O_NOFOLLOW | O_NONBLOCK | O_NOCTTY, 0666));
  if (file.get() < 0) {
    if (errno == ELOOP) return cannot_write(path, "it is a link; put the file itself in its place");
    if (errno == EISDIR) return cannot_write(path, "it is a folder; move it away");
    return cannot_write(path, errno == ENXIO ? "it is no regular file; move it away" : reason(errno));
  }
  struct stat info {};
  if (::fstat(file.get(), &info) != 0) return cannot_write(path, reason(errno));
  if (!S_ISREG(info.st_mode)) return cannot_write(path, "it is no regular file; move it away");
  wait_for_others(file.get());
  if (::fstat(file.get(), &info) != 0) return cannot_write(path, reason(errno));
  std::string text;
  if (info.st_size > 0) {
    char last = '\n';
    if (::pread(file.get(), &last, 1, info.st_size - 1) != 1) return cannot_write(path, "the end of its last line cannot be read");
    if (last != '\n') text = after_unfinished;
  }
  text += lines;
  const auto size = static_cast<std::uintmax_t>(info.st_size);
  if (size > limit || text.size() > limit - size) return cannot_write(path, fmt::format("it would become larger than {} KiB; move it away", limit / 1024));
  ssize_t wrote;
  do {
    wrote = ::write(file.get(), text.data(), text.size());
  } while (wrote < 0 && errno == EINTR);
  if (wrote < 0) return cannot_write(path, reason(errno));
  // The rest in a second write could stand behind what somebody else appends meanwhile.
  if (static_cast<std::size_t>(wrote) != text.size()) return cannot_write(path, "there was no room for the whole line; make room there");
  return file.close() != 0 ? Result<void>(cannot_write(path, reason(errno))) : Result<void>();
}

void remove_unfinished_files() noexcept {
  const int saved = errno;
  for (auto& slot : unfinished) {
    if (slot.state.load(std::memory_order_acquire) == kNamed) ::unlink(slot.path);
  }
  errno = saved;
}

}  // namespace sendworthy::base
