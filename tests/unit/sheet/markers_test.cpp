// The MIDI bytes are read by a parser of its own in tests/golden/read_back.py.
#include <doctest/doctest.h>

#include "unit/sheet/helpers.h"

using namespace sendworthy;
using namespace sendworthy::fixture;

TEST_SUITE("sheet/markers") {
  TEST_CASE("every place is a row, in order of time, with the words and the status") {
    const auto lines = lines_of(render_markers_csv(one_mix(), small_catalog()), "\r\n");
    REQUIRE(lines.size() == 7);
    CHECK(lines.at(0) == "time,seconds,frame,sample_rate,label,status,file");
    CHECK(lines.at(1) ==
          "00:00:00.000,0.000000,0,48000,Silence at the start: 0.002 s,warn,bounces/paper-lantern_mix3.wav");
    CHECK(lines.at(2) ==
          "00:00:41.203,41.203000,1977744,48000,\"True peak, right: +0.4 dBTP\",fail,bounces/paper-lantern_mix3.wav");
  }

  TEST_CASE("rule sets that point at one place make one marker") {
    CHECK(render_markers_csv(two_rule_sets(), small_catalog()) == render_markers_csv(one_mix(), small_catalog()));
  }

  TEST_CASE("a MIDI marker at one second stands at tick 1920") {
    auto sheet = one_mix();
    auto& findings = sheet.files.front().findings;
    findings.resize(1);
    findings.front().where.resize(1);
    findings.front().where.front().start_s = 1;
    findings.front().where.front().channel = 0;
    const std::string label = "fail: True peak: +0.4 dBTP";
    std::string event("\x8F\x00\xFF\x06", 4);  // 1920 = 15 * 128 + 0
    event += static_cast<char>(label.size());
    CHECK(holds(render_markers_midi(sheet, small_catalog()), event + label));
  }

  TEST_CASE("times beyond a quantity of four bytes are reached in steps") {
    auto sheet = one_mix();
    auto& where = sheet.files.front().findings.front().where;
    where.resize(1);
    where.front().start_s = 1e300;  // laid at the last second that is written
    const auto midi = render_markers_midi(sheet, small_catalog());
    CHECK(holds(midi, std::string("\xFF\xFF\xFF\x7F\xFF\x01\x00", 7)));
    CHECK(midi.size() < 2000);
    CHECK(holds(render_markers_csv(sheet, small_catalog()), "277:46:40.000,1000000.000000,"));
  }

  TEST_CASE("markers of several files say which file they belong to") {
    CHECK(holds(render_markers_midi(many_stems(), small_catalog()),
                "stems/01_kick.wav: fail: True peak, right: +0.4 dBTP"));
    CHECK_FALSE(holds(render_markers_midi(one_mix(), small_catalog()), "paper-lantern"));
  }

  TEST_CASE("a measured sheet marks its events") {
    CHECK(holds(render_markers_csv(measured_mix(), small_catalog()), "\"Clipped runs, left: 14 samples\",measured,"));
  }
}
