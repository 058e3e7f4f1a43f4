// Starting plans: whatever was found, they are read, and hold no guess as if it were meant.
#include <doctest/doctest.h>

#include <limits>
#include <string>
#include <utility>
#include <vector>

#include "base/text.h"
#include "song/new_plan.h"
#include "unit/song/arrangement.h"

using namespace sendworthy;
using namespace sendworthy::song;

namespace {

bool contains(const std::string& text, const std::string& part) { return text.find(part) != std::string::npos; }

Plan plan_from(const PlanDraft& draft) {
  const auto text = starting_plan(draft);
  auto plan = parse_plan(text, "songs/p.toml");
  REQUIRE_MESSAGE(plan, to_string(plan.error()) << "\n" << text);
  return std::move(*plan);
}

}  // namespace

TEST_CASE("a starting plan holds what was found and asks the standard questions; intent stays empty, with the guess in a comment") {
  PlanDraft draft;
  draft.title = "Lamps";
  draft.artist = "The Example Tides";
  draft.mix = "mix 7.wav";
  draft.sections = {{0, 12.5, "", "A", "-20.1 LUFS", false, true}, {12.5, 43.25, "chorus", "B", "", true, false}};
  draft.stems = {{"stems/Lamps_LdVox.wav", Role::lead_vocal, 1, ""}, {"stems/x.wav", std::nullopt, 2, ""}};
  draft.guesses = {{"vocal.above_band", {"[0.8, 1.8]", "measured: 1.3 LU"}}, {"low_end.lowest", {"\"kick\"", "the kick reaches to 52 Hz"}}};
  const auto text = starting_plan(draft);
  const auto plan = plan_from(draft);
  CHECK(plan.title == "Lamps");
  CHECK(plan.artist == "The Example Tides");
  CHECK(plan.mix == "songs/mix 7.wav");
  REQUIRE(plan.sections.size() == 2);
  CHECK(plan.sections[0].name == "section 1");
  CHECK(plan.sections[0].end_s == 12.5);
  CHECK(plan.sections[1].name == "chorus");
  CHECK(plan.sections[1].start_s == 12.5);
  CHECK(plan.sections[1].end_s == 43.25);
  for (const auto& one : plan.sections) CHECK_FALSE((one.biggest || one.quietest || one.vocal_lu));
  REQUIRE(plan.stems.size() == 2);
  CHECK(plan.stems[0].name == "Lamps LdVox");
  CHECK(plan.stems[0].file == "songs/stems/Lamps_LdVox.wav");
  CHECK(plan.stems[0].role == Role::lead_vocal);
  CHECK(plan.stems[1].role == Role::other);
  for (const auto& one : plan.stems) CHECK_FALSE(one.priority);
  CHECK((plan.feeling.empty() && plan.approach.empty()));
  CHECK_FALSE((plan.above_band_lu || plan.under_lead_lu || plan.most_masked_percent || plan.dynamics.quiet_to_loud_lu || plan.dynamics.movement_db));
  CHECK_FALSE((plan.low_end.kick_over_bass_db || plan.low_end.bass_steadiness_db));
  CHECK(plan.low_end.lowest == Lowest::not_stated);
  REQUIRE(plan.questions.size() == standard_questions().size());
  for (std::size_t i = 0; i < plan.questions.size(); ++i) {
    CHECK(plan.questions[i].id == standard_questions()[i].id);
    CHECK(plan.questions[i].text == standard_questions()[i].text);
    CHECK(plan.questions[i].heard == standard_questions()[i].heard);
  }
  for (const auto* guess : {"measured: 1.3 LU", "the kick reaches to 52 Hz", "-20.1 LUFS", "letter A", "# biggest = true", "# quietest = true"}) CHECK_MESSAGE(contains(text, guess), guess);
}

TEST_CASE("what stands behind a # of a starting plan is read, too, once it is meant") {
  PlanDraft draft;
  draft.mix = "m.wav";
  draft.sections = {{0, 10, "", "", "", true, false}, {10, 20, "", "", "", false, true}};
  draft.stems = {{"a.wav", Role::kick, 1, ""}};
  auto text = starting_plan(draft);
  for (const std::string key : {"biggest =", "quietest =", "priority =", "quiet_to_loud =", "biggest_margin =", "movement =", "above_band =", "under_lead =", "kick_over_bass =", "bass_steadiness =", "most ="}) {
    const auto at = text.find("\n# " + key);
    REQUIRE_MESSAGE(at != std::string::npos, key);
    text.erase(at + 1, 2);
  }
  const auto plan = parse_plan(text, "p.toml");
  REQUIRE_MESSAGE(plan, to_string(plan.error()));
  CHECK(plan->sections[0].biggest);
  CHECK(plan->stems[0].priority == 1);
  CHECK(plan->most_masked_percent);
}

