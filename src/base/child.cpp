#include "base/child.h"

#include <signal.h>
#include <sys/resource.h>
#include <sys/wait.h>
#include <unistd.h>
#ifdef __linux__
#include <sys/prctl.h>
#include <sys/syscall.h>
#endif

#include <algorithm>
#include <cerrno>

namespace sendworthy::base {
namespace {

// An exit would be taken for the program's own; and a library does not call it.
[[noreturn]] void give_up() {
  ::kill(::getpid(), SIGKILL);
  for (;;) ::pause();
}

void limit(decltype(RLIMIT_AS) what, rlim_t most) {
  const rlimit bound{most, most};
  ::setrlimit(what, &bound);
}

// Runs in the child between fork and exec: only calls that are safe there while other threads hold locks.
[[noreturn]] void become(const ChildStart& start, int most_descriptors, [[maybe_unused]] pid_t parent) {
  ::setpgid(0, 0);
#ifdef __linux__
  // The system means the thread that forked; a bounded child moves between threads.
  if (!start.bounds) ::prctl(PR_SET_PDEATHSIG, SIGKILL);
  if (::getppid() != parent) give_up();
#endif
  if (start.bounds) {
    limit(RLIMIT_AS, static_cast<rlim_t>(start.bounds->memory_bytes));
    limit(RLIMIT_CPU, static_cast<rlim_t>(start.bounds->processor_s));
    limit(RLIMIT_FSIZE, 0);  // pipes do not count
    limit(RLIMIT_CORE, 0);
  }
  struct sigaction plain {};
  plain.sa_handler = SIG_DFL;
  for (const int signal : {SIGINT, SIGTERM, SIGHUP, SIGPIPE, SIGALRM, SIGXFSZ, SIGCHLD}) ::sigaction(signal, &plain, nullptr);
  sigset_t none;
  ::sigemptyset(&none);
  ::sigprocmask(SIG_SETMASK, &none, nullptr);
  if (::dup2(start.input, 0) < 0 || ::dup2(start.output, 1) < 0 || ::dup2(start.errors, 2) < 0) give_up();
  bool closed = false;
#ifdef SYS_close_range
  closed = ::syscall(SYS_close_range, 3U, ~0U, 0U) == 0;
#endif
  for (int n = 3; !closed && n < most_descriptors; ++n) ::close(n);
  ::execve(start.program, start.arguments, start.environment);
  give_up();
}

}  // namespace

pid_t start_child(const ChildStart& start) {
  const auto most_descriptors = static_cast<int>(std::min<long>(::sysconf(_SC_OPEN_MAX), 1 << 16));
  const auto parent = ::getpid();
  const auto child = ::fork();
  if (child == 0) become(start, most_descriptors, parent);
  return child;
}

void end_child(pid_t child) {
  ::kill(-child, SIGKILL);
  ::kill(child, SIGKILL);
  while (::waitpid(child, nullptr, 0) < 0 && errno == EINTR) {
  }
}

}  // namespace sendworthy::base
