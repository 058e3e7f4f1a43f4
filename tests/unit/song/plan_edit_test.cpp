// Plans edited: the value that was meant is there afterwards, and every other byte is as it was.
#include <doctest/doctest.h>

#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "song/new_plan.h"
#include "song/plan_edit.h"

using namespace sendworthy;
using namespace sendworthy::song;

namespace {

std::string edited(std::string_view text, const std::vector<PlanEdit>& edits) {
  const auto after = edit_plan(text, edits);
  REQUIRE_MESSAGE(after, to_string(after.error()) << "\n" << text);
  return *after;
}

std::string refused(std::string_view text, const std::vector<PlanEdit>& edits) {
  const auto after = edit_plan(text, edits);
  REQUIRE_FALSE_MESSAGE(after, *after);
  return after.error().text;
}

Plan plan_of(std::string_view text) {
  auto plan = parse_plan(text, "");
  REQUIRE_MESSAGE(plan, to_string(plan.error()) << "\n" << text);
  return std::move(*plan);
}

SetKey set(std::string key, std::string to) { return {std::move(key), std::move(to)}; }
SetKey set(std::string key, const char* to) { return {std::move(key), std::string(to)}; }
SetKey set(std::string key, double to) { return {std::move(key), to}; }
SetKey set(std::string key, Range to) { return {std::move(key), to}; }
SetKey set(std::string key, bool to) { return {std::move(key), to}; }
SetKey unset(std::string key) { return {std::move(key), {}}; }

/// The text with one part in place of another, which stands there once.
std::string with(std::string text, std::string_view from, std::string_view to) {
  const auto at = text.find(from);
  REQUIRE_MESSAGE(at != std::string::npos, from);
  REQUIRE(text.find(from, at + 1) == std::string::npos);
  return text.replace(at, from.size(), to);
}

std::string crlf(const std::string& text) {
  std::string out;
  for (const char c : text) out += c == '\n' ? "\r\n" : std::string(1, c);
  return out;
}

bool contains(const std::string& text, const std::string& part) { return text.find(part) != std::string::npos; }

std::vector<WantedSection> sections_of(std::string_view text) {
  std::vector<WantedSection> sections;
  for (const auto& one : plan_of(text).sections)
    sections.push_back({sections.size(), one.name, one.start_s, one.own_end ? one.end_s : std::nullopt, one.biggest, one.quietest});
  return sections;
}

const std::string kPlan = R"(# What it is meant to be.
[song]
title = "Lamps"          # for now
feeling = '''coming
home'''                  # what a listener should feel
  artist = 'The "Example" Tides'
mix = "mix.wav"
# previous = ""          # the bounce before

# Sections, as they come.

# quiet, on purpose
[[section]]
name = "verse 1"   # alone
start = 0
# quietest = true        # a guess

[[section]]
name = "chorus 1"
start = "0:43.500"       # where the drums come in
end = "1:12"
biggest = true

# Stems.
[[stem]]
name = "lead"
file = "lead.wav"
role = "lead vocal"
# priority = 1           # a guess by role
[[stem]]
name = "gtr"
file = "gtr.wav"
role = "guitar"
priority = 2   # for now

[vocal]
above_band = [           # LU
  -1.0,                  # at least
  2.0,                   # at most
]
sections = { "chorus 1" = [0.0, 3.0], "verse 1" = [] }

[dynamics]
# quiet_to_loud = 6      # LU at least
# movement = 1           # dB at least

[quiet]
level_db_spl = 45        # very quiet
moved = 6

[[question]]
id = "level"
text = "Is it loud?"
section = "chorus 1"     # the big one
stem = "lead"
)";

}  // namespace

