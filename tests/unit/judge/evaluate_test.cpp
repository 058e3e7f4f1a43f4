#include "judge/evaluate.h"

#include <doctest/doctest.h>

#include <cmath>
#include <limits>

#include "unit/judge/fake_catalog.h"

using namespace sendworthy;
using namespace sendworthy::judge;

namespace {

RuleSet set_of(const std::string& rules) {
  auto set = parse_rule_set("[ruleset]\nname = \"t\"\n" + rules, "", {}, test::fake_catalog());
  REQUIRE_MESSAGE(set.has_value(), (set ? "" : to_string(set.error())));
  return *set;
}

RuleSet one_rule(const std::string& keys) { return set_of("[[rule]]\nid = \"r\"\n" + keys); }

Measurement measured(const std::string& id, Outcome outcome) {
  return {.id = id, .key = id, .outcome = std::move(outcome)};
}

Subject subject() {
  Subject made;
  made.path = "a/mix.wav";
  made.container = "WAV";
  made.channels = 2;
  made.duration_s = 180;
  made.sample_rate = 48000;
  made.today = "2026-06-01";
  return made;
}

Judgement judged(const std::string& keys, const std::vector<Measurement>& list, const Subject& about = subject()) {
  return evaluate(one_rule(keys), list, about, test::fake_catalog());
}

Finding finding(const std::string& keys, const std::vector<Measurement>& list, const Subject& about = subject()) {
  const auto judgement = judged(keys, list, about);
  REQUIRE(judgement.findings.size() == 1);
  return judgement.findings.front();
}

std::string skip_reason(const std::string& keys, const Subject& about) {
  const auto judgement =
      judged("measure = \"true_peak\"\nfail_above = 0\n" + keys, {measured("true_peak", Value(1.0))}, about);
  return judgement.skipped.empty() ? "" : judgement.skipped.front().reason;
}

}  // namespace

