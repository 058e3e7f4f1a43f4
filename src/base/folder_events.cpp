#include "base/folder_events.h"

#include <fcntl.h>
#include <poll.h>
#include <unistd.h>
#ifdef __linux__
#include <sys/inotify.h>
#endif

#include <algorithm>
#include <cerrno>
#include <cstdint>
#include <cstring>
#include <system_error>
#include <utility>

namespace sendworthy::base {
namespace {

int milliseconds(double seconds) { return static_cast<int>(std::clamp(seconds, 0.0, 3600.0) * 1000 + 0.5); }

}  // namespace

void pause_for(double seconds) { ::poll(nullptr, 0, milliseconds(seconds)); }

FolderEvents::FolderEvents(FolderEvents&& other) noexcept
    : descriptor_(std::exchange(other.descriptor_, -1)), folders_(std::move(other.folders_)), numbers_(std::move(other.numbers_)) {}

FolderEvents& FolderEvents::operator=(FolderEvents&& other) noexcept {
  std::swap(descriptor_, other.descriptor_);
  std::swap(folders_, other.folders_);
  std::swap(numbers_, other.numbers_);
  return *this;
}

FolderEvents::~FolderEvents() {
  if (descriptor_ >= 0) ::close(descriptor_);
}

#ifdef __linux__

namespace {

constexpr std::uint32_t kMask = IN_CREATE | IN_MOVED_TO | IN_MOVED_FROM | IN_DELETE | IN_MODIFY | IN_CLOSE_WRITE | IN_ATTRIB |
                                IN_DELETE_SELF | IN_MOVE_SELF | IN_ONLYDIR;

// Who meets a limit can lift it, so it is named.
std::string words_of(int error) {
  if (error == ENOSPC) return "the limit fs.inotify.max_user_watches is reached";
  if (error == EMFILE) return "the limit fs.inotify.max_user_instances is reached";
  return std::generic_category().message(error);
}

}  // namespace

Result<FolderEvents> FolderEvents::open() {
  const int descriptor = ::inotify_init1(IN_NONBLOCK | IN_CLOEXEC);
  if (descriptor < 0) return fail(ErrorCode::unreadable, words_of(errno));
  return FolderEvents(descriptor);
}

Result<void> FolderEvents::add(const std::string& folder, Links links) {
  const int number = ::inotify_add_watch(descriptor_, folder.c_str(), kMask | (links == Links::refused ? IN_DONT_FOLLOW : 0u));
  if (number < 0) {
    const bool gone = errno == ENOENT || errno == ENOTDIR;
    return fail(gone ? ErrorCode::missing : ErrorCode::unreadable, words_of(errno));
  }
  const auto before = numbers_.find(folder);
  if (before != numbers_.end() && before->second != number) {
    // Another folder stood here; that one may live on elsewhere.
    const int old = before->second;
    ::inotify_rm_watch(descriptor_, old);
    forget(old);
  }
  forget(number);
  folders_[number] = folder;
  numbers_[folder] = number;
  return {};
}

void FolderEvents::forget(int number) {
  const auto known = folders_.find(number);
  if (known == folders_.end()) return;
  numbers_.erase(known->second);
  folders_.erase(known);
}

void FolderEvents::keep_only(const std::set<std::string>& folders) {
  std::vector<int> others;
  for (const auto& [folder, number] : numbers_) {
    if (!folders.contains(folder)) others.push_back(number);
  }
  for (const int number : others) {
    ::inotify_rm_watch(descriptor_, number);
    forget(number);
  }
}

std::vector<FolderEvent> FolderEvents::wait(double seconds) {
  std::vector<FolderEvent> events;
  pollfd end{descriptor_, POLLIN, 0};
  if (::poll(&end, 1, milliseconds(seconds)) <= 0) return events;
  alignas(inotify_event) char buffer[64 << 10];
  const auto got = ::read(descriptor_, buffer, sizeof buffer);
  for (ssize_t at = 0; at + static_cast<ssize_t>(sizeof(inotify_event)) <= got;) {
    inotify_event event{};
    std::memcpy(&event, buffer + at, sizeof event);
    const char* name = buffer + at + sizeof event;
    at += static_cast<ssize_t>(sizeof event + event.len);
    if ((event.mask & IN_Q_OVERFLOW) != 0) {
      events.push_back({FolderEvent::Kind::lost, {}});
      continue;
    }
    const auto folder = folders_.find(event.wd);
    if ((event.mask & IN_IGNORED) != 0) {
      // The system has ended this watch: the folder was deleted or unmounted. After a rescan has ended it that is no news.
      if (folder == folders_.end()) continue;
      forget(event.wd);
      events.push_back({FolderEvent::Kind::folders, {}});
      continue;
    }
    if ((event.mask & (IN_ISDIR | IN_DELETE_SELF | IN_MOVE_SELF | IN_UNMOUNT)) != 0) {
      // Rights of the folder itself come with IN_ISDIR too: it may have become readable.
      events.push_back({FolderEvent::Kind::folders, {}});
      continue;
    }
    if (folder == folders_.end() || event.len == 0) continue;
    auto kind = FolderEvent::Kind::name;
    if ((event.mask & IN_MODIFY) != 0) kind = FolderEvent::Kind::written;
    if ((event.mask & IN_CLOSE_WRITE) != 0) kind = FolderEvent::Kind::closed;
    const auto& where = folder->second;
    events.push_back({kind, where + (where.ends_with('/') ? "" : "/") + name});
  }
  return events;
}

#else

Result<FolderEvents> FolderEvents::open() { return fail(ErrorCode::unreadable, "this system has none that are known here"); }
Result<void> FolderEvents::add(const std::string&, Links) { return {}; }
void FolderEvents::keep_only(const std::set<std::string>&) {}
void FolderEvents::forget(int) {}
std::vector<FolderEvent> FolderEvents::wait(double seconds) {
  pause_for(seconds);
  return {};
}

#endif

}  // namespace sendworthy::base
