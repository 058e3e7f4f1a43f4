#include "cli/listen_talk.h"

#include <sendworthy/catalog.h>

#include <algorithm>
#include <array>
#include <string_view>
#include <utility>

#include "base/lines.h"
#include "base/table.h"
#include "base/text.h"
#include "cli/console.h"
#include "cli/exit_code.h"
#include "cli/options.h"
#include "cli/process.h"
#include "cli/signals.h"
#include "sheet/phrases.h"

namespace sendworthy::cli {
namespace {

enum class Key { holds, tweak, skip, back, quit };
constexpr std::array<std::pair<Key, std::string_view>, 5> kKeys{{{Key::holds, "holds"}, {Key::tweak, "tweak"}, {Key::skip, "skip"}, {Key::back, "back"}, {Key::quit, "quit"}}};
constexpr std::string_view kKeysShown = "h holds, t tweak, s skip, b back, q quit; then Enter";

constexpr std::string_view kNoBreak = "\xc2\xa0";

std::string replaced(std::string_view text, std::string_view what, std::string_view by) {
  std::string out;
  for (std::size_t at = 0; at < text.size();) {
    const auto found = std::min(text.find(what, at), text.size());
    out.append(text.substr(at, found - at));
    if (found < text.size()) out.append(by);
    at = found + what.size();
  }
  return out;
}

/// A number and its unit stay on one line.
std::string with_units_kept(std::string_view text) {
  auto out = std::string(text);
  for (const std::string_view unit : {"h", "s", "ms", "min", "dB", "dBFS", "dBTP", "LU", "LUFS", "Hz", "kHz", "%", "phon"}) {
    for (std::size_t at = 0; (at = out.find(" " + std::string(unit), at)) != out.npos; ++at) {
      const auto behind = at + 1 + unit.size();
      const auto letter = [](char c) { return (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z'); };
      if (at > 0 && out[at - 1] >= '0' && out[at - 1] <= '9' && (behind == out.size() || !letter(out[behind]))) out.replace(at, 1, kNoBreak);
    }
  }
  return out;
}

std::string wrapped(std::string_view text, int indent) {
  const int room = std::max(sheet_columns() - indent, 20);
  std::string out;
  for (const auto& line : base::wrap(with_units_kept(text), room)) out += std::string(static_cast<std::size_t>(indent), ' ') + replaced(line, kNoBreak, " ") + "\n";
  return out;
}

/// "Feeling: …", its further lines under it.
std::string labelled(std::string_view label, std::string_view text) {
  std::string out;
  for (const auto& line : base::lines_for_terminal(text)) out += wrapped((out.empty() ? std::string(label) + ": " : std::string()) + line, out.empty() ? 2 : 4);
  return out;
}

std::string in_quotes(std::string_view text) { return "\"" + base::for_terminal(text) + "\""; }

std::string trimmed(std::string_view text) {
  constexpr std::string_view kSpace = " \t\r";
  const auto first = text.find_first_not_of(kSpace);
  return first == text.npos ? "" : std::string(text.substr(first, text.find_last_not_of(kSpace) + 1 - first));
}

std::string lower(std::string text) {
  for (char& c : text) c = c >= 'A' && c <= 'Z' ? static_cast<char>(c - 'A' + 'a') : c;
  return text;
}

/// Ends the talk from wherever it stands.
struct Ended {
  int code = kExitPass;
};

class Talk {
 public:
  explicit Talk(const Listening& listening) : listening_(listening), state_(listening.state), by_(listening.by) {
    pass_ = song::pass_of_next_answer(state_, listening.again);
  }

  int run() {
    try {
      greet();
      ask_initials();
      order();
      ask_all();
      return finish();
    } catch (const Ended& ended) {
      return ended.code;
    }
  }

 private:
  static void say(const std::string& text) {
    if (const auto written = write_stdout(text); !written) throw Ended{report(written.error(), "")};
  }

  /// Nothing: the input is closed.
  static std::optional<std::string> line(const std::string& prompt) {
    os::forget_typed_ahead();
    say(prompt + "\n> ");
    auto read = os::read_line(stop_flag());
    if (!read) {
      (void)write_stdout("\n");  // a terminal that has gone takes nothing more
      if (read.error().code == ErrorCode::interrupted) read.error().text = "interrupted; what was answered so far is kept";
      throw Ended{report(read.error(), "")};
    }
    return *read ? std::optional(trimmed(**read)) : std::nullopt;
  }

  static bool yes(const std::string& question) {
    for (;;) {
      const auto typed = line(question + " (yes or no; q quit)");
      const auto word = typed ? lower(*typed) : std::string();
      if (!typed || word == "q" || word == "quit") throw Ended{kExitFail};
      if (word == "y" || word == "yes") return true;
      if (word == "n" || word == "no") return false;
    }
  }

  void greet() {
    std::string text = "\n";
    auto name = base::for_terminal(state_.title);
    if (!state_.artist.empty()) name += (name.empty() ? "" : ", ") + base::for_terminal(state_.artist);
    if (!name.empty()) text += wrapped(name, 0);
    text += wrapped("Pass " + std::to_string(pass_) + " on " + in_quotes(state_.mix) + ": " + (listening_.again ? std::to_string(state_.questions.size()) + " questions, all asked again" : standing(state_)) + ".", 0);
    if (!state_.remark.empty()) text += wrapped("Note: " + state_.remark + ".", 0);
    if (state_.pass == 0 && !state_.before_audio.empty()) {
      text += wrapped("This is another bounce than that of pass " + std::to_string(state_.before_pass) + ". A new bounce opens all questions again, whatever changed; those come first whose numbers moved.", 0);
    }
    if (listening_.change) {
      const bool dither = listening_.change->pair.kind == Pair::Kind::dither_only;
      text += wrapped("Against the bounce before: " + std::string(dither ? "dither only. " : "") + base::for_terminal(listening_.change->summary), 0);
      if (dither) text += wrapped("It opens them all the same: no pass is carried over to audio that nobody has heard.", 0);
    } else if (state_.pass == 0 && !state_.before_audio.empty()) {
      const bool moved = std::ranges::any_of(state_.questions, [](const ListeningQuestion& one) { return !one.moved.empty(); });
      if (!moved) text += wrapped("No number that was kept of it moved. Name that bounce as [song] previous to have both held against each other.", 0);
    }
    if (!state_.unasked.empty()) {
      text += "\n" + wrapped("No question belongs to these; keep them in mind:", 0);
      for (const auto& one : state_.unasked) text += wrapped(base::for_terminal(one), 2);
    }
    text += "\nCaution\n";
    for (const auto& one : listening_.cautions) text += wrapped(base::for_terminal(one.text) + " [" + base::for_terminal(one.source) + "]", 2);
    text += wrapped("Turn down before you press play and come up from there; rest your ears for some minutes of each hour. [common practice, no source]", 2);
    say(text);
  }

  void ask_initials() {
    while (base::is_blank(by_)) {
      const bool known = !state_.by.empty();
      const auto typed = line("Your initials, which stand with each answer" + (known ? " (Enter for " + in_quotes(state_.by) + ")" : std::string()));
      if (!typed) throw Ended{kExitFail};
      by_ = typed->empty() && known ? state_.by : base::for_terminal(*typed);
    }
  }

  /// What is asked, and in which order.
  void order() {
    for (const auto& one : state_.questions) {
      if (listening_.again || one.open) asked_.push_back(one.id);
    }
    const auto is_quiet = [&](const std::string& id) { return find(id)->heard == "quiet"; };
    if (listening_.fresh || std::ranges::none_of(asked_, is_quiet) || std::ranges::all_of(asked_, is_quiet)) return;
    if (!yes("Have you listened for more than an hour today, or to anything loud?")) return;
    say(wrapped("Loaded ears hear level and brilliance wrongly, and need rest more than another hour. The very quiet questions ask least of them.", 0));
    if (yes("Begin with those?")) std::stable_partition(asked_.begin(), asked_.end(), is_quiet);
  }

  const ListeningQuestion* find(const std::string& id) const {
    const auto found = std::ranges::find(state_.questions, id, &ListeningQuestion::id);
    return found == state_.questions.end() ? nullptr : &*found;
  }

  /// Another terminal may have answered meanwhile.
  void look_again() {
    auto state = listening_.state_now();
    if (!state) throw Ended{report(state.error(), "")};
    state_ = std::move(*state);
    if (state_.pass > pass_) {
      complain("pass " + std::to_string(state_.pass) + " has been begun elsewhere; begin again to go on with that one");
      throw Ended{kExitFail};
    }
  }

  void ask_all() {
    bool came_back = false;
    for (std::size_t at = 0; at < asked_.size();) {
      look_again();
      const auto* question = find(asked_[at]);
      if (question == nullptr || (!came_back && state_.pass == pass_ && !question->open)) {
        ++at;
        continue;
      }
      const auto key = ask(*question, at);
      came_back = key == Key::back;
      if (key == Key::quit) return;
      if (key != Key::back) {
        ++at;
      } else if (at == 0) {
        say("This is the first question.\n");
      } else {
        --at;
      }
    }
  }

  /// Shows a question until it was answered and the answer is kept, or it is left.
  Key ask(const ListeningQuestion& question, std::size_t at) {
    show(question, at);
    for (;;) {
      const auto typed = line(std::string(kKeysShown));
      if (!typed) return Key::quit;
      const auto word = lower(*typed);
      const auto key = std::ranges::find_if(kKeys, [&](const auto& one) { return !word.empty() && (word == one.second || word == one.second.substr(0, 1)); });
      if (key == kKeys.end()) {
        say(word.empty() ? "Enter alone is no answer.\n" : "That is none of the keys.\n");
        continue;
      }
      if (key->first == Key::back || key->first == Key::quit) return key->first;
      std::string note;
      if (key->first == Key::tweak) {
        const auto said = line("What is to be changed? One line");
        if (!said) return Key::quit;
        if (said->empty()) {
          say("A tweak needs a note; nothing was kept.\n");
          continue;
        }
        note = base::for_terminal(*said);
      }
      if (keep(question, key->first, std::move(note))) return key->first;
    }
  }

  bool keep(const ListeningQuestion& question, Key key, std::string note) {
    if (!listening_.mix_is_the_same()) {
      complain("the mix was written to while you listened, and this answer was not kept: those before it count for the bounce that was measured; begin again for this one");
      throw Ended{kExitFail};
    }
    ListeningAnswer answer;
    answer.pass = pass_;
    answer.date = listening_.date;
    answer.by = by_;
    answer.answer = key == Key::holds ? Answer::holds : key == Key::tweak ? Answer::tweak : Answer::skip;
    answer.note = std::move(note);
    const auto kept = record_answer(state_, question.id, answer, &listening_.measured);
    if (kept) return true;
    // A note that is too long can be typed anew; a file that cannot be written to makes every further answer worthless.
    const int code = report(kept.error(), "");
    if (kept.error().code != ErrorCode::usage || answer.answer != Answer::tweak) throw Ended{code};
    return false;
  }

  void show(const ListeningQuestion& question, std::size_t at) const {
    std::string text = "\n" + wrapped("Question " + std::to_string(at + 1) + " of " + std::to_string(asked_.size()) + " [" + question.id + "]", 0);
    text += wrapped(base::for_terminal(question.text), 2);
    text += labelled("Feeling", state_.feeling.empty() ? "not stated" : state_.feeling);
    text += labelled("Approach", state_.approach.empty() ? "not stated" : state_.approach);
    if (!question.stem.empty()) text += labelled("Stem", base::for_terminal(question.stem));
    if (question.last && question.last->answer != Answer::holds) {
      const auto& last = *question.last;
      text += wrapped("Last time: " + std::string(to_string(last.answer)) + (last.note.empty() ? "" : ", " + in_quotes(last.note)) + " (" + base::for_terminal(last.by) + ", " + last.date + ")", 2);
    }
    for (const auto& one : question.moved) text += wrapped("Moved: " + base::for_terminal(one), 2);
    for (const auto& one : question.numbers) text += wrapped("Measured: " + base::for_terminal(one), 2);
    for (const auto& finding : listening_.measured.findings) {
      if (finding.ruleset != "plan" || std::ranges::find(question.findings, finding.rule) == question.findings.end()) continue;
      text += wrapped("Measured: " + std::string(to_string(finding.status)) + ": " + sheet::headline(finding, catalog()), 2);
    }
    for (const auto& place : question.places) {
      const auto until = place.end_s ? (*place.end_s > place.start_s ? " to " + base::clock_time(*place.end_s, 1) : std::string()) : std::string(" to the end");
      text += wrapped("Listen at: " + base::clock_time(place.start_s, 1) + until + (place.what.empty() ? "" : ", " + base::for_terminal(place.what)), 2);
    }
    text += wrapped("How: " + question.how, 2);
    say(text);
  }

  int finish() {
    look_again();
    // Nothing was answered in a pass that was to begin.
    const bool begun = state_.pass == pass_;
    if (begun && state_.complete) {
      say("\n" + wrapped("Pass " + std::to_string(pass_) + " is complete: " + standing(state_) + ". It stands until the mix changes.", 0));
      return kExitPass;
    }
    say("\n" + (begun ? wrapped("Pass " + std::to_string(pass_) + " stays open: " + standing(state_) + ".", 0) + open_questions(state_) + wrapped("What was answered is kept; run it again to go on.", 0)
                      : wrapped("Nothing was answered, and nothing was written; run it again to begin.", 0)));
    return kExitFail;
  }

  const Listening& listening_;
  ListeningState state_;
  std::string by_;
  int pass_ = 1;
  std::vector<std::string> asked_;
};

}  // namespace

int talk(const Listening& listening) { return Talk(listening).run(); }

std::string open_questions(const ListeningState& state) {
  std::string text;
  for (const auto& one : state.questions) {
    if (!one.open) continue;
    std::string words = one.id + ": " + std::string(to_string(*one.open));
    const bool answered = *one.open == Open::tweak || *one.open == Open::skipped;
    if (answered && one.last) words += (one.last->note.empty() ? "" : ", " + in_quotes(one.last->note)) + " (" + base::for_terminal(one.last->by) + ", " + one.last->date + ")";
    text += wrapped(words, 2);
  }
  return text;
}

std::string standing(const ListeningState& state) {
  const auto holding = std::ranges::count_if(state.questions, [](const ListeningQuestion& one) { return !one.open; });
  auto text = std::to_string(holding) + " of " + std::to_string(state.questions.size()) + " questions hold";
  if (state.pass > 0) text += " (pass " + std::to_string(state.pass) + ", " + state.date + ", " + base::for_terminal(state.by) + ")";
  return text;
}

}  // namespace sendworthy::cli
