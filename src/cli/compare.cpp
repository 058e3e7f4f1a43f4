// sendworthy compare: two bounces of one song held against each other.
#include <sendworthy/compare.h>

#include <algorithm>

#include "cli/command.h"
#include "cli/sheet_output.h"
#include "cli/signals.h"

namespace sendworthy::cli {
namespace {

const Manual& manual() {
  static const Manual kManual{
      "compare",
      "compare [options] OLD NEW",
      "Says what became of a bounce: identical to the byte or to the sample, the same but for dither or level, edited from where to "
      "where, or another mix. Finds offset, gain, polarity, swapped channels and speed by itself, takes the old file out of the new one "
      "and says what is left, when and in which octave; then what reads differently in both, and which findings turned.",
      {
          {"sendworthy compare mix-3.wav mix-4.wav", "what did the last change touch?"},
          {"sendworthy compare delivered.wav returned.wav --format json", "for a script: the pair under \"pairs\""},
          {"sendworthy compare mix-3.wav mix-4.wav --format html -o changes.html", "a page with what is left over time and by octave"},
          {"sendworthy compare approved.wav export.wav --quiet", "one line, and exit code 1 where they differ"},
      },
      {
          "Places are those of the old file, and in brackets those of the new one. Edits are found to some 10 ms.",
          "Files of another rate or speed are held against each other below three eighths of the lower rate, since converters "
          "differ above.",
          "Exit codes: 0 identical bits or identical audio; 1 they differ (0 with --fail-on never); 2 the call, the configuration or a "
          "rule set is wrong; 3 a file without a sheet, or an output that could not be written; 130 interrupted.",
      }};
  return kManual;
}

}  // namespace

int run_compare(const Words& words) {
  SheetOutput output;
  RunOptions run;
  std::vector<std::string> files, rules;
  std::string fail_on = "fail";
  Arguments arguments(manual());
  arguments.operands(files);
  arguments.section("Judging");
  arguments.values("--rules", "NAME|PATH", rules, "a rule set whose findings are held against each other; may be repeated");
  arguments.value("--fail-on", "WHAT", fail_on, "fail or never: whether a difference makes exit code 1 (default: fail)");
  output.output.declare(arguments, {"text", "json", "html"});
  output.output.declare_quiet(arguments);
  run.declare(arguments);
  CacheOptions cache;
  cache.declare(arguments);
  if (const auto parsed = arguments.parse(words); !parsed) return report(parsed.error(), "compare");
  if (arguments.help_wanted()) return print_help(arguments);

  const auto config = load_config();
  if (!config) return report(config.error(), "compare");
  if (const auto valid = output.output.validate(arguments, *config); !valid) return report(valid.error(), "compare");
  if (const auto valid = run.validate(arguments, *config); !valid) return report(valid.error(), "compare");
  const auto fails = fail_on_of(fail_on);
  if (!fails) return report(fails.error(), "compare");
  if (*fails == FailOn::warn)
    return report({ErrorCode::usage, "--fail-on warn says nothing here: two files differ or they do not; give fail or never", {}}, "compare");
  if (files.size() != 2)
    return report({ErrorCode::usage, "two files are wanted, the old one and the new one; " + std::to_string(files.size()) + " given", {}}, "compare");
  const auto rule_sets = rule_sets_of(rules, *config);
  if (!rule_sets) return report(rule_sets.error(), "compare");
  if (const auto spared = spare_the_inputs(output, with_rule_sets(files, *rule_sets)); !spared) return report(spared.error(), "compare");

  const StopsGently gently;
  const auto store = cache.open(*config);
  Sheet sheet;
  {
    ProgressLine line(!run.no_progress && !output.output.quiet);
    CheckOptions options;
    options.today = today();
    options.monitoring = config->monitoring;
    options.jobs = run.jobs;
    CheckHooks hooks;
    hooks.progress = [&line](const Progress& progress) { line.show(progress); };
    hooks.stop = &stop_flag();
    hooks.store = store.get();
    sheet = compare_files(files[0], files[1], *rule_sets, options, hooks);
  }
  if (stopped()) return report({ErrorCode::interrupted, "interrupted; nothing was written", {}}, "");
  keep_only_failures(sheet);
  // How each file was judged is not the question here: whether the two are one is.
  output.fail_on = FailOn::never;
  const int code = write_sheet(sheet, output);
  const bool differ = std::ranges::any_of(sheet.pairs, [](const Pair& pair) { return !is_identical(pair); });
  return std::max(code, differ && *fails != FailOn::never ? kExitFail : kExitPass);
}

}  // namespace sendworthy::cli
