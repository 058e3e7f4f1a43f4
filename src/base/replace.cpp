#include "base/replace.h"

#include <fcntl.h>
#include <sys/stat.h>
#include <unistd.h>

#include <array>
#include <cerrno>
#include <chrono>
#include <csignal>
#include <cstdio>
#include <optional>
#include <thread>

#include "base/bounds.h"
#include "base/unfinished.h"

namespace sendworthy::base {
namespace {

/// A new file can be put in the place of one that nobody may write into: its rights are to keep it from that, of root as well.
bool is_write_protected(const std::string& name, mode_t mode) {
  return (mode & (S_IWUSR | S_IWGRP | S_IWOTH)) == 0 || ::faccessat(AT_FDCWD, name.c_str(), W_OK, AT_EACCESS) != 0;
}

/// What lies under a name.
enum class Content { expected, another, being_written };

bool holds(int fd, std::string_view expected) {
  std::array<char, 1 << 14> buffer;
  for (;;) {
    const auto got = ::read(fd, buffer.data(), buffer.size());
    if (got < 0 && errno == EINTR) continue;
    if (got <= 0) return got == 0 && expected.empty();
    const std::string_view piece(buffer.data(), static_cast<std::size_t>(got));
    if (!expected.starts_with(piece)) return false;
    expected.remove_prefix(piece.size());
  }
}

/// Whether nobody has it open to write into it; true where the system does not tell. Whoever opens it from now on waits until the
/// descriptor is closed.
bool nobody_writes(int fd) {
  // Writing a small file takes no longer.
  constexpr int kTries = 50;
  // The usual signal to a holder that keeps others waiting would end the program.
  (void)::fcntl(fd, F_SETSIG, SIGURG);
  for (int i = 0; i < kTries; ++i) {
    if (::fcntl(fd, F_SETLEASE, F_RDLCK) == 0 || errno != EAGAIN) return true;
    std::this_thread::sleep_for(std::chrono::milliseconds(2));
  }
  return false;
}

Content look_at(const std::string& path, std::string_view expected) {
  const Descriptor file(open_retrying(path.c_str(), O_RDONLY | O_NOFOLLOW | O_NONBLOCK | O_NOCTTY));
  struct stat info {};
  if (file.get() < 0 || ::fstat(file.get(), &info) != 0 || !S_ISREG(info.st_mode)) return Content::another;
  if (!nobody_writes(file.get())) return Content::being_written;
  return holds(file.get(), expected) ? Content::expected : Content::another;
}

Replaced told(Content instead) { return instead == Content::being_written ? Replaced::being_written : Replaced::changed; }

int exchange(const std::string& a, const std::string& b) { return ::renameat2(AT_FDCWD, a.c_str(), AT_FDCWD, b.c_str(), RENAME_EXCHANGE) == 0 ? 0 : errno; }

/// Puts what came out back in. `path`: how the user knows `name`; `ours`: what is in its place as far as we know.
Result<void> put_back(const std::string& path, const std::string& name, const std::string& aside, std::string_view ours) {
  const auto kept = [&] {
    return cannot_write(path, "other programs wrote it several times meanwhile; what one of them wrote lies beside it in \"" + aside.substr(aside.rfind('/') + 1) + "\"");
  };
  if (const int error = exchange(aside, name); error == ENOENT) {
    // Somebody removed what was there: ours, and not theirs.
    if (::renameat2(AT_FDCWD, aside.c_str(), AT_FDCWD, name.c_str(), RENAME_NOREPLACE) != 0) return kept();
    return {};
  } else if (error != 0) {
    return kept();
  }
  if (look_at(aside, ours) != Content::expected) return kept();
  ::unlink(aside.c_str());
  return {};
}

}  // namespace

Result<Replaced> replace_text(const std::string& path, std::string_view expected, std::string_view content) {
  const auto folder = HeldFolder::of(path);
  if (!folder) return tl::unexpected(folder.error());
  const auto& name = folder->file();
  struct stat info {};
  if (::lstat(name.c_str(), &info) != 0) {
    if (errno == ENOENT) return Replaced::changed;
    return cannot_write(path, reason(errno, Destination::fixed));
  }
  if (!S_ISREG(info.st_mode)) return cannot_write(path, "it is no regular file; move it away");
  if (is_write_protected(name, info.st_mode)) return Replaced::write_protected;
  const auto fresh = write_beside(path, name, content, {0666, info.st_mode & 07777, true, Owner{info.st_uid, info.st_gid}, Destination::fixed});
  if (!fresh) return tl::unexpected(fresh.error());
  // Most changes are seen here, and then nobody sees ours for a moment.
  if (const auto now = look_at(name, expected); now != Content::expected) return told(now);
  // Under its name another's text may lie from now on, which no end of the program may remove.
  const auto aside = (*fresh)->let_go();
  if (const int error = exchange(aside, name); error != 0) {
    Result<Replaced> end = Replaced::changed;
    if (error == EINVAL || error == ENOSYS) {
      if (std::rename(aside.c_str(), name.c_str()) == 0) return Replaced::yes;
      end = cannot_write(path, reason(errno, Destination::fixed));
    } else if (error != ENOENT) {
      end = cannot_write(path, reason(error, Destination::fixed));
    }
    ::unlink(aside.c_str());
    return end;
  }
  const auto came_out = look_at(aside, expected);
  if (came_out == Content::expected) {
    ::unlink(aside.c_str());
    return Replaced::yes;
  }
  if (const auto back = put_back(path, name, aside, content); !back) return tl::unexpected(back.error());
  return told(came_out);
}

Result<bool> write_new(const std::string& path, std::string_view content) {
  const auto folder = HeldFolder::of(path);
  if (!folder) return tl::unexpected(folder.error());
  const auto& name = folder->file();
  struct stat info {};
  if (::lstat(name.c_str(), &info) == 0) return false;
  const auto fresh = write_beside(path, name, content, {0666, std::nullopt, true});
  if (!fresh) return tl::unexpected(fresh.error());
  const int error = (*fresh)->put_where_nothing_is();
  if (error == EEXIST) return false;
  if (error != 0) return cannot_write(path, reason(error));
  return true;
}

}  // namespace sendworthy::base
