#include "song/new_plan.h"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdint>
#include <filesystem>
#include <set>
#include <utility>

#include "base/text.h"
#include "measure/name_checks.h"

namespace sendworthy::song {
namespace {

using base::toml_text;

constexpr std::size_t kLongestName = 200;

/// For a song without vocals.
constexpr std::string_view kSame = "the same", kVeryQuiet = "Very quietly: are the leading part, snare and kick still there, and does nothing poke out?";
constexpr std::array<StandardQuestion, 12> kQuestions{{
    {"feeling", "Does it make you feel what the plan says, and does the mix serve that the way the plan says?", Heard::full, kSame},
    {"biggest-section", "Is the biggest section the biggest, and does the song climb to it?", Heard::full, kSame},
    {"percussion", "Do drums and percussion carry the biggest section, and are they out of the way elsewhere?", Heard::full, kSame},
    {"vocal-placement", "Is the lead vocal where it belongs in every section, and is every word understood?", Heard::full, ""},
    {"vocal-quality", "Is the lead vocal free of harsh esses, pops, noise and edits that show?", Heard::full, ""},
    {"priorities", "Is what matters most heard at any time, with nothing less important in front of it?", Heard::full, kSame},
    {"backing-vocals", "Do the backing vocals support the lead without taking its place, and are they heard?", Heard::full, ""},
    {"dynamics", "Do quiet parts get quiet and loud parts loud, and does every move of the automation sound meant?", Heard::full, kSame},
    {"effects", "Do reverbs and delays give room and depth without blurring, and does none ring on where it should not?", Heard::full, kSame},
    {"very-quiet", "Very quietly: are vocal, snare and kick still there, and does nothing poke out?", Heard::quiet, kVeryQuiet},
    {"lows", "Below 100 Hz alone: does the kick hit, is the bass steady, and do both keep out of each other's way?", Heard::lows, kSame},
    {"whole", "From the first second to the last: is there anything that you would still change?", Heard::full, kSame},
}};

/// One line, at most so many characters, and something in it.
std::string one_line(std::string_view text, std::size_t characters = kLongestName) {
  std::string line;
  std::size_t count = 0;
  const auto shown = base::for_terminal(text);
  for (const auto& point : base::code_points(shown)) {
    if (++count > characters) break;
    line += point.bytes;
  }
  return line;
}

std::string comment(std::string_view text) { return text.empty() ? std::string() : "    # " + one_line(text, 400); }

/// Whether a path stands in TOML, and is read again, as what it is; "." and what ends in a slash are no files.
bool can_stand(std::string_view path) {
  const auto name = measure::file_name_of(path);
  if (name.empty() || name == "." || name == "..") return false;
  const auto points = base::code_points(path);
  return std::ranges::all_of(points, [](const base::CodePoint& one) { return one.valid && one.code >= ' '; });
}

/// `wanted`, or with a number behind it where it is taken.
std::string free_name(std::string wanted, std::set<std::string, std::less<>>& taken) {
  auto name = wanted;
  for (int n = 2; !taken.insert(name).second; ++n) name = one_line(wanted, kLongestName - 8) + " " + std::to_string(n);
  return name;
}

std::string stem_name(std::string_view file) {
  std::string name(measure::stem_of(measure::file_name_of(file)));
  std::ranges::replace(name, '_', ' ');
  const auto first = name.find_first_not_of(' ');
  if (first == std::string::npos) return "stem";
  return one_line(std::string_view(name).substr(first, name.find_last_not_of(' ') + 1 - first));
}

class Writer {
 public:
  explicit Writer(const PlanDraft& draft) : draft_(draft) {}

  std::string text() {
    song();
    sections();
    stems();
    wishes();
    questions();
    return std::move(text_);
  }

 private:
  void line(std::string_view words) { text_.append(words).append("\n"); }

  void song() {
    line("# The song plan. What was found and measured stands behind a #, for you to take or to leave: what is meant is not guessed.");
    line("# Take a # away, and what stands behind it is meant: a number that was measured has room, so that this mix keeps it; the others");
    line("# are customary. What stays empty is not stated, and what stands on it is not measured. Paths are read from where this file lies.");
    line("");
    line("[song]");
    line("title = " + toml_text(one_line(draft_.title)));
    line("artist = " + toml_text(one_line(draft_.artist)));
    line("feeling = \"\"                 # what a listener should feel");
    line("approach = \"\"                # how the mix serves it");
    const bool whole = can_stand(draft_.mix);
    line("mix = " + toml_text(whole ? draft_.mix : "mix" + base::for_terminal(draft_.mix)) +
         (whole ? "" : "    # its path cannot stand here as it is: rename the file, and write it down"));
    line("# previous = \"\"              # the bounce before");
  }