TEST_CASE("a starting plan of hostile names and impossible sections is read all the same") {
  const double none = std::numeric_limits<double>::quiet_NaN(), endless = std::numeric_limits<double>::infinity();
  const std::string odd = "a\"\\\n[song]\x01\xff\xe2\x80\xae#";
  PlanDraft draft;
  draft.title = draft.artist = odd;
  draft.mix = odd;
  draft.sections = {{20, 30, odd, odd, odd, true, true}, {10, 25, odd, "", "", false, false}, {5, 5, "", "", "", false, false}, {none, 1, "", "", "", false, false},
                    {30.0001, 30.0002, "", "", "", false, false}, {30, endless, "", "", "", false, false}, {-5, 1, " ", "", "", false, false}, {90000, 90001, "", "", "", false, false}};
  draft.stems = {{odd, Role::kick, 1, odd}, {"a b.wav", {}, {}, odd}, {"x/a_b.wav", {}, {}, ""}, {"./a b.wav", {}, {}, ""}, {"", {}, {}, ""}, {"\xe2\x80\xae.wav", {}, {}, ""},
                 {std::string(900, 'n') + ".wav", {}, {}, ""}, {"_.wav", {}, {}, ""}};
  draft.guesses["vocal.above_band"] = {"", odd};
  const auto plan = plan_from(draft);
  REQUIRE(plan.sections.size() == 3);
  CHECK(plan.sections[0].start_s == 0);
  CHECK(plan.sections[0].name == "section 1");
  CHECK(plan.sections[2].start_s == 25);
  CHECK(plan.sections[2].name == plan.sections[1].name + " 2");
  REQUIRE(plan.stems.size() == 5);
  CHECK(plan.stems[0].name == "a b");
  CHECK(plan.stems[1].name == "a b 2");
  CHECK(plan.stems[2].file == "songs/\xe2\x80\xae.wav");

  draft.sections.clear();
  for (int i = 0; i < 300; ++i) draft.sections.push_back({i * 1.0, i + 1.0, "same", "", "", false, false});
  draft.stems.clear();
  for (int i = 0; i < 300; ++i) draft.stems.push_back({std::to_string(i) + "/same.wav", Role::pad, {}, ""});
  CHECK(plan_from(draft).sections.size() == 200);
  CHECK(plan_from(draft).stems.size() == 200);
  for (const auto* path : {"", ".", "./", "stems/", "..", "a\nb"}) {
    draft.mix = path;
    draft.stems = {{path, Role::kick, {}, ""}};
    CHECK(plan_from(draft).stems.empty());
    CHECK(parse_plan(starting_plan(draft), "p.toml"));
  }
  CHECK(plan_from({}).sections.empty());
}

