// The page's own files, compiled in from src/desk/page/.
#pragma once

#include <span>
#include <string_view>

namespace sendworthy::desk {

struct PageFile {
  std::string_view name, content;
};
[[nodiscard]] std::span<const PageFile> page_files();

/// By the ending of a name.
[[nodiscard]] std::string_view mime_of(std::string_view name);

}  // namespace sendworthy::desk
