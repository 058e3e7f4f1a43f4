// What the name of a file says, as pure functions of text: no file is touched.
#pragma once

#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace sendworthy::measure {

/// The last part of a path, with its ending.
[[nodiscard]] std::string_view file_name_of(std::string_view path);

/// The name without its ending. "Mix 5.1" has none: an ending is one to five letters and digits, one letter at least.
[[nodiscard]] std::string_view stem_of(std::string_view name);

/// Length as Windows counts it: UTF-16 units.
[[nodiscard]] int utf16_units(std::string_view text);

/// What some system refuses in a name, and what is merely odd.
struct NameTrouble {
  std::vector<std::string> refused, odd;
  std::string note;  ///< accents written as two characters, letters beyond ASCII
};
[[nodiscard]] NameTrouble name_trouble(std::string_view name);

/// The words of a name in lower case: letters and digits between other characters, parted where a capital follows a small
/// letter.
[[nodiscard]] std::vector<std::string> name_parts(std::string_view name);

/// Words that tell no version: "final", "copy", "(1)", "untitled", …, as they stand in the name.
[[nodiscard]] std::vector<std::string> vague_words(std::string_view name);

/// What a name promises about the file.
struct NameClaims {
  std::optional<double> rate_hz;
  std::optional<int> bits;
  bool floating = false;
  std::optional<int> channels;
  [[nodiscard]] bool any() const { return rate_hz || bits || floating || channels; }
};
/// `lossy`: "192k" is then a bit rate.
[[nodiscard]] NameClaims name_claims(std::string_view name, bool lossy);

/// Whether a title and a file's name have a word in common, be it shortened or as initials; nothing where one of them holds no
/// words of its own. `others`: artist, album and the like, whose words in the name tell of no title. A heuristic.
[[nodiscard]] std::optional<bool> title_fits_name(std::string_view title, std::string_view name, const std::vector<std::string>& others);

/// The track number a name begins with ("03 Song", "Track 3"); nothing where the number may be part of the title.
[[nodiscard]] std::optional<int> track_in_name(std::string_view name, std::string_view title);

/// The side a name ends in: 'L' or 'R' (".L", "_R", "-left", " right"); 0: none. `other` is the same name of the other side.
struct NameSide {
  char side = 0;
  std::string other;
};
[[nodiscard]] NameSide name_side(std::string_view name);

}  // namespace sendworthy::measure
