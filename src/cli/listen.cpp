// sendworthy listen: the questions of a plan, asked, and what was answered, kept.
#include <sendworthy/listening.h>

#include <utility>

#include "base/os.h"
#include "base/text.h"
#include "cli/command.h"
#include "cli/listen_talk.h"
#include "cli/options.h"
#include "cli/process.h"
#include "cli/signals.h"
#include "song/plan.h"
#include "song/status_json.h"
#include "song/to_listen.h"

namespace sendworthy::cli {
namespace {

const Manual& manual() {
  static const Manual kManual{
      "listen",
      "listen [options] PLAN",
      "Goes through the questions of a song plan in a terminal. With each it shows what the mix is meant to do, what was measured of it, where to listen and how; "
      "you answer that it holds, that it wants a tweak, or that you skip it. A pass in which every question holds on the present mix closes it.",
      {
          {"sendworthy listen lamps.plan.toml", "listen, and answer"},
          {"sendworthy listen lamps.plan.toml --status", "is the pass on this very bounce complete?"},
          {"sendworthy listen lamps.plan.toml --by KB --fresh", "without the questions at the start"},
          {"sendworthy listen lamps.plan.toml --status -f json", "for a script, or a release gate"},
      },
      {
          "Answers are a key and Enter; Enter alone is none. Each is kept at once at the end of PLAN.passes.jsonl, so that Ctrl-C loses nothing, and the next run "
          "goes on with what is open.",
          "Answers count for the sound they were given on. A new bounce opens all questions again, even if only dither differs; those come first whose numbers "
          "moved. With [song] previous naming the bounce of the last pass, both are held against each other.",
          "Exit codes: 0 the pass on the present mix is complete; 1 it is not; 2 the call, the configuration, the plan or its passes file is wrong, or there is no "
          "terminal to ask in; 3 the mix cannot be read, or the passes file not written; 130 interrupted.",
      }};
  return kManual;
}

struct ListenCommand {
  std::vector<std::string> operands;
  bool status = false, again = false, fresh = false;
  std::string by, format = "text", date;
  RunOptions run;
  CacheOptions cache;

  void declare(Arguments& arguments) {
    arguments.operands(operands);
    arguments.section("The pass");
    arguments.value("--by", "NAME", by, "who listens, such as initials (default: asked, or who did last)");
    arguments.flag("--fresh", fresh, "your ears are rested: do not ask, and keep the order");
    arguments.flag("--again", again, "begin another pass on a mix that has one");
    arguments.value("--date", "YYYY-MM-DD", date, "the day that stands with the answers (default: today)");
    arguments.section("Instead of asking");
    arguments.flag("--status", status, "say what is open, and why; needs no terminal");
    arguments.value("-f,--format", "FORMAT", format, "of --status: text or json (default: text)");
    arguments.section("Running");
    run.declare(arguments);
    cache.declare(arguments);
  }
};

int print_status(const ListeningState& state, bool as_json) {
  std::string text;
  if (as_json) {
    text = song::status_json(state);
  } else {
    text = std::string(state.complete ? "COMPLETE" : "OPEN") + "  " + base::for_terminal(state.mix) + ": " + standing(state) + "\n" + open_questions(state);
    if (!state.remark.empty()) text += paragraph("Note: " + state.remark + ".");
  }
  const auto written = write_stdout(text);
  if (!written) return report(written.error(), "");
  return state.complete ? kExitPass : kExitFail;
}

CheckHooks hooks_with(ProgressLine& line, ReadingStore* store) {
  CheckHooks hooks;
  hooks.progress = [&line](const Progress& progress) { line.show(progress); };
  hooks.stop = &stop_flag();
  hooks.store = store;
  return hooks;
}

int status_of(const ListenCommand& command, const std::string& plan) {
  const StopsGently gently;
  Result<std::string> audio;
  {
    ProgressLine line(!command.run.no_progress);
    audio = mix_digest(plan, hooks_with(line, nullptr));
  }
  if (!audio) return report(audio.error(), "listen");
  const auto state = listening_state(plan, *audio);
  return state ? print_status(*state, command.format == "json") : report(state.error(), "listen");
}

/// Measures, and puts together what is asked.
Result<song::ToListen> prepare(const ListenCommand& command, const song::Plan& plan, const Config& config) {
  const auto store = command.cache.open(config);
  PlanOptions options;
  options.check.today = command.date;
  options.check.monitoring = config.monitoring;
  options.check.jobs = command.run.jobs;
  ProgressLine line(!command.run.no_progress);
  const auto hooks = hooks_with(line, store.get());
  const auto before = base::state_of(plan.mix);
  auto sheet = check_plan(plan.path, options, hooks);
  if (!sheet) return tl::unexpected(sheet.error());
  return song::to_listen(plan.path, std::move(*sheet), before, options.check, hooks);
}

int listen(const ListenCommand& command, const std::string& plan_path, const Config& config) {
  const StopsGently gently;
  const auto plan = song::read_plan(plan_path);
  if (!plan) return report(plan.error(), "listen");
  // What is wrong with the questions, or with earlier passes, need not wait for the measuring.
  if (const auto early = listening_state(plan_path, ""); !early) return report(early.error(), "listen");
  auto asked = prepare(command, *plan, config);
  if (!asked) return report(asked.error(), asked.error().code == ErrorCode::interrupted ? "" : "listen");
  if (asked->state.complete && !command.again) {
    const auto written = write_stdout(paragraph("Nothing to ask: " + standing(asked->state) + ". --again begins another pass on this mix."));
    return written ? kExitPass : report(written.error(), "");
  }
  const bool again = command.again && asked->state.pass > 0;
  return talk({std::move(*asked), command.by, command.date, again, command.fresh});
}

}  // namespace

int run_listen(const Words& words) {
  ListenCommand command;
  Arguments arguments(manual());
  command.declare(arguments);
  if (const auto parsed = arguments.parse(words); !parsed) return report(parsed.error(), "listen");
  if (arguments.help_wanted()) return print_help(arguments);
  const auto config = load_config();
  if (!config) return report(config.error(), "listen");
  if (const auto valid = command.run.validate(arguments, *config); !valid) return report(valid.error(), "listen");
  if (const auto format = one_of("--format", command.format, {"text", "json"}); !format) return report(format.error(), "listen");
  if (arguments.given("--format") && !command.status) return report({ErrorCode::usage, "--format is for --status", {}}, "listen");
  if (arguments.given("--by") && command.by.empty()) return report({ErrorCode::usage, "--by wants a name", {}}, "listen");
  if (command.operands.size() != 1 || command.operands.front().empty())
    return report({ErrorCode::usage, "one plan is wanted; " + std::to_string(command.operands.size()) + " given", {}}, "listen");
  if (!arguments.given("--date")) {
    command.date = today();
  } else if (const auto day = day_of("--date", command.date); !day) {
    return report(day.error(), "listen");
  }
  const auto& plan = command.operands.front();
  if (command.status) return status_of(command, plan);
  if (!os::is_terminal(os::Stream::in) || !os::is_terminal(os::Stream::out))
    return report({ErrorCode::usage, "listen asks questions, and there is no terminal to ask them in; run it in one, or take --status", {}}, "listen");
  return listen(command, plan, *config);
}

}  // namespace sendworthy::cli
