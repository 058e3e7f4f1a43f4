// What a starting plan leaves behind a #: read back, and no longer said where it is no longer true.
#include <doctest/doctest.h>

#include <string>
#include <variant>
#include <vector>

#include "song/new_plan.h"
#include "song/plan_edit.h"
#include "song/plan_notes.h"

using namespace sendworthy;
using namespace sendworthy::song;

namespace {

std::string a_plan() {
  PlanDraft draft;
  draft.mix = "mix.wav";
  draft.sections = {{0, 10, "verse", "A", "-20.1 LUFS", false, true}, {10, 20, "chorus", "", "-9.8 LUFS", true, false}, {20, 30, "end", "", "-15.0 LUFS, fades out", false, false}};
  draft.stems = {{"Lead.wav", Role::lead_vocal, 1, "-18.3 LUFS, plays for 12 s"}, {"Pad.wav", Role::pad, 2, ""}};
  draft.guesses = {{"vocal.above_band", {"[0.8, 1.8]", "measured: 1.3 LU, with 0.5 LU of room"}},
                   {"dynamics.quiet_to_loud", {"9.8", "measured: 10.3 LU, with 0.5 LU of room"}},
                   {"low_end.lowest", {"\"kick\"", "measured: kick at 52 Hz, bass at 61 Hz"}},
                   {"low_end.kick_over_bass", {"2.0", "measured: 2.5 dB, with 0.5 dB of room"}},
                   {"quiet.moved", {{}, "measured: up to 3.1 dB"}}};
  return starting_plan(draft);
}

std::vector<WantedSection> sections_of(const std::string& text) {
  std::vector<WantedSection> sections;
  const auto plan = parse_plan(text, "");
  REQUIRE(plan);
  for (const auto& one : plan->sections)
    sections.push_back({sections.size(), one.name, one.start_s, one.own_end ? one.end_s : std::nullopt, one.biggest, one.quietest, {}});
  return sections;
}

std::string edited(const std::string& text, std::vector<PlanEdit> edits) {
  const auto after = edit_plan(text, edits);
  REQUIRE_MESSAGE(after, after.error().text);
  return *after;
}

bool contains(const std::string& text, const std::string& part) { return text.find(part) != std::string::npos; }

}  // namespace

TEST_CASE("what a starting plan measured and guessed is read back from its comments") {
  const auto notes = plan_notes(a_plan());
  REQUIRE(notes.keys.contains("vocal.above_band"));
  CHECK(notes.keys.at("vocal.above_band").words == "measured: 1.3 LU, with 0.5 LU of room");
  CHECK(std::get<Range>(notes.keys.at("vocal.above_band").value) == Range{0.8, 1.8});
  CHECK(std::get<double>(notes.keys.at("dynamics.quiet_to_loud").value) == 9.8);
  CHECK(std::get<std::string>(notes.keys.at("low_end.lowest").value) == "kick");
  CHECK(notes.keys.at("quiet.moved").words == "measured: up to 3.1 dB");
  CHECK(std::holds_alternative<std::monostate>(notes.keys.at("quiet.moved").value));
  CHECK_MESSAGE(!notes.keys.contains("masking.most"), "what is customary was not measured");
  CHECK(notes.sections.at("verse").measured == "-20.1 LUFS");
  CHECK((notes.sections.at("verse").quietest && !notes.sections.at("verse").biggest));
  CHECK(notes.sections.at("chorus").biggest);
  CHECK(notes.sections.at("end").measured == "-15.0 LUFS, fades out");
  CHECK(notes.stems.at("Lead").measured == "-18.3 LUFS, plays for 12 s");
  CHECK(notes.stems.at("Pad").priority == 2);
}

TEST_CASE("a value that was taken over keeps its note") {
  const auto text = edited(a_plan(), {SetKey{"vocal.above_band", Range{0.8, 1.8}}, SetKey{"dynamics.quiet_to_loud", 9.8}});
  CHECK(plan_notes(text).keys.at("vocal.above_band").words == "measured: 1.3 LU, with 0.5 LU of room");
  CHECK(parse_plan(text, "")->above_band_lu == Range{0.8, 1.8});
  // Somebody who took the # away in a text editor.
  auto by_hand = a_plan();
  by_hand.erase(by_hand.find("# quiet_to_loud"), 2);
  CHECK(plan_notes(by_hand).keys.at("dynamics.quiet_to_loud").words == "measured: 10.3 LU, with 0.5 LU of room");
}