TEST_SUITE("judge/evaluate") {
  TEST_CASE("a finding carries everything a reader needs") {
    Measurement peak = measured("true_peak", Value(-0.4));
    peak.note = "left";
    peak.where = {{.start_s = 1, .end_s = 2, .channel = 1}};
    peak.where_total = 5;
    const auto f =
        finding("measure = \"true_peak\"\nwarn_above = -1\nwhy = \"because\"\nremedy = \"Do it.\"\nsource = \"book\"\n",
                {peak});
    CHECK(f.ruleset == "t");
    CHECK(f.rule == "r");
    CHECK(f.measure == "true_peak");
    CHECK(f.key == "true_peak");
    CHECK(f.status == Status::warn);
    CHECK(f.before_waiver == Status::warn);
    CHECK(*number(f.outcome) == -0.4);
    CHECK(f.unit == Unit::dbtp);
    CHECK(f.limit_kind == LimitKind::above);
    CHECK(std::get<double>(*f.limit) == -1);
    CHECK(f.limit_text == "at most -1.0 dBTP");
    CHECK(*f.change_db == doctest::Approx(-0.6));
    CHECK(*f.true_peak_after_db == doctest::Approx(-1.0));
    CHECK(f.note == "left");
    CHECK(f.where.size() == 1);
    CHECK(f.where_total == 5);
    CHECK(f.why == "because");
    CHECK(f.remedy == "Do it. Lower the level by 0.6 dB; the true peak becomes -1.0 dBTP.");
    CHECK(f.source == "book");
  }

  TEST_CASE("a pass names the limit and gives no advice") {
    const auto f = finding("measure = \"true_peak\"\nwarn_above = -1\nremedy = \"Lower by {change}.\"\n",
                           {measured("true_peak", Value(-3.0))});
    CHECK(f.status == Status::pass);
    CHECK(f.limit_text == "at most -1.0 dBTP");
    CHECK(f.remedy.empty());
    CHECK(!f.change_db);
  }

  TEST_CASE("the amount is never less than what is needed") {
    const auto f = finding("measure = \"true_peak\"\nfail_above = -1\nremedy = \"Lower by {change}.\"\n",
                           {measured("true_peak", Value(-0.96))});
    CHECK(f.remedy == "Lower by 0.1 dB.");
    CHECK(f.limit_text == "at most -1.00 dBTP");
  }

  TEST_CASE("levels below a limit go up, and the true peak is told") {
    const auto f = finding("measure = \"integrated_loudness\"\nfail_below = -16\nremedy = \"\"\n",
                           {measured("integrated_loudness", Value(-20.0)), measured("true_peak", Value(-2.0))});
    CHECK(*f.change_db == 4);
    CHECK(f.remedy == "Raise the level by 4.0 dB; the true peak becomes 2.0 dBTP.");
    const auto without = finding("measure = \"integrated_loudness\"\nfail_below = -16\n",
                                 {measured("integrated_loudness", Value(-20.0))});
    CHECK(without.remedy == "Raise the level by 4.0 dB.");
    CHECK(!without.true_peak_after_db);
  }

  TEST_CASE("after the change the rule is content") {
    const std::string keys =
        "measure = \"integrated_loudness\"\nwarn_below = -23.2\nwarn_above = -22.8\nfail_below = -24\nfail_above = "
        "-22\n";
    for (double value = -60; value < 0; value += 0.37) {
      const auto f = finding(keys, {measured("integrated_loudness", Value(value))});
      if (!f.change_db) {
        CHECK(f.status == Status::pass);
        continue;
      }
      CHECK(finding(keys, {measured("integrated_loudness", Value(value + *f.change_db))}).status == Status::pass);
    }
  }

  TEST_CASE("headroom grows when the fader goes down; a noise floor does not follow it") {
    const auto f = finding("measure = \"headroom\"\nwarn_below = 3\n",
                           {measured("headroom", Value(1.0)), measured("true_peak", Value(-0.8))});
    CHECK(*f.change_db == -2);
    CHECK(*f.true_peak_after_db == doctest::Approx(-2.8));
    CHECK(!finding("measure = \"noise_floor\"\nfail_above = -60\n", {measured("noise_floor", Value(-50.0))}).change_db);
    CHECK(!finding("measure = \"peak_to_loudness_ratio\"\nwarn_below = 8\n",
                   {measured("peak_to_loudness_ratio", Value(5.0))})
               .change_db);
  }

  TEST_CASE("nothing passes that was not measured") {
    const std::string keys = "measure = \"true_peak\"\nfail_above = 0\n";
    const auto silent = finding(keys, {measured("true_peak", NotMeasured{"silent"})});
    CHECK(silent.status == Status::not_measured);
    CHECK(std::get<NotMeasured>(silent.outcome).reason == "silent");
    CHECK(silent.limit_text == "at most 0.0 dBTP");
    CHECK(verdict_of({silent}) == Verdict::fail);
    CHECK(finding(keys, {}).status == Status::not_measured);
    const auto later = finding("measure = \"moon_phase\"\nfail_above = 120\n", {});
    CHECK(std::get<NotMeasured>(later.outcome).reason == "not measured by this version yet");
    const auto optional = finding(keys + "optional = true\n", {});
    CHECK(optional.status == Status::not_measured);
    CHECK(verdict_of({optional}) == Verdict::pass);
    const double inf = std::numeric_limits<double>::infinity();
    CHECK(finding(keys, {measured("true_peak", Value(-inf))}).status == Status::not_measured);
    CHECK(finding(keys, {measured("true_peak", Value(std::nan("")))}).status == Status::not_measured);
    CHECK(finding(keys, {measured("true_peak", Value(std::string("loud")))}).status == Status::not_measured);
  }

  TEST_CASE("what is not applicable is skipped with its reason") {
    const auto judgement = judged("measure = \"phase_correlation\"\nfail_below = 0\n",
                                  {measured("phase_correlation", NotApplicable{"mono file"})});
    CHECK(judgement.findings.empty());
    REQUIRE(judgement.skipped.size() == 1);
    CHECK(judgement.skipped[0].ruleset == "t");
    CHECK(judgement.skipped[0].rule == "r");
    CHECK(judgement.skipped[0].reason == "mono file");
  }

  TEST_CASE("conditions skip a rule and say why") {
    auto about = subject();
    CHECK(skip_reason("channels = 2\n", about) == "");
    CHECK(skip_reason("channels = [1, 6]\n", about) == "for files with 1 or 6 channels; this one has 2");
    CHECK(skip_reason("channels = 1\n", about) == "for files with 1 channel; this one has 2");
    CHECK(skip_reason("role = \"stem\"\n", about) == "for the role stem; this file was given none");
    about.role = "mix";
    CHECK(skip_reason("role = [\"stem\", \"ref\"]\n", about) == "for the role stem or ref; this file is mix");
    about.role = "Stem";
    CHECK(skip_reason("role = \"stem\"\n", about) == "");
    CHECK(skip_reason("container = [\"FLAC\", \"MP3\"]\n", about) == "for FLAC or MP3; this file is WAV");
    CHECK(skip_reason("container = \"wav\"\n", about) == "");
    about.duration_s = 59.9999;
    CHECK(skip_reason("min_duration = 60\n", about) == "for files of at least 60 s; this one has 59.999 s");
    about.duration_s = 60;
    CHECK(skip_reason("min_duration = 60\n", about) == "");
  }

  TEST_CASE("a rule set ends in one finding or one skip for each enabled rule") {
    const auto set = set_of(R"([[rule]]
id = "a"
measure = "true_peak"
fail_above = 0
[[rule]]
id = "b"
measure = "true_peak"
fail_above = 0
channels = 1
[[rule]]
id = "c"
measure = "true_peak"
fail_above = 0
enabled = false
[[rule]]
id = "d"
measure = "sample_rate"
fail_unless = 48000
)");
    const auto judgement = evaluate(set, {measured("true_peak", Value(-1.0))}, subject(), test::fake_catalog());
    REQUIRE(judgement.findings.size() == 2);
    CHECK(judgement.findings[0].rule == "a");
    CHECK(judgement.findings[1].rule == "d");
    REQUIRE(judgement.skipped.size() == 1);
    CHECK(judgement.skipped[0].rule == "b");
  }

  TEST_CASE("parameters are judged on their own measurement") {
    Measurement at_150{.id = "side_level_low", .key = "side_level_low(below_hz=150)", .outcome = Value(-3.0)};
    const auto f = finding("measure = \"side_level_low\"\nbelow_hz = 150\nwarn_above = -12\n",
                           {measured("side_level_low", Value(-30.0)), at_150});
    CHECK(f.status == Status::warn);
    CHECK(f.key == "side_level_low(below_hz=150)");
    CHECK(finding("measure = \"side_level_low\"\nbelow_hz = 200\nwarn_above = -12\n", {at_150}).status ==
          Status::not_measured);
  }

  TEST_CASE("compare_to judges the difference") {
    const std::string keys = "measure = \"effective_bit_depth\"\ncompare_to = \"bit_depth\"\nfail_below = -3\n";
    const auto f = finding(keys, {measured("effective_bit_depth", Value(16.0)), measured("bit_depth", Value(24.0))});
    CHECK(f.status == Status::fail);
    CHECK(*number(f.outcome) == -8);
    CHECK(f.unit == Unit::bits);
    CHECK(f.note == "effective_bit_depth 16 bits, bit_depth 24 bits");
    CHECK(!f.change_db);
    CHECK(finding(keys, {measured("effective_bit_depth", Value(24.0)), measured("bit_depth", Value(24.0))}).status ==
          Status::pass);
    CHECK(finding(keys, {measured("effective_bit_depth", Value(24.0))}).status == Status::not_measured);
    CHECK(judged(keys, {measured("effective_bit_depth", NotApplicable{"float"}), measured("bit_depth", Value(32.0))})
              .skipped.size() == 1);
    CHECK(judged(keys, {measured("effective_bit_depth", Value(24.0)), measured("bit_depth", NotApplicable{"lossy"})})
              .skipped.size() == 1);
    const auto loud =
        finding("measure = \"max_momentary_loudness\"\ncompare_to = \"integrated_loudness\"\nwarn_above = 8\n",
                {measured("max_momentary_loudness", Value(-10.0)), measured("integrated_loudness", Value(-20.0))});
    CHECK(loud.status == Status::warn);
    CHECK(loud.unit == Unit::lu);
    CHECK(loud.limit_text == "at most 8.0 LU");
    const std::string same = "measure = \"container\"\ncompare_to = \"encoding\"\nwarn_unless = true\n";
    CHECK(finding(same,
                  {measured("container", Value(std::string("FLAC"))), measured("encoding", Value(std::string("FLAC")))})
              .status == Status::pass);
    CHECK(finding(same,
                  {measured("container", Value(std::string("FLAC"))), measured("encoding", Value(std::string("PCM")))})
              .status == Status::warn);
  }

  TEST_CASE("a warn inside the tolerance says so") {
    const auto f =
        finding("measure = \"true_peak\"\nfail_above = -1\ntolerance = 0.3\n", {measured("true_peak", Value(-0.8))});
    CHECK(f.status == Status::warn);
    CHECK(f.within_tolerance);
    CHECK(*f.tolerance == 0.3);
  }

  TEST_CASE("texts from rules and files cannot break a line") {
    const auto f = finding("measure = \"container\"\nfail_unless = \"W\\u001b[2J\"\n",
                           {measured("container", Value(std::string("x")))});
    CHECK(f.limit_text.find('\x1b') == std::string::npos);
  }
}