  void sections() {
    auto found = draft_.sections;
    std::erase_if(found, [](const auto& one) { return !std::isfinite(one.start_s) || !std::isfinite(one.end_s); });
    std::ranges::stable_sort(found, {}, &PlanDraft::Section::start_s);
    line("");
    line("# Sections: seconds or \"m:ss.s\". Give them the names that you use; without an end one lasts until the next begins.");
    line("# Mark the one that is meant to be the biggest with biggest = true, and the quietest with quietest = true.");
    std::set<std::string, std::less<>> taken;
    std::int64_t last_ms = 0;
    for (const auto& one : found) {
      constexpr double kLongest = 86399;  // seconds
      const auto start_ms = std::max(last_ms, static_cast<std::int64_t>(std::llround(std::clamp(one.start_s, 0.0, kLongest) * 1000)));
      const auto end_ms = static_cast<std::int64_t>(std::llround(std::clamp(one.end_s, 0.0, kLongest) * 1000));
      if (end_ms <= start_ms || taken.size() >= kMostSections) continue;
      last_ms = end_ms;
      const auto name = one_line(one.name);
      line("\n[[section]]");
      const bool unnamed = name.find_first_not_of(' ') == std::string::npos;
      line("name = " + toml_text(free_name(unnamed ? fmt::format("section {}", taken.size() + 1) : name, taken)) +
           comment(one.letter.empty() ? std::string() : "sounds like the others with the letter " + one.letter));
      line(fmt::format("start = \"{}\"{}", base::clock_time(static_cast<double>(start_ms) / 1000), comment(one.guess)));
      line(fmt::format("end = \"{}\"", base::clock_time(static_cast<double>(end_ms) / 1000)));
      if (one.loudest) line("# biggest = true             # a guess: it is the loudest");
      if (one.softest) line("# quietest = true            # a guess: it is the softest that is neither a fade, nor all but silent, nor shorter than 4 s");
    }
  }

  void stems() {
    line("");
    line("# Stems: everything that adds up to the mix. The role is guessed from the name; known are");
    std::string all;
    for (const auto role : roles()) all += (all.empty() ? "" : ", ") + std::string(to_string(role));
    line("#   " + all);
    line("# Give a priority of 1 to what matters most, 2 to what comes next; parts that matter equally may share one.");
    if (draft_.stems.empty()) {
      line("\n# [[stem]]\n# name = \"lead vocal\"\n# file = \"stems/lead vocal.wav\"\n# role = \"lead vocal\"\n# priority = 1");
      return;
    }
    std::set<std::string, std::less<>> taken, files{normal(draft_.mix)};
    for (const auto& one : draft_.stems) {
      const auto trouble = !can_stand(one.file)                          ? std::string("its path cannot stand here as it is: rename the file")
                           : files.contains(normal(one.file))            ? std::string("it is the mix, or stands here already")
                           : taken.size() >= kMostStems                  ? fmt::format("a plan has at most {} stems: add parts up into fewer files", kMostStems)
                                                                         : std::string();
      if (!trouble.empty()) {
        line("\n# left out: " + one_line(one.file, 400) + "; " + trouble);
        continue;
      }
      files.insert(normal(one.file));
      line("\n[[stem]]");
      line("name = " + toml_text(free_name(stem_name(one.file), taken)) + comment(one.guess));
      line("file = " + toml_text(one.file));
      line(fmt::format("role = \"{}\"{}", to_string(one.role.value_or(Role::other)), one.role ? "" : "    # its name does not tell"));
      if (one.priority) line(fmt::format("{:<28} # a guess by role", fmt::format("# priority = {}", *one.priority)));
    }
    constexpr std::size_t kNamed = 20;
    if (!draft_.below.empty()) line("");
    for (std::size_t i = 0; i < std::min(kNamed, draft_.below.size()); ++i) line("# left out: " + one_line(draft_.below[i], 400) + "; it lies in a folder within that of the stems, which was not searched");
    if (draft_.below.size() > kNamed) line(fmt::format("# left out: {} more in such folders", draft_.below.size() - kNamed));
  }

