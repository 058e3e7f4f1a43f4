// The listening pass: what is kept, what is read, what of it is refused, and what a new bounce opens again.
#include <doctest/doctest.h>

#include <unistd.h>

#include <algorithm>
#include <filesystem>
#include <fstream>
#include <iterator>
#include <memory>
#include <set>
#include <string>
#include <vector>

#include "song/asked.h"
#include "song/listening.h"
#include "song/new_plan.h"
#include "song/passes.h"

using namespace sendworthy;
using namespace sendworthy::song;

namespace {

const std::string kNow = "xxh128:" + std::string(32, 'a'), kBefore = "xxh128:" + std::string(32, 'b');
const std::string kPlan = R"([song]
title = "Lamps"
mix = "mix 7.wav"
[[section]]
name = "verse"
start = 0
quietest = true
[[section]]
name = "chorus"
start = 30
end = 60
biggest = true
[[stem]]
name = "kick in"
file = "kick.wav"
role = "kick"
[[question]]
id = "biggest-section"
text = "Is it the biggest?"
[[question]]
id = "vocal-placement"
text = "Is the vocal where it belongs?"
[[question]]
id = "kick-own"
text = "Does the kick hit?"
section = "chorus"
stem = "kick in"
)";

class Room {
 public:
  Room() : folder_(std::filesystem::temp_directory_path() / ("passes-test-" + std::to_string(::getpid()))) {
    std::filesystem::create_directories(folder_);
    write("p.toml", kPlan);
  }
  Room(const Room&) = delete;
  Room& operator=(const Room&) = delete;
  ~Room() { std::filesystem::remove_all(folder_); }
  void write(const std::string& name, const std::string& text) const { std::ofstream(folder_ / name, std::ios::binary) << text; }
  [[nodiscard]] std::string plan() const { return (folder_ / "p.toml").string(); }
  [[nodiscard]] std::string passes() const { return passes_path(plan()); }
  [[nodiscard]] std::string text() const {
    std::ifstream file(passes(), std::ios::binary);
    return {std::istreambuf_iterator<char>(file), {}};
  }
  [[nodiscard]] ListeningState state(const std::string& audio = kNow, const Sheet* measured = nullptr, const ListeningChange* change = nullptr) const {
    auto state = listening_state(plan(), audio, measured, change);
    REQUIRE_MESSAGE(state, to_string(state.error()));
    return std::move(*state);
  }
  void answer(const std::string& audio, int pass, const std::string& question, Answer given, const std::string& note = "", const Sheet* measured = nullptr) const {
    ListeningAnswer one{.pass = pass, .date = "2026-01-31", .by = "KB", .mix = "", .audio = "", .answer = given, .note = note, .played_s = {}};
    const auto kept = record_answer(state(audio), question, one, measured);
    REQUIRE_MESSAGE(kept, to_string(kept.error()));
  }
  void hold_all(const std::string& audio, int pass, const Sheet* measured = nullptr) const {
    for (const auto* id : {"biggest-section", "vocal-placement", "kick-own"}) answer(audio, pass, id, Answer::holds, "", measured);
  }

 private:
  std::filesystem::path folder_;
};

const ListeningQuestion& question(const ListeningState& state, const std::string& id) {
  const auto found = std::ranges::find(state.questions, id, &ListeningQuestion::id);
  REQUIRE(found != state.questions.end());
  return *found;
}

Finding found(const Room& room, const std::string& audio) {
  const auto plan = read_plan(room.plan());
  REQUIRE(plan);
  return listening_finding(*plan, audio);
}

std::string value(const Finding& finding) {
  if (const auto* missing = std::get_if<NotMeasured>(&finding.outcome)) return missing->reason;
  return std::get<std::string>(std::get<Value>(finding.outcome));
}

Sheet measured(double vocal, double chorus, Status status = Status::pass) {
  Sheet sheet;
  auto vocal_finding = noted("vocal-placement", "x", {});
  vocal_finding.status = status;
  sheet.findings = {vocal_finding, passed("biggest-section", "y", {})};
  auto song = std::make_shared<SongSheet>();
  SongSheet::Section one;
  one.name = "chorus";
  one.vocal_over_bed = vocal;
  one.loudness = chorus;
  song->sections.push_back(one);
  sheet.song = song;
  return sheet;
}

