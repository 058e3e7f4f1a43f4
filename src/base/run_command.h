// A command of the user's own, run by the shell.
#pragma once

#include <sendworthy/result.h>

#include <atomic>
#include <string>
#include <utility>
#include <vector>

namespace sendworthy::base {

/// Runs `command` by /bin/sh with `argument` as its $1, and `variables` (name, value) added to the environment. Neither
/// becomes part of the command's text, so nothing in them is read by the shell. Standard input is empty; what it prints goes
/// to standard error. Returns its exit code. Errors: unreadable, when it could not be started, crashed, or was not done after
/// `limit_s` and was ended with its process group, which what it started may have left; interrupted (`stop` was set; may be null).
/// The calling thread waits; what the command leaves running in the background lives on.
[[nodiscard]] Result<int> run_command(const std::string& command, const std::string& argument,
                                      const std::vector<std::pair<std::string, std::string>>& variables, double limit_s,
                                      const std::atomic<bool>* stop = nullptr);

}  // namespace sendworthy::base
