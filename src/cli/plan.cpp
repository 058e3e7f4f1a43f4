// sendworthy plan: the song plan, from the starting plan to mix and stems held against it.
#include <sendworthy/listening.h>
#include <sendworthy/song.h>

#include <algorithm>

#include "base/files.h"
#include "base/text.h"
#include "cli/command.h"
#include "cli/hooks.h"
#include "cli/sheet_output.h"
#include "cli/signals.h"

namespace sendworthy::cli {
namespace {

const Manual& manual() {
  static const Manual kManual{
      "plan",
      "plan new MIX [--stems DIR] | check PLAN",
      "The song plan is the checklist of one song, kept beside it as a TOML file: what a listener should feel, the sections, the stems with "
      "their roles and priorities, what is wanted of vocal, dynamics and low end, and the questions that only ears can answer. \"new\" finds "
      "the sections of a mix, guesses roles from the names of stems and writes a commented plan; what is meant stays empty, since nobody can "
      "guess it. \"check\" measures mix and stems against the plan: what was not stated or could not be measured is said, and counts.",
      {
          {"sendworthy plan new mix.wav --stems stems/ -o song.toml", "a starting plan for a mix and its stems"},
          {"sendworthy plan check song.toml", "is the plan kept?"},
          {"sendworthy plan check song.toml --rules premaster", "and is the mix fit for mastering as a file?"},
          {"sendworthy plan check song.toml -f html -o song.html", "a page with the sections, the vocal over time and the low end"},
          {"sendworthy plan check song.toml -f json", "for a script: sections, stems and pairs with their numbers"},
      },
      {
          "Nothing is replaced: \"new\" refuses a file that is there, since somebody may have written into it.",
          "Exit codes: 0 pass, or warn unless --fail-on warn; 1 fail; 2 the call, the plan or a rule set is wrong; 3 a file without a sheet "
          "(missing, unreadable, no audio), or an output that could not be written; 130 interrupted. The highest wins.",
          "\"sendworthy explain vocal-placement\" explains a finding; the contract has the plan's keys.",
      }};
  return kManual;
}

struct PlanCommand {
  std::vector<std::string> operands, rules;
  SheetOutput sheet;
  RunOptions run;
  CacheOptions cache;
  std::string date, fail_on = "fail", stems;

  [[nodiscard]] bool shows_progress() const { return !run.no_progress && !sheet.output.quiet; }
  void declare(Arguments& arguments) {
    arguments.operands(operands);
    arguments.section("Starting");
    arguments.value("--stems", "DIR", stems, "the folder with the mix's stems, for new");
    arguments.section("Judging");
    arguments.values("--rules", "NAME|PATH", rules, "a rule set by which the mix is judged as a file too; may be repeated");
    arguments.value("--fail-on", "WHAT", fail_on, "fail, warn or never: what makes exit code 1 (default: fail)");
    arguments.value("--date", "YYYY-MM-DD", date, "the day by which waivers are judged (default: today)");
    sheet.output.declare(arguments, {"text", "json", "jsonl", "junit", "csv", "html", "markers"}, ": of check; new takes none");
    sheet.output.declare_quiet(arguments);
    run.declare(arguments);
    cache.declare(arguments);
  }
};

int complain_about_call(std::string text) { return report({ErrorCode::usage, std::move(text), {}}, "plan"); }

int plan_new(const PlanCommand& command, const std::string& mix) {
  const auto& output = command.sheet.output;
  if (!output.to_stdout() && !output.path.ends_with(".toml")) return complain_about_call("a plan is a TOML file: let --output end in .toml");
  if (!output.to_stdout() && base::is_taken(output.path))
    return complain_about_call("\"" + output.path + "\" is there already: a plan holds what somebody wrote into it, so it is not replaced; name another file");
  const StopsGently gently;
  const NewPlanOptions options{command.stems, output.to_stdout() ? std::string() : output.path, command.run.jobs};
  const auto text = with_hooks(command.shows_progress(), nullptr, [&](const CheckHooks& hooks) { return new_plan(mix, options, hooks); });
  if (!text) return report(text.error(), "");
  const auto written = output.to_stdout() ? write_stdout(*text) : base::write_then_rename(output.path, *text);
  return written ? kExitPass : report(written.error(), "");
}

int plan_check(PlanCommand& command, const std::string& plan, const Config& config) {
  PlanOptions options;
  options.check.today = command.date.empty() ? today() : command.date;
  options.check.monitoring = config.monitoring;
  options.check.jobs = command.run.jobs;
  if (!command.rules.empty()) {
    auto sets = rule_sets_of(command.rules, config);
    if (!sets) return report(sets.error(), "plan");
    options.rule_sets = std::move(*sets);
  }
  if (const auto spared = spare_the_inputs(command.sheet, with_rule_sets({plan, passes_path(plan)}, options.rule_sets)); !spared) return report(spared.error(), "plan");
  const StopsGently gently;
  const auto sheet = with_hooks(command.shows_progress(), command.cache.open(config).get(), [&](const CheckHooks& hooks) { return check_plan(plan, options, hooks); });
  if (!sheet) return report(sheet.error(), "plan");
  if (stopped()) return report({ErrorCode::interrupted, "interrupted; nothing was written", {}}, "");
  if (const auto spared = spare_the_inputs(command.sheet, read_for(*sheet)); !spared) return report(spared.error(), "plan");
  return write_sheet(*sheet, command.sheet);
}

}  // namespace

int run_plan(const Words& words) {
  PlanCommand command;
  Arguments arguments(manual());
  command.declare(arguments);
  if (const auto parsed = arguments.parse(words); !parsed) return report(parsed.error(), "plan");
  if (arguments.help_wanted()) return print_help(arguments);
  const auto config = load_config();
  if (!config) return report(config.error(), "plan");
  if (command.operands.empty()) return complain_about_call("plan wants to know what to do: new MIX or check PLAN");
  const auto& name = command.operands.front();
  if (name != "new" && name != "check") return complain_about_call("plan does not know \"" + name + "\"; known are new and check");
  if (command.operands.size() != 2) return complain_about_call("plan " + name + (name == "new" ? " wants one mix" : " wants one plan"));
  const std::vector<const char*> refused = name == "new" ? std::vector<const char*>{"--format", "--rules", "--fail-on", "--date"} : std::vector<const char*>{"--stems"};
  for (const auto* option : refused) {
    if (arguments.given(option)) return complain_about_call("plan " + name + (name == "new" ? " writes a plan" : " takes the stems from the plan") + " and takes no " + option);
  }
  if (const auto valid = command.run.validate(arguments, *config); !valid) return report(valid.error(), "plan");
  if (name == "new") return plan_new(command, command.operands[1]);
  if (const auto valid = command.sheet.output.validate(arguments, *config); !valid) return report(valid.error(), "plan");
  const auto fail_on = fail_on_of(command.fail_on);
  if (!fail_on) return report(fail_on.error(), "plan");
  command.sheet.fail_on = *fail_on;
  if (arguments.given("--date")) {
    auto day = day_of("--date", command.date);
    if (!day) return report(day.error(), "plan");
    command.date = std::move(*day);
  }
  return plan_check(command, command.operands[1], *config);
}

}  // namespace sendworthy::cli
