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

#include "base/bounds.h"
#include "base/text.h"
#include "base/unfinished.h"

namespace sendworthy::base {
namespace {

std::string shown(const std::string& path) { return fmt::format("\"{}\"", for_terminal(path)); }

/// Half a line that another program writes right now looks like one that a crash left. Who cannot lock, or is kept waiting for a
/// second, goes on: at worst the mark of a loss then stands behind an empty line, and nothing is lost.
void wait_for_others(int fd) {
  constexpr int kTries = 1000;
  for (int i = 0; i < kTries && ::flock(fd, LOCK_EX | LOCK_NB) != 0 && (errno == EWOULDBLOCK || errno == EINTR); ++i)
    std::this_thread::sleep_for(std::chrono::milliseconds(1));
}

}  // namespace

namespace {

enum class Where { anywhere, in_bounds };

Result<std::string> read_text(const std::string& path, std::size_t limit, Where where) {
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
  if (where == Where::in_bounds && !lies_in_bounds(file.get()))
    return fail(ErrorCode::unreadable, "cannot read " + shown(path) + ": " + std::string(kOutOfBounds));
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

/// Beside what the path leads to.
Result<std::unique_ptr<Unfinished>> write_beside_target(const std::string& path, std::string_view content) {
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

Result<std::string> read_text(const std::string& path, std::size_t limit) { return read_text(path, limit, Where::anywhere); }

Result<std::string> read_text_in_bounds(const std::string& path, std::size_t limit) { return read_text(path, limit, Where::in_bounds); }

bool is_taken(const std::string& path) {
  struct ::stat state {};
  return ::lstat(path.c_str(), &state) == 0;
}

Result<void> may_be_made(const std::string& path) {
  const auto slash = path.rfind('/');
  const auto folder = slash == std::string::npos ? std::string(".") : path.substr(0, slash + 1);
  struct ::stat state {};
  if (::stat(folder.c_str(), &state) != 0 || !S_ISDIR(state.st_mode))
    return fail(ErrorCode::missing, "cannot write " + shown(path) + ": there is no such folder; make it, or name another place");
  if (::faccessat(AT_FDCWD, folder.c_str(), W_OK | X_OK, AT_EACCESS) != 0) return cannot_write(path, reason(errno));
  return {};
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
  const auto file = write_beside_target(path, content);
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
    auto file = write_beside_target(path, content);
    if (!file) return tl::unexpected(file.error());
    all.push_back(std::move(*file));
  }
  for (const auto& one : all) {
    if (auto placed = one->put_in_place(); !placed) return placed;
  }
  return {};
}

namespace {

/// Whether the file still has that name: whoever puts a new file in its place, as most editors do, lets go what was appended to the
/// old one since.
bool has_name(const struct stat& file, const std::string& path) {
  struct stat there {};
  return ::lstat(path.c_str(), &there) == 0 && there.st_dev == file.st_dev && there.st_ino == file.st_ino;
}

/// False where the lines went into a file that was replaced meanwhile.
Result<bool> append_once(const std::string& path, std::string_view lines, std::string_view after_unfinished, std::size_t limit) {
  const auto folder = HeldFolder::of(path);
  if (!folder) return tl::unexpected(folder.error());
  // Reading as well, for the end of its last line. Without O_NONBLOCK opening a pipe would wait for a reader for ever.
  Descriptor file(open_retrying(folder->file().c_str(), O_RDWR | O_APPEND | O_CREAT | O_NOFOLLOW | O_NONBLOCK | O_NOCTTY, 0666));
  if (file.get() < 0) {
    if (errno == ELOOP) return cannot_write(path, "it is a link; put the file itself in its place");
    if (errno == EISDIR) return cannot_write(path, "it is a folder; move it away");
    return cannot_write(path, errno == ENXIO ? "it is no regular file; move it away" : reason(errno, Destination::fixed));
  }
  struct stat info {};
  if (::fstat(file.get(), &info) != 0) return cannot_write(path, reason(errno, Destination::fixed));
  if (!S_ISREG(info.st_mode)) return cannot_write(path, "it is no regular file; move it away");
  wait_for_others(file.get());
  if (::fstat(file.get(), &info) != 0) return cannot_write(path, reason(errno, Destination::fixed));
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
  if (wrote < 0) return cannot_write(path, reason(errno, Destination::fixed));
  // The rest in a second write could stand behind what somebody else appends meanwhile.
  if (static_cast<std::size_t>(wrote) != text.size()) return cannot_write(path, "there was no room for the whole line; make room there");
  const bool kept = has_name(info, folder->file());
  if (file.close() != 0) return cannot_write(path, reason(errno, Destination::fixed));
  return kept;
}

}  // namespace

Result<void> append_lines(const std::string& path, std::string_view lines, std::string_view after_unfinished, std::size_t limit) {
  constexpr int kTries = 8;
  if (path.empty() || path.find('\0') != std::string::npos) return cannot_write(path, "that is no file name");
  for (int i = 0; i < kTries; ++i) {
    const auto kept = append_once(path, lines, after_unfinished, limit);
    if (!kept) return tl::unexpected(kept.error());
    if (*kept) return {};
  }
  return cannot_write(path, "another program puts a new file in its place again and again; close it there");
}

}  // namespace sendworthy::base
