// The listening pass as a talk in a terminal: a question, what belongs to it, and a key with Enter.
#pragma once

#include <sendworthy/listening.h>

#include <string>

#include "song/to_listen.h"

namespace sendworthy::cli {

struct Listening : song::ToListen {
  std::string by;      ///< empty: to be asked
  std::string date;    ///< YYYY-MM-DD
  bool again = false;  ///< a new pass although there is one on this mix
  bool fresh = false;  ///< ears are rested, and nobody has to ask
};

/// Asks what is open, keeps each answer at once, and returns the exit code: 0 once the pass is complete, else 1.
int talk(const Listening& listening);

/// "vocal-placement: tweak, "softer in chorus 2" (AB, 2026-01-31)" of each question that is open; a line each.
[[nodiscard]] std::string open_questions(const ListeningState& state);
/// "9 of 12 questions hold (pass 2, 2026-01-31, AB)"
[[nodiscard]] std::string standing(const ListeningState& state);

}  // namespace sendworthy::cli