TEST_CASE("a value is set where it stands, and the comment behind it stays") {
  CHECK(edited(kPlan, {set("song.title", "Lamps \"again\"")}) == with(kPlan, "\"Lamps\" ", "\"Lamps \\\"again\\\"\" "));
  CHECK(edited(kPlan, {set("song.artist", "x")}) == with(kPlan, "'The \"Example\" Tides'", "\"x\""));
  CHECK(edited(kPlan, {set("song.feeling", "late\nand wet")}) == with(kPlan, "'''coming\nhome'''", "\"\"\"\nlate\nand wet\"\"\""));
  CHECK(edited(kPlan, {set("quiet.level_db_spl", 47.5)}) == with(kPlan, "level_db_spl = 45 ", "level_db_spl = 47.5 "));
  CHECK(edited(kPlan, {set("vocal.above_band", Range{-2, 0.5})}) == with(with(kPlan, "2.0,  ", "0.5,  "), "-1.0,", "-2.0,"));
  CHECK(edited(kPlan, {unset("vocal.above_band")}) == with(with(kPlan, "-1.0,", ""), "2.0,  ", "  "));
  CHECK(edited(edited(kPlan, {unset("vocal.above_band")}), {set("vocal.above_band", Range{1, 2})}) == with(with(with(kPlan, "-1.0,", ""), "2.0,  ", "  "), "= [  ", "= [1.0, 2.0  "));
}

TEST_CASE("what is there already changes nothing") {
  CHECK(edited(kPlan, {}) == kPlan);
  CHECK(edited(kPlan, {set("song.title", "Lamps"), set("song.feeling", "coming\nhome"), set("vocal.above_band", Range{-1, 2}), set("quiet.small_speaker", true),
                       set("low_end.lowest", ""), set("low_end.below_hz", 100.0), set("song.previous", ""), set("song.mix", "./mix.wav"), unset("masking.most"), set("song.approach", " \n"),
                       SetSections{sections_of(kPlan)}, SetStems{{{"gtr", Role::guitar, std::optional(2)}, {"lead", {}, std::optional<int>()}}},
                       SetQuestion{"level", {"Is it loud?", "chorus 1", "lead", Heard::full}}}) == kPlan);
}

TEST_CASE("a key that is missing comes below the comment that waits for it, else at the end of its table, else in a table of its own") {
  CHECK(edited(kPlan, {set("song.previous", "mix 6.wav")}) == with(kPlan, "# the bounce before\n", "# the bounce before\nprevious = \"mix 6.wav\"\n"));
  CHECK(edited(kPlan, {set("dynamics.quiet_to_loud", 5.0)}) == with(kPlan, "# LU at least\n", "# LU at least\nquiet_to_loud = 5\n"));
  CHECK(edited(kPlan, {set("dynamics.biggest_margin", 0.5)}) == with(kPlan, "[dynamics]\n", "[dynamics]\nbiggest_margin = 0.5\n"));
  CHECK(edited(kPlan, {set("quiet.small_speaker", false)}) == with(kPlan, "moved = 6\n", "moved = 6\nsmall_speaker = false\n"));
  CHECK(edited(kPlan, {set("song.approach", "near")}) == with(kPlan, "mix = \"mix.wav\"\n", "mix = \"mix.wav\"\napproach = \"near\"\n"));
  CHECK(edited(kPlan, {set("low_end.lowest", "kick")}) == kPlan + "\n[low_end]\nlowest = \"kick\"\n");
  CHECK(edited("[song]\nmix = \"m\"", {set("masking.most", 30.0)}) == "[song]\nmix = \"m\"\n\n[masking]\nmost = 30\n");
  CHECK(edited("[song]\nmix = \"m\"", {set("song.title", "x")}) == "[song]\nmix = \"m\"\ntitle = \"x\"");
  CHECK(edited("  [song]\n\t mix = \"m\" # \xE2\x80\xA6\n", {set("song.title", "x")}) == "  [song]\n\t mix = \"m\" # \xE2\x80\xA6\n\t title = \"x\"\n");
  CHECK(edited("[song]\nmix = \"m\"\n[quiet]\n# moved = 3\n[low_end]\n", {set("quiet.moved", 2.0)}) == "[song]\nmix = \"m\"\n[quiet]\n# moved = 3\nmoved = 2\n[low_end]\n");
  CHECK(edited("[song]\nmix = \"m\"\n[quiet]\n# bass and kick\n[low_end]\n", {set("quiet.moved", 2.0)}) == "[song]\nmix = \"m\"\n[quiet]\nmoved = 2\n# bass and kick\n[low_end]\n");
}

