// The opened folder: what lies in it, and nothing outside of it.
#pragma once

#include <sendworthy/result.h>

#include <cstdint>
#include <string>
#include <string_view>
#include <vector>

namespace sendworthy::desk {

class Folder {
 public:
  /// `given`: as the user wrote it; what is checked is shown by it. Errors: missing, unreadable.
  [[nodiscard]] static Result<Folder> open(const std::string& given);

  /// The folder's own name, and where it lies; any bytes.
  [[nodiscard]] const std::string& name() const { return name_; }
  [[nodiscard]] const std::string& real_path() const { return real_; }

  /// The path of what the page calls `relative` (empty: the folder itself), as somebody would have to write it who calls the program
  /// from where it runs. It need not exist. Errors: usage, for a path that is none of ours: absolute, with an empty segment, ".",
  /// "..", a backslash or NUL; unreadable, where links lead out of the folder.
  [[nodiscard]] Result<std::string> path_of(std::string_view relative) const;

  /// The same without any link on the way, for what is written: a link that is turned round meanwhile does not lead elsewhere.
  [[nodiscard]] Result<std::string> real_path_of(std::string_view relative) const;

  /// Whether a path, as path_of() writes it, leads to what lies in the folder.
  [[nodiscard]] bool may_read(const std::string& path) const { return holds(path); }

  struct Entry {
    std::string name, path;  ///< the path relative to the opened folder; any bytes
    std::int64_t bytes = 0, modified_ns = 0;
    bool operator==(const Entry&) const = default;
  };
  struct Listing {
    std::vector<Entry> folders, files;  ///< sorted by the bytes of their names, at most kMost each
    std::vector<Entry> documents;       ///< likewise: TOML files, of which some are plans and orders
    std::size_t left_off = 0;
    bool operator==(const Listing&) const = default;
  };
  static constexpr std::size_t kMost = 2000;

  /// The folders, the audio files and the TOML files in one of its folders; links that lead out, and hidden folders and TOML files,
  /// are left away. Errors: as path_of; missing, unreadable.
  [[nodiscard]] Result<Listing> list(std::string_view relative) const;

 private:
  [[nodiscard]] bool holds(const std::string& path) const;
  [[nodiscard]] bool is_below(const std::string& real) const;

  std::string given_, real_, name_;
};

}  // namespace sendworthy::desk
