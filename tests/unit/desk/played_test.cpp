#include "desk/played.h"

#include <doctest/doctest.h>

#include <cmath>
#include <string>

#include "safety/exposure.h"

using namespace sendworthy;
using namespace sendworthy::desk;

namespace {

/// 0 dBFS, A-weighted, is 100 dB(A) from one loudspeaker.
Monitoring room(Monitoring::Kind kind = Monitoring::Kind::loudspeakers) { return {kind, 80, "A", -20, "dBFS", "sine 1000"}; }

double power(double dbfs) { return std::pow(10, dbfs / 10); }

}  // namespace

TEST_CASE("played: time counts without a calibration, and it is said why nothing else does") {
  double now = 100;
  PlayedTime played(std::nullopt, [&] { return now; });
  CHECK(played.tell()["seconds"] == 0);
  played.add(12.5, power(-20), 0, 2);
  const auto told = played.tell();
  CHECK(told["seconds"] == 12.5);
  CHECK(told["exposure"].is_null());
  CHECK(told["text"].get<std::string>().find("[monitoring]") != std::string::npos);
}

TEST_CASE("played: the time stands by itself, decimals and all") {
  double now = 1e6;
  PlayedTime played(std::nullopt, [&] { return now; });
  CHECK(played.tell()["time"] == "Nothing was played yet.");
  played.add(174, std::nullopt, 0, 2);
  const auto told = played.tell();
  CHECK(told["time"] == "Played since the program started: 2.9 min.");
  CHECK(told["rest"].get<std::string>().starts_with("How much of your weekly allowance"));
  CHECK(told["text"] == told["time"].get<std::string>() + " " + told["rest"].get<std::string>());
  PlayedTime calibrated(room(), [&] { return now; });
  CHECK(calibrated.tell()["text"] == "Nothing was played yet.");
  calibrated.add(174, power(-20), 0, 2);
  CHECK(calibrated.tell()["time"] == told["time"]);
  CHECK(calibrated.tell()["rest"] == calibrated.tell()["exposure"]["text"]);
}

TEST_CASE("played: a page cannot claim more time than has passed") {
  double now = 10;
  PlayedTime played(room(), [&] { return now; });
  played.add(1e9, power(-20), 0, 2);
  CHECK(played.tell()["seconds"] == 10);
  played.add(5, power(-20), 0, 2);
  CHECK(played.tell()["seconds"] == 10);
  now = 13;
  played.add(5, power(-20), 0, 2);
  CHECK(played.tell()["seconds"] == 13);
  played.add(-5, power(-20), 0, 2);
  CHECK(played.tell()["seconds"] == 13);
}

TEST_CASE("played: the estimate is the allowance's share of the level and the time") {
  double now = 1e6;
  PlayedTime played(room(), [&] { return now; });
  // −20 dBFS are 80 dB(A), of which an adult has 40 h a week; two loudspeakers add up to 3 dB.
  played.add(4 * 3600, power(-20), 0, 2);
  auto told = played.tell();
  CHECK(told["exposure"]["low_percent"].get<double>() == doctest::Approx(10).epsilon(0.001));
  CHECK(told["exposure"]["high_percent"].get<double>() == doctest::Approx(20).epsilon(0.01));
  CHECK(told["exposure"]["source"] == "ITU-T H.870 (2022)");
  const auto text = told["exposure"]["text"].get<std::string>();
  CHECK(text.find("stimate") != std::string::npos);
  CHECK(text.find("local rules apply") != std::string::npos);
  CHECK(text.find("sound level meter") != std::string::npos);
  CHECK(text.find("10.0 to 20.0 %") != std::string::npos);
  // 20 dB down it is next to nothing; what is softer by 3 dB counts half.
  played.add(4 * 3600, power(-20), -3, 2);
  CHECK(played.tell()["exposure"]["low_percent"].get<double>() == doctest::Approx(15).epsilon(0.001));
  // In energy: the exchange of 3 dB is not quite half of it.
  const double share = safety::exposure_pa2h(80, 4) / safety::exposure_pa2h(80, 40);
  CHECK(share == doctest::Approx(0.1));
}

TEST_CASE("played: what is not known is told, and what cannot sound is not counted") {
  double now = 1e6;
  PlayedTime speakers(room(), [&] { return now; });
  speakers.add(60, std::nullopt, 0, 2);
  CHECK(speakers.tell()["exposure"].is_null());
  CHECK(speakers.tell()["text"].get<std::string>().find("not known") != std::string::npos);
  speakers.add(60, 0.0, 0, 2);
  CHECK(speakers.tell()["exposure"]["high_percent"] == 0);
  CHECK(speakers.tell()["text"].get<std::string>().find("1 min of it") != std::string::npos);
  // The guard holds what is over full scale.
  speakers.add(3600, 1e20, 0, 1);
  CHECK(speakers.tell()["exposure"]["high_percent"].get<double>() < 100 / safety::weekly_hours(107.5, safety::Listener::adult));
  PlayedTime phones(room(Monitoring::Kind::headphones), [&] { return now; });
  phones.add(60, power(-20), 0, 6);
  CHECK(phones.tell()["exposure"].is_null());
  phones.add(60, power(-20), 0, 2);
  CHECK(phones.tell()["exposure"]["text"].get<std::string>().find("headphones") != std::string::npos);
}

TEST_CASE("played: the cautions name the allowance, its source, and who is to be asked") {
  for (const bool calibrated : {false, true}) {
    PlayedTime played(calibrated ? std::optional(room()) : std::nullopt, [] { return 0.0; });
    const auto cautions = played.cautions();
    REQUIRE(cautions.size() == 2);
    CHECK(cautions[0]["source"] == "ITU-T H.870 (2022)");
    CHECK(cautions[0]["text"].get<std::string>().find("down before you play") != std::string::npos);
    CHECK(cautions[1]["text"].get<std::string>().find("estimates") != std::string::npos);
    CHECK((cautions[1]["text"].get<std::string>().find("[monitoring]") == std::string::npos) == calibrated);
  }
}
