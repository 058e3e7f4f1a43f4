// Song plans: what is read, what is taken where nothing stands, and what is refused where.
#include <doctest/doctest.h>

#include <string>

#include "song/plan.h"

using namespace sendworthy;
using namespace sendworthy::song;

namespace {

const std::string kHead = "[song]\nmix = \"mix.wav\"\n";
// From line 3: two sections, two stems.
const std::string kSections = "[[section]]\nname = \"verse 1\"\nstart = 0\n[[section]]\nname = \"chorus 1\"\nstart = 30\n";
const std::string kStems = "[[stem]]\nname = \"vox\"\nfile = \"vox.wav\"\nrole = \"lead vocal\"\n";

Result<Plan> plan_of(const std::string& rest, const std::string& head = kHead) { return parse_plan(head + rest, "songs/lamps.plan.toml"); }

Plan good(const std::string& rest, const std::string& head = kHead) {
  auto plan = plan_of(rest, head);
  REQUIRE_MESSAGE(plan, to_string(plan.error()));
  return std::move(*plan);
}

/// The whole error, and that it stands at this line and column.
std::string refusal(const std::string& rest, int line, int column, const std::string& head = kHead) {
  const auto plan = plan_of(rest, head);
  REQUIRE_FALSE_MESSAGE(plan, rest);
  CHECK(plan.error().code == ErrorCode::rules);
  const auto text = to_string(plan.error());
  CHECK_MESSAGE(text.starts_with("songs/lamps.plan.toml:" + std::to_string(line) + ":" + std::to_string(column) + ": "), text);
  return text;
}

bool contains(const std::string& text, const std::string& part) { return text.find(part) != std::string::npos; }

std::string many(int count, const std::string& start, const std::string& end) {
  std::string text;
  for (int i = 0; i < count; ++i) text += start + std::to_string(i) + end;
  return text;
}

}  // namespace