TEST_CASE("what is no note is none") {
  const auto notes = plan_notes("[song]\nmix = \"x\"\n[[section]]\nname = \"a\" # -9 dB\nstart = 0 # -9.8 LUFS I think\n# biggest = true # a guess\n# it is loud\n[dynamics]\n# measured 3.1\nmovement = 1 # measured: 2\n");
  CHECK(notes.keys.empty());
  CHECK(notes.sections.at("a").measured.empty());
  CHECK_FALSE(notes.sections.at("a").biggest);
  CHECK(plan_notes("[song").keys.empty());
}

TEST_CASE("sections that are others by now leave no loudness behind that was measured of those before") {
  const auto text = a_plan();
  auto sections = sections_of(text);
  SUBCASE("the same, and moved by less than counts") {
    CHECK(edited(text, {SetSections{sections}}) == text);
    sections[1].start_s = sections[0].end_s.emplace(10.02);
    const auto after = plan_notes(edited(text, {SetSections{sections}}));
    CHECK(after.sections.at("chorus").measured == "-9.8 LUFS");
    CHECK(after.sections.at("chorus").biggest);
  }
  SUBCASE("a border") {
    sections[1].start_s = sections[0].end_s.emplace(12);
    const auto after = edited(text, {SetSections{sections}});
    const auto notes = plan_notes(after);
    CHECK(notes.sections.at("verse").measured.empty());
    CHECK(notes.sections.at("chorus").measured.empty());
    CHECK(notes.sections.at("end").measured == "-15.0 LUFS, fades out");
    CHECK_FALSE((contains(after, "-20.1") || contains(after, "-9.8") || contains(after, "# biggest = true             # a guess") || contains(after, "# quietest = true            # a guess")));
    CHECK(contains(after, "start = \"0:12.000\"\n"));
    CHECK(notes.keys.at("vocal.above_band").words == "measured before the sections were changed: 1.3 LU, with 0.5 LU of room");
    CHECK(std::get<Range>(notes.keys.at("vocal.above_band").value) == Range{0.8, 1.8});
    CHECK_MESSAGE(notes.keys.at("low_end.kick_over_bass").words == "measured: 2.5 dB, with 0.5 dB of room", "it stands on no section");
    CHECK(notes.stems.at("Lead").measured == "-18.3 LUFS, plays for 12 s");
    CHECK_MESSAGE(contains(after, "# sounds like the others with the letter A"), "other comments stay");
  }
  SUBCASE("split") {
    sections[0].end_s.reset();
    sections.insert(sections.begin() + 1, WantedSection{{}, "verse 2", 5, 10.0, false, false, {}});
    const auto notes = plan_notes(edited(text, {SetSections{sections}}));
    CHECK(notes.sections.at("verse").measured.empty());
    CHECK(notes.sections.at("verse 2").measured.empty());
    CHECK(notes.sections.at("chorus").measured == "-9.8 LUFS");
    CHECK_MESSAGE(!notes.sections.at("chorus").biggest, "half of another one may be louder");
  }
  SUBCASE("removed, and marked at once") {
    sections.erase(sections.begin());
    sections[0].biggest = true;
    const auto after = edited(text, {SetSections{sections}});
    CHECK_FALSE(contains(after, "-20.1"));
    CHECK(plan_notes(after).sections.at("chorus").measured == "-9.8 LUFS");
    CHECK(parse_plan(after, "")->sections[0].biggest);
  }
  SUBCASE("marked while it moves") {
    sections[1].biggest = true;
    sections[1].end_s = 18;
    const auto after = edited(text, {SetSections{sections}});
    CHECK(parse_plan(after, "")->sections[1].biggest);
    CHECK_FALSE(contains(after, "a guess: it is the loudest"));
  }
}

