// A mix that was measured against its plan, and what is asked of it: what the terminal and the page go through.
#pragma once

#include <sendworthy/listening.h>

#include <optional>
#include <string>
#include <vector>

#include "base/os.h"

namespace sendworthy::song {

struct ToListen {
  ListeningState state;  ///< as it was once the mix was measured
  Sheet measured;        ///< of check_plan
  std::optional<ListeningChange> change;
  std::string no_change;  ///< why the bounce before was not held against this one, though the plan names one; empty: it was, or none is named
  std::vector<Caution> cautions;             ///< of the mix
  std::string mix;                           ///< its path
  std::optional<base::FileState> mix_state;  ///< before it was measured

  /// Whether nobody has written to the mix since.
  [[nodiscard]] bool mix_is_the_same() const { return base::state_of(mix) == mix_state; }
  /// The state read anew, since somebody may have answered elsewhere. Errors: those of listening_state; usage, where the plan names
  /// another mix by now.
  [[nodiscard]] Result<ListeningState> state_now() const;
};

/// `measured`: by check_plan, without an error; `mix_state`: of the mix before that. Holds the bounce before it against the mix
/// where the plan names it. Errors: those of listening_state; of the mix, where it has no sheet or no sound; interrupted.
[[nodiscard]] Result<ToListen> to_listen(const std::string& plan_path, Sheet measured, const std::optional<base::FileState>& mix_state,
                                         const CheckOptions& options, const CheckHooks& hooks);

/// The pass to which the next answer belongs. `again`: a new one, although there is one on this mix.
[[nodiscard]] int pass_of_next_answer(const ListeningState& state, bool again);

}  // namespace sendworthy::song
