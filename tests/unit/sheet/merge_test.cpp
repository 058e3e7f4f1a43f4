#include <doctest/doctest.h>

#include <algorithm>
#include <nlohmann/json.hpp>

#include "unit/sheet/helpers.h"

using namespace sendworthy;
using namespace sendworthy::fixture;
using Json = nlohmann::json;

namespace {

using Inputs = std::vector<std::pair<std::string, std::string>>;

std::string jsonl_of(const Sheet& sheet) { return render_jsonl(sheet, small_catalog()); }

Sheet merged(const Inputs& inputs) {
  auto sheet = merge_jsonl(inputs, small_catalog());
  REQUIRE_MESSAGE(sheet.has_value(), (sheet ? "" : to_string(sheet.error())));
  return std::move(*sheet);
}

std::string refused(const Inputs& inputs) {
  const auto sheet = merge_jsonl(inputs, small_catalog());
  REQUIRE_FALSE(sheet.has_value());
  return to_string(sheet.error());
}

/// The line of one_mix, changed.
template <class Change>
std::string changed(Change change) {
  auto json = Json::parse(jsonl_of(one_mix()));
  change(json);
  return json.dump() + "\n";
}

const Finding* about(const Sheet& sheet, std::string_view rule) {
  for (const auto& finding : sheet.findings) {
    if (finding.rule == rule) return &finding;
  }
  return nullptr;
}

}  // namespace

