#include "base/unfinished.h"

#include <fcntl.h>
#include <fmt/format.h>
#include <unistd.h>

#include <array>
#include <atomic>
#include <cerrno>
#include <cstdio>
#include <cstring>
#include <system_error>
#include <thread>

#include "base/files.h"
#include "base/text.h"

namespace sendworthy::base {
namespace {

// Names of the temporary files of this moment, in memory that a signal handler may read. A slot goes
// free → claimed → named → free; the name does not change while it is named.
enum : int { kFree, kClaimed, kNamed };
struct Slot {
  std::atomic<int> state{kFree};
  char path[4096];
};
std::array<Slot, 16> unfinished;
static_assert(std::atomic<int>::is_always_lock_free, "the slots are read inside signal handlers");

std::string shown(const std::string& path) { return fmt::format("\"{}\"", for_terminal(path)); }

}  // namespace

int Descriptor::close_descriptor(int fd) { return ::close(fd); }

std::string reason(int error, Destination destination) {
  const auto words = std::generic_category().message(error);
  const std::string elsewhere = destination == Destination::chosen ? "name another place" : "copy the folder, with all that belongs to it, to where it can be written to, and go on with the copy";
  switch (error) {
    case ENOENT:
    case ENOTDIR:
      return words + "; check the name and the folder";
    case EACCES:
    case EPERM:
      return words + "; give yourself the right to it, or " + elsewhere;
    case ENOSPC:
    case EDQUOT:
      return words + "; make room there, or " + elsewhere;
    case EROFS:
      return words + "; " + elsewhere;
    case ENAMETOOLONG:
      return words + "; shorten it";
    default:
      return words;
  }
}

int open_retrying(const char* path, int flags, mode_t mode) {
  int fd;
  do {
    fd = ::open(path, flags | O_CLOEXEC, mode);
  } while (fd < 0 && errno == EINTR);
  return fd;
}

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

namespace {

/// 0, or errno. What a file belongs to already needs no right to give it.
int give(int fd, const Owner& owner) {
  struct stat info {};
  if (::fstat(fd, &info) != 0) return errno;
  if (info.st_uid == owner.user && info.st_gid == owner.group) return 0;
  return ::fchown(fd, owner.user, owner.group) == 0 ? 0 : errno;
}

}  // namespace

class Unfinished::Registered {
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

Unfinished::Unfinished(std::string path, std::string target, const std::string& temporary)
    : path_(std::move(path)), target_(std::move(target)), temporary_(temporary), registered_(std::make_unique<Registered>(temporary)) {}

Unfinished::~Unfinished() {
  if (there_) ::unlink(temporary_.c_str());
}

bool Unfinished::fits(const std::string& temporary) { return Registered::fits(temporary); }

int Unfinished::write(std::string_view content, const Making& making) {
  Descriptor file(open_retrying(temporary_.c_str(), O_WRONLY | O_CREAT | O_EXCL | O_NOFOLLOW, making.rights));
  if (file.get() < 0) return errno;
  there_ = true;
  // First, since it may take some of the rights away.
  if (making.exact_owner) {
    if (const int error = give(file.get(), *making.exact_owner)) {
      not_given_ = true;
      return error;
    }
  }
  if (making.exact_rights && ::fchmod(file.get(), *making.exact_rights) != 0) return errno;
  if (const int error = write_all(file.get(), content)) return error;
  // Some file systems cannot sync; that is no reason to lose a sheet that was written.
  if (making.synced && ::fsync(file.get()) != 0 && errno != EINVAL && errno != ENOTSUP && errno != EROFS) return errno;
  return file.close() != 0 ? errno : 0;
}

Result<void> Unfinished::put_in_place() {
  if (std::rename(temporary_.c_str(), target_.c_str()) != 0) return cannot_write(path_, reason(errno));
  there_ = false;
  return {};
}

int Unfinished::put_where_nothing_is() {
  int failed = ::renameat2(AT_FDCWD, temporary_.c_str(), AT_FDCWD, target_.c_str(), RENAME_NOREPLACE) == 0 ? 0 : errno;
  // What cannot do that can mostly have two names of one file.
  if (failed == EINVAL || failed == ENOSYS) {
    if (::link(temporary_.c_str(), target_.c_str()) != 0) return errno;
    ::unlink(temporary_.c_str());
    failed = 0;
  }
  if (failed == 0) there_ = false;
  return failed;
}

std::string Unfinished::let_go() {
  there_ = false;
  registered_.reset();
  return temporary_;
}

Result<std::unique_ptr<Unfinished>> write_beside(const std::string& path, const std::string& target, std::string_view content, const Making& making) {
  const auto slash = target.rfind('/');
  const std::string folder = slash == std::string::npos ? "" : target.substr(0, slash + 1);
  // A short name of its own, not the target's with an ending: that one may already be as long as names can be.
  static std::atomic<unsigned> counter{0};
  for (int attempt = 0; attempt < 100; ++attempt) {
    const std::string temporary = folder + std::string(kTemporaryStart) + std::to_string(static_cast<long>(::getpid())) + "-" +
                                  std::to_string(counter.fetch_add(1)) + std::string(kTemporaryEnd);
    if (!Unfinished::fits(temporary)) return cannot_write(path, reason(ENAMETOOLONG));
    auto file = std::make_unique<Unfinished>(path, target, temporary);
    const int error = file->write(content, making);
    if (error == EEXIST) continue;
    if (file->not_given()) return cannot_write(path, "it belongs to another user or group, and a file in its place would not; take it over first, or edit a copy");
    if (error != 0) return cannot_write(path, reason(error, making.destination));
    return file;
  }
  return cannot_write(path, "no free name for a temporary file beside it");
}

void remove_unfinished_files() noexcept {
  const int saved = errno;
  for (auto& slot : unfinished) {
    if (slot.state.load(std::memory_order_acquire) == kNamed) ::unlink(slot.path);
  }
  errno = saved;
}

}  // namespace sendworthy::base