TEST_CASE("a plan is read with every key of its contract, and paths start where it lies") {
  const auto plan = parse_plan(R"([song]
title = "Lamps"
artist = "The Example Tides"
feeling = "coming home late"
approach = """near and dry,
then wide"""
mix = "./mix 7.wav"
previous = "/bounces/mix 6.wav"
[[section]]
name = "chorus 1"
start = "1:03.25"
end = "0:01:33"
biggest = true
[[section]]
name = "verse 1"
start = 12
end = "43.5"
quietest = true
[[section]]
name = "outro"
start = 100.5
[[stem]]
name = "lead"
file = "stems/lead.wav"
role = "lead vocal"
priority = 1
[[stem]]
name = "gtr"
file = "stems/gtr.wav"
role = "guitar"
[vocal]
above_band = [-1, 2.5]
sections = { "verse 1" = [0, 3], outro = [] }
[backing]
under_lead = [4.0, 9.0]
[dynamics]
quiet_to_loud = 5
biggest_margin = 0.5
movement = 1.5
[low_end]
below_hz = 120
lowest = "kick"
kick_over_bass = 3
bass_steadiness = 6
[masking]
most = 30
[quiet]
level_db_spl = 40
reference_db_spl = 80
small_speaker = false
moved = 4
[[reference]]
file = "refs/a.flac"
[[question]]
id = "vocal-level"
text = "Is the vocal where it belongs?"
section = "verse 1"
stem = "lead"
heard = "small speaker"
[[question]]
id = "whole"
text = "Would you change anything?"
[severity]
movement = "note"
vocal-placement = "warn"
[[waiver]]
rule = "movement"
reason = "a drone"
until = 2027-01-31
)",
                               "songs/lamps.plan.toml");
  REQUIRE_MESSAGE(plan, to_string(plan.error()));
  CHECK(plan->path == "songs/lamps.plan.toml");
  CHECK(plan->title == "Lamps");
  CHECK(plan->artist == "The Example Tides");
  CHECK(plan->feeling == "coming home late");
  CHECK(plan->approach == "near and dry,\nthen wide");
  CHECK(plan->mix == "songs/mix 7.wav");
  CHECK(plan->previous == "/bounces/mix 6.wav");
  REQUIRE(plan->sections.size() == 3);
  CHECK(plan->sections[0].name == "verse 1");
  CHECK(plan->sections[0].start_s == 12);
  CHECK(plan->sections[0].end_s == 43.5);
  CHECK((plan->sections[0].quietest && !plan->sections[0].biggest));
  CHECK(plan->sections[1].start_s == 63.25);
  CHECK(plan->sections[1].end_s == 93);
  CHECK((plan->sections[1].biggest && !plan->sections[1].quietest));
  CHECK(plan->sections[1].place.line == 9);
  CHECK_FALSE(plan->sections[2].end_s);
  REQUIRE(plan->stems.size() == 2);
  CHECK(plan->stems[0].file == "songs/stems/lead.wav");
  CHECK(plan->stems[0].role == Role::lead_vocal);
  CHECK(plan->stems[0].priority == 1);
  CHECK(plan->stems[1].role == Role::guitar);
  CHECK_FALSE(plan->stems[1].priority);
  CHECK(plan->above_band_lu->low == -1);
  CHECK(plan->above_band_lu->high == 2.5);
  CHECK(vocal_range(*plan, plan->sections[0])->high == 3);
  CHECK(vocal_range(*plan, plan->sections[1])->high == 2.5);
  CHECK(vocal_range(*plan, plan->sections[2])->high == 2.5);
  CHECK(plan->under_lead_lu->low == 4);
  CHECK(plan->dynamics.quiet_to_loud_lu == 5);
  CHECK(plan->dynamics.biggest_margin_lu == 0.5);
  CHECK(plan->dynamics.movement_db == 1.5);
  CHECK(plan->low_end.below_hz == 120);
  CHECK(plan->low_end.lowest == Lowest::kick);
  CHECK(plan->low_end.kick_over_bass_db == 3);
  CHECK(plan->low_end.bass_steadiness_db == 6);
  CHECK(plan->most_masked_percent == 30);
  CHECK(plan->quiet.level_db_spl == 40);
  CHECK(plan->quiet.reference_db_spl == 80);
  CHECK_FALSE(plan->quiet.small_speaker);
  CHECK(plan->quiet.moved_db == 4);
  REQUIRE(plan->references.size() == 1);
  CHECK(plan->references[0].file == "songs/refs/a.flac");
  REQUIRE(plan->questions.size() == 2);
  CHECK(plan->questions[0].section == 0);
  CHECK(plan->questions[0].stem == 0);
  CHECK(plan->questions[0].heard == Heard::small_speaker);
  CHECK_FALSE(plan->questions[1].section);
  CHECK(plan->questions[1].heard == Heard::full);
  CHECK(severity_of("movement", plan->severities) == Status::note);
  CHECK(severity_of("vocal-placement", plan->severities) == Status::warn);
  CHECK(severity_of("biggest-section", plan->severities) == plan_rule("biggest-section").severity);
  CHECK(plan->waivers.size() == 1);
}

TEST_CASE("what a plan leaves out, or leaves empty, is not stated, and the rest is as the contract says") {
  for (const auto& plan : {good(""), good("[vocal]\nabove_band = []\nsections = {}\n[backing]\nunder_lead = []\n[dynamics]\n[low_end]\nlowest = \"\"\n[masking]\n[quiet]\n[severity]\n",
                                          "[song]\nmix = \"mix.wav\"\nfeeling = \" \"\napproach = \"\"\nprevious = \"\"\n")}) {
    CHECK(plan.mix == "songs/mix.wav");
    CHECK((plan.title.empty() && plan.artist.empty() && plan.feeling.empty() && plan.approach.empty() && plan.previous.empty()));
    CHECK((plan.sections.empty() && plan.stems.empty() && plan.references.empty() && plan.questions.empty() && plan.waivers.empty() && plan.severities.empty()));
    CHECK_FALSE((plan.above_band_lu || plan.under_lead_lu || plan.most_masked_percent));
    CHECK_FALSE((plan.dynamics.quiet_to_loud_lu || plan.dynamics.movement_db));
    CHECK(plan.dynamics.biggest_margin_lu == 0);
    CHECK(plan.low_end.below_hz == 100);
    CHECK(plan.low_end.lowest == Lowest::not_stated);
    CHECK_FALSE((plan.low_end.kick_over_bass_db || plan.low_end.bass_steadiness_db));
    CHECK(plan.quiet.level_db_spl == 45);
    CHECK(plan.quiet.reference_db_spl == 78);
    CHECK(plan.quiet.small_speaker);
    CHECK(plan.quiet.moved_db == 6);
  }
}

