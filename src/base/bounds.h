// Where a program reads and writes that does so for a page: decided of what is open, since a name may lead elsewhere a moment later.
#pragma once

#include <sendworthy/result.h>

#include <cstddef>
#include <string>
#include <string_view>
#include <vector>

namespace sendworthy::base {

/// As long as one is there, this whole process opens audio, lists folders, reads plans and orders, and writes what several may write
/// only within these folders, however links are turned round meanwhile: what was opened is asked where it lies. One at a time.
class Bounds {
 public:
  /// `folders`: absolute, without links.
  explicit Bounds(std::vector<std::string> folders);
  Bounds(const Bounds&) = delete;
  Bounds& operator=(const Bounds&) = delete;
  ~Bounds();
};

/// Whether an open file or folder lies within the bounds; true where there are none, false where the system does not tell.
[[nodiscard]] bool lies_in_bounds(int descriptor);

/// Why what does not cannot be read or written, and what to do.
inline constexpr std::string_view kOutOfBounds = "it lies outside of the opened folder by now, by a link on the way to it; open the folder above both";

/// As base::read_text, for what a plan, an order or a page names.
[[nodiscard]] Result<std::string> read_text_in_bounds(const std::string& path, std::size_t limit);

/// Whether a new file may be made where a path says, as far as that can be told beforehand. Errors: missing, for a folder that is
/// not there; output.
[[nodiscard]] Result<void> may_be_made(const std::string& path);

/// The folder of a file, held open within the bounds: no link that is turned round afterwards leads elsewhere.
class HeldFolder {
 public:
  /// `path`: of a file in it, which need not be there. Errors: output, for a folder that is not there or lies out of bounds.
  [[nodiscard]] static Result<HeldFolder> of(const std::string& path);
  HeldFolder(HeldFolder&& other) noexcept;
  HeldFolder& operator=(HeldFolder&&) = delete;
  HeldFolder(const HeldFolder&) = delete;
  HeldFolder& operator=(const HeldFolder&) = delete;
  ~HeldFolder();

  /// By which name to open the file as long as this is there; `path` itself without bounds.
  [[nodiscard]] const std::string& file() const { return file_; }

 private:
  HeldFolder(int descriptor, std::string file) : descriptor_(descriptor), file_(std::move(file)) {}
  int descriptor_;
  std::string file_;
};

}  // namespace sendworthy::base
