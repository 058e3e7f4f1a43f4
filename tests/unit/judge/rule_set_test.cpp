// Reading rule sets: what the language accepts, what it refuses and in which words, and how sets extend each other.
#include <doctest/doctest.h>
#include <sendworthy/rule_set.h>
#include <sys/stat.h>
#include <unistd.h>

#include <algorithm>
#include <cstdlib>
#include <filesystem>
#include <fstream>

#include "base/bounds.h"
#include "judge/sets.h"
#include "unit/judge/fake_catalog.h"

using namespace sendworthy;
namespace fs = std::filesystem;

namespace {

const std::string kHead = "[ruleset]\nname = \"t\"\n";

Result<RuleSet> parse(const std::string& toml, const RuleSetFolders& folders = {}) {
  return parse_rule_set(toml, "t.toml", folders, test::fake_catalog());
}

std::string error_of(const std::string& toml) {
  const auto set = parse(toml);
  return set ? "" : to_string(set.error());
}

// The error of one rule: its keys begin in line 5.
std::string rule_error(const std::string& keys) { return error_of(kHead + "[[rule]]\nid = \"r\"\n" + keys + "\n"); }

Rule rule_of(const std::string& keys) {
  const auto set = parse(kHead + "[[rule]]\nid = \"r\"\n" + keys + "\n");
  REQUIRE_MESSAGE(set.has_value(), (set ? "" : to_string(set.error())));
  return set->rules.at(0);
}

struct Folder {
  Folder() {
    std::string name = (fs::temp_directory_path() / "sendworthy-rules-XXXXXX").string();
    REQUIRE(::mkdtemp(name.data()) != nullptr);
    path = name;
  }
  ~Folder() { fs::remove_all(path); }
  std::string write(const std::string& name, const std::string& toml) const {
    fs::create_directories((path / name).parent_path());
    std::ofstream(path / name) << toml;
    return (path / name).string();
  }
  fs::path path;
};

std::string named(const std::string& name, const std::string& rest) {
  return "[ruleset]\nname = \"" + name + "\"\n" + rest;
}

const Rule& rule_called(const RuleSet& set, std::string_view id) {
  for (const auto& rule : set.rules) {
    if (rule.id == id) return rule;
  }
  FAIL("no rule " << id);
  return set.rules.front();
}

}  // namespace

