#include <doctest/doctest.h>

#include <cmath>

#include "judge/evaluate.h"
#include "unit/judge/fake_catalog.h"

using namespace sendworthy;
using namespace sendworthy::judge;

namespace {

std::string error_of(const std::string& expectation) {
  const auto set = expectations({expectation}, test::fake_catalog());
  if (set) return "";
  CHECK(set.error().code == ErrorCode::usage);
  return to_string(set.error());
}

Finding judged(const std::string& expectation, const std::string& id, Value value, int sample_rate = 44100) {
  const auto set = expectations({expectation}, test::fake_catalog());
  REQUIRE_MESSAGE(set.has_value(), (set ? "" : to_string(set.error())));
  Subject subject;
  subject.channels = 2;
  subject.sample_rate = sample_rate;
  const auto judgement =
      evaluate(*set, {{.id = id, .key = id, .outcome = std::move(value)}}, subject, test::fake_catalog());
  REQUIRE(judgement.findings.size() == 1);
  return judgement.findings[0];
}

Status status(const std::string& expectation, const std::string& id, Value value, int sample_rate = 44100) {
  return judged(expectation, id, std::move(value), sample_rate).status;
}

}  // namespace

TEST_SUITE("judge/expect") {
  TEST_CASE("expectations become one rule a key") {
    const auto set = expectations({"sample_rate=96000", "bit_depth=24", "channels=2"}, test::fake_catalog());
    REQUIRE(set.has_value());
    CHECK(set->name == "expected");
    REQUIRE(set->rules.size() == 3);
    CHECK(set->rules[0].id == "sample-rate");
    CHECK(set->digest.substr(0, 7) == "xxh128:");
    CHECK(expectations({}, test::fake_catalog())->rules.empty());
  }

  TEST_CASE("whole numbers are exact, several may be right") {
    CHECK(status("sample_rate=96000", "sample_rate", Value(96000.0)) == Status::pass);
    CHECK(status("sample_rate=96000", "sample_rate", Value(48000.0)) == Status::fail);
    CHECK(judged("sample_rate=96000", "sample_rate", Value(48000.0)).limit_text == "exactly 96000 Hz");
    CHECK(status("sample_rate=44100|48000", "sample_rate", Value(48000.0)) == Status::pass);
    CHECK(status("sample_rate=44100|48000", "sample_rate", Value(88200.0)) == Status::fail);
  }

  TEST_CASE("a duration holds to the frame") {
    const double frames = std::round(215.5 * 44100);
    CHECK(status("duration=215.5", "duration", Value(frames / 44100)) == Status::pass);
    CHECK(status("duration=3:35.5", "duration", Value(frames / 44100)) == Status::pass);
    CHECK(status("duration=0:03:35.5", "duration", Value(frames / 44100)) == Status::pass);
    CHECK(status("duration=215.5", "duration", Value((frames + 1) / 44100)) == Status::fail);
    // As printed, with its three decimals.
    CHECK(status("duration=215.013", "duration", Value(9482088 / 44100.0)) == Status::pass);
    CHECK(status("duration=215.014", "duration", Value(9482088 / 44100.0)) == Status::fail);
    CHECK(status("duration=30", "duration", Value(1323000 / 44100.0)) == Status::pass);
    CHECK(status("duration=30", "duration", Value(1323001 / 44100.0)) == Status::fail);
    CHECK(status("duration=29.9..30.1", "duration", Value(30.05)) == Status::pass);
  }

  TEST_CASE("levels are compared as they are printed, or within a range") {
    CHECK(status("integrated_loudness=-14", "integrated_loudness", Value(-14.04)) == Status::pass);
    CHECK(status("integrated_loudness=-14", "integrated_loudness", Value(-14.06)) == Status::fail);
    CHECK(status("integrated_loudness=-16..-14", "integrated_loudness", Value(-15.0)) == Status::pass);
    CHECK(status("integrated_loudness=-16..-14", "integrated_loudness", Value(-13.9)) == Status::fail);
    CHECK(judged("integrated_loudness=-16..-14", "integrated_loudness", Value(-12.0)).limit_text ==
          "between -16.0 and -14.0 LUFS");
    CHECK(status("true_peak=..-1", "true_peak", Value(-1.0)) == Status::pass);
    CHECK(status("true_peak=..-1", "true_peak", Value(-0.9)) == Status::fail);
    CHECK(status("headroom=3..", "headroom", Value(2.0)) == Status::fail);
  }

  TEST_CASE("texts and truth values") {
    CHECK(status("container=WAV", "container", Value(std::string("WAV"))) == Status::pass);
    CHECK(status("container=wav|flac", "container", Value(std::string("FLAC"))) == Status::pass);
    CHECK(status("container=WAV", "container", Value(std::string("MP3"))) == Status::fail);
    CHECK(status("encoding=PCM 24-bit", "encoding", Value(std::string("PCM 24-bit"))) == Status::pass);
    CHECK(status("dual_mono=false", "dual_mono", Value(false)) == Status::pass);
    CHECK(status("dual_mono=no", "dual_mono", Value(true)) == Status::fail);
  }

  TEST_CASE("what is not measured does not pass") {
    const auto set = expectations({"lineup_tone=none"}, test::fake_catalog());
    const auto judgement = evaluate(*set, {}, {}, test::fake_catalog());
    CHECK(judgement.findings.at(0).status == Status::not_measured);
  }

  TEST_CASE("mistakes are answered with what would be right") {
    CHECK(error_of("sample_rat=96000") ==
          "--expect \"sample_rat=96000\": unknown measurement \"sample_rat\"; did you mean \"sample_rate\"?");
    CHECK(error_of("sample-rate=1") ==
          "--expect \"sample-rate=1\": unknown measurement \"sample-rate\"; did you mean \"sample_rate\"?");
    CHECK(error_of("sample_rate") == "--expect \"sample_rate\": write KEY=VALUE, such as sample_rate=96000");
    CHECK(error_of("=3") == "--expect \"=3\": write KEY=VALUE, such as sample_rate=96000");
    CHECK(error_of("sample_rate=") == "--expect \"sample_rate=\": the value is missing");
    CHECK(error_of("sample_rate=48k") ==
          "--expect \"sample_rate=48k\": \"48k\" is no number of Hz, written without the unit");
    CHECK(error_of("sample_rate=nan") ==
          "--expect \"sample_rate=nan\": \"nan\" is no number of Hz, written without the unit");
    CHECK(error_of("duration=3:99") ==
          "--expect \"duration=3:99\": \"3:99\" is no time; write seconds such as 215.5, or 3:35.5");
    CHECK(error_of("dual_mono=maybe") == "--expect \"dual_mono=maybe\": dual_mono must be true or false");
    CHECK(error_of("true_peak=-1..-2") == "--expect \"true_peak=-1..-2\": the range runs backwards");
    CHECK(error_of("true_peak=..") ==
          "--expect \"true_peak=..\": a range needs at least one end, such as -16..-14 or ..-1");
    CHECK(to_string(expectations({"channels=2", "channels=1"}, test::fake_catalog()).error()) ==
          "--expect \"channels=1\": channels is given twice");
  }
}