TEST_CASE("a value that is taken away is empty where it can be; else its line goes, or stays as a comment where one explained it") {
  CHECK(edited(kPlan, {unset("song.title")}) == with(kPlan, "\"Lamps\" ", "\"\" "));
  CHECK(edited(kPlan, {unset("quiet.moved")}) == with(kPlan, "moved = 6\n", ""));
  CHECK(edited(kPlan, {unset("quiet.level_db_spl")}) == with(kPlan, "level_db_spl = 45 ", "# level_db_spl = 45 "));
  CHECK(edited(kPlan, {set("dynamics.movement", 2.0), unset("dynamics.movement")}) == kPlan);
  CHECK(contains(refused(kPlan, {unset("song.mix")}), "[song] needs a mix"));
}

TEST_CASE("dotted keys, inline tables, quoted keys, a mark at the start and lines that end in CR LF are edited as they are") {
  const std::string dotted = "song.mix = \"m\" # a\nsong.\"title\" = 'x'\n[vocal]\nsections.\"verse 1\" = [1, 2]\n[[section]]\n'name' = \"verse 1\"\nstart = 3\n";
  CHECK(edited(dotted, {set("song.title", "y"), set("song.artist", "z")}) == with(dotted, "'x'\n", "\"y\"\nsong.artist = \"z\"\n"));
  CHECK(edited(dotted, {set("vocal.above_band", Range{0, 1})}) == with(dotted, "[1, 2]\n", "[1, 2]\nabove_band = [0.0, 1.0]\n"));
  auto sections = sections_of(dotted);
  sections[0].name = "intro";
  CHECK(edited(dotted, {SetSections{sections}}) == with(with(dotted, "'name' = \"verse 1\"", "'name' = \"intro\""), ".\"verse 1\"", ".\"intro\""));

  const std::string inline_table = "song = { feeling = \"x\", mix = \"m\" } # all\nquiet = {}\n";
  CHECK(edited(inline_table, {set("song.feeling", "a\nb"), set("song.approach", "c\nd"), set("quiet.moved", 3.0)}) ==
        "song = { feeling = \"a\\u000ab\", mix = \"m\", approach = \"c\\u000ad\" } # all\nquiet = { moved = 3 }\n");
  const std::string members = "song = { mix = \"m\" }\nquiet = { moved = 3, small_speaker = false , level_db_spl = 40 }\n";
  CHECK(edited(members, {unset("quiet.moved")}) == with(members, "moved = 3, ", ""));
  CHECK(edited(members, {unset("quiet.small_speaker")}) == with(members, "small_speaker = false , ", ""));
  CHECK(edited(members, {unset("quiet.level_db_spl")}) == with(members, " , level_db_spl = 40", ""));
  CHECK(edited(members, {unset("quiet.level_db_spl"), unset("quiet.moved"), unset("quiet.small_speaker")}) == "song = { mix = \"m\" }\nquiet = {  }\n");

  const std::string marked = "\xEF\xBB\xBF" + kPlan;
  CHECK(edited(marked, {set("song.title", "y")}) == with(marked, "\"Lamps\" ", "\"y\" "));
  const auto ends = crlf(kPlan);
  CHECK(edited(ends, {set("song.feeling", "late\nand wet"), set("song.approach", "x"), set("masking.most", 5.0), unset("quiet.moved")}) ==
        with(with(with(ends, "'''coming\r\nhome'''", "\"\"\"\r\nlate\r\nand wet\"\"\""), "\"mix.wav\"\r\n", "\"mix.wav\"\r\napproach = \"x\"\r\n"), "moved = 6\r\n", "") +
            "\r\n[masking]\r\nmost = 5\r\n");
  CHECK(plan_of(edited(ends, {set("song.feeling", "late\nand wet")})).feeling == "late\nand wet");
}

