// sendworthy deliver: a set of files against an order, from the starting order to the hand-off.
#include <sendworthy/deliver.h>

#include <algorithm>
#include <filesystem>
#include <variant>

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
      "deliver",
      "deliver new DIR | check ORDER | manifest ORDER | receive DIR",
      "Holds a set of deliverables against what was ordered, and hands it over. \"new\" writes a commented order for a folder, versions "
      "guessed from names. \"check\" judges every file by its item's rule sets and the set by the order: what is missing, too much, "
      "misnamed, out of line, an old revision; what is left of the vocal in an instrumental; whether stems add up to the mix, and if "
      "not, why. \"manifest\" checks and, unless the set fails, writes beside it manifest.json, SHA256SUMS, MD5SUMS and a hand-off note as "
      "Markdown and HTML. \"receive\" holds every byte of a folder against its manifest.",
      {
          {"sendworthy deliver new masters/ -o masters/order.toml", "a starting order for a folder"},
          {"sendworthy deliver check masters/order.toml", "is the set worth sending?"},
          {"sendworthy deliver check order.toml -f html -o set.html", "a page: items against findings"},
          {"sendworthy deliver check order.toml --fail-on warn", "for a script that stops at warnings too"},
          {"sendworthy deliver manifest masters/order.toml --by \"A. Example\"", "what goes out with the set"},
          {"sendworthy deliver receive masters/", "did it come over whole?"},
      },
      {
          "Exit codes: 0 pass, or warn unless --fail-on warn; of receive: intact; 1 fail; of manifest: nothing was written, since the set "
          "fails; of receive: not intact; 2 the call, the order, a rule set or the manifest is wrong; 3 a file without a sheet "
          "(unreadable, no audio), a folder or manifest that is missing, or an output that could not be written; 130 interrupted. The "
          "highest wins.",
          "A manifest proves that nothing changed on the way, not where it comes from.",
          "\"sendworthy explain item-missing\" explains a finding about a set; the guide has the order's syntax.",
      }};
  return kManual;
}

struct DeliverCommand {
  std::vector<std::string> operands;
  SheetOutput sheet;
  RunOptions run;
  CacheOptions cache;
  std::string date, fail_on = "fail", by, anyway;

  [[nodiscard]] bool shows_progress() const { return !run.no_progress && !sheet.output.quiet; }
  void declare(Arguments& arguments) {
    arguments.operands(operands);
    arguments.section("Judging");
    arguments.value("--fail-on", "WHAT", fail_on, "fail, warn or never: what makes exit code 1 (default: fail)");
    arguments.value("--date", "YYYY-MM-DD", date, "the day by which waivers are judged, and of the manifest (default: today)");
    arguments.section("Handing over");
    arguments.value("--by", "NAME", by, "who hands the set over; stands in the manifest and the note");
    arguments.value("--anyway", "REASON", anyway, "hands over a set that fails, with this reason in the manifest");
    sheet.output.declare(arguments, {"text", "json", "jsonl", "junit", "csv", "html", "markers"},
                         ": of check; receive writes text or json, new and manifest take none");
    sheet.output.declare_quiet(arguments);
    run.declare(arguments);
    cache.declare(arguments);
  }
};

int complain_about_call(std::string text) { return report({ErrorCode::usage, std::move(text), {}}, "deliver"); }

int deliver_new(const DeliverCommand& command, const std::string& folder) {
  const auto& path = command.sheet.output.path;
  if (!command.sheet.output.to_stdout() && !path.ends_with(".toml")) return complain_about_call("an order is a TOML file: let --output end in .toml");
  if (!command.sheet.output.to_stdout() && base::is_taken(path))
    return complain_about_call("\"" + path + "\" is there already: an order may hold what somebody wrote into it, so it is not replaced; name another file");
  const auto text = new_order(folder, command.sheet.output.to_stdout() ? std::string() : path);
  if (!text) return report(text.error(), "");
  // Nothing is there yet, so nothing can be lost; the guard of sheets would not let an order be written at all.
  const auto written = command.sheet.output.to_stdout() ? write_stdout(*text) : base::write_then_rename(path, *text);
  return written ? kExitPass : report(written.error(), "");
}

