// sendworthy merge: JSONL sheets of many runs → one sheet, one verdict.
#include <sendworthy/catalog.h>
#include <sendworthy/render.h>

#include <algorithm>
#include <utility>

#include "base/files.h"
#include "cli/command.h"
#include "cli/process.h"
#include "cli/sheet_output.h"
#include "cli/signals.h"

namespace sendworthy::cli {
namespace {

constexpr std::size_t kMaxSheetBytes = 1u << 30;

const Manual& manual() {
  static const Manual kManual{
      "merge",
      "merge [options] SHEET...",
      "Reads sheets that \"check --format jsonl\" wrote, and makes one sheet with one verdict out of them, in any "
      "format.",
      {
          {"sendworthy merge a.jsonl b.jsonl", "one text sheet of two runs"},
          {"sendworthy merge --files-from list.txt part-*.jsonl", "and every file of the list must have a sheet"},
          {"cat *.jsonl | sendworthy merge - --format junit -o all.xml", "from standard input, for a build server"},
      },
      {
          "Exit codes: as for check, by what stands on the sheets: 0 pass, or warn unless --fail-on warn; 1 fail; 2 "
          "the call is wrong; 3 a sheet that cannot be read or understood, an input that had no sheet, a file of the "
          "list without one, or an output that could not be written; 130 interrupted.",
      }};
  return kManual;
}

}  // namespace

int run_merge(const Words& words) {
  SheetOutput output;
  std::vector<std::string> paths, lists;
  std::string fail_on_text = "fail";
  bool no_progress = false;
  Arguments arguments(manual());
  arguments.operands(paths);
  arguments.section("Which files");
  arguments.values("--files-from", "FILE|-", lists,
                   "what was to be checked, one name a line or separated by NUL: a file without a sheet is an error");
  output.output.declare(arguments, {"text", "json", "jsonl", "junit", "csv", "html", "markers"});
  output.output.declare_quiet(arguments);
  arguments.value("--note", "FILE", output.note_path, "also write a hand-off note in Markdown");
  arguments.value("--fail-on", "WHAT", fail_on_text, "fail, warn or never: what makes exit code 1 (default: fail)");
  arguments.flag("--no-progress", no_progress, "accepted; merging shows no progress");
  if (const auto parsed = arguments.parse(words); !parsed) return report(parsed.error(), "merge");
  if (arguments.help_wanted()) return print_help(arguments);

  const auto config = load_config();
  if (!config) return report(config.error(), "merge");
  if (const auto valid = output.output.validate(arguments, *config); !valid) return report(valid.error(), "merge");
  const auto fail_on = fail_on_of(fail_on_text);
  if (!fail_on) return report(fail_on.error(), "merge");
  output.fail_on = *fail_on;
  if (paths.empty()) return report({ErrorCode::usage, "no sheet given", {}}, "merge");
  if (std::count(paths.begin(), paths.end(), "-") + std::count(lists.begin(), lists.end(), "-") > 1) {
    return report({ErrorCode::usage, "standard input can be read once only, and \"-\" stands there twice", {}}, "merge");
  }
  if (output.note_path == "-" && output.output.to_stdout()) {
    return report({ErrorCode::usage, "--note - and the sheet cannot share standard output; give --output", {}},
                  "merge");
  }
  auto everything_read = paths;
  everything_read.insert(everything_read.end(), lists.begin(), lists.end());
  if (const auto spared = spare_the_inputs(output, everything_read); !spared) return report(spared.error(), "merge");

  MergeOptions options;
  if (!lists.empty()) {
    auto names = names_listed(lists);
    if (!names) return report(names.error(), "merge");
    options.expected = std::move(*names);
  }
  int code = kExitPass;
  std::vector<std::pair<std::string, std::string>> sheets;
  for (const auto& path : paths) {
    auto text = path == "-" ? os::read_stdin(kMaxSheetBytes, stop_flag()) : base::read_text(path, kMaxSheetBytes);
    if (!text) {
      code = std::max(code, report(text.error(), "merge"));
      continue;
    }
    sheets.emplace_back(path == "-" ? "standard input" : path, std::move(*text));
  }
  // One verdict over a part of the sheets would be a verdict on something nobody asked about.
  if (code != kExitPass) return code;
  auto sheet = merge_jsonl(std::move(sheets), catalog(), options);
  if (!sheet) return report(sheet.error(), "merge");
  return write_sheet(*sheet, output);
}

}  // namespace sendworthy::cli
