// sendworthy watch: each bounce as it lands.
#include <sendworthy/catalog.h>
#include <sendworthy/check.h>
#include <sendworthy/render.h>

#include <algorithm>
#include <atomic>
#include <optional>

#include "base/text.h"
#include "cli/command.h"
#include "cli/judging.h"
#include "cli/options.h"
#include "cli/signals.h"
#include "cli/watch_line.h"
#include "delivery/errands.h"
#include "delivery/watch_folder.h"

namespace sendworthy::cli {
namespace {

constexpr double kHour = 3600;

const Manual& manual() {
  static const Manual kManual{
      "watch",
      "watch [options] DIR",
      "Waits for audio files in a folder and checks each once it is whole: when it has stopped growing, and whoever wrote it has "
      "closed it. One line a file: the verdict, and the worst of what was found. Sound files are only ever read. Ctrl-C ends it.",
      {
          {"sendworthy watch bounces/", "leave it running beside the session"},
          {"sendworthy watch bounces/ --on-fail 'echo \"look at $1\" | mail -s FAIL me'", "be told of what fails"},
          {"sendworthy watch /mnt/share --no-events --settle 10", "a network share that tells of no changes"},
          {"sendworthy watch out/ --existing --until-idle 60 -f jsonl", "for a script: ends a minute after the last file"},
      },
      {
          "The same bytes under the same name are checked once, whatever is touched, moved away and back. A file with a new name is "
          "a new file, for names are judged too. Links are not followed.",
          "COMMAND is run by sh, for one file at a time, with the file's path as \"$1\" and as SENDWORTHY_FILE; SENDWORTHY_VERDICT "
          "is fail or warn, SENDWORTHY_REASON says why. Write \"$1\" with its quotes, and never put a name into COMMAND itself.",
          "When the folder goes, that is said, and its return is waited for.",
          "Exit codes: 0, with --until-idle, every file passed, or warned unless --fail-on warn; 1 some file failed; 2 the call, the "
          "configuration or a rule set is wrong; 3 a file without a sheet, a folder that could not be looked into, a command that "
          "failed, or nothing to check at all. The highest wins. 130 interrupted.",
      }};
  return kManual;
}

struct WatchCommand {
  std::vector<std::string> operands;
  bool recursive = false, existing = false, no_events = false;
  std::string settle, rescan, until_idle;
  std::vector<std::string> rules, expect;
  std::string role, date, fail_on = "fail";
  std::string on_fail, on_fail_limit;
  OutputOptions output;
  RunOptions run;

