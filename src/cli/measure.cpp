// sendworthy measure: every measurement, no judgement.
#include <sendworthy/check.h>

#include "cli/command.h"
#include "cli/sheet_output.h"
#include "cli/signals.h"

namespace sendworthy::cli {
namespace {

const Manual& manual() {
  static const Manual kManual{
      "measure",
      "measure [options] FILE...",
      "Prints every measurement of audio files and judges nothing. A folder stands for the audio files in it.",
      {
          {"sendworthy measure mix.wav", "all measurements as text"},
          {"sendworthy measure --format json --timeline mix.wav", "with loudness, peak and correlation over time"},
          {"sendworthy measure --format csv --timeline mix.wav -o series.csv", "only the series, a row per point"},
          {"sendworthy measure --format csv album/ > album.csv", "a table of a whole folder"},
      },
      {
          "With --timeline, text gets a table over time after the measurements, JSON and JSONL get \"timelines\", and "
          "CSV "
          "holds the series instead of the measurements.",
          "Exit codes: 0 every file was measured; 2 the call or the configuration is wrong; 3 an input that could not "
          "be "
          "measured, or an output that could not be written; 130 interrupted.",
      }};
  return kManual;
}

}  // namespace

int run_measure(const Words& words) {
  FileOptions files;
  SheetOutput sheet;
  RunOptions run;
  CheckOptions options;
  CacheOptions cache;
  Arguments arguments(manual());
  files.declare(arguments);
  arguments.section("Measuring");
  arguments.flag("--timeline", sheet.timelines, "also the series over time");
  arguments.flag("--second-meter", options.second_meter, "read loudness with a second, independent meter too");
  arguments.flag("--digest", options.file_digest, "also take the SHA-256 of each file");
  sheet.output.declare(arguments, {"text", "json", "jsonl", "csv"});
  sheet.output.declare_quiet(arguments);
  run.declare(arguments);
  cache.declare(arguments);
  if (const auto parsed = arguments.parse(words); !parsed) return report(parsed.error(), "measure");
  if (arguments.help_wanted()) return print_help(arguments);

  const auto config = load_config();
  if (!config) return report(config.error(), "measure");
  if (const auto valid = sheet.output.validate(arguments, *config); !valid) return report(valid.error(), "measure");
  if (const auto valid = run.validate(arguments, *config); !valid) return report(valid.error(), "measure");

  const StopsGently gently;
  auto inputs = collect(files);
  if (!inputs) return report(inputs.error(), "measure");
  if (const auto spared = spare_the_inputs(sheet, everything_read(files, *inputs)); !spared) return report(spared.error(), "measure");

  options.judge = false;
  options.timelines = sheet.timelines;
  options.today = today();
  options.monitoring = config->monitoring;
  options.jobs = run.jobs;
  return check_and_write(std::move(*inputs), {}, options, sheet, run, cache.open(*config).get());
}

}  // namespace sendworthy::cli