TEST_SUITE("judge/rule-set") {
  TEST_CASE("every key of a rule is read") {
    const auto set = parse(R"([ruleset]
name = "t"
title = "A title"
purpose = "A purpose."
sources = ["one", "two"]

[[rule]]
id = "low-end"
measure = "low_phase_correlation"
below_hz = 150
fail_below = 0
warn_below = 0.5
note_above = 0.99
tolerance = 0.05
channels = [2, 6]
role = "mix"
container = ["WAV", "FLAC"]
min_duration = 12.5
why = "why"
remedy = "remedy"
source = "source"
optional = true
)");
    REQUIRE(set.has_value());
    CHECK(set->name == "t");
    CHECK(set->title == "A title");
    CHECK(set->purpose == "A purpose.");
    CHECK(set->sources == std::vector<std::string>{"one", "two"});
    CHECK(set->origin == "t.toml");
    const auto& rule = set->rules.at(0);
    CHECK(key_of(rule.measure) == "low_phase_correlation(below_hz=150)");
    REQUIRE(rule.comparisons.size() == 3);
    CHECK(rule.comparisons[0].status == Status::fail);
    CHECK(rule.comparisons[0].kind == LimitKind::below);
    CHECK(rule.comparisons[0].number == 0);
    CHECK(rule.comparisons[1].status == Status::warn);
    CHECK(rule.comparisons[2].status == Status::note);
    CHECK(rule.comparisons[2].kind == LimitKind::above);
    CHECK(rule.tolerance == 0.05);
    CHECK(rule.conditions.channels == std::vector<int>{2, 6});
    CHECK(rule.conditions.roles == std::vector<std::string>{"mix"});
    CHECK(rule.conditions.containers == std::vector<std::string>{"WAV", "FLAC"});
    CHECK(*rule.conditions.min_duration_s == 12.5);
    CHECK(rule.why == "why");
    CHECK(rule.optional);
    CHECK(rule.enabled);
    CHECK(rule.place.line == 7);
    CHECK(rule.origins.at("below_hz") == "t");
  }

  TEST_CASE("unless takes one value or several, of the measurement's type") {
    CHECK(rule_of("measure = \"sample_rate\"\nfail_unless = 44100").comparisons[0].accepted.size() == 1);
    CHECK(rule_of("measure = \"sample_rate\"\nfail_unless = [44100, 48000]").comparisons[0].accepted.size() == 2);
    CHECK(rule_of("measure = \"container\"\nwarn_unless = [\"WAV\"]").comparisons[0].status == Status::warn);
    CHECK(std::get<bool>(rule_of("measure = \"dual_mono\"\nnote_unless = false").comparisons[0].accepted[0]) == false);
    CHECK(rule_error("measure = \"sample_rate\"\nfail_unless = true") ==
          "t.toml:6:15: \"fail_unless\" needs a number of Hz, because sample_rate is a number of Hz");
    CHECK(rule_error("measure = \"dual_mono\"\nfail_unless = 1") ==
          "t.toml:6:15: \"fail_unless\" needs true or false, because dual_mono is true or false");
    CHECK(rule_error("measure = \"container\"\nfail_unless = [\"WAV\", 5]") ==
          "t.toml:6:23: \"fail_unless\" needs text, because container is text");
    CHECK(rule_error("measure = \"container\"\nfail_unless = []") == "t.toml:6:15: \"fail_unless\" is empty");
  }

  TEST_CASE("multiple_of, matches, forbid and require fail by default and take a prefix") {
    CHECK(rule_of("measure = \"frames\"\nmultiple_of = 588").comparisons[0].status == Status::fail);
    CHECK(rule_of("measure = \"frames\"\nwarn_multiple_of = 588").comparisons[0].status == Status::warn);
    CHECK(rule_of("measure = \"tag_title\"\nmatches = \"[A-Z].*\"").comparisons[0].kind == LimitKind::matches);
    CHECK(rule_of("measure = \"chunks\"\nnote_forbid = \"bext\"").comparisons[0].status == Status::note);
    CHECK(rule_of("measure = \"chunks\"\nfail_require = [\"bext\", \"iXML\"]").comparisons[0].items.size() == 2);
    CHECK(rule_error("measure = \"chunks\"\nforbid = \"bext\"\nfail_forbid = \"iXML\"") ==
          "t.toml:7:1: \"forbid\" and \"fail_forbid\" say the same; keep one");
    CHECK(rule_error("measure = \"frames\"\nmultiple_of = 0") == "t.toml:6:15: \"multiple_of\" must be more than 0");
    CHECK(rule_error("measure = \"true_peak\"\nmatches = \"x\"") ==
          "t.toml:6:1: \"matches\" compares texts, and true_peak is a number of dBTP");
    CHECK(rule_error("measure = \"true_peak\"\nforbid = \"x\"") ==
          "t.toml:6:1: \"forbid\" compares lists and texts, and true_peak is a number of dBTP");
    CHECK(rule_error("measure = \"container\"\nfail_above = 1") ==
          "t.toml:6:1: \"fail_above\" compares numbers, and container is text");
    CHECK(rule_error("measure = \"tag_title\"\nmatches = \"(a\"") ==
          "t.toml:6:11: \"(a\" is no pattern: a ( without its )");
    CHECK(rule_error("measure = \"chunks\"\nforbid = [1]") ==
          "t.toml:6:11: \"forbid\" must hold texts only, not a whole number");
  }

  TEST_CASE("a limit may be written with its unit, and only with its unit") {
    CHECK(rule_of("measure = \"true_peak\"\nfail_above = \"-1 dBTP\"").comparisons[0].number == -1);
    CHECK(rule_error("measure = \"true_peak\"\nfail_above = \"-1 dBFS\"") ==
          "t.toml:6:14: true_peak is in dBTP, not in \"dBFS\"");
    CHECK(rule_error("measure = \"true_peak\"\nfail_above = \"loud\"") ==
          "t.toml:6:14: \"fail_above\" must be a number of dBTP, not text");
    CHECK(rule_error("measure = \"phase_correlation\"\nfail_below = \"0 dB\"") ==
          "t.toml:6:14: phase_correlation has no unit; write 0 without \"dB\"");
  }

  TEST_CASE("wrong keys come with the nearest right one") {
    CHECK(rule_error("measure = \"true_peak\"\nfail_abov = 1") ==
          "t.toml:6:1: unknown key \"fail_abov\" in [[rule]]; did you mean \"fail_above\"?");
    CHECK(rule_error("messure = \"true_peak\"") ==
          "t.toml:5:1: unknown key \"messure\" in [[rule]]; did you mean \"measure\"?");
    CHECK(rule_error("measure = \"true_peak\"\nabove = 1") ==
          "t.toml:6:1: unknown key \"above\" in [[rule]]; did you mean \"fail_above\"?");
    CHECK(error_of("[ruleset]\nname = \"t\"\ntitel = \"x\"\n") ==
          "t.toml:3:1: unknown key \"titel\" in [ruleset]; did you mean \"title\"?");
    CHECK(error_of(kHead + "[[rules]]\nid = \"r\"\n") ==
          "t.toml:3:3: unknown key \"rules\" in a rule set; did you mean \"rule\"?");
    CHECK(error_of(kHead + "[rule]\nid = \"r\"\n") ==
          "t.toml:3:2: write [[rule]], with two brackets, for each of them");
  }

  TEST_CASE("wrong ids come with the nearest right one") {
    CHECK(rule_error("measure = \"true_peek\"\nfail_above = 1") ==
          "t.toml:5:11: unknown measurement \"true_peek\"; did you mean \"true_peak\"?");
    CHECK(rule_error("measure = \"warmth\"\nfail_above = 1") == "t.toml:5:11: unknown measurement \"warmth\"");
    CHECK(rule_error("measure = \"true_peak\"\ncompare_to = \"sample_paek\"\nfail_above = 1") ==
          "t.toml:6:14: unknown measurement \"sample_paek\"; did you mean \"sample_peak\"?");
    CHECK(error_of(kHead + "[[rule]]\nid = \"True_Peak\"\nmeasure = \"true_peak\"\nfail_above = 0\n") ==
          "t.toml:4:6: rule id \"True_Peak\" must be lower-case letters and digits, joined by single hyphens");
    CHECK(error_of(kHead + "[[rule]]\nid = \"a--b\"\n").find("must be lower-case") != std::string::npos);
  }

  TEST_CASE("a rule that could never say anything is refused") {
    CHECK(rule_error("measure = \"true_peak\"") ==
          "t.toml:5:1: rule \"r\" compares true_peak with nothing: give it a limit such as fail_above = 0");
    CHECK(rule_error("why = \"x\"") ==
          "t.toml:3:1: rule \"r\" has no measure, and no set it extends has a rule of that id");
    CHECK(error_of(kHead + "[[rule]]\nmeasure = \"true_peak\"\n") == "t.toml:3:1: [[rule]] needs an id");
    CHECK(rule_error("measure = \"true_peak\"\nfail_above = -3\nfail_below = -2") ==
          "t.toml:7:14: no value can pass: everything below -2 fails, and everything above -3 too");
  }

  TEST_CASE("wrong types and impossible numbers are refused") {
    CHECK(rule_error("measure = \"true_peak\"\nfail_above = nan") ==
          "t.toml:6:14: \"fail_above\" must be a finite number, not nan");
    CHECK(rule_error("measure = \"true_peak\"\nfail_above = -inf") ==
          "t.toml:6:14: \"fail_above\" must be a finite number, not -inf");
    CHECK(rule_error("measure = \"true_peak\"\nfail_above = true") ==
          "t.toml:6:14: \"fail_above\" must be a number, not true or false");
    CHECK(rule_error("measure = 5\nfail_above = 0") == "t.toml:5:11: \"measure\" must be text, not a whole number");
    CHECK(rule_error("measure = \"true_peak\"\nfail_above = 0\ntolerance = -1") ==
          "t.toml:7:13: \"tolerance\" must not be negative");
    CHECK(rule_error("measure = \"dual_mono\"\nfail_unless = true\ntolerance = 1") ==
          "t.toml:7:1: \"tolerance\" needs a number to compare, and dual_mono is true or false");
    CHECK(rule_error("measure = \"true_peak\"\nfail_above = 0\nchannels = 0") ==
          "t.toml:7:12: \"channels\" must be 1 to 256, not 0");
    CHECK(rule_error("measure = \"true_peak\"\nfail_above = 0\nchannels = \"two\"") ==
          "t.toml:7:12: \"channels\" must be a whole number, not text");
    CHECK(rule_error("measure = \"true_peak\"\nfail_above = 0\nmin_duration = -1") ==
          "t.toml:7:16: \"min_duration\" must not be negative");
    CHECK(rule_error("measure = \"true_peak\"\nfail_above = 0\noptional = \"yes\"") ==
          "t.toml:7:12: \"optional\" must be true or false, not text");
    CHECK(rule_error("measure = \"true_peak\"\nfail_above = 0\nremedy = \"by {chnage}\"") ==
          "t.toml:7:10: unknown placeholder {chnage}; did you mean \"change\"?");
  }

  TEST_CASE("parameters belong to their measurements and have a range") {
    CHECK(key_of(rule_of("measure = \"side_level_low\"\nbelow_hz = 120\nfail_above = 0").measure) == "side_level_low");
    CHECK(key_of(rule_of("measure = \"side_level_low\"\nbelow_hz = 87.5\nfail_above = 0").measure) ==
          "side_level_low(below_hz=87.5)");
    CHECK(rule_error("measure = \"side_level_low\"\nbelow_hz = 20\nfail_above = 0") ==
          "t.toml:6:12: \"below_hz\" is 20; side_level_low takes 40 to 500 Hz");
    CHECK(rule_error("measure = \"true_peak\"\nbelow_hz = 100\nfail_above = 0") ==
          "t.toml:6:1: \"below_hz\" is no parameter of true_peak; low_phase_correlation, mono_fold_loss_low, "
          "side_level_low have it");
    CHECK(rule_error("measure = \"side_level_low\"\nbelow_hz = \"low\"\nfail_above = 0") ==
          "t.toml:6:12: \"below_hz\" must be a number, not text");
    CHECK(rule_error("measure = \"side_level_low\"\nbelow_khz = 1\nfail_above = 0") ==
          "t.toml:6:1: unknown key \"below_khz\" in [[rule]]; did you mean \"below_hz\"?");
  }

  TEST_CASE("compare_to needs the same unit, or decibels on both sides") {
    const auto rule = rule_of("measure = \"effective_bit_depth\"\ncompare_to = \"bit_depth\"\nfail_below = 0");
    CHECK(rule.compare_to->id == "bit_depth");
    CHECK(rule_of("measure = \"true_peak\"\ncompare_to = \"integrated_loudness\"\nfail_above = 1").compare_to->id == "integrated_loudness");
    CHECK(rule_error("measure = \"true_peak\"\ncompare_to = \"sample_rate\"\nfail_above = 1") ==
          "t.toml:6:14: true_peak is a number of dBTP and sample_rate is a number of Hz: they cannot be compared");
    CHECK(rule_of("measure = \"container\"\ncompare_to = \"encoding\"\nfail_unless = true").comparisons.size() == 1);
    CHECK(rule_error("measure = \"container\"\ncompare_to = \"encoding\"\nfail_unless = \"x\"")
              .find("needs true or false") != std::string::npos);
    const auto both =
        rule_of("measure = \"side_level_low\"\ncompare_to = \"mono_fold_loss_low\"\nbelow_hz = 200\nfail_above = 0");
    CHECK(key_of(*both.compare_to) == "mono_fold_loss_low(below_hz=200)");
  }

  TEST_CASE("an id that this version does not measure is legal") {
    CHECK(rule_of("measure = \"moon_phase\"\nfail_above = 120").measure.id == "moon_phase");
  }

  TEST_CASE("a file needs [ruleset], its own name, and each id once") {
    CHECK(error_of("[[rule]]\nid = \"r\"\n") == "t.toml:1:1: a rule set needs a table [ruleset] with its name");
    CHECK(error_of("").find("a rule set needs a table [ruleset] with its name") != std::string::npos);
    CHECK(error_of("[ruleset]\ntitle = \"x\"\n") == "t.toml:1:1: [ruleset] needs a name: the file name without .toml");
    CHECK(error_of("[ruleset]\nname = \"other\"\n") ==
          "t.toml:2:8: the name is \"other\", the file is called \"t.toml\": both must be the same");
    CHECK(error_of(kHead + "[[rule]]\nid = \"a\"\nmeasure = \"true_peak\"\nfail_above = 0\n[[rule]]\nid = \"a\"\n") ==
          "t.toml:8:6: rule \"a\" is already in this file, in line 3");
    CHECK(error_of("name = [").find("t.toml:1:") == 0);
  }

  TEST_CASE("waivers need a rule, a reason and a last day") {
    const std::string rule = kHead + "[[rule]]\nid = \"r\"\nmeasure = \"true_peak\"\nfail_above = 0\n";
    CHECK(error_of(rule + "[[waiver]]\nreason = \"x\"\nuntil = 2027-01-31\n") ==
          "t.toml:7:1: [[waiver]] needs a rule: the id of the rule it waives");
    CHECK(error_of(rule + "[[waiver]]\nrule = \"r\"\nuntil = 2027-01-31\n") ==
          "t.toml:7:1: [[waiver]] needs a reason: why the fault is accepted");
    CHECK(error_of(rule + "[[waiver]]\nrule = \"r\"\nreason = \"  \"\nuntil = 2027-01-31\n") ==
          "t.toml:7:1: [[waiver]] needs a reason: why the fault is accepted");
    CHECK(error_of(rule + "[[waiver]]\nrule = \"r\"\nreason = \"x\"\n") ==
          "t.toml:7:1: [[waiver]] needs until: the last day it holds, such as 2027-01-31");
    CHECK(error_of(rule + "[[waiver]]\nrule = \"r\"\nreason = \"x\"\nuntil = \"2027-02-30\"\n") ==
          "t.toml:10:9: \"until\" must be a date such as 2027-01-31, not \"2027-02-30\"");
    CHECK(error_of(rule + "[[waiver]]\nrule = \"rr\"\nreason = \"x\"\nuntil = 2027-01-31\n") ==
          "t.toml:7:1: a waiver for \"rr\", which is no rule of this set; did you mean \"r\"?");
    CHECK(error_of(rule + "[[waiver]]\nrule = \"r\"\nreason = \"x\"\nuntil = 2027-01-31\naudio = \"md5:00\"\n")
              .find("is no audio digest") != std::string::npos);
    CHECK(error_of(rule + "[[waiver]]\nrule = \"r\"\nreason = \"x\"\nuntil = 2027-01-31\nfrom_s = 9\nto_s = 3\n") ==
          "t.toml:12:8: \"to_s\" lies before \"from_s\"");
    CHECK(error_of(rule + "[[waiver]]\nrule = \"r\"\nreasn = \"x\"\n") ==
          "t.toml:9:1: unknown key \"reasn\" in [[waiver]]; did you mean \"reason\"?");
    const auto set = parse(rule +
                           "[[waiver]]\nrule = \"r\"\nfiles = \"*-radio-*\"\nfrom_s = 0\nto_s = 9\nreason = "
                           "\"agreed\"\nby = \"ab\"\nuntil = 2027-01-31\n");
    REQUIRE(set.has_value());
    CHECK(set->waivers.at(0).until == "2027-01-31");
    CHECK(*set->waivers.at(0).to_s == 9);
  }
}

