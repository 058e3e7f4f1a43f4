// A file that several programs may write into: replaced only as long as it holds what its new text was made from.
#pragma once

#include <sendworthy/result.h>

#include <string>
#include <string_view>

namespace sendworthy::base {

enum class Replaced {
  yes,
  changed,          ///< it holds something else, or is gone: it stays as somebody left it
  being_written,    ///< another program has it open to write into it: it stays as it is
  write_protected,  ///< its rights keep this user, or everybody, from writing into it: it stays as it is
};

/// Puts `content` in the place of the regular file `path` if that holds `expected`; its rights, owner and group stay, or nothing is
/// written; links are not followed. What another program writes meanwhile, by a new file or into this one, is never lost: the two
/// files are exchanged at once, and what comes out is looked at where nobody else finds it, and goes back where it is not what was
/// expected. Only on a file system that cannot exchange files a gap of microseconds is left. Within the bounds (base/bounds.h), as
/// write_new. Error: output.
[[nodiscard]] Result<Replaced> replace_text(const std::string& path, std::string_view expected, std::string_view content);

/// A new file where nothing has the name, a link included; false where something has. Written as by write_then_rename. Error: output.
[[nodiscard]] Result<bool> write_new(const std::string& path, std::string_view content);

}  // namespace sendworthy::base
