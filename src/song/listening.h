// What the passes file says of the present mix.
#pragma once

#include <sendworthy/listening.h>

#include <string>

#include "song/passes.h"
#include "song/plan.h"

namespace sendworthy::song {

/// Of all that makes a question this one: its text, how it is heard, its section and its stem. "xxh128:…"
[[nodiscard]] std::string digest_of(const Plan& plan, const Question& question);

/// The state of a plan that has questions. `measured` and `change` may be null.
[[nodiscard]] ListeningState state_of(const Plan& plan, const Passes& passes, const std::string& audio, const Sheet* measured, const ListeningChange* change);

/// listening-pass. `audio`: digest of the mix; empty: its sound could not be read.
[[nodiscard]] Finding listening_finding(const Plan& plan, const std::string& audio);

}  // namespace sendworthy::song