TEST_CASE("roles are guessed from names as people write them") {
  using R = Role;
  for (const auto& one : std::vector<std::pair<std::string, R>>{
           {"LdVox.wav", R::lead_vocal}, {"Lead Vocal.wav", R::lead_vocal}, {"01 VOX.aif", R::lead_vocal}, {"lv.wav", R::lead_vocal}, {"BV.wav", R::backing_vocal},
           {"bgv_L.wav", R::backing_vocal}, {"BGVs 2.wav", R::backing_vocal}, {"Vox Dbl.wav", R::backing_vocal}, {"Backing Vocals.wav", R::backing_vocal}, {"Choir.wav", R::backing_vocal},
           {"kick in.wav", R::kick}, {"Kick2.wav", R::kick}, {"BD.wav", R::kick}, {"Bass Drum.wav", R::kick}, {"808 Kick.wav", R::kick}, {"SNR top.wav", R::snare}, {"Snare1.wav", R::snare},
           {"OH.wav", R::drums}, {"Overheads.wav", R::drums}, {"hi hat.wav", R::drums}, {"Drums.wav", R::drums}, {"Toms.wav", R::drums}, {"Shaker.wav", R::percussion}, {"Claps.wav", R::percussion},
           {"808.wav", R::bass}, {"Bass Gtr.wav", R::bass}, {"Sub.wav", R::bass}, {"SynthBass.wav", R::bass}, {"Lead Synth.wav", R::lead}, {"Solo.wav", R::lead}, {"Gtr_L.wav", R::guitar},
           {"EGtr 3.wav", R::guitar}, {"Acoustic.wav", R::guitar}, {"Rhodes.wav", R::keys}, {"Synth.wav", R::keys}, {"B3.wav", R::keys}, {"Pads.wav", R::pad}, {"SynthPad.wav", R::pad}, {"Strings.wav", R::strings},
           {"Vln 1.wav", R::strings}, {"Horns.wav", R::brass}, {"Sax.wav", R::brass}, {"FX.wav", R::effects}, {"Vox Verb.wav", R::effects}, {"Riser.wav", R::effects}}) {
    const auto& name = one.first;
    const auto role = one.second;
    const auto guess = guess_role("stems/" + name);
    REQUIRE_MESSAGE(guess, name);
    CHECK_MESSAGE(*guess == role, name << " read as " << to_string(*guess));
  }
  for (const auto& one : std::vector<std::pair<std::string, R>>{
           {"08-backing-high.wav", R::backing_vocal}, {"09-backing-low.wav", R::backing_vocal}, {"Harmony.wav", R::backing_vocal}, {"Harmonies_R.wav", R::backing_vocal},
           {"Doubles.wav", R::backing_vocal}, {"Dbl L.wav", R::backing_vocal}, {"Adlibs.wav", R::backing_vocal}, {"Ad-Lib 2.wav", R::backing_vocal}, {"Vox Ad-Lib.wav", R::backing_vocal},
           {"Gtr Dbl.wav", R::guitar}, {"Harmony Gtr.wav", R::guitar}, {"Double Bass.wav", R::bass}, {"Upright.wav", R::bass}, {"Upright Piano.wav", R::keys},
           {"Room.wav", R::drums}, {"Gtr Room.wav", R::guitar}, {"Room Verb.wav", R::effects}, {"Acoustic Piano.wav", R::keys}, {"Electric Piano.wav", R::keys},
           {"Electric L.wav", R::guitar}, {"E-Gtr.wav", R::guitar}, {"Ac Gtr.wav", R::guitar}, {"Ride.wav", R::drums}, {"Floor Tom.wav", R::drums}, {"Kick Sub.wav", R::kick},
           {"Tamb.wav", R::percussion}, {"Wurli.wav", R::keys}, {"Organ.wav", R::keys}, {"Violin.wav", R::strings}, {"Impact.wav", R::effects}, {"Synth Bass.wav", R::bass}}) {
    const auto& name = one.first;
    const auto role = one.second;
    const auto guess = guess_role(name);
    REQUIRE_MESSAGE(guess, name);
    CHECK_MESSAGE(*guess == role, name << " read as " << to_string(*guess));
  }
  for (const auto* name : {"", "Backing Track.wav", "stem.wav", "Lamps.wav", "track 4.wav", "\xff\xfe.wav", "kickstart.wav", "embassy.wav"}) CHECK_MESSAGE(!guess_role(name), name);
}

TEST_CASE("priorities are guessed by role alone, from 1 on and without a gap") {
  using R = std::optional<Role>;
  CHECK(guess_priorities({R(Role::kick), R(Role::lead_vocal), R(Role::pad), R(Role::backing_vocal), R(Role::snare), R()}) == std::vector<int>{2, 1, 4, 3, 2, 4});
  CHECK(guess_priorities({R(Role::guitar), R(Role::bass)}) == std::vector<int>{2, 1});
  CHECK(guess_priorities({}).empty());
}

TEST_CASE("a number that was measured says so, and one that is customary says that") {
  PlanDraft draft;
  draft.mix = "m.wav";
  draft.guesses = {{"dynamics.quiet_to_loud", {"11.1", "measured: 11.6 LU, with 0.5 LU of room"}}};
  const auto text = starting_plan(draft);
  CHECK(contains(text, "\n# quiet_to_loud = 11.1 "));
  CHECK(contains(text, "biggest; measured: 11.6 LU, with 0.5 LU of room\n"));
  CHECK(contains(text, "\n# most = 30 "));
  CHECK(contains(text, "may cover; customary, not measured\n"));
}

