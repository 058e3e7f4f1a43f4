// A sheet in the format that was asked for, to standard output or a file.
#pragma once

#include <sendworthy/check.h>
#include <sendworthy/result.h>
#include <sendworthy/rule_set.h>
#include <sendworthy/sheet.h>

#include <string>
#include <vector>

#include "cli/options.h"

namespace sendworthy::cli {

struct SheetOutput {
  OutputOptions output;
  FailOn fail_on = FailOn::fail;
  std::string note_path;   ///< empty: no hand-off note
  bool timelines = false;  ///< the sheet carries timelines that text and CSV shall show
};

/// Refuses targets that would destroy what was handed in: one of the inputs, or anything named like an audio file, a rule set or a
/// passes file; and one target for two outputs. Links are followed. Error: usage.
[[nodiscard]] Result<void> spare_the_inputs(const SheetOutput& output, const std::vector<std::string>& inputs);

/// The files that a sheet tells of, and the rule sets by which they were judged.
[[nodiscard]] std::vector<std::string> read_for(const Sheet& sheet);

/// `paths`, and the files of these rule sets.
[[nodiscard]] std::vector<std::string> with_rule_sets(std::vector<std::string> paths, const std::vector<RuleSet>& rule_sets);

/// Writes text to standard output, or to `path` whole or not at all. Error: output.
[[nodiscard]] Result<void> deliver(const std::string& path, std::string_view text);

/// Renders, writes, names the inputs without a sheet on standard error; returns the exit code. An output that cannot be
/// written does not keep the others from being written.
int write_sheet(const Sheet& sheet, const SheetOutput& output);

/// The main road of check and measure: read and judge with a progress line, then write. Interrupted, nothing is
/// written. `store` may be null.
int check_and_write(Inputs inputs, const std::vector<RuleSet>& rule_sets, const CheckOptions& options,
                    const SheetOutput& output, const RunOptions& run, ReadingStore* store);

}  // namespace sendworthy::cli
