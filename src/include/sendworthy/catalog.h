// The catalog: what every number on a sheet is called, what it means, and how it is printed.
// Types only; the entries stand beside the code of the meters and are joined in measure/list.cpp.
#pragma once

#include <span>
#include <string>
#include <string_view>
#include <vector>

namespace sendworthy {

enum class Unit {
  text, list, boolean, count, lufs, lu, dbtp, dbfs, db, hz, seconds, samples, bits, percent, bytes, kbit_s, ratio,
};

/// The unit as it is printed and as it stands in JSON ("LUFS", "dBTP", "s"; "" for text, list, boolean, ratio).
[[nodiscard]] std::string_view to_string(Unit unit);

/// Which way is better, where that can be said at all.
enum class Better { neither, lower, higher };

enum class Group { format, level, stereo, edges, continuity, noise, lossy, exposure, names };

[[nodiscard]] std::string_view to_string(Group group);

/// A word that a parameter of words takes, with the numbers that may follow it: `vorbis`, 32 to 500.
struct Choice {
  std::string_view word;
  double lowest = 0;
  double highest = 0;
  std::span<const int> steps = {};  ///< not empty: only these
};

/// A parameter a rule may set on a measurement, such as `below_hz` (a number) or `codecs` (words with numbers).
struct Parameter {
  std::string_view name;
  std::string_view unit;
  double fallback = 0;  ///< used when the rule says nothing
  double lowest = 0;
  double highest = 0;
  std::string_view what;
  std::span<const Choice> choices = {};   ///< not empty: a list of these, each with its number, as in "vorbis 160"
  std::string_view fallback_words = {};   ///< of such a list, as in the key of a measurement: joined by +
};

/// What a parameter takes, in words: "40 to 500 Hz"; "vorbis 32 to 500, opus 6 to 510 kbit/s".
[[nodiscard]] std::string accepted_by(const Parameter& parameter);
/// Its fallback as a rule would write it: "120 Hz"; "[\"vorbis 160\"]".
[[nodiscard]] std::string fallback_in_words(const Parameter& parameter);

/// One measurement. `id` is stable for ever. Texts are plain English without markup.
struct CatalogEntry {
  std::string_view id;
  std::string_view title;
  Group group = Group::format;
  Unit unit = Unit::text;
  int decimals = 0;  ///< in text, in JSON, everywhere
  Better better = Better::neither;
  std::string_view what;    ///< what the number says, for a mix engineer
  std::string_view how;     ///< the definition, exact enough to compute it again
  std::string_view source;  ///< standard, edition and clause; or "common practice, no source"; or "definition"
  std::string_view caveat;  ///< what it cannot know, and its accuracy
  std::string_view act;     ///< what a mixer can do about it
  bool available = true;    ///< false: named in the contract, not measured by this version yet
  std::span<const Parameter> parameters = {};
  bool on_request = false;  ///< costs too much to be made unasked: made where a rule judges it, and nowhere else
};

/// All entries, in the order of the contract.
struct Catalog {
  std::vector<const CatalogEntry*> entries;
  [[nodiscard]] const CatalogEntry* find(std::string_view id) const;
};

/// The catalog of this build. Lives as long as the program.
[[nodiscard]] const Catalog& catalog();

}  // namespace sendworthy
