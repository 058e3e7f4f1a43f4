// Files that are written whole beside their place before they are put there. For what writes files, in this folder only.
#pragma once

#include <sendworthy/result.h>
#include <sys/stat.h>

#include <memory>
#include <optional>
#include <string>
#include <string_view>
#include <utility>

namespace sendworthy::base {

/// One that is closed with this object.
class Descriptor {
 public:
  explicit Descriptor(int fd) : fd_(fd) {}
  Descriptor(const Descriptor&) = delete;
  Descriptor& operator=(const Descriptor&) = delete;
  ~Descriptor() { close(); }
  [[nodiscard]] int get() const { return fd_; }
  int close() {  // errors at the end of a write only show here
    const int fd = std::exchange(fd_, -1);
    return fd < 0 ? 0 : close_descriptor(fd);
  }

 private:
  static int close_descriptor(int fd);
  int fd_;
};

/// open(2) until no signal comes between, closed where another program begins.
[[nodiscard]] int open_retrying(const char* path, int flags, mode_t mode = 0);
/// 0, or errno.
[[nodiscard]] int write_all(int fd, std::string_view content);
/// Whether whoever has something written says where to, or it belongs beside something else.
enum class Destination { chosen, fixed };
/// The system's words, and what to do about it.
[[nodiscard]] std::string reason(int error, Destination destination = Destination::chosen);
/// "cannot write …: …", of the kind output.
[[nodiscard]] tl::unexpected<Error> cannot_write(const std::string& path, const std::string& why);

struct Owner {
  uid_t user;
  gid_t group;
};

/// How a file is made.
struct Making {
  mode_t rights = 0666;
  std::optional<mode_t> exact_rights;  ///< of the file that will be replaced, where there is one
  bool synced = true;
  std::optional<Owner> exact_owner = {};  ///< of the same
  Destination destination = Destination::chosen;
};

/// A whole temporary file beside its target, under a name that a signal handler can remove. Gone with this object unless it was
/// put in place or let go.
class Unfinished {
 public:
  Unfinished(std::string path, std::string target, const std::string& temporary);
  Unfinished(const Unfinished&) = delete;
  Unfinished& operator=(const Unfinished&) = delete;
  ~Unfinished();

  /// Whether a name is short enough for the signal handler.
  [[nodiscard]] static bool fits(const std::string& temporary);
  /// 0, or errno. EEXIST: the name is taken.
  [[nodiscard]] int write(std::string_view content, const Making& making);
  /// Whether write() failed since it could not be given to whom it has to belong.
  [[nodiscard]] bool not_given() const { return not_given_; }
  [[nodiscard]] Result<void> put_in_place();
  /// The same where nothing has the name: 0, or errno.
  [[nodiscard]] int put_where_nothing_is();
  /// From now on whoever asked has to remove it: what has its name may be another's.
  [[nodiscard]] std::string let_go();

 private:
  class Registered;
  std::string path_, target_, temporary_;
  std::unique_ptr<Registered> registered_;  // before the file exists, so that no signal falls between
  bool there_ = false, not_given_ = false;
};

/// Writes a new file beside `target`. `path` is how the user knows it.
[[nodiscard]] Result<std::unique_ptr<Unfinished>> write_beside(const std::string& path, const std::string& target, std::string_view content, const Making& making);

}  // namespace sendworthy::base