TEST_SUITE("judge/extends") {
  TEST_CASE("a set that somebody else named by its path is read where this program may read, and so is what it extends") {
    const Folder folder;
    const auto named_set = [](const std::string& more) { return "[ruleset]\nname = \"t\"\n" + more + "[[rule]]\nid = \"r\"\nmeasure = \"true_peak\"\nfail_above = -1\n"; };
    const auto room = fs::canonical(folder.path).string();
    const auto renamed = [](std::string text, const std::string& name) { return text.replace(text.find("\"t\"") + 1, 1, name); };
    folder.write("out/a.toml", renamed(named_set(""), "a"));
    folder.write("in/a.toml", renamed(named_set(""), "a"));
    folder.write("in/leads.toml", renamed(named_set("extends = \"../out/a.toml\"\n"), "leads"));
    folder.write("user/mine.toml", renamed(named_set("extends = \"../out/a.toml\"\n"), "mine"));
    const base::Bounds bounds({room + "/in"});
    const RuleSetFolders folders{room + "/user", {}};
    const auto load = [&](const std::string& name, bool by_another) {
      return by_another ? judge::load_named_by_another(name, folders, test::fake_catalog()) : load_rule_set(name, folders, test::fake_catalog());
    };
    CHECK(load(room + "/in/a.toml", true));
    for (const char* one : {"/out/a.toml", "/in/leads.toml"}) {
      const auto refused = load(room + one, true);
      REQUIRE_MESSAGE(!refused, one);
      CHECK_MESSAGE(to_string(refused.error()).find("outside of the opened folder") != std::string::npos, to_string(refused.error()));
      CHECK_MESSAGE(load(room + one, false), one);
    }
    CHECK(load("mine", true));  // the user's own, wherever it leads
  }

  TEST_CASE("a later set wins key by key") {
    const Folder folder;
    folder.write("base.toml", named("base", R"([[rule]]
id = "peak"
measure = "true_peak"
fail_above = 0
warn_above = -1
why = "old why"
source = "old source"
[[rule]]
id = "rate"
measure = "sample_rate"
fail_unless = 48000
[[rule]]
id = "mono"
measure = "dual_mono"
fail_unless = false
)"));
    const auto path = folder.write("mine.toml", named("mine", R"(extends = ["base"]
[[rule]]
id = "peak"
warn_above = -3
why = "new why"
[[rule]]
id = "mono"
enabled = false
[[rule]]
id = "length"
measure = "duration"
fail_below = 1
)"));
    const auto set = load_rule_set("mine", {folder.path.string(), ""}, test::fake_catalog());
    REQUIRE_MESSAGE(set.has_value(), (set ? "" : to_string(set.error())));
    REQUIRE(set->rules.size() == 4);
    CHECK(set->rules[0].id == "peak");
    CHECK(set->rules[3].id == "length");
    const auto& peak = set->rules[0];
    REQUIRE(peak.comparisons.size() == 2);
    CHECK(peak.comparisons[0].number == 0);
    CHECK(peak.comparisons[1].number == -3);
    CHECK(peak.why == "new why");
    CHECK(peak.source == "old source");
    CHECK(peak.origins.at("warn_above") == "mine");
    CHECK(peak.origins.at("fail_above") == "base");
    CHECK(!rule_called(*set, "mono").enabled);
    CHECK(set->origin == "user");
    CHECK(set->extends == std::vector<std::string>{"base"});
    const auto by_path = load_rule_set(path, {folder.path.string(), ""}, test::fake_catalog());
    REQUIRE(by_path.has_value());
    CHECK(by_path->origin == path);
    CHECK(by_path->digest == set->digest);
  }

  TEST_CASE("a rule pointed at another measurement drops what was said about the old one") {
    const Folder folder;
    folder.write("base.toml", named("base",
                                    "[[rule]]\nid = \"low\"\nmeasure = \"side_level_low\"\nbelow_hz = 200\nfail_above "
                                    "= -6\ntolerance = 1\nwhy = \"kept\"\n"));
    folder.write("bare.toml", named("bare", "extends = \"base\"\n[[rule]]\nid = \"low\"\nmeasure = \"true_peak\"\n"));
    const RuleSetFolders folders{folder.path.string(), ""};
    CHECK(to_string(load_rule_set("bare", folders, test::fake_catalog()).error())
              .find("compares true_peak with nothing") != std::string::npos);
    folder.write(
        "full.toml",
        named("full", "extends = \"base\"\n[[rule]]\nid = \"low\"\nmeasure = \"true_peak\"\nwarn_above = -1\n"));
    const auto set = load_rule_set("full", folders, test::fake_catalog());
    REQUIRE_MESSAGE(set.has_value(), (set ? "" : to_string(set.error())));
    CHECK(set->rules[0].comparisons.size() == 1);
    CHECK(set->rules[0].tolerance == 0);
    CHECK(set->rules[0].why == "kept");
    CHECK(key_of(set->rules[0].measure) == "true_peak");
    folder.write("same.toml",
                 named("same", "extends = \"base\"\n[[rule]]\nid = \"low\"\nmeasure = \"side_level_low\"\n"));
    CHECK(load_rule_set("same", folders, test::fake_catalog())->rules[0].comparisons.size() == 1);
  }

  TEST_CASE("two parents of one grandparent keep each other's changes") {
    const Folder folder;
    folder.write("root.toml", named("root",
                                    "[[rule]]\nid = \"a\"\nmeasure = \"true_peak\"\nfail_above = 0\n[[rule]]\nid = "
                                    "\"b\"\nmeasure = \"dual_mono\"\nfail_unless = false\n"));
    folder.write("left.toml", named("left", "extends = [\"root\"]\n[[rule]]\nid = \"a\"\nfail_above = -1\n"));
    folder.write("right.toml", named("right", "extends = [\"root\"]\n[[rule]]\nid = \"b\"\nenabled = false\n"));
    folder.write("both.toml", named("both", "extends = [\"left\", \"right\"]\n"));
    const auto set = load_rule_set("both", {folder.path.string(), ""}, test::fake_catalog());
    REQUIRE(set.has_value());
    CHECK(rule_called(*set, "a").comparisons[0].number == -1);
    CHECK(!rule_called(*set, "b").enabled);
  }

  TEST_CASE("errors name the file they are in") {
    const Folder folder;
    const auto base = folder.write(
        "base.toml",
        named("base", "[[rule]]\nid = \"a\"\nmeasure = \"side_level_low\"\nbelow_hz = 5\nfail_above = 0\n"));
    folder.write("mine.toml", named("mine", "extends = [\"base\"]\n"));
    CHECK(to_string(load_rule_set("mine", {folder.path.string(), ""}, test::fake_catalog()).error()) ==
          base + ":6:12: \"below_hz\" is 5; side_level_low takes 40 to 500 Hz");
    const auto typo = folder.write("typo.toml", named("typo", "extends = [\"commom\"]\n"));
    CHECK(to_string(load_rule_set("typo", {folder.path.string(), ""}, test::fake_catalog()).error()) ==
          typo +
              ":3:12: no rule set is called \"commom\"; did you mean \"common\"? \"sendworthy rules\" lists them; a "
              "file is "
              "named by a path with a slash or by its ending .toml");
    const auto rule = folder.write(
        "rule.toml", named("rule", "extends = [\"common\"]\n[[rule]]\nid = \"clippin\"\nwarn_above = 1\n"));
    CHECK(to_string(load_rule_set("rule", {folder.path.string(), ""}, test::fake_catalog()).error()) ==
          rule +
              ":4:1: rule \"clippin\" has no measure, and no set it extends has a rule of that id; did you mean "
              "\"clipping\"?");
  }

  TEST_CASE("sets that extend themselves are found out") {
    const Folder folder;
    folder.write("a.toml", named("a", "extends = [\"b\"]\n"));
    const auto b = folder.write("b.toml", named("b", "extends = [\"./c.toml\"]\n"));
    const auto c = folder.write("c.toml", named("c", "extends = [\"a\"]\n"));
    const RuleSetFolders folders{folder.path.string(), ""};
    const auto error = to_string(load_rule_set("a", folders, test::fake_catalog()).error());
    CHECK(error.find(":3:12: \"a\" extends itself: a → b → c → a") != std::string::npos);
    CHECK(error.find("c.toml") != std::string::npos);
    folder.write("self.toml", named("self", "extends = [\"./self.toml\"]\n"));
    CHECK(to_string(load_rule_set("self", folders, test::fake_catalog()).error())
              .find("\"self\" extends itself: self → self") != std::string::npos);
  }

  TEST_CASE("depth and number are bounded") {
    const Folder folder;
    for (int i = 0; i < 20; ++i)
      folder.write("s" + std::to_string(i) + ".toml",
                   named("s" + std::to_string(i), "extends = [\"s" + std::to_string(i + 1) + "\"]\n"));
    CHECK(to_string(load_rule_set("s0", {folder.path.string(), ""}, test::fake_catalog()).error())
              .find("sets extend each other more than 16 levels deep") != std::string::npos);
    std::string list;
    for (int i = 0; i < 70; ++i) {
      folder.write("w" + std::to_string(i) + ".toml", named("w" + std::to_string(i), ""));
      list += "\"w" + std::to_string(i) + "\", ";
    }
    folder.write("wide.toml", named("wide", "extends = [" + list + "]\n"));
    CHECK(to_string(load_rule_set("wide", {folder.path.string(), ""}, test::fake_catalog()).error())
              .find("more than 64 sets") != std::string::npos);
    std::string rules;
    for (int i = 0; i < 2001; ++i)
      rules += "[[rule]]\nid = \"r" + std::to_string(i) + "\"\nmeasure = \"frames\"\nfail_below = 1\n";
    CHECK(error_of(kHead + rules) == "t.toml: more than 2000 rules");
  }

  TEST_CASE("names are looked up in the user's folder, then among the shipped, never in the working folder") {
    const Folder folder;
    const RuleSetFolders folders{(folder.path / "user").string(), ""};
    folder.write(
        "user/premaster.toml",
        named("premaster",
              "title = \"House style\"\nextends = [\"premaster\"]\n[[rule]]\nid = \"headroom\"\nwarn_below = 6\n"));
    const auto shadow = load_rule_set("premaster", folders, test::fake_catalog());
    REQUIRE_MESSAGE(shadow.has_value(), (shadow ? "" : to_string(shadow.error())));
    CHECK(shadow->title == "House style");
    CHECK(shadow->origin == "user (hides the shipped set of this name)");
    CHECK(rule_called(*shadow, "headroom").comparisons[0].number == 6);
    CHECK(rule_called(*shadow, "clipping").enabled);
    CHECK(load_rule_set("premaster", {}, test::fake_catalog())->origin == "shipped");

    const auto before = fs::current_path();
    folder.write("here/local.toml", named("local", "extends = [\"common\"]\n"));
    fs::current_path(folder.path / "here");
    const auto by_name = load_rule_set("local", folders, test::fake_catalog());
    const auto by_path = load_rule_set("./local.toml", folders, test::fake_catalog());
    const auto by_ending = load_rule_set("local.toml", folders, test::fake_catalog());
    fs::current_path(before);
    CHECK(!by_name.has_value());
    CHECK(by_path.has_value());
    CHECK(by_ending.has_value());
  }

  TEST_CASE("a name cannot lead out of its folder, and an extended path must be a rule set") {
    const Folder folder;
    folder.write("secret.toml", named("secret", "extends = [\"common\"]\n"));
    const RuleSetFolders folders{(folder.path / "user").string(), ""};
    fs::create_directories(folder.path / "user");
    for (const char* name : {"..", ".", "", "a.b", "a b", "-\n-"})
      CHECK(!load_rule_set(name, folders, test::fake_catalog()));
    const auto wrong = folder.write("user/w.toml", named("w", "extends = [\"../secret\"]\n"));
    CHECK(to_string(load_rule_set("w", folders, test::fake_catalog()).error()) ==
          wrong + ":3:12: \"../secret\" cannot be extended: a path must end in .toml");
    folder.write("user/up.toml", named("up", "extends = [\"../secret.toml\"]\n"));
    CHECK(load_rule_set("up", folders, test::fake_catalog()).has_value());
  }

  TEST_CASE("what cannot be read is an error of the rules") {
    const Folder folder;
    fs::create_directories(folder.path / "dir.toml");
    const auto directory = load_rule_set((folder.path / "dir.toml").string(), {}, test::fake_catalog());
    CHECK(directory.error().code == ErrorCode::rules);
    CHECK(directory.error().text.find("it is a folder") != std::string::npos);
    const auto missing = load_rule_set("./no-such.toml", {}, test::fake_catalog());
    CHECK(missing.error().code == ErrorCode::rules);
    CHECK(missing.error().text == "cannot read \"./no-such.toml\": No such file or directory; check the name and the folder");
    CHECK(!load_rule_set("/dev/zero", {}, test::fake_catalog()).has_value());
    const auto big = folder.write("big.toml", std::string((1 << 20) + 1, '#'));
    CHECK(load_rule_set(big, {}, test::fake_catalog()).error().text.find("larger than") != std::string::npos);
  }

  TEST_CASE("the list says what is there, what hides what, and what is broken") {
    const Folder folder;
    folder.write("cd.toml", named("cd", "title = \"Our discs\"\nextends = [\"common\"]\n"));
    folder.write("broken.toml", "nonsense");
    folder.write("notes.txt", "");
    const auto list = list_rule_sets({folder.path.string(), ""}, test::fake_catalog());
    CHECK(list.size() == 15);
    const auto find = [&](const std::string& name) {
      return *std::find_if(list.begin(), list.end(), [&](const auto& l) { return l.name == name; });
    };
    CHECK(find("cd").shadows_shipped);
    CHECK(find("cd").title == "Our discs");
    CHECK(find("cd").origin == "user");
    CHECK(find("broken").error.has_value());
    CHECK(find("common").origin == "shipped");
    CHECK(std::is_sorted(list.begin(), list.end(), [](const auto& a, const auto& b) { return a.name < b.name; }));
    CHECK(list_rule_sets({"/no/such/folder", ""}, test::fake_catalog()).size() == 14);
    CHECK(list_rule_sets({"", folder.path.string()}, test::fake_catalog()).size() == 2);
  }

  TEST_CASE("the digest follows what is judged and nothing else") {
    const auto digest = [](const std::string& keys) {
      return parse(kHead + "[[rule]]\nid = \"r\"\nmeasure = \"true_peak\"\n" + keys)->digest;
    };
    const auto plain = digest("fail_above = -1\n");
    CHECK(plain.substr(0, 7) == "xxh128:");
    CHECK(plain.size() == 39);
    CHECK(digest("fail_above = -1.0 # comment\n\n") == plain);
    CHECK(digest("fail_above = -1.1\n") != plain);
    CHECK(digest("warn_above = -1\n") != plain);
    CHECK(digest("fail_above = -1\ntolerance = 0.1\n") != plain);
    CHECK(digest("fail_above = -1\nchannels = 2\n") != plain);
    CHECK(digest("fail_above = -1\noptional = true\n") != plain);
    CHECK(digest("fail_above = -1\nwhy = \"x\"\n") != plain);
    CHECK(digest("fail_above = -1\n[[waiver]]\nrule = \"r\"\nreason = \"x\"\nuntil = 2027-01-01\n") != plain);
  }

  TEST_CASE("only other parameters than the fallback are asked for, each once") {
    const auto one = parse(kHead + R"([[rule]]
id = "a"
measure = "side_level_low"
below_hz = 150
fail_above = 0
[[rule]]
id = "b"
measure = "side_level_low"
below_hz = 150
warn_above = 0
[[rule]]
id = "c"
measure = "side_level_low"
below_hz = 120
warn_above = 0
[[rule]]
id = "d"
measure = "leading_silence"
threshold_dbfs = -40
warn_above = 0
enabled = false
)");
    REQUIRE(one.has_value());
    const auto requests = requests_of({*one, *one});
    REQUIRE(requests.size() == 1);
    CHECK(key_of(requests[0]) == "side_level_low(below_hz=150)");
  }

  TEST_CASE("codecs are words with a bit rate, in any order and case; on-request measurements are asked for even without") {
    const auto with = [](const std::string& codecs) {
      return parse(kHead + "[[rule]]\nid = \"r\"\nmeasure = \"true_peak_after_lossy\"\n" + codecs + "\nwarn_above = 0\n");
    };
    const auto key = [&](const std::string& codecs) {
      const auto set = with(codecs);
      REQUIRE_MESSAGE(set.has_value(), (set ? "" : to_string(set.error())));
      const auto requests = requests_of({*set});
      REQUIRE(requests.size() == 1);
      return key_of(requests[0]);
    };
    CHECK(key("") == "true_peak_after_lossy");
    CHECK(key("codecs = \"vorbis 160\"") == "true_peak_after_lossy");
    CHECK(key("codecs = [\"MP3 320 kb/s\", \"opus   96\", \"Vorbis 160\", \"opus 128\"]") ==
          "true_peak_after_lossy(codecs=vorbis 160+opus 96+opus 128+mp3 320)");

    const auto refused = [&](const std::string& codecs) {
      const auto set = with(codecs);
      REQUIRE_FALSE(set.has_value());
      CHECK(set.error().place.line > 0);
      CHECK(set.error().place.column > 0);
      return set.error().text;
    };
    const auto has = [](const std::string& text, const char* part) { return text.find(part) != std::string::npos; };
    const auto unknown = refused("codecs = [\"vorbis 160\", \"vobris 320\"]");
    CHECK(has(unknown, "\"vobris 320\""));
    CHECK(has(unknown, "did you mean \"vorbis\"?"));
    CHECK(has(unknown, "vorbis 32 to 500, opus 6 to 510, mp3 64 to 320 in its fixed steps kb/s"));
    CHECK(has(refused("codecs = \"vorbis\""), "needs a number of kb/s after \"vorbis\""));
    CHECK(has(refused("codecs = \"opus 128 Mb/s\""), "needs a number of kb/s"));
    CHECK(has(refused("codecs = \"opus 600\""), "whole numbers from 6 to 510 kb/s"));
    CHECK(has(refused("codecs = \"opus 96.5\""), "whole numbers"));
    CHECK(has(refused("codecs = \"mp3 300\""), "did you mean \"mp3 320\"?"));
    CHECK(has(refused("codecs = [\"opus 96\", \"Opus 96\"]"), "named twice"));
    CHECK(has(refused("codecs = []"), "is empty"));
    CHECK(has(refused("codecs = 160"), "text"));
    CHECK(has(refused("codecs = [\"opus 6\",\"opus 7\",\"opus 8\",\"opus 9\",\"opus 10\",\"opus 11\",\"opus 12\",\"opus 13\",\"opus 14\"]"),
              "more than 8"));
    CHECK(has(refused("codec = \"opus 96\""), "did you mean \"codecs\"?"));
    CHECK(items_of("vorbis 160+opus 128") == std::vector<std::string>{"vorbis 160", "opus 128"});
    CHECK(items_of("").empty());
  }
}
