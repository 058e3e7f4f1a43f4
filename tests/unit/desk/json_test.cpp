#include "desk/json.h"

#include <doctest/doctest.h>

#include <string>

#include "desk/answer.h"
#include "desk/shown_paths.h"

using namespace sendworthy;
using namespace sendworthy::desk;

TEST_SUITE_BEGIN("desk/json");

TEST_CASE("what a check is asked to do is read whole or not at all") {
  const auto wish = read_check_wish(R"({"files":[{"path":"a/b.wav"},{"upload":"u1"},{"id":"caf%E9.wav"}],"rules":["cd","premaster"]})");
  REQUIRE(wish.has_value());
  REQUIRE(wish->files.size() == 3);
  CHECK(wish->files[0].path == "a/b.wav");
  CHECK(wish->files[1].upload == "u1");
  CHECK(wish->files[1].path.empty());
  CHECK(wish->files[2].path == "caf\xE9.wav");
  CHECK(wish->rules == std::vector<std::string>{"cd", "premaster"});
  CHECK(read_check_wish(R"({"files":[{"path":"a"}]})")->rules.empty());
  for (const char* bad : {"", "{", "[]", "null", "{}", R"({"files":[]})", R"({"files":{}})", R"({"files":["a"]})", R"({"files":[{}]})", R"({"files":[{"path":1}]})",
                          R"({"files":[{"path":"a","upload":"u1"}]})", R"({"files":[{"upload":""}]})", R"({"files":[{"other":"a"}]})", R"({"files":[{"path":"a"}],"rules":"cd"})",
                          R"({"files":[{"path":"a"}],"rules":[1]})", R"({"files":[{"path":"a"}],"rules":[""]})", "{\"files\":[{\"path\":\"\xff\"}]}"})
    CHECK_MESSAGE(!read_check_wish(bad), bad);
}

TEST_CASE("what goes deep is read to 32 levels, and what brackets a text holds is of no account") {
  const auto nested = [](std::size_t depth) { return std::string(depth, '[') + std::string(depth, ']'); };
  CHECK(parsed_body(nested(32)).is_array());
  CHECK(parsed_body(nested(33)).is_discarded());
  CHECK(parsed_body(std::string(1'000'000, '[')).is_discarded());
  CHECK(parsed_body(R"({"a":{"b":[)" + nested(29) + "]}}").is_object());
  CHECK(parsed_body(R"({"a":{"b":[)" + nested(30) + "]}}").is_discarded());
  CHECK(parsed_body("[\"\\\"" + nested(40) + "\\\\\"," + nested(31) + "]").is_array());
  CHECK(parsed_body("[\"\\\\\"," + nested(32) + "]").is_discarded());
  std::string wide = "[";
  for (int i = 0; i < 100; ++i) wide += "[],";
  CHECK(parsed_body(wide + "{}]").is_array());
}

TEST_CASE("a check is of one kind, with what belongs to it") {
  using enum CheckWish::Kind;
  const auto two = read_check_wish(R"({"compare":[{"upload":"u1"},{"path":"b.wav"}],"rules":["cd"]})");
  REQUIRE(two.has_value());
  CHECK(two->kind == compare);
  CHECK(two->files[0].upload == "u1");
  CHECK(two->files[1].path == "b.wav");
  CHECK(read_check_wish(R"({"plan":"a/b.toml"})")->kind == plan);
  CHECK(read_check_wish(R"({"plan":{"id":"caf%E9.toml"},"rules":[]})")->files[0].path == "caf\xE9.toml");
  CHECK(read_check_wish(R"({"order":{"path":"b.toml"}})")->kind == order);
  for (const char* bad : {R"({"compare":[{"path":"a"}]})", R"({"compare":[{"path":"a"},{"path":"b"},{"path":"c"}]})", R"({"compare":{}})", R"({"plan":""})", R"({"plan":null})", R"({"plan":{"upload":"u1"}})",
                          R"({"order":"a","rules":["cd"]})", R"({"order":"a","plan":"a"})", R"({"files":[{"path":"a"}],"compare":null})", R"({"rules":["cd"]})"})
    CHECK_MESSAGE(!read_check_wish(bad), bad);
}

TEST_CASE("an answer is read whole or not at all") {
  const auto wish = read_answer_wish(R"({"question":"vocal","answer":"tweak","note":"softer","by":"KB","played_s":12.5,"pass":3,"again":true})");
  REQUIRE(wish.has_value());
  CHECK(wish->question == "vocal");
  CHECK(wish->answer == sendworthy::Answer::tweak);
  CHECK(wish->note == "softer");
  CHECK(wish->by == "KB");
  CHECK(wish->played_s == 12.5);
  CHECK(wish->pass == 3);
  CHECK(wish->again);
  const auto least = read_answer_wish(R"({"question":"vocal","answer":"holds","played_s":null,"pass":null})");
  REQUIRE(least.has_value());
  CHECK(!least->played_s);
  CHECK(!least->pass);
  CHECK(!least->again);
  for (const char* more : {R"("played_s":-0.001)", R"("played_s":604800.1)", R"("played_s":1e999)", R"("played_s":"1")", R"("pass":-1)", R"("pass":1.0)", R"("pass":1000001)", R"("again":0)", R"("note":[])", R"("by":{})"})
    CHECK_MESSAGE(!read_answer_wish(R"({"question":"vocal","answer":"holds",)" + std::string(more) + "}"), more);
  for (const char* bad : {"", "[]", "{}", R"({"question":"vocal"})", R"({"question":"vocal","answer":"hold"})", R"({"answer":"holds"})"}) CHECK_MESSAGE(!read_answer_wish(bad), bad);
}

