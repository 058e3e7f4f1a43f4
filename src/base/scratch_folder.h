// A folder of one's own for what lasts as long as the program: large files that came from elsewhere.
#pragma once

#include <sendworthy/result.h>

#include <cstdint>
#include <string>
#include <string_view>

namespace sendworthy::base {

/// Made in the system's folder for temporary files with rights for this user alone, and removed with all that lies in it when
/// this object goes. What a run that was killed left behind is removed by the next one.
class ScratchFolder {
 public:
  /// `purpose` becomes part of its name: letters and dashes. Error: output.
  [[nodiscard]] static Result<ScratchFolder> make(std::string_view purpose);
  ScratchFolder(ScratchFolder&& other) noexcept;
  ScratchFolder& operator=(ScratchFolder&& other) noexcept;
  ScratchFolder(const ScratchFolder&) = delete;
  ScratchFolder& operator=(const ScratchFolder&) = delete;
  ~ScratchFolder();

  /// Absolute, without a slash at its end.
  [[nodiscard]] const std::string& path() const { return path_; }
  /// Bytes that this user may still write there; 0 where that is not known.
  [[nodiscard]] std::int64_t free_bytes() const;
  /// Removes all that lies in it, and the folder.
  void clear() const;

 private:
  ScratchFolder(std::string path, int lock) : path_(std::move(path)), lock_(lock) {}
  std::string path_;
  int lock_ = -1;
};

/// A file that was not there before, written piece by piece. Not thread-safe; may move between threads.
class NewFile {
 public:
  /// Readable and writable by this user alone; neither a file nor a link may be there. Error: output.
  [[nodiscard]] static Result<NewFile> make(const std::string& path);
  NewFile(NewFile&& other) noexcept;
  NewFile& operator=(NewFile&& other) noexcept;
  NewFile(const NewFile&) = delete;
  NewFile& operator=(const NewFile&) = delete;
  ~NewFile();

  /// Error: output, such as a full disk; then what is there is not whole.
  [[nodiscard]] Result<void> write(std::string_view bytes);

 private:
  explicit NewFile(int descriptor) : descriptor_(descriptor) {}
  int descriptor_ = -1;
};

}  // namespace sendworthy::base
