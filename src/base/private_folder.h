// A folder of small files of one's own that may be missing, damaged or taken away at any time.
#pragma once

#include <cstddef>
#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace sendworthy::base {

/// Belongs to this user, and nobody else may write to it. Nothing here reports errors: what does not work is not there. Safe to
/// use from several threads and by several programs at once.
class PrivateFolder {
 public:
  /// Makes the folder, and those above it, with rights for this user alone. Nothing where that cannot be, where it is a link, or
  /// where it belongs to somebody else or may be written to by others.
  [[nodiscard]] static std::optional<PrivateFolder> open(const std::string& path);

  /// A whole file, which then counts as just used. Nothing when it is not there. What is no regular file of this user's, or
  /// larger than `limit`, or cannot be opened, is removed and not read. `name` is without slashes, here and below.
  [[nodiscard]] std::optional<std::string> read(const std::string& name, std::size_t limit) const;
  /// Whole or not at all. False when it could not be written.
  bool write(const std::string& name, std::string_view content) const;
  /// Removes a file or a link.
  void remove(const std::string& name) const;

  struct Item {
    std::string name;
    std::int64_t bytes = 0;
    std::int64_t used_ns = 0;  ///< since 1970
  };
  /// The regular files, in no order. Removes what a run that was killed left half written an hour ago or earlier.
  [[nodiscard]] std::vector<Item> items() const;

 private:
  explicit PrivateFolder(std::string path) : path_(std::move(path)) {}
  [[nodiscard]] std::string path_of(std::string_view name) const { return path_ + "/" + std::string(name); }
  std::string path_;
};

}  // namespace sendworthy::base