  static std::string normal(const std::string& path) { return std::filesystem::path(path).lexically_normal().string(); }

  /// `customary`: the line where nothing was measured.
  void key(std::string_view table, std::string_view key, std::string_view customary, std::string_view meaning) {
    const auto found = draft_.guesses.find(fmt::format("{}.{}", table, key));
    if (found == draft_.guesses.end()) return put(customary, fmt::format("{}; customary, not measured", meaning));
    const auto& guess = found->second;
    put(guess.value.empty() ? std::string(customary) : fmt::format("# {} = {}", key, one_line(guess.value)), fmt::format("{}{}; {}", meaning, guess.value.empty() ? ", customary" : "", one_line(guess.measured, 400)));
  }
  void put(std::string_view words, std::string_view meaning) { line(fmt::format("{:<28} # {}", words, meaning)); }

  void vocals() {
    line("\n[vocal]");
    key("vocal", "above_band", "# above_band = [-1.0, 2.0]", "LU of the lead vocal over all else");
    put("sections = {}", "in place of it by section: { \"section 1\" = [0.0, 3.0] }");
    line("\n[backing]");
    key("backing", "under_lead", "# under_lead = [4.0, 9.0]", "LU of the backing vocals under the lead");
  }

  void wishes() {
    if (draft_.without_vocals) {
      line("\n# The stems are all of the mix, and none is a vocal: [vocal], [backing] and the questions on vocals are left out.");
    } else {
      vocals();
    }
    line("\n[dynamics]");
    key("dynamics", "quiet_to_loud", "# quiet_to_loud = 6", "LU at least, from the quietest section to the biggest");
    key("dynamics", "biggest_margin", "# biggest_margin = 0.5", "LU at least, from the next section to the biggest");
    key("dynamics", "movement", "# movement = 1", "dB at least that each part moves between sections");
    line("\n[low_end]");
    put("below_hz = 100", "where the low end ends, 40 to 250");
    const auto lowest = draft_.guesses.find("low_end.lowest");
    put(lowest == draft_.guesses.end() || lowest->second.value.empty() ? std::string("lowest = \"\"") : "# lowest = " + one_line(lowest->second.value),
        "\"kick\" or \"bass\": what is meant to reach lower" + (lowest == draft_.guesses.end() ? std::string() : "; " + one_line(lowest->second.measured, 400)));
    key("low_end", "kick_over_bass", "# kick_over_bass = 3", "dB at least, when the kick hits");
    key("low_end", "bass_steadiness", "# bass_steadiness = 6", "dB at most, from its soft notes to its loud ones");
    line("\n[masking]");
    key("masking", "most", "# most = 30", "% at most of a part that what matters less may cover");
    line("\n[quiet]");
    put("level_db_spl = 45", "the very quiet pass; customary");
    put("reference_db_spl = 78", "the level at which you mix; customary");
    put("small_speaker = true", "also as from a small loudspeaker");
    key("quiet", "moved", "moved = 6", "dB by which a part may move against the others");
    line("\n# Music of your own to hold beside it, never judged:");
    line("# [[reference]]\n# file = \"\"");
  }

  void questions() {
    line("\n# What is asked. Change the words, add your own, narrow one down with section = \"…\" or stem = \"…\".");
    for (const auto& one : kQuestions) {
      if (draft_.without_vocals && one.without_vocals.empty()) continue;
      if (const auto absent = absent_of(one.id); !absent.empty()) {
        line(fmt::format("\n# The stems are all of the mix, and none is {}: \"{}\" is left out.", absent, one.id));
        continue;
      }
      line("\n[[question]]");
      line(fmt::format("id = \"{}\"", one.id));
      line("text = " + toml_text(draft_.without_vocals && one.without_vocals != kSame ? one.without_vocals : one.text));
      if (one.heard != Heard::full) line(fmt::format("heard = \"{}\"", to_string(one.heard)));
    }
  }

  /// What a question is about and the song has not; "" of others.
  [[nodiscard]] std::string_view absent_of(std::string_view id) const {
    if (id == "backing-vocals" && draft_.without_backing) return "a backing vocal";
    return id == "percussion" && draft_.without_drums ? "kick, snare, drums or percussion" : "";
  }

  const PlanDraft& draft_;
  std::string text_;
};

}  // namespace

std::span<const StandardQuestion> standard_questions() { return kQuestions; }

std::string starting_plan(const PlanDraft& draft) { return Writer(draft).text(); }

}  // namespace sendworthy::song
