// sendworthy deliver: a set of files against an order, from the starting order to the hand-off.
#include <sendworthy/deliver.h>

#include <algorithm>
#include <filesystem>

#include "base/files.h"
#include "base/text.h"
#include "cli/command.h"
#include "cli/sheet_output.h"
#include "cli/signals.h"

namespace sendworthy::cli {
namespace {

const Manual& manual() {
  static const Manual kManual{
      "deliver",
      "deliver new DIR | check ORDER",
      "Holds a set of deliverables against what was ordered. \"new\" writes a commented order for a folder, versions guessed from names. "
      "\"check\" judges every file by its item's rule sets and the set by the order: what is missing, too much, misnamed, out of line, "
      "an old revision; what is left of the vocal in an instrumental; whether stems add up to the mix, and if not, why.",
      {
          {"sendworthy deliver new masters/ -o masters/order.toml", "a starting order for a folder"},
          {"sendworthy deliver check masters/order.toml", "is the set worth sending?"},
          {"sendworthy deliver check order.toml -f html -o set.html", "a page: items against findings"},
          {"sendworthy deliver check order.toml --fail-on warn", "for a script that stops at warnings too"},
      },
      {
          "Exit codes: 0 pass, or warn unless --fail-on warn; 1 fail; 2 the call, the order or a rule set is wrong; 3 a file without a "
          "sheet (unreadable, no audio), or an output that could not be written; 130 interrupted. The highest wins.",
          "\"sendworthy explain item-missing\" explains a finding about a set; the guide has the order's syntax.",
      }};
  return kManual;
}

struct DeliverCommand {
  std::vector<std::string> operands;
  SheetOutput sheet;
  RunOptions run;
  CacheOptions cache;
  std::string date, fail_on = "fail";

  void declare(Arguments& arguments) {
    arguments.operands(operands);
    arguments.section("Judging");
    arguments.value("--fail-on", "WHAT", fail_on, "fail, warn or never: what makes exit code 1 (default: fail)");
    arguments.value("--date", "YYYY-MM-DD", date, "the day by which waivers are judged (default: today)");
    sheet.output.declare(arguments, {"text", "json", "jsonl", "junit", "csv", "html", "markers"});
    sheet.output.declare_quiet(arguments);
    run.declare(arguments);
    cache.declare(arguments);
  }
};

std::vector<std::string> paths_of(const Sheet& sheet) {
  std::vector<std::string> paths;
  for (const auto& file : sheet.files) paths.push_back(file.path);
  return paths;
}

int complain_about_call(std::string text) { return report({ErrorCode::usage, std::move(text), {}}, "deliver"); }

int deliver_new(const DeliverCommand& command, const std::string& folder) {
  const auto& path = command.sheet.output.path;
  std::error_code ignored;
  if (!command.sheet.output.to_stdout() && !path.ends_with(".toml")) return complain_about_call("an order is a TOML file: let --output end in .toml");
  if (!command.sheet.output.to_stdout() && std::filesystem::exists(path, ignored))
    return complain_about_call("\"" + path + "\" is there already: an order may hold what somebody wrote into it, so it is not replaced; name another file");
  const auto text = new_order(folder, command.sheet.output.to_stdout() ? folder + "/order.toml" : path);
  if (!text) return report(text.error(), "");
  // Nothing is there yet, so nothing can be lost; the guard of sheets would not let an order be written at all.
  const auto written = command.sheet.output.to_stdout() ? write_stdout(*text) : base::write_then_rename(path, *text);
  return written ? kExitPass : report(written.error(), "");
}

int deliver_check(DeliverCommand& command, const std::string& order, const Config& config) {
  OrderOptions options;
  options.check.today = command.date.empty() ? today() : command.date;
  options.check.monitoring = config.monitoring;
  options.check.jobs = command.run.jobs;
  options.check.pictures = command.sheet.output.format == "html";
  options.folders = rule_set_folders();
  if (const auto spared = spare_the_inputs(command.sheet, {order}); !spared) return report(spared.error(), "deliver");
  const StopsGently gently;
  const auto store = command.cache.open(config);
  Result<Sheet> sheet = tl::unexpected<Error>(Error{});
  {
    ProgressLine line(!command.run.no_progress && !command.sheet.output.quiet);
    CheckHooks hooks;
    hooks.progress = [&line](const Progress& progress) { line.show(progress); };
    hooks.stop = &stop_flag();
    hooks.store = store.get();
    sheet = check_order(order, options, hooks);
  }
  if (!sheet) return report(sheet.error(), "deliver");
  if (stopped()) return report({ErrorCode::interrupted, "interrupted; nothing was written", {}}, "");
  if (const auto spared = spare_the_inputs(command.sheet, paths_of(*sheet)); !spared) return report(spared.error(), "deliver");
  return write_sheet(*sheet, command.sheet);
}

}  // namespace

int run_deliver(const Words& words) {
  DeliverCommand command;
  Arguments arguments(manual());
  command.declare(arguments);
  if (const auto parsed = arguments.parse(words); !parsed) return report(parsed.error(), "deliver");
  if (arguments.help_wanted()) return print_help(arguments);
  const auto config = load_config();
  if (!config) return report(config.error(), "deliver");
  const std::vector<std::string_view> tasks{"new", "check"};
  if (command.operands.empty()) return complain_about_call("deliver wants to know what to do: new DIR or check ORDER");
  const auto& task = command.operands.front();
  if (std::ranges::find(tasks, task) == tasks.end()) {
    const auto nearest = base::nearest(task, tasks);
    return complain_about_call("deliver does not know \"" + task + "\"" + (nearest.empty() ? "; known are new and check" : "; did you mean \"" + std::string(nearest) + "\"?"));
  }
  if (command.operands.size() != 2)
    return complain_about_call(task == "new" ? "deliver new wants one folder" : "deliver check wants one order");
  if (task == "new") {
    // An order is no sheet: of all that shapes one only the target is wanted.
    for (const auto option : {"--format", "--fail-on", "--date"}) {
      if (arguments.given(option)) return complain_about_call(std::string("deliver new writes an order and takes no ") + option);
    }
    return deliver_new(command, command.operands[1]);
  }
  if (const auto valid = command.sheet.output.validate(arguments, *config); !valid) return report(valid.error(), "deliver");
  if (const auto valid = command.run.validate(arguments, *config); !valid) return report(valid.error(), "deliver");
  const auto fail_on = fail_on_of(command.fail_on);
  if (!fail_on) return report(fail_on.error(), "deliver");
  command.sheet.fail_on = *fail_on;
  if (arguments.given("--date")) {
    auto day = day_of("--date", command.date);
    if (!day) return report(day.error(), "deliver");
    command.date = std::move(*day);
  }
  return deliver_check(command, command.operands[1], *config);
}

}  // namespace sendworthy::cli
