// A plan edited as a person would edit it: what is asked for changes, and every other byte stays as it was, comments too.
#pragma once

#include <sendworthy/result.h>

#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <variant>
#include <vector>

#include "song/plan.h"

namespace sendworthy::song {

/// A key of [song], [vocal], [backing], [dynamics], [low_end], [masking] or [quiet], by its names in the plan. With another song.mix,
/// what a starting plan's comments say was measured of the mix before is taken away, or said to have been measured on an earlier bounce.
struct SetKey {
  std::string key;  ///< "song.title", "vocal.above_band", "low_end.lowest", …; not "vocal.sections"
  /// A text, number, range or flag, as the key has it. Nothing: not stated, or what stands for a key that is left out.
  std::variant<std::monostate, std::string, double, bool, Range> to;
};

struct WantedSection {
  std::optional<std::size_t> was;  ///< which of Plan::sections it is; nothing: a new one
  std::string name;
  double start_s = 0;              ///< kept to a millisecond
  std::optional<double> end_s;     ///< nothing: it lasts until the next one, or to the song's end
  bool biggest = false, quietest = false;
  std::optional<std::optional<Range>> vocal_lu = {};  ///< nothing: as it is; nothing in it: as for the whole song
};

/// The whole list anew. Who is not in it is removed, with its range in [vocal] sections; one that a question asks of cannot go. A
/// new name goes to wherever the old one stood. What a starting plan's comments say was measured of sections is taken away, or said
/// to have been measured before, where the sections are others by now.
struct SetSections {
  std::vector<WantedSection> sections;
};

struct StemChange {
  std::string name;  ///< which it is
  std::optional<Role> role;                     ///< nothing: as it is
  std::optional<std::optional<int>> priority;   ///< nothing: as it is; nothing in it: not stated
};

/// Each named once; the others stay as they are.
struct SetStems {
  std::vector<StemChange> stems;
};

/// Of what is not given, everything stays as it is.
struct QuestionChange {
  std::optional<std::string> text;
  std::optional<std::string> section, stem;  ///< name; "": none
  std::optional<Heard> heard;
};

struct SetQuestion {
  std::string id;
  QuestionChange to;
};

/// At the end.
struct AddQuestion {
  std::string id;  ///< empty: one that is free
  QuestionChange question;
};

struct RemoveQuestion {
  std::string id;
};

using PlanEdit = std::variant<SetKey, SetSections, SetStems, SetQuestion, AddQuestion, RemoveQuestion>;

/// The plan's text with these edits, in order. What an edit does not change is the same to the byte: an edit to what is there
/// already changes nothing; a value that is taken away leaves its line as a comment where one explained it. The result is read
/// again and held against what was wanted. Sections are those of the plan as given. Errors: usage, for an edit of what is not
/// there; rules, where the plan cannot be read, could not be read afterwards, or is written in a way that this cannot change.
[[nodiscard]] Result<std::string> edit_plan(std::string_view toml, std::span<const PlanEdit> edits);

}  // namespace sendworthy::song
