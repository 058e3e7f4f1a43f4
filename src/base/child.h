// Starting and ending another program: what helpers and commands of the user share.
#pragma once

#include <sys/types.h>

#include <cstdint>
#include <optional>

namespace sendworthy::base {

/// What a child may use at most.
struct ChildBounds {
  std::int64_t memory_bytes = 0;  ///< of address space
  std::int64_t processor_s = 0;
};

/// All of it is made before the fork: afterwards another thread's lock may stay held for ever.
struct ChildStart {
  const char* program;       ///< an absolute path
  char* const* arguments;    ///< the program's name first, a null pointer last
  char* const* environment;  ///< a null pointer last
  int input, output, errors; ///< become 0, 1 and 2; each at least 3, or already in its place
  /// Of one that reads what a stranger made and may outlive the thread that started it: it is bounded, writes no file, and ends by its
  /// closed pipe instead of with its parent.
  std::optional<ChildBounds> bounds = {};
};

/// The process, or -1 with errno. It has no other open file, no signal held or ignored, a process group of its own, and, without
/// bounds, is killed when this process ends. One that cannot become the program ends by SIGKILL.
[[nodiscard]] pid_t start_child(const ChildStart& start);

/// Kills it and its process group, and waits for its end.
void end_child(pid_t child);

}  // namespace sendworthy::base