const std::string kLine = R"({"schema":1,"kind":"answer","pass":1,"date":"2026-01-31","by":"KB","mix":"m.wav","audio":")" + kNow + R"(","question":"a","text":")" + kBefore +
                          R"(","answer":"holds","note":""})";

const std::string kBegin = R"({"schema":1,"kind":"pass","pass":1,"date":"2026-01-31","by":"KB","mix":"m.wav","audio":")" + kNow + R"(","measured":{}})" + "\n";

std::string changed(const std::string& from, const std::string& to) {
  auto line = kLine;
  const auto at = line.find(from);
  REQUIRE(at != line.npos);
  return line.replace(at, from.size(), to) + "\n";
}

std::string refusal(const std::string& text) {
  const auto passes = parse_passes(text, "p.passes.jsonl");
  REQUIRE_FALSE_MESSAGE(passes, text.substr(0, 200));
  CHECK(passes.error().code == ErrorCode::rules);
  return to_string(passes.error());
}

bool contains(const std::string& text, const std::string& part) { return text.find(part) != std::string::npos; }

}  // namespace

TEST_CASE("a pass closes when every question holds on the present mix, and another bounce opens all of it") {
  const Room room;
  CHECK(question(room.state(), "vocal-placement").open == Open::never_asked);
  CHECK(value(found(room, kNow)) == "nobody has listened yet");
  room.answer(kNow, 1, "biggest-section", Answer::holds);
  room.answer(kNow, 1, "vocal-placement", Answer::skip);
  room.answer(kNow, 1, "kick-own", Answer::tweak, "softer\x1b[31m \"there\"");
  auto state = room.state();
  CHECK_FALSE(state.complete);
  CHECK(state.pass == 1);
  CHECK(state.mix == "mix 7.wav");
  CHECK_FALSE(question(state, "biggest-section").open);
  CHECK(question(state, "vocal-placement").open == Open::skipped);
  CHECK(question(state, "kick-own").open == Open::tweak);
  CHECK(question(state, "kick-own").last->note == "softer\x1b[31m \"there\"");
  CHECK(found(room, kNow).status == Status::fail);
  CHECK(value(found(room, kNow)) == "2 of 3 questions open: vocal-placement (skipped), kick-own (tweak) (pass 1, 2026-01-31, KB)");
  // The last answer counts.
  room.answer(kNow, 1, "vocal-placement", Answer::holds);
  room.answer(kNow, 1, "kick-own", Answer::holds);
  CHECK(room.state().complete);
  CHECK(found(room, kNow).status == Status::pass);
  CHECK(value(found(room, kNow)) == "3 questions hold (pass 1, 2026-01-31, KB)");
  // Another bounce.
  state = room.state(kBefore);
  CHECK_FALSE(state.complete);
  CHECK(state.pass == 0);
  CHECK(state.next_pass == 2);
  CHECK(state.before_audio == kNow);
  for (const auto& one : state.questions) CHECK(one.open == Open::mix_changed);
  CHECK(value(found(room, kBefore)) == "nobody has listened to this bounce; pass 1 was on another one");
  // The old bounce again: its pass still stands.
  CHECK(room.state().complete);
}

TEST_CASE("an answer of an earlier pass does not close a later one") {
  const Room room;
  room.hold_all(kNow, 1);
  room.answer(kNow, 2, "biggest-section", Answer::holds);
  const auto state = room.state();
  CHECK(state.pass == 2);
  CHECK_FALSE(state.complete);
  CHECK(question(state, "vocal-placement").open == Open::new_pass);
  CHECK(found(room, kNow).status == Status::fail);
}