TEST_CASE("borders are dragged, and written as the plan writes its times") {
  auto sections = sections_of(kPlan);
  sections[0].start_s = 1.2504;
  sections[1].start_s = 44.25;
  sections[1].end_s = 3675.5;
  CHECK(edited(kPlan, {SetSections{sections}}) == with(with(with(kPlan, "start = 0\n", "start = 1.25\n"), "\"0:43.500\"", "\"0:44.250\""), "\"1:12\"", "\"1:01:15.5\""));
  sections = sections_of(kPlan);
  sections[1].end_s.reset();
  sections[0].end_s = 40;
  sections[0].quietest = true;
  CHECK(edited(kPlan, {SetSections{sections}}) == with(with(with(kPlan, "end = \"1:12\"\n", ""), "start = 0\n", "start = 0\nend = 40\n"), "# a guess\n", "# a guess\nquietest = true\n"));
  const std::string hours = "[song]\nmix = \"m\"\n[[section]]\nname = \"a\"\nstart = \"0:00:12\"\nend = \"43.5\"\n";
  sections = sections_of(hours);
  sections[0].start_s = 13;
  sections[0].end_s = 44;
  CHECK(edited(hours, {SetSections{sections}}) == with(with(hours, "0:00:12", "0:00:13"), "43.5", "44"));
}

TEST_CASE("a new name goes to wherever the old one stood") {
  auto sections = sections_of(kPlan);
  sections[1].name = "big";
  const auto text = with(with(kPlan, "name = \"chorus 1\"", "name = \"big\""), "section = \"chorus 1\"  ", "section = \"big\"  ");
  CHECK(edited(kPlan, {SetSections{sections}}) == with(text, "{ \"chorus 1\" =", "{ \"big\" ="));
  std::swap(sections[0].name, sections[1].name);
  sections[0].name = "chorus 1";
  sections[1].name = "verse 1";
  const auto plan = plan_of(edited(kPlan, {SetSections{sections}}));
  CHECK(plan.sections[0].name == "chorus 1");
  CHECK(plan.sections[*plan.questions[0].section].name == "verse 1");
  CHECK_FALSE(plan.sections[0].vocal_lu);
  CHECK(plan.sections[1].vocal_lu == Range{0, 3});
}

TEST_CASE("a section goes with its comments and its vocal range, and new ones come in order of time") {
  auto sections = sections_of(kPlan);
  sections.erase(sections.begin());
  const auto gone = with(with(kPlan, "\n# quiet, on purpose\n[[section]]\nname = \"verse 1\"   # alone\nstart = 0\n# quietest = true        # a guess\n", ""), ", \"verse 1\" = []", "");
  CHECK(edited(kPlan, {SetSections{sections}}) == gone);
  sections = sections_of(kPlan);
  sections.push_back({{}, "break", 90, {}, false, true});
  sections.push_back({{}, "bridge", 72, 80.125, false, false});
  sections.insert(sections.begin(), WantedSection{{}, "verse 2", 20, {}, false, false});
  const std::string verse = "\n[[section]]\nname = \"verse 2\"\nstart = 20\n", bridge = "\n[[section]]\nname = \"bridge\"\nstart = 72\nend = 80.125\n", pause = "\n[[section]]\nname = \"break\"\nstart = 90\nquietest = true\n";
  CHECK(edited(kPlan, {SetSections{sections}}) == with(with(kPlan, "# a guess\n\n[[section]]", "# a guess\n" + verse + "\n[[section]]"), "biggest = true\n", "biggest = true\n" + bridge + pause));
  sections = sections_of(kPlan);
  sections[0].start_s = 5;
  sections.push_back({{}, "count-in", 0, {}, false, false});
  CHECK(edited(kPlan, {SetSections{sections}}) == with(with(kPlan, "start = 0\n", "start = 5\n"), "# quiet, on purpose\n", "[[section]]\nname = \"count-in\"\nstart = 0\n\n# quiet, on purpose\n"));
  const std::string bare = "[song]\nmix = \"m\"\n";
  const auto first = edited(bare, {SetSections{{{{}, "b", 63.5, {}, false, false}, {{}, "a", 0, {}, false, false}}}});
  CHECK(first == bare + "\n[[section]]\nname = \"a\"\nstart = \"0:00\"\n\n[[section]]\nname = \"b\"\nstart = \"1:03.5\"\n");
  CHECK(edited(first, {SetSections{}}) == bare);
  CHECK(edited(first, {SetSections{{{{}, "c", 1, {}, false, false}}}}) == bare + "\n[[section]]\nname = \"c\"\nstart = \"0:01\"\n");
  CHECK(edited(crlf(first), {SetSections{}}) == crlf(bare));
}

