// Text from files, tags and users is hostile until it went through here: once, per output.
#pragma once

#include <cstdint>
#include <string>
#include <string_view>
#include <vector>

namespace sendworthy::base {

/// Valid UTF-8 in any case: each byte that is not part of a well-formed sequence becomes U+FFFD.
[[nodiscard]] std::string clean_utf8(std::string_view bytes);

/// One code point and the bytes it stands in; a byte that is part of no well-formed sequence comes by itself, not valid.
struct CodePoint {
  char32_t code = 0xFFFD;
  bool valid = false;
  std::string_view bytes;
};
[[nodiscard]] std::vector<CodePoint> code_points(std::string_view bytes);

/// Printable ASCII as it is, every other byte and % itself as %XX; and back. What is no %XX stays as it is.
[[nodiscard]] std::string percent_encoded(std::string_view bytes);
[[nodiscard]] std::string percent_decoded(std::string_view text);

/// One line for a terminal: clean_utf8, then control characters (C0, C1, DEL), line and paragraph separators, and
/// bidirectional controls become visible escapes such as \n or \u{202e}.
[[nodiscard]] std::string for_terminal(std::string_view bytes);

/// Text or attribute value of XML 1.0: escaped, and characters XML 1.0 forbids become U+FFFD.
[[nodiscard]] std::string for_xml(std::string_view bytes);

/// A CSV field (RFC 4180), quoted where needed; a leading = + - @ tab or CR of a text field is defused with an apostrophe.
[[nodiscard]] std::string for_csv(std::string_view bytes);

/// A TOML basic string on one line; signs that are not seen, or turn the order of those beside them, are escaped, and bytes
/// that are no UTF-8 become U+FFFD.
[[nodiscard]] std::string toml_text(std::string_view bytes);

/// Number with a fixed count of decimals, rounded half away from zero, never "-0.0".
[[nodiscard]] std::string fixed(double value, int decimals);

/// Shortest decimal that reads back as the same double.
[[nodiscard]] std::string shortest(double value);

/// 3.2 → "0:03.200", 3723.25 → "1:02:03.250".
[[nodiscard]] std::string clock_time(double seconds, int decimals = 3);

/// Columns a UTF-8 text takes on a terminal (combining marks 0, wide characters 2).
[[nodiscard]] int columns(std::string_view text);

/// Greedy word wrap at `width` columns.
[[nodiscard]] std::vector<std::string> wrap(std::string_view text, int width);

/// The candidate nearest to `word` by edit distance, or "" when none is near enough to be a slip of the hand.
[[nodiscard]] std::string_view nearest(std::string_view word, const std::vector<std::string_view>& candidates);

/// Shell-style match with * and ?, over the whole text, in linear space and O(n·m) time.
[[nodiscard]] bool matches_pattern(std::string_view pattern, std::string_view text);

}  // namespace sendworthy::base
