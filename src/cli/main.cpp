// The program: picks the command, returns its exit code.
#include <sendworthy/check.h>

#include <algorithm>
#include <array>
#include <exception>

#include "cli/process.h"
#include "base/text.h"
#include "cli/arguments.h"
#include "cli/command.h"
#include "cli/console.h"
#include "cli/exit_code.h"
#include "cli/options.h"
#include "cli/signals.h"

namespace sendworthy::cli {

std::span<const Command> commands() {
  static constexpr std::array<Command, 12> kCommands{{
      {"check", "FILE...", "judge files by a rule set and print a sheet", run_check},
      {"measure", "FILE...", "print all measurements, judge nothing", run_measure},
      {"compare", "OLD NEW", "say what became of a bounce: what differs, where, by how much", run_compare},
      {"plan", "TASK MIX|PLAN", "write a song's plan; hold mix and stems against it", run_plan},
      {"listen", "PLAN", "ask what only ears can tell of a song; keep the answers", run_listen},
      {"deliver", "TASK ORDER|DIR", "hold a set of files against what was ordered; hand it over", run_deliver},
      {"watch", "DIR", "check each bounce as it lands in a folder", run_watch},
      {"desk", "[DIR]", "the local page: all of it in the browser", run_desk},
      {"merge", "SHEET...", "make one sheet and one verdict of many JSONL sheets", run_merge},
      {"rules", "[NAME]", "list, show and validate rule sets", run_rules},
      {"explain", "[ID]", "explain a measurement, a rule, a status", run_explain},
      {"selftest", "", "measure the published test signals on this machine", run_selftest},
  }};
  return kCommands;
}

namespace {

std::string program_help() {
  std::string text =
      "Usage: sendworthy COMMAND [options] [operands]\n\n" +
      paragraph(
          "Tells you, with evidence, whether audio is worth sending: measures files, judges them by a rule set, and "
          "says what is wrong, where, and what to move by how much. It never passes what it could not measure.") +
      "\nExamples:\n"
      "  sendworthy check mix.wav                 is this mix ready for mastering?\n"
      "  sendworthy check --rules cd masters/     a folder, by another rule set\n"
      "  sendworthy check mix.wav --format json   the sheet for a script\n"
      "  sendworthy measure mix.wav               only the numbers\n"
      "  sendworthy compare old.wav new.wav       what became of a bounce\n"
      "  sendworthy watch bounces/                each bounce as it lands\n"
      "  sendworthy explain true_peak             what a number means\n"
      "  sendworthy rules premaster               what is asked, and why\n"
      "\nCommands:\n";
  for (const auto& command : commands()) {
    auto term = std::string(command.name);
    if (!command.operands.empty()) term += " " + std::string(command.operands);
    text += term_row(term, command.summary, 2, 20);
  }
  text +=
      "\nOptions:\n" + term_row("-h, --help", "this text; after a command, its own", 2, 20) +
      term_row("-V, --version", "the versions of this program and its libraries", 2, 20) + "\nExit codes:\n" +
      term_row("0", "verdict pass (or warn, unless --fail-on warn)", 2, 5) + term_row("1", "verdict fail", 2, 5) +
      term_row("2", "the call, the configuration or a rule set is wrong", 2, 5) +
      term_row("3",
               "no sheet could be made for an input (missing, unreadable, no audio), or an output could not be written",
               2, 5) +
      term_row("130", "interrupted", 2, 5) + "  The highest wins.\n";
  return text;
}

std::string version_text() {
  std::string text = "sendworthy " + version() + "\n";
  for (const auto& [name, number] : library_versions()) text += "  " + name + " " + number + "\n";
  return text;
}

int print(const std::string& text) {
  const auto written = write_stdout(text);
  return written ? kExitPass : report(written.error(), "");
}

const Command* find_command(std::string_view name) {
  const auto all = commands();
  const auto found = std::find_if(all.begin(), all.end(), [&](const Command& command) { return command.name == name; });
  return found == all.end() ? nullptr : &*found;
}

int refuse(const std::string& name) {
  const bool is_option = name.size() > 1 && name[0] == '-';
  std::vector<std::string_view> candidates;
  if (is_option) {
    candidates = {"--help", "--version"};
  } else {
    for (const auto& command : commands()) candidates.push_back(command.name);
  }
  const auto nearest = base::nearest(name, candidates);
  auto text = std::string(is_option ? "unknown option \"" : "unknown command \"") + name + "\"";
  if (!nearest.empty()) {
    text += "; did you mean \"" + std::string(nearest) + "\"?";
  } else if (is_option) {
    text += "; options stand after the command";
  } else {
    text += "; to check a file: sendworthy check FILE";
  }
  return report({ErrorCode::usage, text, {}}, "");
}

int run(Words words) {
  if (words.empty()) {
    write_stderr(program_help());
    return kExitUsage;
  }
  const auto first = words.front();
  words.erase(words.begin());
  if (first == "--help" || first == "-h") return print(program_help());
  if (first == "--version" || first == "-V") return print(version_text());
  if (first == "help") {
    if (words.empty()) return print(program_help());
    const auto* command = find_command(words.front());
    return command == nullptr ? refuse(words.front()) : command->run({"--help"});
  }
  const auto* command = find_command(first);
  return command == nullptr ? refuse(first) : command->run(words);
}

}  // namespace
}  // namespace sendworthy::cli

int main(int argc, char** argv) {
  using namespace sendworthy::cli;
  try {
    sendworthy::cli::os::hold_standard_streams();
    catch_signals();
    return run(Words(argv + std::min(argc, 1), argv + argc));
  } catch (const std::bad_alloc&) {
    complain("out of memory");
  } catch (const std::exception& error) {
    complain(std::string("unexpected error: ") + error.what());
  }
  return kExitNoSheet;
}