TEST_CASE("what was measured of one mix is not said of the next") {
  auto text = a_plan();
  text.replace(text.find("end = \"0:20.000\""), 0, "# biggest = true, says the client\n");
  text.replace(text.find("# movement = 1"), 0, "# measured: by ear\n");
  CHECK(edited(text, {SetKey{"song.mix", std::string("mix.wav")}}) == text);
  CHECK(plan_notes(edited(text, {SetKey{"song.previous", std::string("mix 0.wav")}})).sections.at("verse").measured == "-20.1 LUFS");
  const auto after = edited(text, {SetKey{"song.mix", std::string("mix 2.wav")}, SetKey{"vocal.above_band", Range{0.8, 1.8}}});
  const auto notes = plan_notes(after);
  for (const auto* name : {"verse", "chorus", "end"}) {
    CHECK(notes.sections.at(name).measured.empty());
    CHECK_FALSE((notes.sections.at(name).biggest || notes.sections.at(name).quietest));
  }
  CHECK_FALSE((contains(after, "-20.1 LUFS") || contains(after, "a guess: it is the") || contains(after, "; measured: ")));
  CHECK(notes.keys.at("vocal.above_band").words == "measured on an earlier bounce: 1.3 LU, with 0.5 LU of room");
  CHECK(notes.keys.at("low_end.lowest").words == "measured on an earlier bounce: kick at 52 Hz, bass at 61 Hz");
  CHECK(std::get<std::string>(notes.keys.at("low_end.lowest").value) == "kick");
  CHECK(notes.keys.at("quiet.moved").words == "measured on an earlier bounce: up to 3.1 dB");
  CHECK_MESSAGE(notes.stems.at("Lead").measured == "-18.3 LUFS, plays for 12 s", "it is of the stem's own file");
  CHECK(notes.stems.at("Pad").priority == 2);
  for (const auto* kept : {"# biggest = true, says the client\n", "# measured: by ear\n", "# sounds like the others with the letter A"}) CHECK(contains(after, kept));
  CHECK_MESSAGE(edited(after, {SetKey{"song.mix", std::string("mix 3.wav")}}) == std::string(after).replace(after.find("mix 2.wav"), 9, "mix 3.wav"), "once is enough");
  // Sections that were changed before are of an earlier bounce all the same; and the other way round.
  auto sections = sections_of(text);
  sections[1].start_s = sections[0].end_s.emplace(12);
  for (const auto& edits : {std::vector<PlanEdit>{SetSections{sections}, SetKey{"song.mix", std::string("b.wav")}}, std::vector<PlanEdit>{SetKey{"song.mix", std::string("b.wav")}, SetSections{sections}}})
    CHECK(plan_notes(edited(text, edits)).keys.at("vocal.above_band").words == "measured on an earlier bounce: 1.3 LU, with 0.5 LU of room");
}

TEST_CASE("a section gets a vocal range of its own, another one, and none") {
  const auto text = a_plan();
  auto sections = sections_of(text);
  sections[1].name = "big chorus";
  sections[1].vocal_lu = Range{-1, 2};
  sections[2].vocal_lu = Range{0, 3.5};
  auto after = edited(text, {SetSections{sections}});
  auto plan = *parse_plan(after, "");
  CHECK(plan.sections[1].vocal_lu == Range{-1, 2});
  CHECK(plan.sections[2].vocal_lu == Range{0, 3.5});
  CHECK_FALSE(plan.sections[0].vocal_lu);
  CHECK(contains(after, R"(sections = { "big chorus" = [-1.0, 2.0], end = [0.0, 3.5] })"));
  sections = sections_of(after);
  sections[1].vocal_lu = std::optional<Range>();
  sections[2].vocal_lu = Range{1, 3.5};
  after = edited(after, {SetSections{sections}});
  plan = *parse_plan(after, "");
  CHECK_FALSE(plan.sections[1].vocal_lu);
  CHECK(plan.sections[2].vocal_lu == Range{1, 3.5});
  // However the plan has it written.
  for (const auto* vocal : {"", "[vocal]\n", "[vocal]\nabove_band = [0.0, 1.0] # here\n", "[vocal.sections]\na = [0.0, 1.0]\n", "[vocal]\nsections.a = [0.0, 1.0]\n"}) {
    const auto start = std::string("[song]\nmix = \"m.wav\"\n[[section]]\nname = \"a\"\nstart = 0\n[[section]]\nname = \"b c\"\nstart = 4\n") + vocal;
    auto wanted = sections_of(start);
    wanted[1].vocal_lu = Range{-2, 1};
    const auto read = parse_plan(edited(start, {SetSections{wanted}}), "");
    REQUIRE(read);
    CHECK(read->sections[1].vocal_lu == Range{-2, 1});
  }
  sections[0].vocal_lu = Range{3, -3};
  CHECK_FALSE(edit_plan(after, std::vector<PlanEdit>{SetSections{sections}}));
}