TEST_CASE("sections that cannot be are refused, and say why") {
  const auto wants = [](const std::vector<WantedSection>& sections) { return refused(kPlan, {SetSections{sections}}); };
  auto sections = sections_of(kPlan);
  sections.pop_back();
  CHECK(contains(wants(sections), "the question \"level\" asks of it"));
  sections = sections_of(kPlan);
  sections[0].end_s = 50;
  CHECK(contains(wants(sections), "within \"verse 1\""));
  sections = sections_of(kPlan);
  sections[0].name = "chorus 1";
  CHECK(contains(wants(sections), "two sections are called"));
  sections[0].name = " ";
  CHECK(contains(wants(sections), "needs a name"));
  sections[0].name = "a\nb";
  CHECK(contains(wants(sections), "one line"));
  sections = sections_of(kPlan);
  sections[0].biggest = true;
  CHECK(contains(wants(sections), "only one section can be the biggest"));
  sections = sections_of(kPlan);
  sections[0].was = 1;
  CHECK(contains(wants(sections), "taken already"));
  sections[0].was = 2;
  CHECK(contains(wants(sections), "the plan has not"));
  sections = sections_of(kPlan);
  for (const double wrong : {-1.0, 86400.0, 1e300, -1e300, 0.0 / 0.0, 86399.9999}) {
    sections[0].start_s = wrong;
    CHECK(contains(wants(sections), "below 24 hours"));
  }
  const std::string listed = "section = [{ name = \"a\", start = 1 }]\n[song]\nmix = \"m\"\n";
  sections = sections_of(listed);
  sections[0].start_s = 2;
  CHECK(contains(refused(listed, {SetSections{sections}}), "change it in a text editor"));
}

TEST_CASE("stems get their priorities, equal ones too") {
  CHECK(edited(kPlan, {SetStems{{{"lead", {}, std::optional(1)}, {"gtr", {}, std::optional(1)}}}}) ==
        with(with(kPlan, "# a guess by role\n", "# a guess by role\npriority = 1\n"), "priority = 2   # for now", "priority = 1   # for now"));
  CHECK(edited(kPlan, {SetStems{{{"gtr", Role::keys, std::optional<int>()}}}}) == with(with(kPlan, "\"guitar\"", "\"keys\""), "priority = 2   #", "# priority = 2   #"));
  CHECK(contains(refused(kPlan, {SetStems{{{"gtr", {}, std::optional(0)}}}}), "priority is a whole number from 1"));
  CHECK(contains(refused(kPlan, {SetStems{{{"gtr", {}, {}}, {"gtr", {}, {}}}}}), "named twice"));
  CHECK(contains(refused(kPlan, {SetStems{{{"bass", {}, {}}}}}), "no stem called \"bass\""));
}

