// A starting plan: what was found and measured, written down for a person to correct. What only a person can know stays empty.
#pragma once

#include <map>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "song/plan.h"

namespace sendworthy::song {

/// What a starting plan is made from. Texts may be any bytes; each guess is written as a comment, and as nothing else.
struct PlanDraft {
  struct Section {
    double start_s = 0, end_s = 0;
    std::string name;    ///< of a cue marker; empty: "section 1", "section 2", …
    std::string letter;  ///< sections that sound alike share one: "A"
    std::string guess;   ///< what was measured there: "-9.8 LUFS"
    bool loudest = false, softest = false;
  };
  struct Stem {
    std::string file;          ///< path from the plan's folder
    std::optional<Role> role;  ///< as guessed; nothing: its name tells none
    std::optional<int> priority;  ///< as guessed by role
    std::string guess;
  };
  /// What was measured for a key: the limit to take, as it stands in TOML, and what it rests on. The mix keeps that limit.
  struct Guess {
    std::string value;     ///< "[1.1, 3.9]"; empty: the customary one stands there
    std::string measured;  ///< "measured: 1.6 to 3.4 LU, with 0.5 LU of room"
  };
  std::string title, artist;
  std::string mix;  ///< path from the plan's folder
  std::vector<Section> sections;
  std::vector<Stem> stems;
  std::vector<std::string> below;  ///< audio files in folders within that of the stems, which are none as they lie; paths from the plan's folder
  bool without_vocals = false;  ///< the stems are all of the mix, and none is a vocal: nothing is asked of vocals
  bool without_backing = false, without_drums = false;  ///< likewise of backing vocals alone, and of drums and percussion
  /// By "vocal.above_band", for the keys of [vocal], [backing], [dynamics], [low_end], [masking] and [quiet].
  std::map<std::string, Guess, std::less<>> guesses;
};

/// A commented plan that parse_plan reads, with the standard questions. Sections are put in order and cut where they overlap; stems
/// whose names cannot stand in TOML, or that are there twice, become a comment.
[[nodiscard]] std::string starting_plan(const PlanDraft& draft);

/// What a stem plays, by the words of its file's name as people name stems: "LdVox", "BGV 2", "Kick In", "OH", "808". A heuristic.
[[nodiscard]] std::optional<Role> guess_role(std::string_view file_name);
/// The same of a whole set. What all names of four stems or more begin with is the song's title, and tells of no part.
[[nodiscard]] std::vector<std::optional<Role>> guess_roles(const std::vector<std::string>& file_names);

/// What matters most, by role alone: 1 for the lead vocal, and so on without a gap. A heuristic, for a person to put right.
[[nodiscard]] std::vector<int> guess_priorities(const std::vector<std::optional<Role>>& stem_roles);

/// What is asked of every song, in the order of the trade.
struct StandardQuestion {
  std::string_view id, text;
  Heard heard;
  std::string_view without_vocals;  ///< its text for a song without vocals; empty: it is not asked there
};
[[nodiscard]] std::span<const StandardQuestion> standard_questions();

}  // namespace sendworthy::song
