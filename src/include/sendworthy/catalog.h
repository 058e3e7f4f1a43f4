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

/// A parameter a rule may set on a measurement, such as `below_hz`.
struct Parameter {
  std::string_view name;
  std::string_view unit;
  double fallback;  ///< used when the rule says nothing
  double lowest;
  double highest;
  std::string_view what;
};

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
};

/// All entries, in the order of the contract.
struct Catalog {
  std::vector<const CatalogEntry*> entries;
  [[nodiscard]] const CatalogEntry* find(std::string_view id) const;
};

/// The catalog of this build. Lives as long as the program.
[[nodiscard]] const Catalog& catalog();

}  // namespace sendworthy