TEST_SUITE("sheet/merge") {
  TEST_CASE("what was written reads back to the same sheet") {
    for (auto sheet : all_sheets()) {
      if (sheet.files.empty()) continue;
      sheet.findings.clear();
      const auto text = render_json(sheet, small_catalog());
      CHECK(render_json(merged({{"a.jsonl", jsonl_of(sheet)}}), small_catalog()) == text);
    }
  }

  TEST_CASE("line by line in any order it is the same sheet") {
    const auto sheet = many_stems();
    Inputs inputs;
    const auto lines = lines_of(jsonl_of(sheet));
    for (auto line = lines.rbegin(); line != lines.rend(); ++line) inputs.emplace_back("x", *line + "\r\n\n");
    CHECK(render_json(merged(inputs), small_catalog()) == render_json(sheet, small_catalog()));
  }

  TEST_CASE("the verdict is made anew: the worst of all files") {
    const auto good = jsonl_of(clean_mix());
    const auto bad = jsonl_of(one_mix());
    CHECK(merged({{"good", good}}).verdict == Verdict::pass);
    CHECK(merged({{"good", good}, {"bad", bad}}).verdict == Verdict::fail);
    const auto lied = merged({{"lie", changed([](Json& j) { j["file"]["verdict"] = "pass"; })}});
    CHECK(lied.verdict == Verdict::fail);
    CHECK(lied.files.front().verdict == Verdict::fail);
    const auto unread = changed([](Json& j) {
      j["file"]["findings"] = Json::array();
      j["file"]["error"] = {{"code", "missing"}, {"text", "gone"}};
      j["file"]["verdict"] = "pass";
    });
    CHECK(merged({{"gone", unread}}).verdict == Verdict::fail);
  }

  TEST_CASE("a verdict that is stated worse than its findings stays as bad") {
    auto line = Json::parse(jsonl_of(clean_mix()));
    line["file"]["verdict"] = "fail";
    CHECK(merged({{"x", line.dump()}}).verdict == Verdict::fail);
  }

  TEST_CASE("the stricter sheet of a file stands, in whatever order they come, and that is said") {
    auto again = one_mix();  // as on a day on which nothing of it failed
    again.files.front().findings.erase(again.files.front().findings.begin(), again.files.front().findings.begin() + 3);
    again.files.front().verdict = again.verdict = Verdict::pass;
    auto warned = again;
    warned.files.front().verdict = warned.verdict = Verdict::warn;
    const std::pair<std::string, std::string> night("night.jsonl", jsonl_of(one_mix())), day("day.jsonl", jsonl_of(again)), noon("noon.jsonl", jsonl_of(warned));
    const auto sheet = merged({night, day});
    REQUIRE(sheet.files.size() == 1);
    CHECK(sheet.files.front().verdict == Verdict::fail);
    CHECK(sheet.verdict == Verdict::fail);
    const auto* finding = about(sheet, "one-sheet-per-file");
    REQUIRE(finding != nullptr);
    CHECK(finding->status == Status::note);
    CHECK(finding->files == std::vector<std::string>{"bounces/paper-lantern_mix3.wav"});
    CHECK(holds(std::get<std::string>(std::get<Value>(finding->outcome)), "night.jsonl, line 1 stands, being the stricter one"));
    CHECK(holds(finding->why, "the stricter counts"));
    CHECK(all_formats(merged({day, night})) == all_formats(sheet));
    CHECK(merged({day, noon}).verdict == Verdict::warn);
    CHECK(all_formats(merged({noon, day})) == all_formats(merged({day, noon})));
    const auto all = merged({day, night, noon});
    CHECK(std::count_if(all.findings.begin(), all.findings.end(), [](const Finding& one) { return one.rule == "one-sheet-per-file"; }) == 2);
    Inputs inputs{day, night, noon, day, {"again.jsonl", night.second}};
    std::sort(inputs.begin(), inputs.end());
    const auto first = all_formats(merged(inputs));
    do {
      CHECK(all_formats(merged(inputs)) == first);
    } while (std::next_permutation(inputs.begin(), inputs.end()));
  }

  TEST_CASE("what is said of the whole set does not hang on the order of sheets of one file") {
    const auto said = [](Status status, std::string rule, std::string remedy) {
      Finding finding;
      finding.ruleset = one_mix().rules.front().name;
      finding.rule = std::move(rule);
      finding.status = finding.before_waiver = status;
      finding.outcome = Value(std::string("so"));
      finding.remedy = std::move(remedy);
      return finding;
    };
    auto a = one_mix(), b = one_mix(), c = clean_mix();
    c.files.front().path = a.files.front().path;
    c.files.front().audio_digest = a.files.front().audio_digest;
    a.findings = {said(Status::fail, "y", "second"), said(Status::warn, "unused", "x")};
    b.findings = {said(Status::fail, "z", ""), said(Status::fail, "y", "first")};
    c.findings = {said(Status::fail, "q", ""), said(Status::fail, "p", "")};
    Inputs inputs{{"a", jsonl_of(a)}, {"b", jsonl_of(b)}, {"c", jsonl_of(c)}};
    const auto first = merged(inputs);
    CHECK(about(first, "unused") == nullptr);  // it was met in the run that b tells of
    for (const auto* rule : {"y", "z", "q", "p"}) CHECK(about(first, rule) != nullptr);
    CHECK(about(first, "y")->remedy == "first");
    do {
      CHECK(all_formats(merged(inputs)) == all_formats(first));
    } while (std::next_permutation(inputs.begin(), inputs.end()));
  }

  TEST_CASE("what no rule set judged does not pass") {
    const auto judged_by_none = [](Json& j) { j["file"]["findings"] = Json::array(), j["file"]["measurements"] = Json::object(), j["file"]["verdict"] = "pass"; };
    const auto clean = [](auto change) {
      auto json = Json::parse(jsonl_of(clean_mix()));
      change(json);
      return json.dump();
    };
    CHECK(holds(refused({{"a", clean([&](Json& j) { judged_by_none(j), j["rules"] = Json::array(); })}}), "a:1: no line of a sheet: its verdict is \"pass\" and no rule set judged it; check"));
    CHECK(holds(refused({{"a", clean(judged_by_none)}}), "has no finding of it"));
    CHECK(holds(refused({{"a", clean([](Json& j) { j["rules"] = Json::array(); })}}), "no rule set judged it"));
    CHECK(holds(refused({{"a", clean([](Json& j) { j["rules"].push_back(j["rules"][0]), j["rules"][1]["name"] = "second"; })}}), "the rule set \"second\""));
    CHECK(holds(refused({{"a", clean([](Json& j) { j["file"]["findings"][0]["status"] = "pass", j["file"]["findings"][0]["value"] = nullptr; })}}), "passes and has no value"));
    // Worse than it could be made here is no lie.
    CHECK(merged({{"a", clean([&](Json& j) { judged_by_none(j), j["file"]["verdict"] = "fail"; })}}).verdict == Verdict::fail);
  }

  TEST_CASE("a name that stands twice in one object is refused, wherever it is") {
    auto line = jsonl_of(clean_mix());
    const auto with = [&](std::string_view before, std::string_view put) {
      auto text = line;
      const auto at = text.find(before);
      REQUIRE(at != std::string::npos);
      return text.insert(at, put);
    };
    CHECK(holds(refused({{"a", with("\"schema\":", "\"schema\":1,")}}), "a:1: no line of a sheet: \"schema\" stands there twice"));
    CHECK(holds(refused({{"a", with("\"findings\":", "\"findings\":[],")}}), "\"findings\" stands there twice"));
    CHECK(holds(refused({{"a", with("\"status\":", "\"status\":\"pass\",")}}), "\"status\" stands there twice"));
    CHECK(holds(refused({{"a", with("\"status\":", "\"\\u0073tatus\":\"pass\",")}}), "\"status\" stands there twice"));
    CHECK(holds(refused({{"a", with("\"schema\":", "\"later\":{\"a\":1,\"a\":1},")}}), "\"a\" stands there twice"));
  }

  TEST_CASE("a text that is not UTF-8, and a document that is no list of lines, are called by their names") {
    auto line = jsonl_of(clean_mix());
    line.insert(line.find("\"schema\"") + 1, "\xff");
    const auto byte = line.find('\xff') + 1;
    CHECK(holds(refused({{"a", line}}), "a:1: no line of a sheet: its text is not UTF-8 from byte " + std::to_string(byte) + " on; fetch it again"));
    const auto document = refused({{"a", "{\n  \"files\": []\n}\n"}});
    CHECK(holds(document, "it is one document"));
    CHECK(holds(document, "what compare writes cannot be merged"));
  }

  TEST_CASE("a failing sheet of other audio under the same name does not vanish without a warning") {
    auto other = clean_mix();
    other.files.front().path = one_mix().files.front().path;
    other.files.front().audio_digest = "xxh128:ffffffffffffffffffffffffffffffff";
    const auto sheet = merged({{"a", jsonl_of(one_mix())}, {"b", jsonl_of(other)}});
    CHECK(sheet.verdict == Verdict::fail);
    CHECK(about(sheet, "one-sheet-per-file")->status == Status::fail);
  }

  TEST_CASE("one file under two rule sets keeps both sheets") {
    auto cd = clean_mix();
    cd.files.front().path = one_mix().files.front().path;
    for (auto& finding : cd.files.front().findings) finding.ruleset = "cd";
    cd.rules.front().name = "cd";
    const auto sheet = merged({{"a", jsonl_of(one_mix())}, {"b", jsonl_of(cd)}});
    CHECK(sheet.files.size() == 2);
    CHECK(sheet.verdict == Verdict::fail);
    CHECK(about(sheet, "same-rule-sets-for-all") != nullptr);
  }

  TEST_CASE("names that differ only in bytes that are no UTF-8 stay two files, and come back byte by byte") {
    auto a = one_mix(), b = clean_mix();
    a.files.front().path = "Gr\xf6n %41.wav", b.files.front().path = "Gr\xfcn.wav";
    const auto sheet = merged({{"a", jsonl_of(a)}, {"b", jsonl_of(b)}});
    REQUIRE(sheet.files.size() == 2);
    CHECK(sheet.files[0].path == "Gr\xf6n %41.wav");
    CHECK(sheet.files[1].path == "Gr\xfcn.wav");
  }

  TEST_CASE("two versions of a rule set or of the program are said") {
    auto other = clean_mix();
    other.rules.front().digest = "xxh128:ffffffffffffffffffffffffffffffff";
    other.tool_version = "0.2.0";
    const auto sheet = merged({{"a", jsonl_of(one_mix())}, {"b", jsonl_of(other)}});
    REQUIRE(about(sheet, "one-version-of-a-rule-set") != nullptr);
    CHECK(about(sheet, "one-version-of-a-rule-set")->status == Status::fail);
    REQUIRE(about(sheet, "one-version-of-the-program") != nullptr);
    CHECK(about(sheet, "one-version-of-the-program")->status == Status::warn);
    CHECK(sheet.rules.size() == 2);
    CHECK(sheet.verdict == Verdict::fail);
  }

  TEST_CASE("findings of the whole set that fail are not lost") {
    auto sheet = clean_mix();
    Finding finding;
    finding.rule = "complete";
    finding.status = finding.before_waiver = Status::fail;
    finding.outcome = Value(std::string("a version is missing"));
    sheet.findings = {finding};
    const auto back = merged({{"a", jsonl_of(sheet)}, {"b", jsonl_of(sheet)}});
    CHECK(back.verdict == Verdict::fail);
    CHECK(std::count_if(back.findings.begin(), back.findings.end(),
                        [](const Finding& f) { return f.rule == "complete"; }) == 1);
  }

  TEST_CASE("the same line twice says nothing new") {
    const auto once = merged({{"a", jsonl_of(many_stems())}});
    const auto twice = merged({{"a", jsonl_of(many_stems())}, {"b", jsonl_of(many_stems())}});
    CHECK(twice.findings.empty());
    CHECK(all_formats(twice) == all_formats(once));
  }

  TEST_CASE("a merge of merged sheets is the merge of all") {
    auto other = clean_mix();
    other.rules.front().digest = "xxh128:ffffffffffffffffffffffffffffffff";
    other.tool_version = "0.2.0";
    other.libraries["libsndfile"] = "9.9.9";
    auto cd = one_mix();
    for (auto& finding : cd.files.front().findings) finding.ruleset = "cd";
    cd.files.front().skipped.clear();
    cd.rules.front().name = "cd";
    const std::vector<std::string> parts{jsonl_of(many_stems()), jsonl_of(other), jsonl_of(cd), jsonl_of(one_mix())};
    const auto whole = merged({{"", parts[0]}, {"", parts[1]}, {"", parts[2]}, {"", parts[3]}});
    CHECK(whole.files.size() == 16);
    CHECK(about(whole, "one-version-of-the-libraries") != nullptr);
    const auto stage = [&](std::size_t a, std::size_t b) {
      return std::pair<std::string, std::string>("", jsonl_of(merged({{"", parts[a]}, {"", parts[b]}})));
    };
    for (const auto& [a, b] : {std::pair{0, 1}, std::pair{1, 2}, std::pair{3, 2}, std::pair{2, 0}}) {
      std::vector<std::size_t> rest;
      for (std::size_t i = 0; i < 4; ++i) {
        if (static_cast<int>(i) != a && static_cast<int>(i) != b) rest.push_back(i);
      }
      const auto staged = merged({stage(rest[1], rest[0]), stage(static_cast<std::size_t>(b), static_cast<std::size_t>(a))});
      CHECK(all_formats(staged) == all_formats(whole));
    }
  }

  TEST_CASE("what failed under one rule set is not replaced by what passed under another, however often it is merged") {
    auto cd = clean_mix();
    cd.files.front().path = one_mix().files.front().path;
    cd.files.front().audio_digest = one_mix().files.front().audio_digest;
    for (auto& finding : cd.files.front().findings) finding.ruleset = "cd";
    cd.rules.front().name = "cd";
    const auto once = jsonl_of(merged({{"a", jsonl_of(one_mix())}, {"b", jsonl_of(cd)}}));
    const auto twice = merged({{"c", once}});
    CHECK(twice.files.size() == 2);
    CHECK(twice.verdict == Verdict::fail);
  }

  TEST_CASE("a pass by another version of the rules does not hide a fail") {
    auto lax = clean_mix();
    lax.files.front().path = one_mix().files.front().path;
    lax.files.front().audio_digest = one_mix().files.front().audio_digest;
    lax.rules.front().digest = "xxh128:ffffffffffffffffffffffffffffffff";
    const auto sheet = merged({{"a", jsonl_of(one_mix())}, {"b", jsonl_of(lax)}});
    CHECK(sheet.verdict == Verdict::fail);
    CHECK(about(sheet, "one-sheet-per-file")->status == Status::fail);
  }

  TEST_CASE("a waiver is unused when no run used it, and the failure of one that has ended is said once") {
    const auto set_finding = [](Status status, const char* rule) {
      Finding finding;
      finding.ruleset = clean_mix().rules.front().name;
      finding.rule = rule;
      finding.status = finding.before_waiver = status;
      finding.outcome = Value(std::string("waiver"));
      finding.why = rule;
      return finding;
    };
    auto a = clean_mix(), b = clean_mix(), c = clean_mix();
    b.files.front().path = "b.wav", c.files.front().path = "c.wav";
    a.findings = {set_finding(Status::warn, "everywhere"), set_finding(Status::warn, "a-only"), set_finding(Status::fail, "ended")};
    b.findings = {set_finding(Status::warn, "everywhere")};
    b.files.front().findings.push_back(set_finding(Status::fail, "ended"));
    c.findings = {set_finding(Status::warn, "everywhere"), set_finding(Status::fail, "elsewhere")};
    const auto ab = merged({{"a", jsonl_of(a)}, {"b", jsonl_of(b)}});
    CHECK(ab.findings.size() == 1);
    CHECK(about(ab, "everywhere") != nullptr);
    CHECK(ab.verdict == Verdict::fail);
    const auto all = merged({{"c", jsonl_of(c)}, {"ab", jsonl_of(ab)}});
    CHECK(all.findings.size() == 2);
    CHECK(about(all, "everywhere") != nullptr);
    CHECK(about(all, "elsewhere") != nullptr);
    CHECK(render_json(all, small_catalog()) ==
          render_json(merged({{"b", jsonl_of(b)}, {"a", jsonl_of(a)}, {"c", jsonl_of(c)}}), small_catalog()));
  }

  TEST_CASE("what fails in one file of a set stands on its line alone") {
    auto sheet = many_stems();
    Finding finding;
    finding.rule = "complete";
    finding.status = finding.before_waiver = Status::fail;
    finding.outcome = Value(std::string("odd one out"));
    finding.files = {"stems/01_kick.wav"};
    sheet.findings = {finding};
    const auto lines = lines_of(jsonl_of(sheet));
    CHECK(std::count_if(lines.begin(), lines.end(), [](const auto& line) { return holds(line, "odd one out"); }) == 1);
    CHECK(about(merged({{"a", jsonl_of(sheet)}}), "complete") != nullptr);
    sheet.findings.front().files = {"somewhere else"};
    const auto all = lines_of(jsonl_of(sheet));
    CHECK(std::all_of(all.begin(), all.end(), [](const auto& line) { return holds(line, "odd one out"); }));
  }

  TEST_CASE("a file of the list without a sheet is an error, a sheet beside the list a warning") {
    const Inputs inputs{{"a", jsonl_of(clean_mix())}};
    const auto expecting = [&](std::vector<std::string> paths) {
      auto sheet = merge_jsonl(inputs, small_catalog(), {std::move(paths)});
      REQUIRE(sheet.has_value());
      return std::move(*sheet);
    };
    for (const auto* spelling : {"paper-lantern_mix4.wav", "./paper-lantern_mix4.wav", ".//./paper-lantern_mix4.wav"})
      CHECK(all_formats(expecting({spelling})) == all_formats(merged(inputs)));
    const auto missing = expecting({"z.wav", "paper-lantern_mix4.wav", "a.wav", "./a.wav"});
    REQUIRE(missing.files.size() == 3);
    CHECK(missing.files[0].path == "a.wav");
    REQUIRE(missing.files[0].error);
    CHECK(missing.files[0].error->code == ErrorCode::missing);
    CHECK(missing.verdict == Verdict::fail);
    CHECK(about(missing, "no-sheet-beside-the-list") == nullptr);
    for (const auto* other : {"../paper-lantern_mix4.wav", "/paper-lantern_mix4.wav", "x/../paper-lantern_mix4.wav"}) {
      const auto sheet = expecting({other});
      CHECK(sheet.verdict == Verdict::fail);
      REQUIRE(about(sheet, "no-sheet-beside-the-list") != nullptr);
      CHECK(about(sheet, "no-sheet-beside-the-list")->status == Status::warn);
      CHECK(about(sheet, "no-sheet-beside-the-list")->files == std::vector<std::string>{"paper-lantern_mix4.wav"});
    }
    CHECK(expecting({}).verdict == Verdict::warn);
  }

  TEST_CASE("errors name the file, the line and the reason") {
    const auto good = jsonl_of(one_mix());
    CHECK(refused({{"a.jsonl", good}, {"b.jsonl", good + "{\"schema\":1"}}).substr(0, 32) ==
          "b.jsonl:2: no line of a sheet: n");
    CHECK(refused({{"a", ""}}) == "a: there is no sheet in it");
    CHECK(holds(refused({}), "nothing to merge"));
    CHECK(holds(refused({{"a", render_json(one_mix(), small_catalog())}}), "--format jsonl"));
    CHECK(holds(refused({{"a", changed([](Json& j) { j["schema"] = 2; })}}), "schema 2"));
    CHECK(holds(refused({{"a", changed([](Json& j) { j["tool"]["name"] = "other"; })}}), "not written by sendworthy"));
    CHECK(holds(refused({{"a", good + jsonl_of(measured_mix())}}), "a:2: judged and merely measured"));
    CHECK(holds(refused({{"a\n\x1b[31m", "x"}}), "a\\n\\u{1b}[31m:1:"));
  }

  TEST_CASE("every member is checked for its type and range") {
    const auto refuses = [](auto change, std::string_view part) {
      const auto text = refused({{"a", changed(change)}});
      CAPTURE(text);
      CHECK(holds(text, part));
    };
    refuses([](Json& j) { j.erase("tool"); }, "\"tool\" is missing");
    refuses([](Json& j) { j["file"] = 1; }, "\"file\" must be an object");
    refuses([](Json& j) { j["file"]["path"] = Json::array(); }, "\"path\" must be text");
    refuses([](Json& j) { j["file"]["verdict"] = "good"; }, "\"verdict\" must be one of pass, warn, fail");
    refuses([](Json& j) { j["file"].erase("verdict"); }, "findings and no \"verdict\"");
    refuses([](Json& j) { j["file"]["findings"][0]["status"] = "passed"; }, "\"status\" must be one of");
    refuses([](Json& j) { j["file"]["findings"][0]["unit"] = "furlong"; }, "\"unit\" \"furlong\" is not known");
    refuses([](Json& j) { j["file"]["findings"][0]["where"][0]["start_s"] = -1; }, "\"start_s\"");
    refuses([](Json& j) { j["file"]["findings"][0]["where"][0]["start_frame"] = 1.5; }, "whole number");
    refuses([](Json& j) { j["file"]["findings"][0]["where"][0]["channel"] = 3e9; }, "\"channel\"");
    refuses([](Json& j) { j["file"]["findings"][0]["where"][0]["end_frame"] = 18446744073709551615ull; },
            "\"end_frame\"");
    refuses([](Json& j) { j["file"]["findings"][0]["where_total"] = 1; }, "\"where_total\"");
    refuses([](Json& j) { j["file"]["findings"][4].erase("waiver"); }, "\"waiver\" is missing");
    refuses([](Json& j) { j["file"]["facts"]["sample_rate"] = "48k"; }, "\"sample_rate\"");
    refuses([](Json& j) { j["file"]["measurements"]["true_peak"]["value"] = Json::array(); },
            "\"value\" must be a number");
    refuses([](Json& j) { j["file"]["error"] = {{"code", "odd"}, {"text", ""}}; }, "\"code\" must be one of");
  }

  TEST_CASE("members of a later version are passed over") {
    const auto line = changed([](Json& j) {
      j["later"] = {1, 2, 3};
      j["file"]["later"] = {{"a", 1}};
      j["file"]["findings"][0]["later"] = true;
    });
    CHECK(render_json(merged({{"a", line}}), small_catalog()) == render_json(one_mix(), small_catalog()));
  }

  TEST_CASE("depth, length and bytes of a hostile line are bounded") {
    CHECK(holds(refused({{"a", std::string(100000, '[')}}), "levels deep"));
    CHECK(holds(refused({{"a", "{\"a\":" + std::string(33, '{')}}), "levels deep"));
    CHECK(holds(refused({{"a", std::string(std::size_t{17} << 20u, ' ') + "1"}}), "longer than 16 MiB"));
    CHECK(holds(refused({{"a", "{\"schema\":1e999}"}}), "a:1:"));
    CHECK(holds(refused({{"a", std::string("\0\0\0", 3)}}), "a:1:"));
    CHECK(holds(refused({{"a", "\xff\xfe"}}), "a:1:"));
    CHECK(holds(refused({{"a", "null"}}), "must be an object"));
    std::string line = jsonl_of(hostile());
    for (std::size_t cut = 1; cut < 4000; cut += 7)
      CHECK_FALSE(merge_jsonl({{"a", line.substr(0, cut)}}, small_catalog()));
  }
}
