// What a starting plan says was measured or guessed: comments, for a person to take over or to leave.
#pragma once

#include <map>
#include <optional>
#include <string>
#include <string_view>
#include <variant>

#include "song/plan.h"

namespace sendworthy::base {
class TomlText;
}

namespace sendworthy::song {

struct PlanNotes {
  struct OfKey {
    std::string words;  ///< "measured: 1.6 to 3.4 LU, with 0.5 LU of room"
    std::variant<std::monostate, double, Range, std::string> value;  ///< what waits behind a # to be taken over
  };
  struct OfSection {
    std::string measured;  ///< "-9.8 LUFS, fades out"
    bool biggest = false, quietest = false;  ///< guessed
  };
  struct OfStem {
    std::string measured;         ///< "-18.3 LUFS, plays for 60 s"
    std::optional<int> priority;  ///< guessed
  };
  std::map<std::string, OfKey, std::less<>> keys;  ///< by "vocal.above_band"
  std::map<std::string, OfSection, std::less<>> sections;
  std::map<std::string, OfStem, std::less<>> stems;
};

/// Of a text that parse_plan reads, as starting_plan writes its comments; whatever else stands behind a # is no note. Texts are any bytes.
[[nodiscard]] PlanNotes plan_notes(std::string_view toml);

/// What a note says of a measurement, with the word before it; "" where it says of none.
[[nodiscard]] std::string_view measured_in(std::string_view comment);
/// Of a section's or a stem's loudness.
[[nodiscard]] bool is_loudness(std::string_view comment);
/// "# biggest = true   # a guess: it is the loudest", or the same of "quietest".
[[nodiscard]] bool is_guess_of(std::string_view comment, std::string_view key);

/// The comment after the sections are others than those that were measured.
[[nodiscard]] std::string measured_before(std::string_view comment);

/// After the mix is another one than was measured: the sections' loudness and the guesses that stand on it go, and every other note says
/// that it was measured on an earlier bounce. Of the stems' files nothing changes.
void age_notes_of_mix(base::TomlText& text);

}  // namespace sendworthy::song
