// Where a song stands, as JSON: what `listen --status -f json` prints, and what the page is told first.
#pragma once

#include <sendworthy/listening.h>

#include <string>

namespace sendworthy::song {

/// One object with a line end, as docs/contract.md tells it.
[[nodiscard]] std::string status_json(const ListeningState& state);

}  // namespace sendworthy::song