TEST_CASE("a section without an end lasts to the next one, wherever it stands in the plan; gaps stay, and touching is fine") {
  const auto plan = good("[[section]]\nname = \"c\"\nstart = 60\n[[section]]\nname = \"a\"\nstart = 0\nend = 20\n[[section]]\nname = \"b\"\nstart = 25\n");
  CHECK(plan.sections[0].end_s == 20);
  CHECK(plan.sections[1].name == "b");
  CHECK(plan.sections[1].end_s == 60);
  CHECK_FALSE(plan.sections[2].end_s);
  CHECK(good("[[section]]\nname = \"a\"\nstart = 0\nend = 20\n[[section]]\nname = \"b\"\nstart = 20\n").sections.size() == 2);
}

TEST_CASE("times are read as people write them") {
  for (const auto& one : {std::pair{"0", 0.0}, {"43.5", 43.5}, {"1:23.5", 83.5}, {"0:01:23", 83.0}, {"1:02:03.25", 3723.25}, {"123:00", 7380.0}, {"100", 100.0}, {"23:59:59.999999", 86399.999999}}) {
    const std::string text = one.first;
    const double seconds = one.second;
    REQUIRE_MESSAGE(seconds_in(text), text);
    CHECK(*seconds_in(text) == doctest::Approx(seconds).epsilon(1e-12));
  }
  for (const auto* text : {"", "x", "-1", "+1", "1e3", "1:5", "1:60", "1:99:00", "1:2:3", "1.5:00", "1:00:00:00", ":30", "1:", "1.", ".5", "1:00.", "1,5", " 1", "1 ", "24:00:00", "86400", "0x10", "nan", "1:23.1234567"})
    CHECK_MESSAGE(!seconds_in(text), text);
}

TEST_CASE("every role and way to hear has its word and is read by it") {
  CHECK(roles().size() == 15);
  for (const auto role : roles()) {
    CHECK(good("[[stem]]\nname = \"a\"\nfile = \"a.wav\"\nrole = \"" + std::string(to_string(role)) + "\"\n").stems[0].role == role);
  }
  CHECK(ways_to_hear().size() == 5);
  for (const auto heard : ways_to_hear()) {
    CHECK(good("[[question]]\nid = \"a\"\ntext = \"b\"\nheard = \"" + std::string(to_string(heard)) + "\"\n").questions[0].heard == heard);
  }
}

TEST_CASE("a wrong plan says file, line, column and the nearest right name") {
  CHECK(contains(refusal("", 1, 1, ""), "a plan needs a table [song]"));
  CHECK(contains(refusal("", 1, 1, "[song]\ntitle = \"x\"\n"), "needs a mix"));
  CHECK(contains(refusal("", 2, 7, "[song]\nmix = \"\"\n"), "needs a mix"));
  CHECK(contains(refusal("feelin = \"x\"\n", 3, 1), "did you mean \"feeling\"?"));
  CHECK(contains(refusal("title = \"a\\nb\"\n", 3, 9), "title must be one line of text"));
  CHECK(contains(refusal("title = \"" + std::string(201, 'a') + "\"\n", 3, 9), "at most 200 characters"));
  std::string accents;
  for (int i = 0; i < 200; ++i) accents += "ä";
  CHECK(good("title = \"" + accents + "\"\n").title == accents);
  CHECK(contains(refusal("feeling = \"" + std::string(4001, 'a') + "\"\n", 3, 11), "at most 4000 characters"));
  CHECK(contains(refusal("feeling = 3\n", 3, 11), "feeling"));
  CHECK(contains(refusal("[[sectoin]]\n", 3, 3), "did you mean \"section\"?"));
  CHECK(contains(refusal("[section]\nname = \"a\"\n", 3, 2), "[[section]]"));
  CHECK(contains(refusal("[[vocal]]\n", 3, 1), "write [vocal] for it"));
}

