#include <doctest/doctest.h>

#include <cmath>
#include <ctime>
#include <limits>
#include <locale>
#include <nlohmann/json.hpp>

#include "unit/sheet/helpers.h"

using namespace sendworthy;
using namespace sendworthy::fixture;
using Json = nlohmann::json;

namespace {

Json json_of(const Sheet& sheet) { return Json::parse(render_json(sheet, small_catalog())); }

struct CommaLocale : std::numpunct<char> {
  char do_decimal_point() const override { return ','; }
  char do_thousands_sep() const override { return '.'; }
  std::string do_grouping() const override { return "\3"; }
};

}  // namespace

TEST_SUITE("sheet/json") {
  TEST_CASE("the keys of the contract are there") {
    const auto json = json_of(one_mix());
    CHECK(json.at("schema") == 1);
    CHECK(json.at("tool").at("name") == "sendworthy");
    CHECK(json.at("tool").at("libraries").at("TagLib") == "1.13");
    CHECK(json.at("verdict") == "fail");
    CHECK(json.at("rules").at(0).at("name") == "premaster");
    const auto& file = json.at("files").at(0);
    CHECK(file.at("path") == "bounces/paper-lantern_mix3.wav");
    CHECK_FALSE(file.contains("role"));
    CHECK(file.at("digest").at("audio") == "xxh128:00112233445566778899aabbccddeeff");
    CHECK(file.at("facts").at("sample_rate") == 48000);
    CHECK(file.at("facts").at("duration_s") == 215.2);
    CHECK(file.at("measurements").at("true_peak") ==
          Json({{"value", 0.4}, {"unit", "dBTP"}, {"channels", {-0.1, 0.4}}}));
    CHECK(file.at("measurements").at("noise_floor").at("value").is_null());
    CHECK(file.at("measurements").at("noise_floor").at("reason") == "no quiet part of half a second");
    const auto& finding = file.at("findings").at(0);
    CHECK(finding.at("status") == "fail");
    CHECK(finding.at("limit") == -1.0);
    CHECK(finding.at("change_db") == -1.5);
    CHECK(finding.at("where_total") == 41);
    CHECK(finding.at("where").at(0) == Json({{"start_s", 41.203},
                                             {"end_s", 41.203},
                                             {"start_frame", 1977744},
                                             {"end_frame", 1977744},
                                             {"channel", 2},
                                             {"note", ""}}));
    CHECK(file.at("findings").at(4).at("waiver").at("until") == "2027-01-31");
    CHECK(file.at("skipped").at(0).at("rule") == "lfe");
    CHECK(file.at("cautions").at(0).at("source") == "ITU-T H.870 (2022)");
  }

  TEST_CASE("a merely measured sheet has no verdict, and says what does not apply") {
    const auto json = json_of(measured_mix());
    CHECK_FALSE(json.contains("verdict"));
    const auto& file = json.at("files").at(0);
    CHECK_FALSE(file.contains("verdict"));
    CHECK(file.at("findings").empty());
    CHECK(file.at("measurements").at("phase_correlation").at("applicable") == false);
    CHECK(file.at("measurements").contains("low_phase_correlation(below_hz=150)"));
    CHECK(file.at("timelines").at("envelope_ch2").at("values") == Json({-20.0, nullptr, -3.0}));
    CHECK(file.at("timelines").contains("momentary"));
  }

  TEST_CASE("what is no finite number is null with a reason, and nothing is minus zero") {
    auto sheet = one_mix();
    auto& measurements = sheet.files.front().measurements;
    measurements.clear();
    for (const auto& [id, value] : {std::pair{"true_peak", std::nan("")}, std::pair{"sample_peak", -0.0},
                                    std::pair{"integrated_loudness", -std::numeric_limits<double>::infinity()},
                                    std::pair{"loudness_range", -0.04}}) {
      Measurement one;
      one.id = one.key = id;
      one.outcome = Value(value);
      one.channels = {value};
      measurements.push_back(one);
    }
    const auto text = render_json(sheet, small_catalog());
    CHECK_FALSE(holds(text, "nan"));
    CHECK_FALSE(holds(text, "-inf"));
    CHECK_FALSE(holds(text, "-0.0"));
    const auto json = Json::parse(text);
    const auto& made = json.at("files").at(0).at("measurements");
    CHECK(made.at("true_peak").at("value").is_null());
    CHECK(made.at("true_peak").at("reason") == "the reading is not a finite number");
    CHECK(made.at("true_peak").at("channels").at(0).is_null());
    CHECK(made.at("integrated_loudness").at("value").is_null());
    CHECK(made.at("sample_peak").at("value") == 0.0);
  }

  TEST_CASE("a limit stands as it was written, whatever the decimals of the measurement") {
    auto sheet = one_mix();
    sheet.files.front().findings.front().limit = Value(-1.05);
    CHECK(json_of(sheet).at("files").at(0).at("findings").at(0).at("limit") == -1.05);
  }

  TEST_CASE("files are sorted by path, measurements by key") {
    auto sheet = many_stems();
    std::swap(sheet.files.front(), sheet.files.back());
    std::swap(sheet.files.at(3).measurements.front(), sheet.files.at(3).measurements.back());
    CHECK(render_json(sheet, small_catalog()) == render_json(many_stems(), small_catalog()));
    CHECK(render_jsonl(sheet, small_catalog()) == render_jsonl(many_stems(), small_catalog()));
  }

  TEST_CASE("bytes that are no text are replaced, and everything else reads back") {
    auto sheet = one_mix();
    sheet.files.front().path = "a\xff\"\\\n\x1b\xe2\x80\xae\xc2\x9b\xe6\xbc\xa2.wav";
    const auto text = render_json(sheet, small_catalog());
    CHECK_FALSE(holds(text, "\x1b"));
    CHECK_FALSE(holds(text, "\xe2\x80\xae"));
    CHECK_FALSE(holds(text, "\xc2\x9b"));
    CHECK(Json::parse(text).at("files").at(0).at("path") ==
          "a\xef\xbf\xbd\"\\\n\x1b\xe2\x80\xae\xc2\x9b\xe6\xbc\xa2.wav");
  }

  TEST_CASE("the same sheet gives the same bytes, under any locale") {
    for (const auto& sheet : all_sheets()) {
      const auto before = all_formats(sheet);
      const auto old = std::locale::global(std::locale(std::locale::classic(), new CommaLocale));
      const auto after = all_formats(sheet);
      std::locale::global(old);
      CHECK(before == after);
    }
  }

  TEST_CASE("a thousand files of forty findings are written in less than a second") {
#if defined(SENDWORTHY_SANITIZED) || !defined(__OPTIMIZE__)
    const auto sheet = large(20, 40);
#else
    const auto sheet = large(1000, 40);
#endif
    const auto start = std::clock();
    const auto text = render_json(sheet, small_catalog());
    const double seconds = static_cast<double>(std::clock() - start) / CLOCKS_PER_SEC;
    MESSAGE("JSON of ", sheet.files.size(), " files: ", text.size() / 1000000, " MB in ", seconds, " s");
    CHECK(seconds < 1.0);
  }
}
