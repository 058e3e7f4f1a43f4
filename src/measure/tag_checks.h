// Codes and texts of tags, as pure functions.
#pragma once

#include <string>
#include <string_view>
#include <vector>

namespace sendworthy::measure {

/// A recording code without what is only for the eye: upper case, no hyphens, no blanks, no "ISRC" in front.
[[nodiscard]] std::string isrc_code(std::string_view text);
/// What is wrong with it by ISO 3901; empty: well formed. It has no check digit.
[[nodiscard]] std::string isrc_trouble(std::string_view text);
/// Well-formed recording codes within a file name.
[[nodiscard]] std::vector<std::string> isrcs_in_name(std::string_view name);

/// What is wrong with a GTIN (EAN, UPC) of 8, 12, 13 or 14 digits; empty: its check digit is right.
[[nodiscard]] std::string gtin_trouble(std::string_view text);
/// Its digits, filled up with zeros in front to 14: the same number in each of its lengths.
[[nodiscard]] std::string gtin_code(std::string_view text);

/// UTF-8 that was read as Latin letters and written as UTF-8 once more ("Ã©" for é), or a character lost for good (U+FFFD).
[[nodiscard]] bool garbled(std::string_view text);
[[nodiscard]] bool valid_utf8(std::string_view text);

/// Letters and digits of ASCII alone, in lower case: for asking whether two texts say the same.
[[nodiscard]] std::string folded(std::string_view text);

/// The first bytes of a text, no character cut in two.
[[nodiscard]] std::string shortened(std::string_view text, std::size_t most_bytes);

/// What in a text tells of somebody's computer or person: "a path", "an e-mail address", "a machine's name"; empty: nothing.
[[nodiscard]] std::string personal_trace(std::string_view text);

}  // namespace sendworthy::measure
