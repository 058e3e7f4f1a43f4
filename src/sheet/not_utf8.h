// Where a text that was read back stops being UTF-8: more use to whoever fetched it than where its JSON ends.
#pragma once

#include <algorithm>
#include <cstddef>
#include <optional>
#include <string_view>

#include "base/text.h"

namespace sendworthy::sheet {

/// The first byte, counted from 1, that is no UTF-8.
[[nodiscard]] inline std::optional<std::size_t> byte_not_utf8(std::string_view text) {
  const auto clean = base::clean_utf8(text);
  if (clean == text) return std::nullopt;
  const auto at = std::mismatch(text.begin(), text.end(), clean.begin(), clean.end()).first;
  return static_cast<std::size_t>(at - text.begin()) + 1;
}

}  // namespace sendworthy::sheet
