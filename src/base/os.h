// The only place with system calls for input: regular files and folders. Nothing is ever opened for writing here.
#pragma once

#include <sendworthy/result.h>

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

namespace sendworthy::base {

/// What tells that a file was written to or replaced. Times are nanoseconds since 1970 by the clock of the file system.
struct FileState {
  std::uint64_t device = 0, number = 0;
  std::int64_t bytes = 0;
  std::int64_t written_ns = 0;  ///< when its bytes last changed
  std::int64_t changed_ns = 0;  ///< the same of its name, rights or bytes
  friend bool operator==(const FileState&, const FileState&) = default;
};

/// Of what `path` leads to; nothing when that is not there.
[[nodiscard]] std::optional<FileState> state_of(const std::string& path);

/// Whether a change from now on would show in the state: not within a minute of the last one, when the same times may be
/// written again.
[[nodiscard]] bool is_settled(const FileState& state);

/// A regular file, open for reading. Folders, devices, pipes and sockets are refused without waiting for them.
/// Not thread-safe; may move between threads.
class InputFile {
 public:
  /// Errors: missing, unreadable; the text names the file, the reason and the remedy.
  [[nodiscard]] static Result<InputFile> open(const std::string& path);
  InputFile(InputFile&& other) noexcept;
  InputFile& operator=(InputFile&& other) noexcept;
  InputFile(const InputFile&) = delete;
  InputFile& operator=(const InputFile&) = delete;
  ~InputFile();

  /// Bytes when it was opened.
  [[nodiscard]] std::int64_t size() const { return state_.bytes; }
  /// Its state when it was opened.
  [[nodiscard]] const FileState& state() const { return state_; }
  /// Reads up to `bytes` from `offset`. Fewer come back at the end of the file or when the system reports an error;
  /// then error() says so.
  [[nodiscard]] std::int64_t read_at(std::int64_t offset, void* to, std::int64_t bytes);
  /// The system's words for the last failed read; empty while all went well.
  [[nodiscard]] const std::string& error() const { return error_; }
  /// For a helper program that reads the same file; -1 when it was moved away.
  [[nodiscard]] int descriptor() const { return descriptor_; }

 private:
  explicit InputFile(int descriptor) : descriptor_(descriptor) {}
  int descriptor_ = -1;
  FileState state_;
  std::string error_;
};

/// What the system says of a file without its bytes being read. Times are nanoseconds of the system's clock, and only
/// ever compared for being the same.
struct FileStamp {
  std::int64_t size = 0, modified_ns = 0;
  std::int64_t changed_ns = 0;  ///< of name, rights and other attributes as well
  std::uint64_t inode = 0;
  [[nodiscard]] bool operator==(const FileStamp&) const = default;
};

/// Of a regular file; nothing where there is none of that name. A link is not followed.
[[nodiscard]] std::optional<FileStamp> stamp_of(const std::string& path);

/// Which folder a path leads to, links followed; the same as long as it is neither replaced nor unmounted.
struct FolderIdentity {
  std::uint64_t device = 0, inode = 0;
  [[nodiscard]] bool operator==(const FolderIdentity&) const = default;
};
[[nodiscard]] std::optional<FolderIdentity> folder_identity(const std::string& path);

struct FolderEntry {
  enum class Kind { file, folder, other };
  std::string name;  ///< any bytes, without the folder
  Kind kind = Kind::other;
  bool link = false;  ///< a symbolic link; `kind` and `stamp` are of what it points to
  FileStamp stamp;
};

/// What a folder holds, in no order, without "." and "..". Errors: missing, unreadable (no folder, no rights, more
/// than `limit` entries).
[[nodiscard]] Result<std::vector<FolderEntry>> list_folder(const std::string& path, std::size_t limit = 1'000'000);

}  // namespace sendworthy::base