OrderOptions order_options(const DeliverCommand& command, const Config& config) {
  OrderOptions options;
  options.check.today = command.date.empty() ? today() : command.date;
  options.check.monitoring = config.monitoring;
  options.check.jobs = command.run.jobs;
  options.folders = rule_set_folders();
  return options;
}

int deliver_check(DeliverCommand& command, const std::string& order, const Config& config) {
  auto options = order_options(command, config);
  options.check.pictures = command.sheet.output.format == "html";
  if (const auto spared = spare_the_inputs(command.sheet, {order}); !spared) return report(spared.error(), "deliver");
  const StopsGently gently;
  const auto sheet = with_hooks(command.shows_progress(), command.cache.open(config).get(), [&](const CheckHooks& hooks) { return check_order(order, options, hooks); });
  if (!sheet) return report(sheet.error(), "deliver");
  if (stopped()) return report({ErrorCode::interrupted, "interrupted; nothing was written", {}}, "");
  if (const auto spared = spare_the_inputs(command.sheet, read_for(*sheet)); !spared) return report(spared.error(), "deliver");
  return write_sheet(*sheet, command.sheet);
}

std::string verdict_line(const Sheet& sheet) {
  if (sheet.verdict == Verdict::pass) return "PASS  handed over\n";
  return sheet.verdict == Verdict::warn ? "WARN  handed over\n" : "FAIL  handed over all the same, with the reason given\n";
}

int deliver_manifest(const DeliverCommand& command, const std::string& order, const Config& config) {
  const HandOffOptions options{order_options(command, config), command.by, command.anyway};
  const StopsGently gently;
  const auto done = with_hooks(command.shows_progress(), command.cache.open(config).get(), [&](const CheckHooks& hooks) { return hand_off(order, options, hooks); });
  if (!done) return report(done.error(), "deliver");
  if (done->written.empty()) {
    const auto code = write_sheet(done->sheet, command.sheet);
    complain("the set fails, so nothing was written: mend what fails, waive it in the order with a reason, or hand it over with --anyway REASON");
    return code;
  }
  std::string text = verdict_line(done->sheet);
  if (!command.sheet.output.quiet) {
    for (const auto& path : done->written) text += "  " + base::for_terminal(path) + "\n";
    text += "This proves that nothing changed on the way, not where it comes from.\n";
  }
  if (!command.anyway.empty() && done->sheet.verdict != Verdict::fail) complain("the set does not fail, so --anyway was not needed and its reason was not written");
  const auto said = write_stdout(text);
  return said ? kExitPass : report(said.error(), "");
}

/// What was received is intact or is not: the words of a sheet about sound do not fit.
std::string received_text(const Sheet& sheet, const std::string& folder, bool quiet, int columns) {
  const bool intact = sheet.verdict != Verdict::fail;
  std::string text = (intact ? "INTACT  " : "NOT INTACT  ") + base::for_terminal(folder) + "\n";
  if (quiet) return text;
  const auto paragraph = [&](const std::string& words) {
    for (const auto& line : base::wrap(words, columns - 2)) text += "  " + line + "\n";
  };
  for (const auto& finding : sheet.findings) {
    const auto* value = std::get_if<Value>(&finding.outcome);
    const auto* missing = std::get_if<NotMeasured>(&finding.outcome);
    std::string words(to_string(finding.status));
    for (const auto& file : finding.files) words += ": " + base::for_terminal(file);
    words += ": " + base::for_terminal(value != nullptr ? std::get<std::string>(*value) : missing != nullptr ? missing->reason : "");
    paragraph(words);
  }
  text += "\n";
  paragraph(intact ? "This proves that nothing changed on the way, not where it comes from." : "Have what is missing or was changed sent again; do not repair it. Give what was renamed its name back. Ask about what was added.");
  return text;
}

