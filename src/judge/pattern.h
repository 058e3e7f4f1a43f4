// Regular expressions for `matches`: a small, common subset that is matched in time proportional to text × pattern.
// Backtracking engines take exponential time on hostile patterns, and a rule set is a file from somebody else.
#pragma once

#include <sendworthy/result.h>

#include <memory>
#include <string>
#include <string_view>

namespace sendworthy::judge {

/// Syntax: literals, `.`, `[a-z]`, `[^…]`, `\d \w \s` and their capitals, `( )`, `(?: )`, `|`, `* + ? {m} {m,} {m,n}`,
/// `^`, `$`, `\` before a sign, `(?i)` at the start to ignore ASCII case. A character is a Unicode code point.
/// A match anywhere in the text counts; ^ at the start and $ at the end tie it to the text's ends.
class Pattern {
 public:
  /// At most 500 characters, and 4000 states after {m,n} has been written out. The error's text says what is wrong.
  [[nodiscard]] static Result<Pattern> compile(std::string_view expression);
  /// Text beyond 65536 bytes is not looked at: it does not match.
  [[nodiscard]] bool matches(std::string_view text) const;

 private:
  struct Program;
  std::shared_ptr<const Program> program_;
};

}  // namespace sendworthy::judge
