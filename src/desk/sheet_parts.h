// A written page of many files, and one of its files as a page by itself.
#pragma once

#include <sendworthy/result.h>

#include <cstddef>
#include <string>
#include <string_view>

namespace sendworthy::desk {

/// Where in a page of render_html() the files lie, as text to be kept beside it.
[[nodiscard]] std::string places_of_parts(std::string_view html);

/// The page `html_path` with its part-th file alone, from 1. `places`: of that page. Errors: missing, where there is no such part;
/// unreadable.
[[nodiscard]] Result<std::string> page_of_part(const std::string& html_path, std::string_view places, std::size_t part);

}  // namespace sendworthy::desk