TEST_CASE("a question with other words, another section or a new one is open again") {
  const Room room;
  room.hold_all(kNow, 1);
  auto plan = kPlan;
  plan.replace(plan.find("Does the kick hit?"), 18, "Does it hit hard?");
  room.write("p.toml", plan);
  CHECK(question(room.state(), "kick-own").open == Open::question_changed);
  plan = kPlan;
  plan.replace(plan.find("section = \"chorus\""), 18, "section = \"verse\"");
  room.write("p.toml", plan);
  CHECK(question(room.state(), "kick-own").open == Open::question_changed);
  room.write("p.toml", kPlan + "[[question]]\nid = \"new\"\ntext = \"And?\"\n");
  CHECK(question(room.state(), "new").open == Open::never_asked);
  CHECK_FALSE(room.state().complete);
  room.write("p.toml", kPlan);
  CHECK(room.state().complete);
}

TEST_CASE("what moved is asked first and told in numbers, then what was to be tweaked") {
  const Room room;
  const auto before = measured(1.3, -9);
  room.answer(kBefore, 1, "biggest-section", Answer::holds, "", &before);
  room.answer(kBefore, 1, "kick-own", Answer::tweak, "more");
  const auto same = measured(1.34, -9.04);
  auto state = room.state(kNow, &same);
  CHECK(state.questions[0].id == "kick-own");  // nothing moved; it was to be tweaked
  const auto moved = measured(0.6, -9, Status::fail);
  state = room.state(kNow, &moved);
  CHECK(state.questions[0].id == "vocal-placement");
  CHECK(state.questions[0].moved == std::vector<std::string>{"Vocal over the band: fail, was pass", "Vocal over the band, chorus: 0.6 LU, was 1.3 LU"});
  // The same by section, whatever is asked of it.
  REQUIRE(state.moves.size() == 2);
  CHECK(state.moves[0].section == "chorus");
  CHECK(state.moves[0].words == std::vector<std::string>{"lead vocal over the rest 0.6 LU, was 1.3 LU"});
  CHECK((state.moves[1].section.empty() && state.moves[1].words == std::vector<std::string>{"Vocal over the band: fail, was pass"}));
  CHECK(state.questions[1].id == "kick-own");
  ListeningChange change;
  change.pair.edits.push_back({40, 41, 40, 41, {}});
  state = room.state(kNow, &same, &change);
  CHECK(state.questions[0].id == "kick-own");
  REQUIRE(state.questions[0].moved.size() == 1);
  CHECK(contains(state.questions[0].moved[0], "0:40.000 to 0:41.000 changed"));
  change.pair.edits[0] = {70, 71, 70, 71, {}};
  CHECK(question(room.state(kNow, &same, &change), "kick-own").moved.empty());
}

TEST_CASE("a question about a section has that section's numbers, and what moved there, whatever its findings") {
  const Room room;
  room.write("p.toml", kPlan + "[[question]]\nid = \"words\"\ntext = \"Is every word understood?\"\nsection = \"chorus\"\n");
  const auto before = measured(1.3, -9);
  room.answer(kBefore, 1, "words", Answer::holds, "", &before);
  const auto now = measured(3.4, -9);
  const auto state = room.state(kNow, &now);
  const auto& words = question(state, "words");
  CHECK(words.moved == std::vector<std::string>{"Vocal over the band, chorus: 3.4 LU, was 1.3 LU"});
  CHECK(words.numbers == std::vector<std::string>{"\"chorus\": -9.0 LUFS, lead vocal 3.4 LU over the bed"});
  CHECK(question(state, "vocal-placement").numbers.empty());
  CHECK(question(room.state(kNow), "words").numbers.empty());  // nothing was measured
}

TEST_CASE("what is heard very quietly, or from something small, has those numbers") {
  auto plan = parse_plan(kPlan, "p.toml");
  REQUIRE(plan);
  auto sheet = measured(1, -9);
  auto song = std::make_shared<SongSheet>(*sheet.song);
  const auto add = [&](const char* name, std::optional<double> moved, std::optional<double> small, bool gone) {
    SongSheet::Stem one;
    one.name = name, one.reference_level = 60, one.moved = moved, one.moved_small_speaker = small, one.disappears = gone;
    song->stems.push_back(one);
  };
  add("voice", 1.24, 2.5, false), add("kick in", -3.1, {}, false), add("sub", {}, {}, true);
  song->stems.emplace_back().name = "keys";  // is not looked at
  sheet.song = song;
  Question one;
  one.heard = Heard::quiet;
  CHECK(numbers_for(*plan, one, sheet) == std::vector<std::string>{"very quietly, against one another and the reference level: voice +1.2 dB, kick in -3.1 dB, sub not heard; an estimate"});
  one.heard = Heard::small_speaker;
  CHECK(numbers_for(*plan, one, sheet) == std::vector<std::string>{"very quietly on a small loudspeaker, against one another and the reference level: voice +2.5 dB, kick in not heard, sub not heard; an estimate"});
  plan->quiet.small_speaker = false;
  CHECK(numbers_for(*plan, one, sheet).empty());
  one.heard = Heard::full;
  CHECK(numbers_for(*plan, one, sheet).empty());
}

