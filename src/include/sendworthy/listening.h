// The listening pass: what is asked of a song by its plan, what was answered on which bounce, and what is still open. The answers
// are lines of a file beside the plan, which only ever grows.
#pragma once

#include <sendworthy/song.h>

#include <optional>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

namespace sendworthy {

enum class Answer { holds, tweak, skip };
[[nodiscard]] std::string_view to_string(Answer answer);  ///< "holds", "tweak", "skip"

/// Why a question does not hold on the present mix.
enum class Open {
  never_asked,
  skipped,
  tweak,             ///< something was to be changed, and it is still the same mix
  mix_changed,       ///< it was answered on another bounce
  question_changed,  ///< other words, or asked of another section or stem
  new_pass,          ///< it was answered in a pass before this one
};
[[nodiscard]] std::string_view to_string(Open open);  ///< "never asked", "skipped", "tweak", "mix changed since", …

struct ListeningAnswer {
  int pass = 0;
  std::string date, by;  ///< YYYY-MM-DD; initials
  std::string mix;       ///< path as the plan had it
  std::string audio;     ///< digest of the mix, "xxh128:…"
  Answer answer = Answer::skip;
  std::string note;      ///< any text; hostile
  std::optional<double> played_s;  ///< how long the place was played, where that is known
};

/// Where to listen, in seconds of the mix.
struct ListeningPlace {
  double start_s = 0;
  std::optional<double> end_s;  ///< nothing: to the song's end
  std::string what;             ///< "chorus 1", or what a finding says of it
};

struct ListeningQuestion {
  std::string id, text, heard;   ///< as in the plan
  std::string section, stem;     ///< their names; empty: the whole song
  std::string how;               ///< how to listen
  std::optional<Open> open;      ///< nothing: it holds
  std::optional<ListeningAnswer> last;  ///< on whatever mix
  std::vector<std::string> findings;    ///< ids of those that belong to it
  std::vector<ListeningPlace> places;   ///< its section, then the worst passages of its findings where they were measured
  std::vector<std::string> moved;       ///< what moved since the bounce of the last pass, in words; only where measured
  std::vector<std::string> numbers;     ///< of its section, and of the way it is heard, in words; only where measured
};

/// What moved in one section since the bounce of the last pass, or in what stands on no section.
struct ListeningMove {
  std::string section;             ///< its name; empty: the whole song
  std::vector<std::string> words;  ///< at least one
};

/// Where the song stands. Questions come in the order in which they are to be asked: first those whose numbers moved since the
/// bounce of the last pass, or whose section was edited, then those that were to be tweaked there, then the rest, each in the plan's order.
struct ListeningState {
  std::string plan, passes;  ///< paths
  std::string title, artist, feeling, approach, mix;
  std::string audio;         ///< digest of the present mix
  bool complete = false;     ///< every question holds on it, in one pass
  int pass = 0;              ///< the last one on this mix; 0: none
  int next_pass = 1;         ///< the number that a new one gets
  std::string date, by;      ///< of the last answer in that pass; before the first: of the last answer at all
  std::string before_audio;  ///< digest of the bounce that was last listened to before this one; empty: none
  int before_pass = 0;
  std::string remark;        ///< of a line that was cut off, in words
  std::vector<ListeningQuestion> questions;
  std::vector<ListeningMove> moves;  ///< by section, in the plan's order, then of the whole song; only where measured
  std::vector<std::string> unasked;  ///< findings outside of the plan, or moved, to which no question belongs, in words; only where measured
};

/// What a bounce is against the one before it.
struct ListeningChange {
  Pair pair;
  std::string summary;  ///< "The same but for dither: …"
};

/// Path of the passes file of a plan.
[[nodiscard]] std::string passes_path(const std::string& plan_path);

/// Digest of the plan's mix, by one decode. Errors: rules, for the plan; those of the mix; interrupted.
[[nodiscard]] Result<std::string> mix_digest(const std::string& plan_path, const CheckHooks& hooks = {});

/// `measured`: a sheet of check_plan on the present mix, for what moved; may be null, as may `change`. Errors: rules, for a plan
/// without questions and a wrong line in the passes file, with file and line; unreadable.
[[nodiscard]] Result<ListeningState> listening_state(const std::string& plan_path, const std::string& audio, const Sheet* measured = nullptr,
                                                     const ListeningChange* change = nullptr);

/// Holds the plan's `previous` against its mix. Nothing where the plan has none. Errors: that of the file; usage, where it is not the
/// bounce that was last listened to: then what it differs by says nothing about that pass; interrupted.
[[nodiscard]] Result<std::optional<ListeningChange>> listening_change(const std::string& plan_path, const ListeningState& state,
                                                                      const CheckOptions& options, const CheckHooks& hooks = {});

/// Puts an answer at the end of the passes file, whole or not at all: at once, so that nothing is lost with what comes after. The
/// first of a pass keeps the numbers of `measured` (may be null) beside it, against which the next bounce is held. `pass` of the
/// answer counts, and `mix` and `audio` are the state's. Errors: usage, for an answer that the file cannot hold: no initials, no date, a
/// tweak without a note; output.
[[nodiscard]] Result<void> record_answer(const ListeningState& state, const std::string& question, const ListeningAnswer& answer,
                                         const Sheet* measured = nullptr);

}  // namespace sendworthy