TEST_CASE("sections that contradict each other are refused where they do") {
  CHECK(contains(refusal("[[section]]\nstart = 0\n", 3, 1), "needs a name"));
  CHECK(contains(refusal("[[section]]\nname = \" \"\nstart = 0\n", 4, 8), "needs a name"));
  CHECK(contains(refusal("[[section]]\nname = \"a\"\n", 3, 1), "needs a start"));
  CHECK(contains(refusal("[[section]]\nname = \"a\"\nstart = -1\n", 5, 9), "a time is"));
  CHECK(contains(refusal("[[section]]\nname = \"a\"\nstart = 86400\n", 5, 9), "below 24 hours"));
  CHECK(contains(refusal("[[section]]\nname = \"a\"\nstart = \"1:5\"\n", 5, 9), "\"1:23.5\""));
  CHECK(contains(refusal("[[section]]\nname = \"a\"\nstart = 00:01:23\n", 5, 9), "a text such as"));
  CHECK(contains(refusal("[[section]]\nname = \"a\"\nstart = nan\n", 5, 9), "number"));
  CHECK(contains(refusal("[[section]]\nname = \"a\"\nstart = 5\nend = 5\n", 6, 7), "end must lie behind start"));
  CHECK(contains(refusal(kSections + "[[section]]\nname = \"verse 1\"\nstart = 60\n", 10, 8), "two sections are called \"verse 1\""));
  CHECK(contains(refusal(kSections + "[[section]]\nname = \"c\"\nstart = 30\n", 11, 9), "\"c\" starts at 0:30.000, within \"chorus 1\""));
  CHECK(contains(refusal(kSections + "end = 40\n[[section]]\nname = \"c\"\nstart = 39\n", 12, 9), "must not overlap"));
  CHECK(contains(refusal("[[section]]\nname = \"b\"\nstart = 10\n[[section]]\nname = \"a\"\nstart = 0\nend = 11\n", 5, 9), "\"b\" starts at 0:10.000, within \"a\""));
  CHECK(contains(refusal("[[section]]\nname = \"a\"\nstart = 0\nbiggest = true\nquietest = true\n", 7, 12), "both the biggest and the quietest"));
  for (const std::string key : {"biggest", "quietest"}) {
    const auto second = refusal("[[section]]\nname = \"a\"\nstart = 0\n" + key + " = true\n[[section]]\nname = \"b\"\nstart = 5\n" + key + " = true\n", 10, static_cast<int>(key.size()) + 4);
    CHECK(contains(second, "only one section can be the " + key + ", and \"a\" is"));
  }
  CHECK(contains(refusal(many(201, "[[section]]\nname = \"s", "\"\nstart = 0\n"), 603, 1), "at most 200 [[section]]"));
}

TEST_CASE("stems and references that are none are refused") {
  CHECK(contains(refusal("[[stem]]\nfile = \"a.wav\"\nrole = \"kick\"\n", 3, 1), "needs a name"));
  CHECK(contains(refusal("[[stem]]\nname = \"a\"\nrole = \"kick\"\n", 3, 1), "needs a file"));
  CHECK(contains(refusal("[[stem]]\nname = \"a\"\nfile = \"a.wav\"\n", 3, 1), "needs a role"));
  CHECK(contains(refusal("[[stem]]\nname = \"a\"\nfile = \"a.wav\"\nrole = \"lead vocals\"\n", 6, 8), "no role is called \"lead vocals\"; did you mean \"lead vocal\"?; known are lead vocal, "));
  for (const auto* wrong : {"0", "100", "-1", "9999999999999"}) {
    CHECK(contains(refusal(kStems + "priority = " + wrong + "\n", 7, 12), "whole number from 1"));
  }
  CHECK(contains(refusal(kStems + "priority = 1.5\n", 7, 12), "priority"));
  CHECK(contains(refusal(kStems + "[[stem]]\nname = \"vox\"\nfile = \"b.wav\"\nrole = \"kick\"\n", 8, 8), "two stems are called \"vox\""));
  CHECK(contains(refusal(kStems + "[[stem]]\nname = \"b\"\nfile = \"x/../vox.wav\"\nrole = \"kick\"\n", 9, 8), "two stems are the file"));
  CHECK(contains(refusal("[[stem]]\nname = \"a\"\nfile = \"./mix.wav\"\nrole = \"kick\"\n", 5, 8), "this is the mix"));
  CHECK(contains(refusal("[[stem]]\nname = \"a\"\nfile = \"a\\u0000.wav\"\nrole = \"kick\"\n", 5, 8), "one line"));
  CHECK(contains(refusal(many(201, "[[stem]]\nname = \"s", "\"\nfile = \"a\"\nrole = \"kick\"\n"), 803, 1), "at most 200 [[stem]]"));
  CHECK(contains(refusal("[[reference]]\n", 3, 1), "needs a file"));
  CHECK(contains(refusal("[[reference]]\nfiel = \"a\"\n", 4, 1), "did you mean \"file\"?"));
  CHECK(contains(refusal(many(51, "[[reference]]\nfile = \"a", "\"\n"), 103, 1), "at most 50 [[reference]]"));
}