TEST_CASE("questions are changed, added and removed") {
  CHECK(edited(kPlan, {SetQuestion{"level", {"Is it?", "", {}, Heard::quiet}}}) ==
        with(with(kPlan, "\"Is it loud?\"", "\"Is it?\""), "section = \"chorus 1\"     # the", "# section = \"chorus 1\"     # the") + "heard = \"quiet\"\n");
  CHECK(edited(kPlan, {AddQuestion{"", {"One?", "verse 1", {}, {}}}, AddQuestion{"", {"Two?", {}, "gtr", Heard::mono}}}) ==
        kPlan + "\n[[question]]\nid = \"question-1\"\ntext = \"One?\"\nsection = \"verse 1\"\n\n[[question]]\nid = \"question-2\"\ntext = \"Two?\"\nstem = \"gtr\"\nheard = \"mono\"\n");
  CHECK(edited(kPlan, {RemoveQuestion{"level"}}) == kPlan.substr(0, kPlan.find("\n[[question]]")));
  CHECK(edited("[song]\nmix = \"m\"\n", {AddQuestion{"a", {"One?", {}, {}, {}}}}) == "[song]\nmix = \"m\"\n\n[[question]]\nid = \"a\"\ntext = \"One?\"\n");
  CHECK(contains(refused(kPlan, {AddQuestion{"level", {"One?", {}, {}, {}}}}), "two questions have the id"));
  CHECK(contains(refused(kPlan, {AddQuestion{"", {}}}), "needs a text"));
  CHECK(contains(refused(kPlan, {AddQuestion{"No Id", {"One?", {}, {}, {}}}}), "needs an id"));
  CHECK(contains(refused(kPlan, {SetQuestion{"level", {{}, "outro", {}, {}}}}), "no section called \"outro\""));
  CHECK(contains(refused(kPlan, {RemoveQuestion{"gone"}}), "no question \"gone\""));
}

TEST_CASE("a later edit stands on the earlier ones, and only the end must be right") {
  auto sections = sections_of(kPlan);
  sections.pop_back();
  sections.push_back({{}, "bridge", 50, {}, true, false});
  const auto plan = plan_of(edited(kPlan, {SetQuestion{"level", {{}, "verse 1", {}, {}}}, SetSections{sections}, SetQuestion{"level", {{}, "bridge", {}, {}}}, set("quiet.level_db_spl", 80.0),
                                           set("quiet.reference_db_spl", 85.0)}));
  CHECK(plan.sections.size() == 2);
  CHECK(plan.sections[*plan.questions[0].section].name == "bridge");
  CHECK(plan.quiet.level_db_spl == 80);
  CHECK(contains(refused(kPlan, {set("quiet.level_db_spl", 80.0)}), "must lie below reference_db_spl"));
}

TEST_CASE("edits of the wrong kind, beyond a bound or of an unknown key are refused") {
  for (const auto& edit : {set("song.title", 1.0), set("song.mix", true), set("masking.most", "5"), set("vocal.above_band", 5.0), set("quiet.small_speaker", "true"), set("low_end.lowest", "both"),
                           set("low_end.below_hz", Range{}), set("song.name", "x"), set("vocal.sections", "x"), set("", "x"), set("song", "x"), set("song.title.x", "x"), set(".", "x")})
    CHECK_FALSE(refused(kPlan, {edit}).empty());
  CHECK(contains(refused(kPlan, {set("masking.most", 101.0)}), "between 0 and 100"));
  CHECK(contains(refused(kPlan, {set("vocal.above_band", Range{2, 1})}), "the lower one first"));
  CHECK(contains(refused(kPlan, {set("masking.most", 0.0 / 0.0)}), ""));
  CHECK(contains(refused(kPlan, {set("song.title", std::string(201, 'x'))}), "at most 200 characters"));
  CHECK(contains(refused(kPlan, {set("song.feeling", std::string(4001, 'x'))}), "at most 4000 characters"));
  CHECK(contains(refused(kPlan, {set("song.title", "a\nb")}), "one line"));
  CHECK_FALSE(edit_plan("[song]\n", std::vector<PlanEdit>{set("song.mix", "x")}));
  CHECK_FALSE(edit_plan("[song", std::vector<PlanEdit>{}));
}

