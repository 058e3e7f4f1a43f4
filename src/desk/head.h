// The head of a request before any library reads it.
#pragma once

#include <string>
#include <string_view>

namespace sendworthy::desk {

/// Under which name the Range header goes on: the library would refuse what it cannot read, and we answer with the whole.
inline constexpr const char* kRangeHeader = "Asked-Range";
/// There where a line of the head went on in the next one (RFC 9112, 5.2): such a head is to be refused.
inline constexpr const char* kFoldedHeader = "Folded-Line";

/// `came`: a head with its empty line, and perhaps more, which stays. Lines that go on an earlier one are left out, with a mark.
[[nodiscard]] std::string with_plain_head(std::string_view came);

}  // namespace sendworthy::desk