TEST_CASE("ranges and limits outside of what they can be are refused") {
  for (const auto* range : {"3", "[1]", "[1, 2, 3]", "[2, 1]", "[\"a\", 1]", "[-61, 0]", "[0, 61]", "[nan, 1]"}) {
    refusal("[vocal]\nabove_band = " + std::string(range) + "\n", 4, 14);
    refusal("[backing]\nunder_lead = " + std::string(range) + "\n", 4, 14);
    refusal(kSections + "[vocal.sections]\n\"verse 1\" = " + range + "\n", 10, 13);
  }
  CHECK(contains(refusal(kSections + "[vocal]\nsections = { \"vers 1\" = [0, 1] }\n", 10, 14), "no section is called \"vers 1\"; did you mean \"verse 1\"?"));
  CHECK(contains(refusal("[vocal]\nsections = { a = [0, 1] }\n", 4, 14), "the plan has no [[section]]"));
  CHECK(contains(refusal("[vocal]\nsections = [1, 2]\n", 4, 12), "a range for each section"));
  CHECK(contains(refusal("[dynamics]\nquiet_to_loud = -1\n", 4, 17), "between 0 and 60"));
  CHECK(contains(refusal("[dynamics]\nbiggest_margin = 61\n", 4, 18), "between 0 and 60"));
  CHECK(contains(refusal("[dynamics]\nmovement = \"2 dB\"\n", 4, 12), "movement"));
  for (const auto* hz : {"39.9", "250.1"}) CHECK(contains(refusal("[low_end]\nbelow_hz = " + std::string(hz) + "\n", 4, 12), "between 40 and 250"));
  CHECK(contains(refusal("[low_end]\nlowest = \"kik\"\n", 4, 10), "did you mean \"kick\"?"));
  CHECK(contains(refusal("[low_end]\nkick_over_bass = 61\n", 4, 18), "between -60 and 60"));
  CHECK(contains(refusal("[low_end]\nbass_steadiness = -1\n", 4, 19), "between 0 and 60"));
  CHECK(contains(refusal("[masking]\nmost = 101\n", 4, 8), "between 0 and 100"));
  CHECK(contains(refusal("[quiet]\nlevel_db_spl = 9\n", 4, 16), "between 10 and 90"));
  CHECK(contains(refusal("[quiet]\nreference_db_spl = 96\n", 4, 20), "between 40 and 95"));
  CHECK(contains(refusal("[quiet]\nlevel_db_spl = 78\n", 4, 16), "must lie below reference_db_spl"));
  CHECK(contains(refusal("[quiet]\nreference_db_spl = 45\n", 4, 20), "must lie below reference_db_spl"));
  CHECK(contains(refusal("[quiet]\nsmall_speaker = 1\n", 4, 17), "small_speaker"));
  CHECK(contains(refusal("[severity]\nvocal-placment = \"warn\"\n", 4, 1), "did you mean \"vocal-placement\"?"));
  CHECK(contains(refusal("[severity]\nmovement = \"pass\"\n", 4, 12), "known are fail, warn, note"));
}