TEST_CASE("hostile texts are kept as they are, and do nothing else") {
  for (const std::string text : {"\"", "\\", "'''", "\"\"\"", "x\"\"\"\n[quiet]\nmoved = 1\n", "\n", "\na\n\n", "a\r\nb\r", "\t tab", "\x01\x1F\x7F", "\xE2\x80\xAEgnp", "# no comment", "a\\\nb", "\\u0041\n\\",
                                "\xF0\x9F\x8E\xB5\n\xE2\x80\xA8", "]\n[[section]]", "{", "\n\"\"\"\"\"\n'"}) {
    for (const auto& plan : {kPlan, crlf(kPlan), std::string("song = { mix = \"m\", feeling = \"\" }"), std::string("song.mix = \"m\"")}) {
      for (const char* key : {"song.feeling", "song.approach"}) {
        const auto after = plan_of(edited(plan, {set(key, text)}));
        auto wanted = plan_of(plan);
        const auto is = std::string_view(key) == "song.feeling" ? after.feeling : after.approach;
        CHECK(is == (text == "\n" ? "" : text));
        CHECK(after.quiet == wanted.quiet);
        CHECK(after.sections.size() == wanted.sections.size());
      }
    }
  }
  const std::string nul("a\0b", 3);
  CHECK(plan_of(edited(kPlan, {set("song.feeling", nul)})).feeling == nul);
  CHECK_FALSE(edit_plan(kPlan, std::vector<PlanEdit>{set("song.feeling", "\xFF")}));
  CHECK_FALSE(edit_plan(kPlan, std::vector<PlanEdit>{set("song.feeling", std::string(1 << 20, '"'))}));
}

TEST_CASE("a plan of 1 MiB is edited in its place, and never beyond it") {
  std::string text = "[song]\nmix = \"m\"\n";
  while (text.size() < (1 << 20) - 64) text += "#\n";
  text += "[[section]]\nname = \"a\"\nstart = 1\n";
  const auto after = edited(text, {set("song.title", "x"), SetSections{{{0, "b", 2, {}, false, false}}}});
  CHECK(after == with(with(with(text, "\"m\"\n", "\"m\"\ntitle = \"x\"\n"), "\"a\"", "\"b\""), "start = 1", "start = 2"));
  CHECK(contains(refused(text, {set("song.feeling", std::string(100, 'x'))}), "at most"));
}

TEST_CASE("a starting plan is edited as it is printed") {
  PlanDraft draft;
  draft.title = "Lamps";
  draft.mix = "mix.wav";
  draft.sections = {{0, 12.5, "", "A", "-20.1 LUFS", false, true}, {12.5, 43.25, "", "B", "-9 LUFS", true, false}};
  draft.stems = {{"stems/vox.wav", Role::lead_vocal, 1, "-20 LUFS"}, {"stems/x.wav", std::nullopt, 2, ""}};
  draft.guesses = {{"vocal.above_band", {"[0.8, 1.8]", "measured: 1.3 LU"}}};
  const auto text = starting_plan(draft);
  auto sections = sections_of(text);
  sections[0] = {0, "verse", 0, 12.6, false, true};
  sections[1] = {1, "chorus", 12.6, 43.25, true, false};
  const auto after = edited(text, {set("song.feeling", "late"), set("vocal.above_band", Range{0.8, 1.8}), set("masking.most", 30.0), SetSections{sections}, SetStems{{{"vox", {}, std::optional(1)}, {"x", Role::keys, std::optional(2)}}}});
  const auto plan = plan_of(after);
  CHECK(plan.feeling == "late");
  CHECK(plan.sections[1].biggest);
  CHECK(plan.stems[1].role == Role::keys);
  CHECK(contains(after, "feeling = \"late\"                 # what a listener should feel\n"));
  CHECK(contains(after, "measured before the sections were changed: 1.3 LU\nabove_band = [0.8, 1.8]\n"));
  CHECK(contains(after, "start = \"0:12.600\"\nend = \"0:43.250\"\nbiggest = true\n"));
  CHECK(contains(after, "# a guess by role\npriority = 2\n"));
  for (std::size_t begin = 0; begin < text.size(); begin = text.find('\n', begin) + 1) {
    const auto line = text.substr(begin, text.find('\n', begin) - begin);
    if (!line.empty() && line.find('=') == std::string::npos) CHECK_MESSAGE(contains(after, line + "\n"), line);
  }
}