TEST_CASE("what is outside of the plan, or moved, and belongs to no question is told all the same") {
  const Room room;
  const auto with_backing = [](double lead, Status status) {
    auto sheet = measured(1, -9, Status::fail);
    auto backing = noted("backing-placement", "chorus 12.0 LU (3.0 to 8.5 LU wanted)", {});
    backing.status = status;
    sheet.findings.push_back(backing);
    sheet.findings.push_back(unmeasured("movement", {}, "not stated", {}));
    auto song = std::make_shared<SongSheet>(*sheet.song);
    song->sections[0].lead_over_backing = lead;
    sheet.song = song;
    return sheet;
  };
  const auto before = with_backing(8, Status::pass);
  room.answer(kBefore, 1, "vocal-placement", Answer::holds, "", &before);
  auto now = with_backing(12, Status::fail);
  auto unasked = room.state(kNow, &now).unasked;  // the vocal has its own question
  REQUIRE(unasked.size() == 2);
  CHECK_MESSAGE(unasked[0].starts_with("fail, was pass: "), unasked[0]);
  CHECK(contains(unasked[0], "chorus 12.0 LU (3.0 to 8.5 LU wanted)"));
  CHECK(contains(unasked[1], "not measured: "));
  now = with_backing(7, Status::pass);
  unasked = room.state(kNow, &now).unasked;
  REQUIRE(unasked.size() == 2);
  CHECK(contains(unasked[0], "moved: "));
  CHECK(contains(unasked[0], ", chorus: 7.0 LU, was 8.0 LU"));
  now = with_backing(8, Status::pass);
  CHECK(room.state(kNow, &now).unasked.size() == 1);
  CHECK(room.state(kNow).unasked.empty());
}

TEST_CASE("findings and places belong to the questions they are about") {
  const auto plan = parse_plan(kPlan, "p.toml");
  REQUIRE(plan);
  CHECK(findings_of(*plan, plan->questions[1]) == std::vector<std::string>{"vocal-placement"});
  CHECK(findings_of(*plan, plan->questions[2]) == std::vector<std::string>{"biggest-section", "percussion-in-biggest", "kick-over-bass", "low-end-order"});
  // Every finding but the pass itself belongs to a standard question, and only effects have none.
  std::set<std::string> all;
  for (const auto& standard : standard_questions()) {
    Question one;
    one.id = standard.id;
    one.heard = standard.heard;
    const auto ids = findings_of(*plan, one);
    CHECK_MESSAGE(ids.empty() == (standard.id == "effects"), standard.id);
    all.insert(ids.begin(), ids.end());
  }
  CHECK(all.size() == plan_rules().size() - 1);
  auto sheet = measured(1, -9);
  sheet.findings[0].where.resize(20, {12, 13, 0, 0, 0, "", "soft phrase"});
  sheet.findings[0].where[0].file = "elsewhere.wav";
  // What is named twice is asked once.
  for (std::size_t i = 2; i < 20; ++i) sheet.findings[0].where[i].start_s += 0.01 * static_cast<double>(i / 2);
  const auto places = places_of(*plan, plan->questions[1], &sheet);
  REQUIRE(places.size() == 5);
  CHECK(places[1].start_s > places[0].start_s);
  CHECK(places[0].what == "soft phrase");
  CHECK(places_of(*plan, plan->questions[0], nullptr).front().what == "chorus");
}