TEST_CASE("questions name what the plan has, and waivers need what they need in a rule set") {
  const auto question = [](const std::string& rest) { return kSections + kStems + "[[question]]\n" + rest; };  // its keys from line 14
  CHECK(good(question("id = \"a\"\ntext = \"b\"\nsection = \"chorus 1\"\nstem = \"vox\"\n")).questions[0].section == 1);
  CHECK(contains(refusal(question("text = \"b\"\n"), 13, 1), "needs an id"));
  CHECK(contains(refusal(question("id = \"A b\"\ntext = \"b\"\n"), 14, 6), "lower-case letters"));
  CHECK(contains(refusal(question("id = \"a\"\n"), 13, 1), "needs a text"));
  CHECK(contains(refusal(question("id = \"a\"\ntext = \"b\\nc\"\n"), 15, 8), "one line"));
  CHECK(contains(refusal(question("id = \"a\"\ntext = \"" + std::string(501, 'b') + "\"\n"), 15, 8), "at most 500 characters"));
  CHECK(contains(refusal(question("id = \"a\"\ntext = \"b\"\nsection = \"chorus 2\"\n"), 16, 11), "did you mean \"chorus 1\"?"));
  CHECK(contains(refusal(question("id = \"a\"\ntext = \"b\"\nstem = \"vax\"\n"), 16, 8), "did you mean \"vox\"?"));
  CHECK(contains(refusal(question("id = \"a\"\ntext = \"b\"\nheard = \"monno\"\n"), 16, 9), "did you mean \"mono\"?"));
  CHECK(contains(refusal(question("id = \"a\"\ntext = \"b\"\n[[question]]\nid = \"a\"\ntext = \"b\"\n"), 17, 6), "two questions have the id \"a\""));
  CHECK(contains(refusal(many(501, "[[question]]\nid = \"q", "\"\ntext = \"b\"\n"), 1503, 1), "at most 500 [[question]]"));
  CHECK(contains(refusal("[[waiver]]\nrule = \"movement\"\nuntil = 2027-01-31\n", 3, 1), "needs a reason"));
  CHECK(contains(refusal("[[waiver]]\nrule = \"movemnt\"\nreason = \"x\"\nuntil = 2027-01-31\n", 3, 1), "did you mean \"movement\"?"));
  CHECK(good("[[waiver]]\nrule = \"true-peak\"\nreason = \"a rule of a set\"\nuntil = 2027-01-31\n").waivers.size() == 1);
  CHECK(contains(to_string(read_plan("no/such.plan.toml").error()), "no/such.plan.toml"));
  CHECK(read_plan("no/such.plan.toml").error().code == ErrorCode::rules);
}

TEST_CASE("every finding about a song has all of its words, and is made with them") {
  CHECK(plan_rules().size() == 18);
  for (const auto& rule : plan_rules()) {
    for (const auto text : {rule.what, rule.how, rule.caveat, rule.why, rule.remedy}) CHECK_MESSAGE((text.size() > 20 && text.ends_with('.')), rule.id);
    CHECK_FALSE(rule.source.empty());
    CHECK_FALSE(rule.title.empty());
    const Severities notes{{std::string(rule.id), Status::note}}, fails{{std::string(rule.id), Status::fail}};
    CHECK(faulted(rule.id, {}, "x", {}).status == rule.severity);
    const auto fault = faulted(rule.id, fails, "x", {"mix.wav"});
    CHECK(fault.status == Status::fail);
    CHECK(fault.remedy == rule.remedy);
    CHECK(fault.ruleset == "plan");
    CHECK(faulted(rule.id, notes, "x", {}).status == Status::note);
    CHECK(passed(rule.id, "x", {}).why.empty());
    // What is not measured never passes, unless the plan makes the finding a note.
    CHECK(verdict_of({not_stated(rule.id, {}, "[song] feeling", {})}) == Verdict::fail);
    CHECK(verdict_of({not_stated(rule.id, notes, "[song] feeling", {})}) == Verdict::pass);
    CHECK(contains(not_stated(rule.id, {}, "[song] feeling", {}).remedy, "[song] feeling"));
  }
}