/// A file written into the folder would be one that the manifest does not list.
bool lies_in(const std::string& path, const std::string& folder) {
  std::error_code error;
  const auto inner = std::filesystem::weakly_canonical(path, error), outer = std::filesystem::weakly_canonical(folder, error);
  const auto relative = inner.lexically_relative(outer).string();
  return error || (!relative.empty() && !relative.starts_with(".."));
}

int deliver_receive(const DeliverCommand& command, const std::string& folder) {
  const auto& output = command.sheet.output;
  if (!output.to_stdout() && lies_in(output.path, folder))
    return complain_about_call("--output \"" + output.path + "\" lies in the folder that is received, where the manifest does not list it; write it elsewhere");
  if (const auto spared = spare_the_inputs(command.sheet, {}); !spared) return report(spared.error(), "deliver");
  const StopsGently gently;
  const auto sheet = with_hooks(command.shows_progress(), nullptr, [&](const CheckHooks& hooks) { return receive(folder, command.run.jobs, hooks); });
  if (!sheet) return report(sheet.error(), "deliver");
  if (output.format == "json") return write_sheet(*sheet, command.sheet);
  const auto written = deliver(output.path, received_text(*sheet, folder, output.quiet, output.to_stdout() ? sheet_columns() : 80));
  return written ? exit_code_of(*sheet, FailOn::fail) : report(written.error(), "");
}

struct Task {
  std::string_view name, operand;
  std::vector<const char*> refused;  ///< options that make no sense for it
  std::string_view why;              ///< of the refusal
};

const std::vector<Task>& tasks() {
  static const std::vector<Task> kTasks{
      // An order is no sheet: of all that shapes one only the target is wanted.
      {"new", "one folder", {"--format", "--fail-on", "--date", "--by", "--anyway"}, "writes an order"},
      {"check", "one order", {"--by", "--anyway"}, "hands nothing over"},
      {"manifest", "one order", {"--format", "--output", "--fail-on"}, "writes beside the set, under fixed names,"},
      {"receive", "one folder", {"--fail-on", "--date", "--by", "--anyway"}, "compares bytes"},
  };
  return kTasks;
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
  if (command.operands.empty()) return complain_about_call("deliver wants to know what to do: new DIR, check ORDER, manifest ORDER or receive DIR");
  const auto& name = command.operands.front();
  const auto task = std::ranges::find(tasks(), name, &Task::name);
  if (task == tasks().end()) {
    std::vector<std::string_view> names;
    for (const auto& one : tasks()) names.push_back(one.name);
    const auto nearest = base::nearest(name, names);
    return complain_about_call("deliver does not know \"" + name + "\"" + (nearest.empty() ? "; known are new, check, manifest and receive" : "; did you mean \"" + std::string(nearest) + "\"?"));
  }
  if (command.operands.size() != 2) return complain_about_call("deliver " + name + " wants " + std::string(task->operand));
  for (const auto* option : task->refused) {
    if (arguments.given(option)) return complain_about_call("deliver " + name + " " + std::string(task->why) + " and takes no " + option);
  }
  for (const auto& [option, value] : {std::pair{"--by", &command.by}, std::pair{"--anyway", &command.anyway}}) {
    if (arguments.given(option) && value->find_first_not_of(" \t\r\n") == std::string::npos)
      return complain_about_call(std::string(option) + " is empty: say " + (option == std::string_view("--by") ? "who" : "why"));
  }
  if (name == "new") return deliver_new(command, command.operands[1]);
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
  const auto& operand = command.operands[1];
  if (name == "check") return deliver_check(command, operand, *config);
  if (name == "manifest") {
    command.sheet.output.format = "text";  // whatever the configuration prefers for sheets
    return deliver_manifest(command, operand, *config);
  }
  const auto& format = command.sheet.output.format;
  if (format != "text" && format != "json") {
    if (arguments.given("--format")) return complain_about_call("deliver receive writes text or json");
    command.sheet.output.format = "text";
  }
  return deliver_receive(command, operand);
}

}  // namespace sendworthy::cli
