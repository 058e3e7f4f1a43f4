#include "sheet/phrases.h"

#include <doctest/doctest.h>

#include <cmath>
#include <limits>

#include "unit/sheet/helpers.h"

using namespace sendworthy;
using namespace sendworthy::sheet;
using sendworthy::fixture::holds;
using sendworthy::fixture::small_catalog;

namespace {

Finding level(Status status, double value, double limit) {
  Finding finding;
  finding.rule = "true-peak";
  finding.measure = finding.key = "true_peak";
  finding.status = finding.before_waiver = status;
  finding.outcome = Value(value);
  finding.unit = Unit::dbtp;
  finding.limit_kind = LimitKind::above;
  finding.limit = Value(limit);
  finding.limit_text = "at most " + digits(limit, 1) + " dBTP";
  return finding;
}

}  // namespace

TEST_SUITE("sheet/phrases") {
  TEST_CASE("a value has its unit, its decimals and, where it is a level, its sign") {
    CHECK(show_value(Value(0.4321), Unit::dbtp, 1) == "+0.4 dBTP");
    CHECK(show_value(Value(-14.26), Unit::lufs, 1) == "-14.3 LUFS");
    CHECK(show_value(Value(6.06), Unit::lu, 1) == "6.1 LU");
    CHECK(show_value(Value(3.0), Unit::count, 0) == "3");
    CHECK(show_value(Value(0.876), Unit::ratio, 2) == "0.88");
    CHECK(show_value(Value(48000.0), Unit::hz, 0) == "48000 Hz");
    CHECK(show_value(Value(true), Unit::boolean, 0) == "yes");
    CHECK(show_value(Value(std::string("WAV")), Unit::text, 0) == "WAV");
    CHECK(show_value(Value(std::string()), Unit::list, 0) == "none");
    CHECK(show_value(NotMeasured{"too short"}, Unit::lufs, 1) == "not measured");
    CHECK(show_value(NotApplicable{"mono"}, Unit::ratio, 2) == "not applicable");
    CHECK(show_value(Value(std::nan("")), Unit::db, 1) == "not a number");
    CHECK(show_value(Value(std::numeric_limits<double>::infinity()), Unit::db, 1) == "not a number");
  }

  TEST_CASE("there is no negative zero and no signed zero") {
    CHECK(show_value(Value(-0.0), Unit::dbtp, 1) == "0.0 dBTP");
    CHECK(show_value(Value(-0.04), Unit::dbtp, 1) == "0.0 dBTP");
    CHECK(show_value(Value(0.04), Unit::dbtp, 1) == "0.0 dBTP");
    CHECK(digits(-0.0, -1) == "0");
  }

  TEST_CASE("the headline names value and limit") {
    CHECK(headline(level(Status::fail, 0.4321, -1.0), small_catalog()) == "True peak: +0.4 dBTP, at most -1.0 dBTP");
  }

  TEST_CASE("a failing value that would print like its limit gets more digits, in every format") {
    CHECK(headline(level(Status::fail, -0.96, -1.0), small_catalog()) == "True peak: -0.96 dBTP, at most -1.0 dBTP");
    CHECK(headline(level(Status::warn, -0.9996, -1.0), small_catalog()) ==
          "True peak: -0.9996 dBTP, at most -1.0 dBTP");
    CHECK(headline(level(Status::fail, std::nextafter(-1.0, 0.0), -1.0), small_catalog()).substr(0, 27) ==
          "True peak: -0.9999999999999");
    CHECK(headline(level(Status::pass, -1.04, -1.0), small_catalog()) == "True peak: -1.0 dBTP, at most -1.0 dBTP");
    Sheet sheet = fixture::one_mix();
    sheet.files.front().findings = {level(Status::fail, -0.96, -1.0)};
    CHECK(holds(render_text(sheet, small_catalog()), "-0.96 dBTP"));
    CHECK(holds(render_json(sheet, small_catalog()), "\"value\": -0.96"));
    CHECK(holds(render_csv(sheet, small_catalog()), ",-0.96,dBTP,-1.00,"));
    CHECK(holds(render_junit(sheet, small_catalog()), "-0.96 dBTP"));
    CHECK(holds(render_note(sheet, small_catalog()), "-0.96 dBTP"));
  }

  TEST_CASE("a tolerance that saves a value is said, in the unit of a difference") {
    auto finding = level(Status::warn, -0.9, -1.0);
    finding.within_tolerance = true;
    finding.tolerance = 0.3;
    CHECK(headline(finding, small_catalog()) ==
          "True peak: -0.9 dBTP, at most -1.0 dBTP, within the measurement tolerance of 0.3 dB");
  }

  TEST_CASE("what could not be measured says why") {
    auto finding = level(Status::not_measured, 0, -1.0);
    finding.outcome = NotMeasured{"too short"};
    CHECK(headline(finding, small_catalog()) == "True peak: not measured (too short), at most -1.0 dBTP");
  }

  TEST_CASE("yes and no say which of them is wanted, and a difference says from what") {
    auto finding = level(Status::fail, 0, 0);
    finding.measure = finding.key = "dual_mono";
    finding.outcome = Value(true);
    finding.unit = Unit::boolean;
    finding.limit = Value(false);
    finding.limit_text = "no";
    CHECK(headline(finding, small_catalog()) == "Dual mono: yes, should be no");
    auto disc = level(Status::fail, 0, 0);
    disc.measure = disc.key = "frames";
    disc.outcome = Value(3936000.0);
    disc.unit = Unit::samples;
    disc.limit_kind = LimitKind::multiple_of;
    disc.limit_text = "a multiple of 588 samples";
    CHECK(headline(disc, small_catalog()).ends_with(", should be a multiple of 588 samples"));
    finding.compare_to = "true_peak";
    CHECK(title_of(finding, small_catalog()) == "Dual mono against True peak");
  }

  TEST_CASE("parameters of a measurement stand in its title, and an unknown id is its own title") {
    auto finding = level(Status::pass, 0, 0);
    finding.measure = "low_phase_correlation";
    finding.key = "low_phase_correlation(below_hz=150)";
    CHECK(title_of(finding, small_catalog()) == "Phase correlation, low end (below_hz=150)");
    finding.measure = finding.key = "of_tomorrow";
    CHECK(title_of(finding, small_catalog()) == "of_tomorrow");
    finding.measure = finding.key = "";
    CHECK(title_of(finding, small_catalog()) == "true-peak");
  }

  TEST_CASE("a place has clock time, frame and channel") {
    Where where;
    where.start_s = where.end_s = 41.203;
    where.start_frame = where.end_frame = 1977744;
    where.channel = 2;
    CHECK(place(where, 2) == "0:41.203 right, frame 1977744");
    CHECK(place(where, 6) == "0:41.203 channel 2, frame 1977744");
    where.channel = 0;
    where.end_s = 42;
    where.end_frame = 2016000;
    where.note = "two\nlines";
    CHECK(place(where, 2) == "0:41.203 to 0:42.000, frames 1977744 to 2016000: two\\nlines");
    // As it was measured, and as a written sheet has it: times are rounded there.
    where = {};
    where.start_frame = 1035;
    where.end_frame = 1059;
    for (const double lost : {0.0, 5e-7}) {
      where.start_s = 1035 / 48000.0;
      where.end_s = 1059 / 48000.0 - lost;
      CHECK(place(where, 2) == "0:00.022, frames 1035 to 1059");
    }
    CHECK(and_more(3, 40) == "and 37 more");
    CHECK(and_more(3, 3).empty());
  }

  TEST_CASE("an amount to move is never less than what is needed, and is not said twice") {
    auto finding = level(Status::fail, 0.4321, -1.0);
    finding.change_db = -1.4321;
    finding.true_peak_after_db = -1.0;
    CHECK(move_by(finding) == "down by 1.5 dB; true peak is then -1.0 dBTP");
    finding.change_db = -1.0000000001;
    CHECK(move_by(finding) == "down by 1.0 dB; true peak is then -1.0 dBTP");
    finding.change_db = 2.01;
    finding.true_peak_after_db.reset();
    CHECK(move_by(finding) == "up by 2.1 dB");
    finding.remedy = "Raise the level by 2.1 dB.";
    CHECK(move_by(finding).empty());
  }

  TEST_CASE("facts are one line") {
    auto facts = fixture::one_mix().files.front().facts;
    CHECK(facts_line(facts) == "WAV, 48 kHz, 24-bit, stereo, 3:35.2");
    facts.sample_rate = 44100;
    facts.encoding = "float 32-bit";
    facts.bit_depth.reset();
    CHECK(facts_line(facts) == "WAV, 44.1 kHz, 32-bit float, stereo, 3:35.2");
    facts.container = facts.encoding = "Vorbis";
    CHECK(facts_line(facts) == "Vorbis, 44.1 kHz, stereo, 3:35.2");
  }

  TEST_CASE("text and JUnit use the same words for every finding") {
    const auto sheet = fixture::one_mix();
    const auto junit = render_junit(sheet, small_catalog());
    const auto text = render_text(sheet, small_catalog(), {Colour::off, 400, false});
    for (const auto& finding : sheet.files.front().findings) {
      if (finding.status == Status::pass) continue;
      const auto words = headline(finding, small_catalog());
      CAPTURE(words);
      CHECK(holds(junit, words));
      CHECK(holds(text, words));
    }
  }
}
