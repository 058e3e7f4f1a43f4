// The counts are checked with strict parsers in tests/golden/read_back.py; here, what stands in which element.
#include <doctest/doctest.h>

#include "unit/sheet/helpers.h"

using namespace sendworthy;
using namespace sendworthy::fixture;

TEST_SUITE("sheet/junit") {
  TEST_CASE("fail and not measured are failures of their own types") {
    const auto xml = render_junit(one_mix(), small_catalog());
    CHECK(holds(xml, "<failure type=\"fail\" message=\"True peak: +0.4 dBTP, at most -1.0 dBTP\">"));
    CHECK(holds(xml, "<failure type=\"not-measured\" message=\"Noise floor: not measured"));
    CHECK(holds(xml, "tests=\"11\" failures=\"2\" errors=\"0\" skipped=\"3\""));
  }

  TEST_CASE("a warn passes with its text, or fails when asked to") {
    const std::string words = "Silence at the start: 0.002 s, at least 0.010 s";
    CHECK(holds(render_junit(one_mix(), small_catalog()), "<system-out>warn: " + words));
    const auto strict = render_junit(one_mix(), small_catalog(), WarnInJUnit::fails);
    CHECK(holds(strict, "<failure type=\"warn\" message=\"" + words + "\">"));
    CHECK(holds(strict, "failures=\"3\""));
  }

  TEST_CASE("waived and skipped rules are skipped with the reason") {
    const auto xml = render_junit(one_mix(), small_catalog());
    CHECK(holds(xml, "<skipped message=\"waived: the fade is part of the arrangement (EX, until 2027-01-31)"));
    CHECK(holds(xml, "<skipped message=\"only for files with an LFE channel\""));
  }

  TEST_CASE("an input without a sheet is an error, an optional gap is none") {
    const auto xml = render_junit(many_stems(), small_catalog());
    CHECK(holds(xml, "<error type=\"missing\" message=\"stems/13_lost.wav does not exist"));
    CHECK(holds(xml, "<system-out>not measured, not required: Noise floor"));
    CHECK(holds(xml, "errors=\"1\""));
    CHECK_FALSE(holds(xml, "type=\"not-measured\""));
  }

  TEST_CASE("a rule and the waiver for it have names of their own") {
    auto sheet = one_mix();
    Finding ended;
    ended.ruleset = "premaster";
    ended.rule = "true-peak";
    ended.status = ended.before_waiver = Status::fail;
    ended.outcome = Value(std::string("waiver ended on 2025-01-31"));
    sheet.files.front().findings.push_back(ended);
    const auto xml = render_junit(sheet, small_catalog());
    CHECK(holds(xml, "name=\"premaster/true-peak\""));
    CHECK(holds(xml, "name=\"premaster/true-peak (2)\""));
  }
}
