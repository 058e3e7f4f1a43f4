#include "base/run_command.h"

#include <fcntl.h>
#include <signal.h>
#include <sys/wait.h>
#include <unistd.h>

#include <algorithm>
#include <cerrno>
#include <chrono>
#include <string_view>
#include <system_error>

#include "base/child.h"
#include "base/folder_events.h"
#include "base/text.h"

extern char** environ;

namespace sendworthy::base {
namespace {

using Clock = std::chrono::steady_clock;

// This process's environment with the variables put in or replaced, as "NAME=value".
std::vector<std::string> environment_with(const std::vector<std::pair<std::string, std::string>>& variables) {
  std::vector<std::string> list;
  for (const auto& [name, value] : variables) list.push_back(name + "=" + value);
  for (char** entry = environ; entry != nullptr && *entry != nullptr; ++entry) {
    const std::string_view text(*entry);
    const auto replaced = std::any_of(variables.begin(), variables.end(), [&](const auto& variable) {
      return text.starts_with(variable.first) && text.substr(variable.first.size()).starts_with('=');
    });
    if (!replaced) list.emplace_back(text);
  }
  return list;
}

std::vector<char*> pointers(std::vector<std::string>& texts) {
  std::vector<char*> list;
  for (auto& text : texts) list.push_back(text.data());
  list.push_back(nullptr);
  return list;
}

}  // namespace

Result<int> run_command(const std::string& command, const std::string& argument,
                        const std::vector<std::pair<std::string, std::string>>& variables, double limit_s,
                        const std::atomic<bool>* stop) {
  const auto no_start = [] { return fail(ErrorCode::unreadable, "could not be started: " + std::generic_category().message(errno)); };
  const int opened = ::open("/dev/null", O_RDONLY | O_CLOEXEC);
  if (opened < 0) return no_start();
  const int nothing = ::fcntl(opened, F_DUPFD_CLOEXEC, 3);
  ::close(opened);
  if (nothing < 0) return no_start();
  std::vector<std::string> words{"sh", "-c", command, "sh", argument};
  auto additions = environment_with(variables);
  const auto arguments = pointers(words);
  const auto environment = pointers(additions);
  const auto begun = Clock::now();
  const auto child = start_child({"/bin/sh", arguments.data(), environment.data(), nothing, STDERR_FILENO, STDERR_FILENO});
  if (child < 0) {
    const auto error = no_start();
    ::close(nothing);
    return error;
  }
  ::close(nothing);
  for (double pause_s = 0.001;; pause_s = std::min(2 * pause_s, 0.1)) {
    int status = 0;
    const auto ended = ::waitpid(child, &status, WNOHANG);
    if (ended == child) {
      if (WIFEXITED(status)) return WEXITSTATUS(status);
      return fail(ErrorCode::unreadable, "crashed or was killed (signal " + std::to_string(WTERMSIG(status)) + ")");
    }
    if (ended < 0 && errno != EINTR) return fail(ErrorCode::unreadable, "ended, and how is not known");
    const bool stopped = stop != nullptr && stop->load(std::memory_order_relaxed);
    const bool late = std::chrono::duration<double>(Clock::now() - begun).count() > limit_s;
    if (stopped || late) {
      end_child(child);
      if (stopped) return fail(ErrorCode::interrupted, "was ended, because this program was");
      return fail(ErrorCode::unreadable, "was not done after " + shortest(limit_s) + " s and was ended with all that had stayed in its process group; end by hand what left that, as setsid does");
    }
    pause_for(pause_s);
  }
}

}  // namespace sendworthy::base