TEST_CASE("what is to be made has the name of a TOML file") {
  const auto plan = read_plan_wish(R"({"mix":"mix.wav","stems":"stems","plan":"a/song.toml"})");
  REQUIRE(plan.has_value());
  CHECK(plan->mix == "mix.wav");
  CHECK(plan->stems == "stems");
  CHECK(plan->plan == "a/song.toml");
  CHECK(read_plan_wish(R"({"mix":"mix.wav","plan":"song.toml"})")->stems.empty());
  CHECK(read_order_wish(R"({"order":"o.toml"})")->folder.empty());
  for (const char* name : {"", ".toml", "a/.toml", "a/.b.toml", "a.TOML", "a.toml/", "a", "a\nb.toml", "\u202e.toml"}) {
    const auto text = R"({"mix":"mix.wav","plan":")" + std::string(name) + R"(","order":")" + std::string(name) + "\"}";
    CHECK_MESSAGE(!read_plan_wish(text), name);
    CHECK_MESSAGE(!read_order_wish(text), name);
  }
  CHECK(!read_plan_wish(R"({"mix":"","plan":"a.toml"})"));
  CHECK(!read_plan_wish(R"({"mix":{"upload":"u1"},"plan":"a.toml"})"));
  CHECK(!read_order_wish(R"({"folder":1,"order":"a.toml"})"));
}

TEST_CASE("a request for too much is refused, and one that is nested deeply is no trouble") {
  std::string many = R"({"files":[{"path":"a"})";
  for (std::size_t i = 0; i < kMostFilesOfACheck; ++i) many += R"(,{"path":"a"})";
  CHECK(!read_check_wish(many + "]}"));
  CHECK(!read_check_wish(std::string(kMostBodyBytes, '[')));
  std::string deep = R"({"files":)" + std::string(400'000, '[') + std::string(400'000, ']') + "}";
  CHECK(!read_check_wish(deep));
}

TEST_CASE("a refusal is clean JSON, whatever it speaks of") {
  const auto answer = refusal(400, "name", "\"\x1b[31m\xff</script>\u202e\"");
  CHECK(answer.status == 400);
  const auto json = Json::parse(answer.body, nullptr, false);
  REQUIRE(!json.is_discarded());
  CHECK(json["error"]["code"] == "name");
  const auto text = json["error"]["text"].get<std::string>();
  CHECK(text.find('\x1b') == text.npos);
  CHECK(text.find("\u202e") == text.npos);
}

TEST_CASE("nothing on a sheet says where a copy lay") {
  CHECK(with_shown_paths("cannot read \"/tmp/x/c1/f/a.wav\": no; /tmp/x/c1/f/2/a.wav", "/tmp/x/c1") == "cannot read \"a.wav\": no; 2/a.wav");
  CHECK(with_shown_paths("", "/tmp/x/c1").empty());
  Sheet sheet;
  for (const char* name : {"/tmp/x/c1/f/b.wav", "a.wav"}) {
    FileSheet file;
    file.path = name;
    file.error = Error{ErrorCode::missing, "cannot read \"" + std::string(name) + "\"", {}};
    Finding finding;
    finding.outcome = NotMeasured{std::string("not in ") + name};
    finding.where.push_back({0, 0, 0, 0, 0, name, name});
    finding.files = {name};
    file.findings.push_back(finding);
    sheet.findings.push_back(finding);
    Measurement measurement;
    measurement.outcome = Value(std::string(name));
    file.measurements.push_back(measurement);
    file.skipped.push_back({"r", "s", name});
    sheet.files.push_back(file);
  }
  Pair pair;
  pair.old_path = "/tmp/x/c1/f/old/a.wav";
  pair.new_path = "/tmp/x/c1/f/new/a.wav";
  pair.changes.push_back({"id", "key", sheet.files[0].measurements[0], sheet.files[0].measurements[0]});
  sheet.pairs.push_back(pair);
  CHECK(show_paths(sheet, "/tmp/x/c1") == std::vector<std::string>{"a.wav", "/tmp/x/c1/f/b.wav"});
  CHECK(sheet.pairs[0].old_path == "old/a.wav");
  CHECK(sheet.pairs[0].new_path == "new/a.wav");
  CHECK(std::get<std::string>(std::get<Value>(sheet.pairs[0].changes[0].after.outcome)) == "b.wav");
  CHECK(sheet.files[0].path == "a.wav");
  const auto& copy = sheet.files[1];
  CHECK(copy.path == "b.wav");
  CHECK(copy.error->text == "cannot read \"b.wav\"");
  CHECK(std::get<NotMeasured>(copy.findings[0].outcome).reason == "not in b.wav");
  CHECK(copy.findings[0].where[0].file == "b.wav");
  CHECK(copy.findings[0].where[0].note == "b.wav");
  CHECK(copy.findings[0].files[0] == "b.wav");
  CHECK(std::get<std::string>(std::get<Value>(copy.measurements[0].outcome)) == "b.wav");
  CHECK(copy.skipped[0].reason == "b.wav");
  CHECK(sheet.findings[0].files[0] == "b.wav");
}

TEST_SUITE_END();
