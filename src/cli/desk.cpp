// sendworthy desk: the local page.
#include <sendworthy/check.h>

#include <cstdlib>

#include "base/helper.h"
#include "base/run_command.h"
#include "cli/command.h"
#include "cli/options.h"
#include "cli/signals.h"
#include "desk/server.h"

namespace sendworthy::cli {
namespace {

const Manual& manual() {
  static const Manual kManual{
      "desk",
      "desk [options] [DIR]",
      "Opens a page in the browser that checks files: pick them in DIR (default: this folder) or drop them on it, choose the "
      "rules, watch, read the sheet, save it. It compares bounces, too, makes and checks song plans and orders, and asks what a plan asks. "
      "Prints the page's address. Sound files are only ever read. Ctrl-C ends it.",
      {
          {"sendworthy desk", "the files in this folder, and whatever is dropped on the page"},
          {"sendworthy desk ~/Music/bounces", "another folder"},
          {"sendworthy desk --no-open --port 8080", "only print the address, always at this port"},
      },
      {
          "The page is served on 127.0.0.1 only, to whoever has the address with its random token: keep it to yourself. It never asks "
          "another machine for anything. It reads nothing outside of DIR but what is dropped on it; that is copied into a "
          "private folder, and deleted at the end.",
          "Exit codes: 2 the call, the configuration or a rule set is wrong; 3 a folder that is missing or cannot be read, a port that "
          "cannot be had, an output that could not be written. 130 interrupted, which is its usual end.",
      }};
  return kManual;
}

constexpr int kLowestPort = 1024, kHighestPort = 65535;

struct DeskCommand {
  std::vector<std::string> operands;
  std::string port, date;
  bool no_open = false;
  RunOptions run;
  CacheOptions cache;

  void declare(Arguments& arguments) {
    arguments.section("The page");
    arguments.operands(operands);
    arguments.value("--port", "N", port, "listen there, 1024 to 65535 (default: whichever is free)");
    arguments.flag("--no-open", no_open, "open no browser, only print the address");
    arguments.section("Judging");
    arguments.value("--date", "YYYY-MM-DD", date, "the day by which waivers are judged (default: each day its own)");
    run.declare_jobs(arguments);
    cache.declare(arguments);
  }
};

Result<desk::DeskOptions> options_of(DeskCommand& command, const Arguments& arguments, const Config& config) {
  desk::DeskOptions options;
  if (auto ok = command.run.validate(arguments, config); !ok) return tl::unexpected(ok.error());
  if (command.operands.size() > 1)
    return fail(ErrorCode::usage, "one folder is wanted; " + std::to_string(command.operands.size()) + " given");
  if (!command.operands.empty()) options.folder = command.operands.front();
  if (options.folder.empty()) return fail(ErrorCode::usage, "a folder's name is empty");
  if (arguments.given("--port")) {
    const auto port = whole_number("--port", command.port, kLowestPort, kHighestPort);
    if (!port) return tl::unexpected(port.error());
    options.port = *port;
  }
  options.checks.today = today;
  if (arguments.given("--date")) {
    const auto day = day_of("--date", command.date);
    if (!day) return tl::unexpected(day.error());
    options.checks.today = [day = *day] { return day; };
  }
  // A default that does not load is said now, and not at the first check.
  if (const auto sets = rule_sets_of({}, config); !sets) return tl::unexpected(sets.error());
  options.rules.defaults = config.rules.empty() ? std::vector<std::string>{"premaster"} : config.rules;
  options.rules.folders = rule_set_folders();
  options.checks.jobs = command.run.jobs;
  options.checks.monitoring = config.monitoring;
  return options;
}

bool has_desktop() {
  for (const char* name : {"DISPLAY", "WAYLAND_DISPLAY"}) {
    const char* const value = std::getenv(name);
    if (value != nullptr && *value != '\0') return true;
  }
  return false;
}

/// In the background: where it becomes the browser itself, that outlives this program. Not ended by a signal to this one, which
/// might come before the shell has let go of it.
void open_in_browser(const std::string& address) {
  constexpr double kLongestS = 10;
  const auto program = base::find_program("xdg-open");
  if (!program) return;
  (void)base::run_command("\"$SENDWORTHY_OPENER\" \"$1\" </dev/null >/dev/null 2>&1 &", address, {{"SENDWORTHY_OPENER", *program}}, kLongestS, nullptr);
}

}  // namespace

int run_desk(const Words& words) {
  DeskCommand command;
  Arguments arguments(manual());
  command.declare(arguments);
  if (const auto parsed = arguments.parse(words); !parsed) return report(parsed.error(), "desk");
  if (arguments.help_wanted()) return print_help(arguments);
  const auto config = load_config();
  if (!config) return report(config.error(), "desk");
  auto options = options_of(command, arguments, *config);
  if (!options) return report(options.error(), "desk");
  const auto store = command.cache.open(*config);
  options->checks.store = store.get();

  const StopsGently gently;
  desk::DeskHooks hooks;
  hooks.stop = &stop_flag();
  int code = kExitPass;
  hooks.started = [&](const std::string& address) {
    if (const auto written = write_stdout("desk: " + address + "\n"); !written) {
      code = report(written.error(), "");
      return false;
    }
    if (!command.no_open && has_desktop()) open_in_browser(address);
    return true;
  };
  const auto end = desk::serve(*options, hooks);
  if (stopped()) return kExitInterrupted;
  return std::max(code, end ? kExitPass : report(end.error(), "desk"));
}

}  // namespace sendworthy::cli
