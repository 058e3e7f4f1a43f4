#include "song/listening.h"

#include <sendworthy/compare.h>

#include <fmt/format.h>

#include <algorithm>
#include <utility>

#include "base/hash.h"
#include "base/table.h"
#include "base/text.h"
#include "sheet/pair_words.h"
#include "sheet/phrases.h"
#include "song/asked.h"

namespace sendworthy {
namespace {

/// "" where it is asked of the whole song.
template <class T>
std::string name_of(const std::optional<std::size_t>& index, const std::vector<T>& all) {
  return index ? all[*index].name : std::string();
}

}  // namespace

namespace song {
namespace {

/// As the plan has it: read_plan puts its folder in front.
std::string as_in_plan(const Plan& plan) {
  const auto folder = base::folder_of(plan.path);
  return !folder.empty() && plan.mix.starts_with(folder) && plan.mix.size() > folder.size() ? plan.mix.substr(folder.size()) : plan.mix;
}

/// Numbers of the last pass on that bounce that kept any.
const Snapshot* kept_of(const Passes& passes, const std::string& audio) {
  const Snapshot* kept = nullptr;
  for (const auto& line : passes.lines) {
    if (line.question.empty() && line.answer.audio == audio) kept = &line.measured;
  }
  return kept;
}

Open open_of(const PassLine* now, const std::optional<ListeningAnswer>& last, const std::string& audio) {
  if (now != nullptr) return now->answer.answer == Answer::tweak ? Open::tweak : Open::skipped;
  if (!last) return Open::never_asked;
  return last->audio != audio ? Open::mix_changed : Open::new_pass;
}

void settle(ListeningQuestion& asked, const Passes& passes, const ListeningState& state, const std::string& digest) {
  const PassLine* now = nullptr;
  for (const auto& line : passes.lines) {
    if (line.question != asked.id) continue;
    asked.last = line.answer;
    if (line.answer.audio == state.audio && line.answer.pass == state.pass) now = &line;
  }
  if (now != nullptr && now->question_digest != digest) {
    asked.open = Open::question_changed;
  } else if (now == nullptr || now->answer.answer != Answer::holds) {
    asked.open = open_of(now, asked.last, state.audio);
  }
}

std::vector<std::string> edits_in(const Section& section, const ListeningChange& change) {
  std::vector<std::string> words;
  for (const auto& edit : change.pair.edits) {
    if (edit.new_start_s < section.end_s.value_or(edit.new_start_s + 1) && edit.new_end_s >= section.start_s) words.push_back(sheet::words_of(edit));
  }
  return words;
}

/// 0: moved; 1: to be tweaked on the bounce before; 2: the rest.
int rank_of(const ListeningQuestion& asked, const ListeningState& state) {
  if (!asked.moved.empty()) return 0;
  return asked.last && asked.last->audio == state.before_audio && asked.last->answer == Answer::tweak ? 1 : 2;
}

}  // namespace

std::string digest_of(const Plan& plan, const Question& question) {
  base::Hash128 hash;
  const auto add = [&](std::string_view text) {
    hash.add(text);
    hash.add(std::string_view("\0", 1));
  };
  add(question.text);
  add(to_string(question.heard));
  add(name_of(question.section, plan.sections));
  add(name_of(question.stem, plan.stems));
  return "xxh128:" + hash.hex();
}

ListeningState state_of(const Plan& plan, const Passes& passes, const std::string& audio, const Sheet* measured, const ListeningChange* change) {
  ListeningState state{.plan = plan.path, .passes = passes_path(plan.path), .title = plan.title, .artist = plan.artist, .feeling = plan.feeling,
                       .approach = plan.approach, .mix = as_in_plan(plan), .audio = audio};
  int highest = 0;
  for (const auto& line : passes.lines) {
    const auto& one = line.answer;
    highest = std::max(highest, one.pass);
    if (one.audio == audio) {
      state.pass = std::max(state.pass, one.pass);
    } else {
      state.before_audio = one.audio;
      state.before_pass = one.pass;
    }
  }
  state.next_pass = std::min(highest + 1, kMostPasses);
  for (const auto& line : passes.lines) {
    if (state.pass == 0 || (line.answer.audio == audio && line.answer.pass == state.pass)) {
      state.date = line.answer.date;
      state.by = line.answer.by;
    }
  }
  if (passes.lost > 0) state.remark = sheet::plural(passes.lost, "line of the passes file was", "lines of the passes file were") + " cut off and does not count";
  if (passes.lost > 1) state.remark.replace(state.remark.rfind("does not"), 8, "do not");

  const auto* before = measured != nullptr && !state.before_audio.empty() ? kept_of(passes, state.before_audio) : nullptr;
  const auto now = before != nullptr ? snapshot_of(*measured) : Snapshot{};
  for (const auto& question : plan.questions) {
    ListeningQuestion asked{.id = question.id, .text = question.text, .heard = std::string(to_string(question.heard)),
                            .section = name_of(question.section, plan.sections), .stem = name_of(question.stem, plan.stems), .how = how_to_hear(plan, question.heard),
                            .open = {}, .last = {}, .findings = findings_of(plan, question), .places = places_of(plan, question, measured), .moved = {}};
    settle(asked, passes, state, digest_of(plan, question));
    if (before != nullptr) asked.moved = moved_for(plan, question, *before, now);
    if (measured != nullptr) asked.numbers = numbers_for(plan, question, *measured);
    if (change != nullptr && question.section) {
      for (auto& words : edits_in(plan.sections[*question.section], *change)) asked.moved.push_back(std::move(words));
    }
    state.questions.push_back(std::move(asked));
  }
  for (const auto& section : plan.sections) {
    auto words = before != nullptr ? moved_in_section(section.name, *before, now) : std::vector<std::string>();
    if (change != nullptr) {
      for (auto& edit : edits_in(section, *change)) words.push_back(std::move(edit));
    }
    if (!words.empty()) state.moves.push_back({section.name, std::move(words)});
  }
  if (before != nullptr) {
    if (auto words = moved_in_song(plan, *before, now); !words.empty()) state.moves.push_back({"", std::move(words)});
  }
  if (measured != nullptr) state.unasked = unasked_of(plan, *measured, before, now);
  std::ranges::stable_sort(state.questions, {}, [&](const ListeningQuestion& one) { return rank_of(one, state); });
  state.complete = !state.questions.empty() && std::ranges::none_of(state.questions, [](const ListeningQuestion& one) { return one.open.has_value(); });
  return state;
}

Finding listening_finding(const Plan& plan, const std::string& audio) {
  constexpr std::string_view kId = "listening-pass";
  const std::vector<std::string> files{plan.mix};
  if (plan.questions.empty()) return not_stated(kId, plan.severities, "[[question]]", files);
  if (audio.empty()) return unmeasured(kId, plan.severities, "the mix could not be read", files);
  const auto passes = read_passes(passes_path(plan.path));
  if (!passes) return unmeasured(kId, plan.severities, base::for_terminal(to_string(passes.error())), files, "Put the passes file right, then check again.");
  const auto state = state_of(plan, *passes, audio, nullptr, nullptr);
  const auto total = state.questions.size();
  const auto who = fmt::format("pass {}, {}, {}", state.pass, state.date, base::for_terminal(state.by));
  if (state.complete) return passed(kId, fmt::format("{} hold ({})", sheet::plural(static_cast<std::int64_t>(total), "question", "questions"), who), files);
  if (state.pass == 0) {
    return faulted(kId, plan.severities, state.before_audio.empty() ? "nobody has listened yet" : fmt::format("nobody has listened to this bounce; pass {} was on another one", state.before_pass), files);
  }
  std::string open;
  std::int64_t count = 0;
  for (const auto& one : state.questions) {
    if (!one.open) continue;
    constexpr std::int64_t kMostNamed = 5;
    if (++count <= kMostNamed) open += fmt::format("{}{} ({})", open.empty() ? "" : ", ", one.id, to_string(*one.open));
    if (count == kMostNamed + 1) open += ", …";
  }
  return faulted(kId, plan.severities, fmt::format("{} of {} questions open: {} ({})", count, total, open, who), files);
}

}  // namespace song

std::string_view to_string(Answer answer) {
  switch (answer) {
    case Answer::holds: return "holds";
    case Answer::tweak: return "tweak";
    case Answer::skip: break;
  }
  return "skip";
}

std::string_view to_string(Open open) {
  switch (open) {
    case Open::never_asked: return "never asked";
    case Open::skipped: return "skipped";
    case Open::tweak: return "tweak";
    case Open::mix_changed: return "mix changed since";
    case Open::question_changed: return "question changed since";
    case Open::new_pass: break;
  }
  return "not yet in this pass";
}

std::string passes_path(const std::string& plan_path) { return plan_path + ".passes.jsonl"; }

Result<std::string> mix_digest(const std::string& plan_path, const CheckHooks& hooks) {
  const auto plan = song::read_plan(plan_path);
  if (!plan) return tl::unexpected(plan.error());
  CheckOptions options;
  options.judge = false;
  // One cheap reading is asked for: the digest comes with any.
  const auto sheet = check_items({{plan->mix, "", {}, {"sample_peak"}}}, {}, options, hooks);
  const auto& mix = sheet.files.front();
  if (mix.error) return tl::unexpected(*mix.error);
  if (mix.audio_digest.empty())
    return fail(ErrorCode::no_audio, "cannot read the sound of \"" + base::for_terminal(plan->mix) + "\": there is no decoder for it here; bounce it as WAV");
  return mix.audio_digest;
}

Result<ListeningState> listening_state(const std::string& plan_path, const std::string& audio, const Sheet* measured, const ListeningChange* change) {
  const auto plan = song::read_plan(plan_path);
  if (!plan) return tl::unexpected(plan.error());
  if (plan->questions.empty())
    return fail(ErrorCode::rules, "the plan asks nothing; add [[question]] tables with id and text, or take those that \"sendworthy plan new\" writes", {plan_path, 0, 0});
  const auto passes = song::read_passes(passes_path(plan_path));
  if (!passes) return tl::unexpected(passes.error());
  return song::state_of(*plan, *passes, audio, measured, change);
}

Result<std::optional<ListeningChange>> listening_change(const std::string& plan_path, const ListeningState& state, const CheckOptions& options,
                                                        const CheckHooks& hooks) {
  const auto plan = song::read_plan(plan_path);
  if (!plan || plan->previous.empty() || state.before_audio.empty()) return std::optional<ListeningChange>();
  auto unjudged = options;
  unjudged.judge = false;
  // Whether it is that bounce costs less than the comparison.
  const auto previous = check_items({{plan->previous, "", {}, {"sample_peak"}}}, {}, unjudged, {{}, {}, hooks.stop, nullptr});
  const auto& file = previous.files.front();
  if (file.error) return tl::unexpected(*file.error);
  if (file.audio_digest != state.before_audio) return fail(ErrorCode::usage, fmt::format("\"{}\" is not the bounce of pass {}", base::for_terminal(plan->previous), state.before_pass));
  auto sheet = compare_files(plan->previous, plan->mix, {}, unjudged, hooks);
  if (sheet.pairs.empty()) return std::optional<ListeningChange>();
  auto summary = sheet::summary_of(sheet.pairs.front());
  return std::optional(ListeningChange{std::move(sheet.pairs.front()), std::move(summary)});
}

Result<void> record_answer(const ListeningState& state, const std::string& question, const ListeningAnswer& answer, const Sheet* measured) {
  const auto plan = song::read_plan(state.plan);
  if (!plan) return tl::unexpected(plan.error());
  const auto asked = std::ranges::find(plan->questions, question, &song::Question::id);
  // Whoever answered was shown what the state has.
  const auto shown = std::ranges::find(state.questions, question, &ListeningQuestion::id);
  const bool same = asked != plan->questions.end() && shown != state.questions.end() && asked->text == shown->text && to_string(asked->heard) == shown->heard &&
                    name_of(asked->section, plan->sections) == shown->section && name_of(asked->stem, plan->stems) == shown->stem;
  if (!same)
    return fail(ErrorCode::usage, "the plan has changed while it was asked; nothing was written: begin again");
  song::PassLine line{answer, question, song::digest_of(*plan, *asked), {}};
  line.answer.mix = state.mix;
  line.answer.audio = state.audio;
  if (const auto fault = song::fault_of(line); !fault.empty()) return fail(ErrorCode::usage, "this answer cannot be kept: " + fault);
  // Lines that hold such signs are read, since earlier versions wrote them.
  if (base::for_terminal(answer.by) != answer.by)
    return fail(ErrorCode::usage, "this answer cannot be kept: \"by\" holds a sign that cannot be seen, or no UTF-8; write initials");
  const auto passes = song::read_passes(state.passes);
  if (!passes) return tl::unexpected(passes.error());
  if (passes->lines.size() + 4 > song::kMostPassesLines)
    return fail(ErrorCode::output, fmt::format("cannot write \"{}\": it would have more than {} lines; move it away to begin a new one", base::for_terminal(state.passes), song::kMostPassesLines));
  std::string lines;
  const bool begun = std::ranges::any_of(passes->lines, [&](const song::PassLine& one) {
    return one.question.empty() && one.answer.pass == answer.pass && one.answer.audio == state.audio;
  });
  if (!begun) {
    song::PassLine beginning{line.answer, "", "", measured != nullptr ? song::snapshot_of(*measured) : song::Snapshot{}};
    lines = written(beginning);
    if (lines.size() > song::kLongestPassesLine) {  // of hundreds of sections with the longest of names
      beginning.measured.clear();
      lines = written(beginning);
    }
  }
  return song::append_passes(state.passes, lines + written(line));
}

}  // namespace sendworthy