  void declare(Arguments& arguments) {
    arguments.section("Which files");
    arguments.operands(operands);
    arguments.flag("-r,--recursive", recursive, "those in its folders too, also in folders that come later");
    arguments.flag("--existing", existing, "check first what is there already; else it is left until it changes");
    arguments.section("Waiting");
    arguments.value("--settle", "SECONDS", settle,
                    "a file is whole when it has not changed for so long (default: 2; with --no-events 5)");
    arguments.value("--rescan", "SECONDS", rescan,
                    "look through the whole folder so often, whatever was told (default: 10; with --no-events 2)");
    arguments.flag("--no-events", no_events, "only look, for network shares that tell of no changes");
    arguments.value("--until-idle", "SECONDS", until_idle, "end when nothing has happened for so long");
    arguments.section("Judging");
    arguments.values("--rules", "NAME|PATH", rules, "a rule set; may be repeated, each judges by itself");
    arguments.value("--role", "ROLE", role, "the part these files play, such as mix or stem; rules may ask for it");
    arguments.pairs("--expect", "KEY=VALUE", expect, "this measurement must have this value");
    arguments.value("--fail-on", "WHAT", fail_on, "fail, warn or never: what makes exit code 1 and runs COMMAND (default: fail)");
    arguments.value("--date", "YYYY-MM-DD", date, "the day by which waivers are judged (default: each day its own)");
    arguments.section("When a file fails");
    arguments.value("--on-fail", "COMMAND", on_fail, "run this for a file that fails or gives no sheet");
    arguments.value("--on-fail-limit", "SECONDS", on_fail_limit, "end COMMAND when it takes longer (default: 60)");
    output.declare_lines(arguments, {"text", "jsonl"});
    arguments.flag("-q,--quiet", output.quiet, "in text: verdict and name only; nothing but errors beside the lines");
    run.declare_jobs(arguments);
  }
};

struct Settings {
  delivery::WatchOptions watch;
  std::vector<RuleSet> rule_sets;
  CheckOptions check;
  FailOn fail_on = FailOn::fail;
  double on_fail_limit_s = 60;
};

Result<void> read_seconds(const Arguments& arguments, const std::string& option, const std::string& text, double lowest,
                          double highest, double& target) {
  if (!arguments.given(option)) return {};
  const auto number = seconds_between(option, text, lowest, highest);
  if (!number) return tl::unexpected(number.error());
  target = *number;
  return {};
}

Result<void> read_times(const WatchCommand& command, const Arguments& arguments, Settings& settings) {
  auto& watch = settings.watch;
  watch.settle_s = command.no_events ? 5 : 2;
  watch.rescan_s = command.no_events ? 2 : 10;
  if (auto ok = read_seconds(arguments, "--settle", command.settle, 0.1, kHour, watch.settle_s); !ok) return ok;
  if (auto ok = read_seconds(arguments, "--rescan", command.rescan, 0.1, kHour, watch.rescan_s); !ok) return ok;
  if (auto ok = read_seconds(arguments, "--on-fail-limit", command.on_fail_limit, 0.1, 24 * kHour, settings.on_fail_limit_s); !ok)
    return ok;
  if (!arguments.given("--until-idle")) return {};
  double idle = 0;
  if (auto ok = read_seconds(arguments, "--until-idle", command.until_idle, 0.1, 24 * 7 * kHour, idle); !ok) return ok;
  watch.idle_s = idle;
  return {};
}

Result<Settings> settings_of(WatchCommand& command, const Arguments& arguments) {
  const auto config = load_config();
  if (!config) return tl::unexpected(config.error());
  Settings settings;
  if (auto ok = command.output.validate(arguments, *config); !ok) return tl::unexpected(ok.error());
  if (auto ok = command.run.validate(arguments, *config); !ok) return tl::unexpected(ok.error());
  if (auto ok = read_times(command, arguments, settings); !ok) return tl::unexpected(ok.error());
  const auto fail_on = fail_on_of(command.fail_on);
  if (!fail_on) return tl::unexpected(fail_on.error());
  settings.fail_on = *fail_on;
  if (command.operands.size() != 1 || command.operands.front().empty())
    return fail(ErrorCode::usage, "one folder is wanted; " + std::to_string(command.operands.size()) + " given");
  if (arguments.given("--on-fail") && command.on_fail.empty()) return fail(ErrorCode::usage, "--on-fail wants a command");
  if (arguments.given("--date")) {
    const auto day = day_of("--date", command.date);
    if (!day) return tl::unexpected(day.error());
    settings.check.today = *day;
  }
  auto rule_sets = judging_rules(command.rules, command.expect, *config);
  if (!rule_sets) return tl::unexpected(rule_sets.error());
  settings.rule_sets = std::move(*rule_sets);
  settings.check.role = command.role;
  settings.check.monitoring = config->monitoring;
  settings.watch.jobs = command.run.jobs;
  settings.watch.recursive = command.recursive;
  settings.watch.existing = command.existing;
  settings.watch.events = !command.no_events;
  // A command that gets the path as its argument must not take it for an option.
  const auto& folder = command.operands.front();
  settings.watch.folder = folder.starts_with('-') ? "./" + folder : folder;
  return settings;
}

/// Whoever watches for days wants waivers to end on their day.
Sheet check_one(const Settings& settings, const std::string& path, int jobs, const std::atomic<bool>& stop) {
  auto options = settings.check;
  if (options.today.empty()) options.today = today();
  options.jobs = jobs;
  CheckHooks hooks;
  hooks.stop = &stop;
  auto sheet = check_files({path}, settings.rule_sets, options, hooks);
  // A waiver that no fault met says something of a whole set, and one file is none.
  sheet.findings.clear();
  sheet.verdict = sheet.files.front().verdict;
  return sheet;
}

class Reporter {
 public:
  Reporter(const WatchCommand& command, const Settings& settings)
      : quiet_(command.output.quiet), jsonl_(command.output.format == "jsonl"), fail_on_(settings.fail_on),
        colour_(colour_for(command.output.colour_wish(), true)) {
    if (!command.on_fail.empty())
      errands_.emplace(command.on_fail, settings.on_fail_limit_s, [](std::string_view text) { complain(text); });
  }

