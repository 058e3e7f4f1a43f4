#include "cli/signals.h"

#include <signal.h>

#include "base/files.h"
#include "cli/process.h"
#include "cli/console.h"
#include "cli/exit_code.h"

namespace sendworthy::cli {
namespace {

/// A read that hangs (a dead network share) does not see the flag; after this long nobody waits for it any more.
constexpr unsigned kPatienceSeconds = 2;

std::atomic<bool> stop{false};
std::atomic<bool> gentle{false};
static_assert(std::atomic<bool>::is_always_lock_free, "written inside signal handlers");

void end_now() {
  erase_progress_from_signal();
  base::remove_unfinished_files();
  os::exit_now(kExitInterrupted);
}

extern "C" void on_signal(int) {
  const bool second = stop.exchange(true);
  if (second || !gentle) end_now();
  os::alarm_after(kPatienceSeconds);
}

extern "C" void on_alarm(int) { end_now(); }

}  // namespace

void catch_signals() {
  struct sigaction action {};
  ::sigemptyset(&action.sa_mask);
  action.sa_handler = on_signal;
  ::sigaction(SIGINT, &action, nullptr);
  // A limit on file sizes shall be an error of the write, not the end of the program.
  ::signal(SIGXFSZ, SIG_IGN);
  ::sigaction(SIGTERM, &action, nullptr);
  struct sigaction before {};
  // Whoever started this with nohup wants it to live on.
  if (::sigaction(SIGHUP, nullptr, &before) == 0 && before.sa_handler != SIG_IGN) {
    ::sigaction(SIGHUP, &action, nullptr);
  }
  action.sa_handler = on_alarm;
  ::sigaction(SIGALRM, &action, nullptr);
  action.sa_handler = SIG_IGN;
  ::sigaction(SIGPIPE, &action, nullptr);
}

const std::atomic<bool>& stop_flag() { return stop; }

StopsGently::StopsGently() { gentle = true; }
StopsGently::~StopsGently() { gentle = false; }

}  // namespace sendworthy::cli
