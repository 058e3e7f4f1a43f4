// One spelling for texts that look the same: Unicode normal forms and case folding, by utf8proc.
#pragma once

#include <string>
#include <string_view>

namespace sendworthy::base {

/// Normal form C: é as one character, however it was typed. Bytes that are no UTF-8 are left as they are.
[[nodiscard]] std::string composed(std::string_view text);

/// Composed, and without the difference of capital and small letters: equal for two names that one disk keeps apart and
/// another does not.
[[nodiscard]] std::string case_folded(std::string_view text);

}  // namespace sendworthy::base
