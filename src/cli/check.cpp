// sendworthy check: files against rule sets.
#include <sendworthy/check.h>

#include "cli/command.h"
#include "cli/judging.h"
#include "cli/sheet_output.h"
#include "cli/signals.h"

namespace sendworthy::cli {
namespace {

const Manual& manual() {
  static const Manual kManual{
      "check",
      "check [options] FILE...",
      "Measures audio files, judges them by a rule set and prints a sheet: the verdict first, then what fails and what "
      "warns, each with its value, its limit, its place in time, and what to move by how much. A folder stands for the "
      "audio files in it. Sound files are only ever read.",
      {
          {"sendworthy check mix.wav", "by your default rule set, else by \"premaster\""},
          {"sendworthy check --rules cd --rules ./label.toml masters/", "a whole folder, by two rule sets"},
          {"sendworthy check mix.wav --expect sample_rate=96000 bit_depth=24", "what the client asked for, in short"},
          {"sendworthy check mix.wav --note mix.md", "with a one-page note for the receiving engineer"},
          {"sendworthy check mix.wav --format markers --output places.csv",
           "the places as places.csv and, beside it, places.mid to lay into the session"},
          {"find . -name '*.wav' -print0 | sendworthy check --files-from - -f junit", "for a release script"},
      },
      {
          "Exit codes: 0 pass, or warn unless --fail-on warn; 1 fail; 2 the call, the configuration or a rule set is "
          "wrong; 3 an input without a sheet (missing, unreadable, no audio), or an output that could not be written; "
          "130 interrupted. The highest wins.",
          "--expect takes every following value of the form key=value. KEY is a measurement (\"sendworthy explain\" "
          "lists them); a duration may be written 3:35. A file whose name looks like key=value is written ./key=value.",
          "A rule set's NAME is looked up in $XDG_CONFIG_HOME/sendworthy/rules, then among the shipped ones. What "
          "holds "
          "a slash or ends in .toml is a path. \"sendworthy rules\" lists them.",
      }};
  return kManual;
}

struct CheckCommand {
  FileOptions files;
  SheetOutput sheet;
  RunOptions run;
  CacheOptions cache;
  std::vector<std::string> rules, expect;
  std::string role, date, fail_on = "fail";
  bool digest = false, second_meter = false;

  void declare(Arguments& arguments) {
    files.declare(arguments);
    arguments.section("Judging");
    arguments.values("--rules", "NAME|PATH", rules, "a rule set; may be repeated, each judges by itself");
    arguments.value("--role", "ROLE", role, "the part these files play, such as mix or stem; rules may ask for it");
    arguments.pairs("--expect", "KEY=VALUE", expect, "this measurement must have this value");
    arguments.value("--fail-on", "WHAT", fail_on, "fail, warn or never: what makes exit code 1 (default: fail)");
    arguments.value("--date", "YYYY-MM-DD", date, "the day by which waivers are judged (default: today)");
    arguments.flag("--second-meter", second_meter, "read loudness with a second, independent meter too");
    arguments.flag("--digest", digest, "also take the SHA-256 of each file");
    sheet.output.declare(arguments, {"text", "json", "jsonl", "junit", "csv", "html", "markers"});
    sheet.output.declare_quiet(arguments);
    arguments.value("--note", "FILE", sheet.note_path, "also write a hand-off note in Markdown");
    run.declare(arguments);
    cache.declare(arguments);
  }
};

}  // namespace

int run_check(const Words& words) {
  CheckCommand command;
  Arguments arguments(manual());
  command.declare(arguments);
  if (const auto parsed = arguments.parse(words); !parsed) return report(parsed.error(), "check");
  if (arguments.help_wanted()) return print_help(arguments);

  const auto config = load_config();
  if (!config) return report(config.error(), "check");
  if (const auto valid = command.sheet.output.validate(arguments, *config); !valid)
    return report(valid.error(), "check");
  if (const auto valid = command.run.validate(arguments, *config); !valid) return report(valid.error(), "check");
  const auto fail_on = fail_on_of(command.fail_on);
  if (!fail_on) return report(fail_on.error(), "check");
  command.sheet.fail_on = *fail_on;
  CheckOptions options;
  options.today = today();
  if (arguments.given("--date")) {
    const auto day = day_of("--date", command.date);
    if (!day) return report(day.error(), "check");
    options.today = *day;
  }
  if (arguments.given("--note") && command.sheet.note_path.empty()) {
    return report({ErrorCode::usage, "--note wants a file name", {}}, "check");
  }
  if (command.sheet.note_path == "-" && command.sheet.output.to_stdout()) {
    return report({ErrorCode::usage, "--note - and the sheet cannot share standard output; give --output", {}},
                  "check");
  }
  options.pictures = command.sheet.output.format == "html";
  const auto rule_sets = judging_rules(command.rules, command.expect, *config);
  if (!rule_sets) return report(rule_sets.error(), "check");

  const StopsGently gently;
  auto inputs = collect(command.files);
  if (!inputs) return report(inputs.error(), "check");
  if (const auto spared = spare_the_inputs(command.sheet, with_rule_sets(everything_read(command.files, *inputs), *rule_sets)); !spared)
    return report(spared.error(), "check");
  question_role(command.role, *rule_sets);

  options.role = command.role;
  options.file_digest = command.digest;
  options.second_meter = command.second_meter;
  options.monitoring = config->monitoring;
  options.jobs = command.run.jobs;
  return check_and_write(std::move(*inputs), *rule_sets, options, command.sheet, command.run,
                         command.cache.open(*config).get());
}

}  // namespace sendworthy::cli