  bool checked(const Sheet& sheet, double seconds) {
    const auto& file = sheet.files.front();
    const int code = exit_code_of(sheet, fail_on_);
    code_ = std::max(code_, code);
    const auto line = jsonl_ ? render_jsonl(sheet, catalog()) : watch_line(file, catalog(), seconds, colour_, quiet_);
    if (const auto written = write_stdout(line); !written) {
      code_ = std::max(code_, report(written.error(), ""));
      // Whoever left a pipe to `check` has seen enough; who left this one may believe that the folder is still watched.
      if (stdout_reader_left()) complain("nobody reads standard output any more, so the watch has ended; start it again with a reader that stays");
      return false;
    }
    const bool is_there = !file.error || file.error->code != ErrorCode::missing;
    if (errands_ && code != kExitPass && is_there) {
      const auto reason = file.error ? base::for_terminal(file.error->text) : worst_of(file, catalog());
      errands_->add({file.path,
                     {{"SENDWORTHY_FILE", file.path},
                      {"SENDWORTHY_VERDICT", std::string(to_string(file.verdict))},
                      {"SENDWORTHY_REASON", reason}}});
    }
    return true;
  }

  void remark(std::string_view text) const {
    if (!quiet_) complain(text);
  }
  [[nodiscard]] bool busy() const { return errands_ && errands_->busy(); }

  [[nodiscard]] int exit_code() const {
    const bool failed = errands_ && errands_->failures() > 0;
    return std::max(code_, failed ? kExitNoSheet : kExitPass);
  }

 private:
  const bool quiet_, jsonl_;
  const FailOn fail_on_;
  const Colour colour_;
  int code_ = kExitPass;
  std::optional<delivery::Errands> errands_;
};

std::string opening(const Settings& settings, std::size_t kept) {
  auto text = "watching \"" + settings.watch.folder + "\"";
  if (kept == 1) text += "; 1 audio file that is there already is left until it changes";
  if (kept > 1) text += "; " + std::to_string(kept) + " audio files that are there already are left until they change";
  if (kept > 0) text += " (--existing checks first)";
  return text;
}

}  // namespace

int run_watch(const Words& words) {
  WatchCommand command;
  Arguments arguments(manual());
  command.declare(arguments);
  if (const auto parsed = arguments.parse(words); !parsed) return report(parsed.error(), "watch");
  if (arguments.help_wanted()) return print_help(arguments);
  const auto settings = settings_of(command, arguments);
  if (!settings) return report(settings.error(), "watch");
  question_role(command.role, settings->rule_sets);

  const StopsGently gently;
  Reporter reporter(command, *settings);
  delivery::WatchHooks hooks;
  hooks.check = [&](const std::string& path, int jobs, const std::atomic<bool>& stop) {
    return check_one(*settings, path, jobs, stop);
  };
  hooks.checked = [&](const Sheet& sheet, double seconds) { return reporter.checked(sheet, seconds); };
  hooks.same = [&](const std::string& path) {
    reporter.remark("\"" + path + "\" holds the bytes that were checked before; what was said of it stands");
  };
  hooks.started = [&](std::size_t kept) { reporter.remark(opening(*settings, kept)); };
  hooks.said = [](std::string_view text) { complain(text); };
  hooks.busy = [&] { return reporter.busy(); };
  hooks.stop = &stop_flag();
  const auto end = delivery::watch_folder(settings->watch, hooks);
  if (!end) return report(end.error(), "watch");
  if (end->interrupted) return kExitInterrupted;
  int code = reporter.exit_code();
  if (end->checked == 0) {
    complain("no audio file came to \"" + settings->watch.folder + "\"; nothing was checked");
    code = std::max(code, kExitNoSheet);
  }
  if (end->folder_missing || end->some_not_looked_at) code = std::max(code, kExitNoSheet);
  return code;
}

}  // namespace sendworthy::cli
