#include <doctest/doctest.h>

#include "unit/sheet/helpers.h"

using namespace sendworthy;
using namespace sendworthy::fixture;

TEST_SUITE("sheet/csv") {
  TEST_CASE("there is a row per finding, with numbers as numbers") {
    const auto lines = lines_of(render_csv(one_mix(), small_catalog()), "\r\n");
    REQUIRE(lines.size() == 10);
    CHECK(lines.at(0) ==
          "file,ruleset,rule,measure,title,status,value,unit,limit,start_s,end_s,channel,note,why,remedy,change_db,"
          "places");
    CHECK(lines.at(1).substr(0, 134) ==
          "bounces/paper-lantern_mix3.wav,premaster,true-peak,true_peak,True "
          "peak,fail,0.4,dBTP,-1.0,41.203000,41.203000,2,"
          ",Converters and lossy ");
    CHECK(holds(lines.at(2), ",not measured,,dBFS,-60.0,,,,no quiet part of half a second,"));
    CHECK(holds(lines.at(5), "\"waived: the fade is part of the arrangement (EX, until 2027-01-31)\""));
    CHECK(holds(lines.at(7), ",\"WAV, AIFF, FLAC\","));
  }

  TEST_CASE("a measured sheet has a row per measurement") {
    const auto text = render_csv(measured_mix(), small_catalog());
    CHECK(lines_of(text, "\r\n").size() == 1 + measured_mix().files.front().measurements.size());
    CHECK(holds(text, ",true_peak,True peak,Level,measured,0.4,dBTP,1: -0.1; 2: 0.4,0,\r\n"));
    CHECK(holds(text, ",phase_correlation,Phase correlation,Stereo,not applicable,,,,0,only for two channels\r\n"));
  }

  TEST_CASE("text that a spreadsheet would run is defused") {
    auto sheet = one_mix();
    sheet.files.front().path = "=HYPERLINK(\"x\")";
    sheet.files.front().findings.front().why = "@SUM(A1)";
    sheet.files.front().findings.front().remedy = "\t=1";
    const auto text = render_csv(sheet, small_catalog());
    CHECK(holds(text, "\"'=HYPERLINK(\"\"x\"\")\""));
    CHECK(holds(text, ",'@SUM(A1),\\t=1,"));
  }

  TEST_CASE("an input without a sheet has a row with the reason") {
    CHECK(holds(render_csv(many_stems(), small_catalog()),
                "stems/13_lost.wav,,,,,no sheet,,,,,,,\"stems/13_lost.wav does not exist; check the name, or export it "
                "again\",,,,\r\n"));
  }
}