TEST_CASE("without stems a starting plan shows how one is written, and without vocals it asks nothing of them") {
  PlanDraft draft;
  draft.mix = "m.wav";
  auto text = starting_plan(draft);
  CHECK(parse_plan(text, "p.toml")->stems.empty());
  for (const std::string line : {"[[stem]]", "name = \"lead vocal\"", "file = ", "role = \"lead vocal\"", "priority = 1"}) {
    const auto at = text.find("\n# " + line);
    REQUIRE_MESSAGE(at != std::string::npos, line);
    text.erase(at + 1, 2);
  }
  const auto plan = parse_plan(text, "p.toml");
  REQUIRE_MESSAGE(plan, to_string(plan.error()));
  REQUIRE(plan->stems.size() == 1);
  CHECK(plan->stems[0].priority == 1);
  // What the song has not is not asked for, and the plan says so.
  draft.without_backing = draft.without_drums = true;
  const auto fewer = plan_from(draft);
  CHECK(fewer.questions.size() == standard_questions().size() - 2);
  for (const auto& one : fewer.questions) CHECK((one.id != "backing-vocals" && one.id != "percussion"));
  CHECK(contains(starting_plan(draft), "none is a backing vocal: \"backing-vocals\" is left out."));
  draft.without_backing = draft.without_drums = false;
  draft.without_vocals = true;
  draft.stems = {{"kick.wav", Role::kick, 1, ""}};
  const auto without = plan_from(draft);
  for (const auto& one : without.questions) {
    CHECK(one.id.find("voc") == std::string::npos);
    CHECK(one.text.find("vocal") == std::string::npos);
  }
  CHECK(without.questions.size() == standard_questions().size() - 3);
  CHECK_FALSE(contains(starting_plan(draft), "\n[vocal]"));
}

TEST_CASE("stems without a vocal that are all of the mix make a plan without one; those that are a part of it do not") {
  const test::Folder folder;
  test::Arrangement song;
  const auto full = song.sum();
  song.drop("voice"), song.drop("backing");
  (void)song.write(folder.path);
  auto text = new_plan(folder.path + "/mix.wav", {folder.path, folder.path + "/p.toml", 2});
  REQUIRE(text);
  CHECK_FALSE(contains(*text, "\n[vocal]"));
  CHECK_FALSE(contains(*text, "vocal-placement"));
  CHECK(contains(*text, "# priority = 2               # a guess by role"));
  song.mix = full;
  (void)song.write(folder.path);
  text = new_plan(folder.path + "/mix.wav", {folder.path, folder.path + "/p.toml", 2});
  REQUIRE(text);
  CHECK(contains(*text, "\n[vocal]"));
  CHECK(contains(*text, "id = \"vocal-placement\""));
}

TEST_CASE("what the names of all stems begin with tells of no part") {
  const auto roles = guess_roles({"Kick It_Kick.wav", "Kick It_Bass.wav", "Kick It_LdVox.wav", "Kick It_Thing.wav"});
  REQUIRE(roles.size() == 4);
  CHECK(roles[0] == Role::kick);
  CHECK(roles[1] == Role::bass);
  CHECK(roles[2] == Role::lead_vocal);
  CHECK_FALSE(roles[3]);
  const auto few = guess_roles({"Vox Lead.wav", "Vox Double.wav"});
  CHECK(few[0] == Role::lead_vocal);
  CHECK(few[1] == Role::backing_vocal);
  const auto same = guess_roles({"Kick.wav", "Kick In.wav", "Kick Out.wav", "Kick Sub.wav"});
  CHECK(same[0] == Role::kick);
  CHECK(same[3] == Role::kick);
  CHECK(guess_roles({}).empty());
}

TEST_CASE("what a starting plan leaves out, it says why") {
  PlanDraft draft;
  draft.mix = "m.wav";
  for (int i = 0; i < 201; ++i) draft.stems.push_back({"s" + std::to_string(i) + ".wav", Role::other, {}, ""});
  draft.stems.insert(draft.stems.begin(), {{"m.wav", Role::other, {}, ""}, {"a\nb.wav", Role::other, {}, ""}});
  const auto text = starting_plan(draft);
  CHECK(plan_from(draft).stems.size() == 200);
  CHECK(contains(text, "\n# left out: s200.wav; a plan has at most 200 stems: add parts up into fewer files\n"));
  CHECK(contains(text, "\n# left out: m.wav; it is the mix, or stands here already\n"));
  CHECK(contains(text, "\n# left out: a\\nb.wav; its path cannot stand here as it is: rename the file\n"));
  CHECK_FALSE(contains(text, "left out: s199.wav"));
}
