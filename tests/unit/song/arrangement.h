// A short song of packaged sounds, stem by stem, with its plan: what findings about a song are tried on.
#pragma once

#include <sendworthy/song.h>

#include <map>
#include <optional>
#include <string>
#include <vector>

#include "faults/sample.h"

namespace sendworthy::test {

/// 24 s: verse, chorus, verse 2, last chorus, 6 s each. In the verses everything is 6 dB softer, in the last chorus 1 dB louder.
class Arrangement {
 public:
  Arrangement();

  struct Stem {
    std::string name, role;
    int priority = 0;  ///< 0: none
    Clip clip;
  };
  [[nodiscard]] Clip& clip(const std::string& name);
  void drop(const std::string& name);
  /// A gain within seconds [from, to), of a stem or of all.
  void gain(const std::string& name, double db, double from_s = 0, double to_s = 24);
  void gain_all(double db, double from_s, double to_s);
  /// What the plan says beside song, sections and stems; by table.
  std::map<std::string, std::string> wishes;
  std::string feeling = "warm and close", approach = "voice in front, drums dry";
  std::optional<Clip> mix;  ///< in place of the stems' sum
  std::vector<Stem> stems;
  Wrapping wrapping;        ///< of the stems
  bool marked = true;       ///< the last chorus biggest, the first verse quietest

  /// Writes all into a folder of its own and holds it against the plan.
  [[nodiscard]] Sheet check(int jobs = 2);
  [[nodiscard]] std::string write(const std::string& folder);  ///< path of the plan
  [[nodiscard]] Clip sum() const;
};

/// The finding of this id; the first of several.
[[nodiscard]] const Finding& finding(const Sheet& sheet, const std::string& id);
/// What it says: its value, or why it was not measured.
[[nodiscard]] std::string words(const Sheet& sheet, const std::string& id);
/// An amount as remedies say it: "2.3 dB", up to the next tenth.
[[nodiscard]] std::string words_of_db(double amount);

}  // namespace sendworthy::test
