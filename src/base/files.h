// Small files in, whole files out. Audio is not read here.
#pragma once

#include <cstddef>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include <sendworthy/result.h>

namespace sendworthy::base {

/// A text file of at most `limit` bytes. Folders, devices and pipes are refused with a clear error.
[[nodiscard]] Result<std::string> read_text(const std::string& path, std::size_t limit = 4u << 20);

/// Whether anything has this name, a link that leads nowhere included.
[[nodiscard]] bool is_taken(const std::string& path);

/// Writes to a temporary file in the target's folder, syncs, renames. Nothing is left behind on failure.
[[nodiscard]] Result<void> write_then_rename(const std::string& path, std::string_view content);

/// The same for a file that nobody misses when it is lost: rights for this user alone, not synced, and renamed over whatever has
/// that name, a link itself included.
[[nodiscard]] Result<void> write_private(const std::string& path, std::string_view content);

/// How the names of those temporary files begin and end.
inline constexpr std::string_view kTemporaryStart = ".sendworthy-", kTemporaryEnd = ".tmp";

/// Several files that belong together, at most 8: all are written to temporary files before the first is renamed, in the order
/// given. Nothing is renamed, and nothing left behind, when one cannot be written. Error: output.
[[nodiscard]] Result<void> write_all_then_rename(const std::vector<std::pair<std::string, std::string>>& paths_and_contents);

/// Appends whole lines, each with its end, to a regular file in one write, so that two programs may append at once; makes the file
/// where it is not there. Where its last line has no end, as after a crash, `after_unfinished` is written in front: it begins with
/// a line end and ends with one. Not synced. Links, and what is no regular file, are refused, and so is what would make the file
/// larger than `limit`. Error: output.
[[nodiscard]] Result<void> append_lines(const std::string& path, std::string_view lines, std::string_view after_unfinished, std::size_t limit);

/// Removes every temporary file that the functions above have open right now. Async-signal-safe.
void remove_unfinished_files() noexcept;

}  // namespace sendworthy::base
