// Ctrl-C and friends: the first one asks the work to stop, the second ends the program at once. Both exit with 130 and
// leave no half-written file.
#pragma once

#include <atomic>

namespace sendworthy::cli {

/// Catches SIGINT, SIGTERM and SIGHUP, and ignores SIGPIPE: a reader that leaves shows as a failed write instead.
void catch_signals();

/// Set by the first signal.
[[nodiscard]] const std::atomic<bool>& stop_flag();
[[nodiscard]] inline bool stopped() { return stop_flag().load(std::memory_order_relaxed); }

/// While one of these lives somebody looks at the stop flag; otherwise the first signal ends the program at once.
class StopsGently {
 public:
  StopsGently();
  StopsGently(const StopsGently&) = delete;
  StopsGently& operator=(const StopsGently&) = delete;
  ~StopsGently();
};

}  // namespace sendworthy::cli