TEST_CASE("lines are read back as they were written, and numbers with them") {
  PassLine line;
  line.answer = {.pass = 3, .date = "2026-01-31", .by = "Kä", .mix = "a/b.wav", .audio = kNow, .answer = Answer::tweak, .note = "a\n\"b\"\x7f", .played_s = 12.5};
  line.question = "vocal";
  line.question_digest = kBefore;
  PassLine beginning;
  beginning.answer = {.pass = 3, .date = "2026-01-31", .by = "KB", .mix = "a/b.wav", .audio = kNow, .answer = Answer::skip, .note = "", .played_s = {}};
  beginning.measured["movement"] = {"pass", {{"drums \"x\"", -1.25}}};
  const auto passes = parse_passes(written(beginning) + written(line), "x");
  REQUIRE(passes);
  REQUIRE(passes->lines.size() == 2);
  CHECK(passes->lines[0].measured.at("movement").numbers.at("drums \"x\"") == -1.25);
  CHECK(written(passes->lines[0]) == written(beginning));
  CHECK(written(passes->lines[1]) == written(line));
}

TEST_CASE("a wrong line is an error with its place, never passed over") {
  CHECK(parse_passes(kBegin + kLine + "\r\n\n" + kLine + "\n", "x")->lines.size() == 3);
  CHECK(contains(refusal(kLine + "\n"), "p.passes.jsonl:1: this line of the passes file is wrong: no line with the kind pass begins pass 1 on this audio before it"));
  CHECK(contains(refusal(kLine + "\n" + kBegin), ":1: "));
  CHECK(contains(refusal(kBegin + changed("\"pass\":1", "\"pass\":2")), ":2: "));
  CHECK(contains(refusal(kBegin + changed(kNow, kBefore)), "on this audio before it"));
  for (const auto* day : {"2026-02-31", "2026-02-29", "2026-04-31", "0000-01-01", "2026-00-10", "2026-10-00"}) CHECK(contains(refusal(changed("2026-01-31", day)), "\"date\" must be a day that exists"));
  CHECK(parse_passes(kBegin + changed("2026-01-31", "2028-02-29"), "x"));
  CHECK(contains(refusal(kBegin + "{\n"), "p.passes.jsonl:2: this line of the passes file is wrong: it is no JSON"));
  CHECK(contains(refusal("[]\n"), "it must be an object"));
  CHECK(contains(refusal(changed("\"schema\":1", "\"schema\":2")), "a newer version wrote it"));
  CHECK(contains(refusal(changed("\"kind\":\"answer\"", "\"kind\":\"other\"")), "\"kind\" must be"));
  CHECK(contains(refusal(changed("\"pass\":1", "\"pass\":0")), "\"pass\" must be"));
  CHECK(contains(refusal(changed("\"pass\":1", "\"pass\":1e9")), "\"pass\" must be"));
  CHECK(contains(refusal(changed("2026-01-31", "2026-13-01")), "\"date\" must be"));
  CHECK(contains(refusal(changed("\"KB\"", "\" \"")), "\"by\" must hold"));
  CHECK(contains(refusal(changed("xxh128:a", "xxh128:A")), "\"audio\" must be"));
  CHECK(contains(refusal(changed("\"holds\"", "\"hold\"")), "\"answer\" must be"));
  CHECK(contains(refusal(changed("\"holds\"", "\"tweak\"")), "a tweak needs a note"));
  CHECK(contains(refusal(changed("\"note\":\"\"", "\"note\":null")), "\"note\" must be text"));
  CHECK(contains(refusal(changed("\"note\":\"\"", "\"note\":\"\",\"played_s\":-1")), "\"played_s\" must lie"));
  CHECK(contains(refusal(changed("\"note\":\"\"", "\"note\":\"\",\"answer\":\"tweak\"")), "\"answer\" stands twice"));
  CHECK(contains(refusal(changed("\"note\":\"\"", "\"note\":\"" + std::string(1001, 'x') + "\"")), "at most 1000 characters"));
  CHECK(contains(refusal(changed("\"a\"", "\"\xff\"")), "no JSON"));
  CHECK(contains(refusal(std::string(300'000, '[') + "\n"), "longer than 256 KiB"));
  CHECK(contains(refusal(std::string(200'000, '[') + "\n"), "no JSON"));
  CHECK(contains(refusal(std::string(20'001, '\n')), "more than 20000 lines"));
  CHECK(contains(refusal(std::string((4u << 20) + 1, ' ')), "larger than 4 MiB"));
  CHECK(parse_passes(std::string(20'000, '\n'), "x"));
  const Room room;
  room.write("p.toml.passes.jsonl", "{}\n");
  const auto state = listening_state(room.plan(), kNow);
  REQUIRE_FALSE(state);
  CHECK(contains(to_string(state.error()), ".passes.jsonl:1: "));
  CHECK(found(room, kNow).status == Status::not_measured);
}

TEST_CASE("a last line that was cut off does not count, is told of, and the next answer stands on a line of its own") {
  const Room room;
  room.hold_all(kNow, 1);
  const auto whole = room.text();
  REQUIRE(whole.ends_with("\n"));
  // Also where nothing but the end of the line is missing.
  for (const std::size_t cut : {std::size_t{1}, std::size_t{2}, std::size_t{40}}) {
    room.write("p.toml.passes.jsonl", whole.substr(0, whole.size() - cut));
    auto state = room.state();
    CHECK_FALSE(state.complete);
    CHECK(question(state, "kick-own").open == Open::never_asked);
    CHECK(contains(state.remark, "1 line of the passes file was cut off"));
    room.answer(kNow, 1, "kick-own", Answer::holds);
    state = room.state();
    CHECK(state.complete);
    CHECK(contains(state.remark, "1 line of the passes file was cut off and does not count"));
  }
  // Two that mended it at once.
  const std::string lost = "\n{\"schema\":1,\"kind\":\"lost\"}\n";
  const auto passes = parse_passes(kBegin + "{\"sch" + lost + kLine + "\n" + lost + kLine + "\n", "x");
  REQUIRE(passes);
  CHECK(passes->lines.size() == 3);
  CHECK(passes->lost == 1);
}

TEST_CASE("what a line cannot hold is not written, nor through a link, nor into what is no file") {
  const Room room;
  ListeningAnswer one{.pass = 1, .date = "2026-01-31", .by = "KB", .mix = "", .audio = "", .answer = Answer::tweak, .note = " ", .played_s = {}};
  CHECK(contains(record_answer(room.state(), "kick-own", one).error().text, "a tweak needs a note"));
  one.note = std::string(1001, 'x');
  CHECK_FALSE(record_answer(room.state(), "kick-own", one));
  one.note = "x";
  CHECK_FALSE(record_answer(room.state(), "no-such", one));
  // The plan was changed while it was asked.
  const auto shown = room.state();
  auto plan = kPlan;
  plan.replace(plan.find("section = \"chorus\""), 18, "section = \"verse\"");
  room.write("p.toml", plan);
  CHECK(contains(record_answer(shown, "kick-own", one).error().text, "the plan has changed"));
  room.write("p.toml", kPlan);
  one.by = "";
  CHECK_FALSE(record_answer(room.state(), "kick-own", one));
  CHECK_FALSE(std::filesystem::exists(room.passes()));
  one.by = "KB";
  room.write("other", "");
  std::filesystem::create_symlink("other", room.passes());
  CHECK(contains(record_answer(room.state(), "kick-own", one).error().text, "it is a link"));
  CHECK(std::filesystem::file_size(std::filesystem::path(room.plan()).parent_path() / "other") == 0);
  std::filesystem::remove(room.passes());
  std::filesystem::create_directory(room.passes());
  CHECK_FALSE(append_passes(room.passes(), "x\n"));
  CHECK_FALSE(listening_state(room.plan(), kNow));
}

TEST_CASE("a plan that asks nothing says so") {
  const Room room;
  room.write("p.toml", kPlan.substr(0, kPlan.find("[[question]]")));
  const auto state = listening_state(room.plan(), kNow);
  REQUIRE_FALSE(state);
  CHECK(contains(state.error().text, "the plan asks nothing"));
  CHECK(value(found(room, kNow)) == "not stated");
  room.write("p.toml", kPlan);
  CHECK(value(found(room, "")) == "the mix could not be read");
}
