// The passes file: one JSON object a line, only ever appended to. Anybody may have written it: bounded, and every wrong line is
// an error with its place, since an answer that cannot be read must not count as one that holds.
#pragma once

#include <sendworthy/listening.h>

#include <cstddef>
#include <map>
#include <string>
#include <string_view>
#include <vector>

namespace sendworthy::song {

inline constexpr std::size_t kMostPassesBytes = 4u << 20, kMostPassesLines = 20'000, kLongestPassesLine = 256u << 10;
inline constexpr std::size_t kLongestNote = 1000, kLongestInitials = 40;  ///< characters
inline constexpr int kMostPasses = 1'000'000;

/// Numbers of one finding, by what they are of: the name of a section, a stem, a pair.
struct Noted {
  std::string status;  ///< "pass", "fail", …
  std::map<std::string, double, std::less<>> numbers;
};
/// By id of the finding.
using Snapshot = std::map<std::string, Noted, std::less<>>;

/// A line. `question` empty: the beginning of a pass, with what was measured then.
struct PassLine {
  ListeningAnswer answer;       ///< pass, date, by, mix, audio; of an answer all of it
  std::string question;         ///< id
  std::string question_digest;  ///< digest_of
  Snapshot measured;
};

struct Passes {
  std::vector<PassLine> lines;
  int lost = 0;            ///< lines that were cut off by a crash: they say so themselves, or the file ends in one
  bool unfinished = false; ///< the file ends in one
};

/// Errors: rules, with file and line.
[[nodiscard]] Result<Passes> parse_passes(std::string_view text, const std::string& path);
/// No file is no line. Errors: as parse_passes; unreadable.
[[nodiscard]] Result<Passes> read_passes(const std::string& path);

/// With its line end. What it writes, parse_passes reads.
[[nodiscard]] std::string written(const PassLine& line);
/// Appends lines as `written`. Errors: output.
[[nodiscard]] Result<void> append_passes(const std::string& path, const std::string& lines);

/// "" where a line can hold it, else what is wrong with it.
[[nodiscard]] std::string fault_of(const PassLine& line);

}  // namespace sendworthy::song
