// The words under every sheet.
#include <doctest/doctest.h>

#include <algorithm>
#include <limits>

#include "safety/exposure.h"

using namespace sendworthy;

namespace {

FileSheet song(double a_weighted_dbfs = -18, int channels = 2) {
  FileSheet file;
  file.path = "song.wav";
  file.facts.channels = channels;
  file.facts.duration_s = 240;
  const auto add = [&](const char* id, double value) { file.measurements.push_back({id, id, Value{value}}); };
  add("a_weighted_level", a_weighted_dbfs);
  add("crest_factor", 14);
  add("integrated_loudness", -16);
  add("max_momentary_loudness", -9);
  add("non_finite_samples", 0);
  add("over_full_scale_samples", 0);
  add("true_peak", -1.2);
  return file;
}

void set(FileSheet& file, std::string_view id, Outcome outcome) {
  for (auto& measurement : file.measurements) {
    if (measurement.id == id) {
      measurement.outcome = std::move(outcome);
      return;
    }
  }
  file.measurements.push_back({std::string(id), std::string(id), std::move(outcome)});
}

std::string all_text(const std::vector<Caution>& cautions) {
  std::string text;
  for (const auto& caution : cautions) text += caution.text + "\n";
  return text;
}

bool warns(const FileSheet& file) {
  return all_text(safety::cautions(file, {})).find("Before you play") != std::string::npos;
}

// 1 kHz calibration: 83 dB(A) at -20 dBFS, so that estimated level = a_weighted_level + 103.
Monitoring simple_room() {
  Monitoring room;
  room.noise = "sine 1000";
  room.level = -20;
  room.level_unit = "dBFS";
  room.spl_db = 83;
  room.spl_weighting = std::string("A");
  return room;
}

}  // namespace

TEST_SUITE_BEGIN("safety/cautions");

TEST_CASE("with a calibration the sheet says the range, the weekly allowance, the passes and the daily time") {
  const auto cautions = safety::cautions(song(-20), simple_room());
  REQUIRE(cautions.size() == 3);
  CHECK(cautions[0].source == "ITU-T H.870 (2022)");
  CHECK(cautions[0].text.find("83.0 to 86.0 dB(A)") != std::string::npos);
  // 86 dB(A): 10 h a week for adults (H.870), 150 passes of four minutes; 3.15 h for sensitive listeners, 47 passes.
  CHECK(cautions[0].text.find("10 h (150 passes)") != std::string::npos);
  CHECK(cautions[0].text.find("3.1 h (47 passes)") != std::string::npos);
  CHECK(cautions[1].source == "NIOSH 98-126 (1998)");
  CHECK(cautions[1].text.find("6.3 h") != std::string::npos);  // 6 h 21 min in its Table 1-1
}

TEST_CASE("without a calibration the sheet speaks of levels one might monitor at") {
  const auto cautions = safety::cautions(song(), {});
  REQUIRE(cautions.size() == 3);
  CHECK(cautions[0].text.find("If you monitor at 79 dB(A)") == 0);
  CHECK(cautions[0].text.find("50.4 h for adults, 15.9 h for sensitive") != std::string::npos);
  CHECK(cautions[0].text.find("at 85 dB(A) 12.6 h (188 passes), 4 h (59 passes)") != std::string::npos);
  CHECK(cautions[1].text.find("reached after 8 h") != std::string::npos);
  CHECK(cautions[2].text.find("[monitoring]") != std::string::npos);
}

TEST_CASE("every sheet says what an estimate is, with a source for each line, in at most four short lines") {
  auto hot = song(-6);
  set(hot, "true_peak", Value{1.5});
  set(hot, "over_full_scale_samples", Value{12.0});
  for (const auto& monitoring : {std::optional<Monitoring>{}, std::optional{simple_room()}}) {
    for (const auto& file : {song(), hot}) {
      const auto cautions = safety::cautions(file, monitoring);
      CHECK(cautions.size() <= 4);
      const auto& last = cautions.back().text;
      CHECK(last.find("estimate") != std::string::npos);
      CHECK(last.find("no substitute for a calibrated sound level meter or a qualified person") != std::string::npos);
      CHECK(last.find("local rules apply") != std::string::npos);
      for (const auto& caution : cautions) {
        CHECK_FALSE(caution.source.empty());
        CHECK(caution.text.size() < 300);
        CHECK(caution.text.find("safe ") == std::string::npos);  // never "safe" or "unsafe": hours only
      }
    }
  }
}

TEST_CASE("headphones speak of the louder ear, and of nothing when the fold-down is unknown") {
  auto headphones = simple_room();
  headphones.kind = Monitoring::Kind::headphones;
  auto text = all_text(safety::cautions(song(-20), headphones));
  CHECK(text.find("louder ear") != std::string::npos);
  CHECK(text.find("80.0 to 83.0 dB(A)") != std::string::npos);
  text = all_text(safety::cautions(song(-20, 1), headphones));
  CHECK(text.find("about 83.0 dB(A)") != std::string::npos);
  text = all_text(safety::cautions(song(-20, 6), headphones));
  CHECK(text.find("not estimated") != std::string::npos);
  CHECK(text.find("If you monitor at") != std::string::npos);
}

TEST_CASE("a file without an A-weighted level, an impossible scale or a wrong calibration gets no estimate") {
  auto silent = song();
  set(silent, "a_weighted_level", NotMeasured{"silent"});
  auto scaled = song();
  set(scaled, "implausible_scale", Value{true});
  for (const auto& file : {silent, scaled}) {
    const auto text = all_text(safety::cautions(file, simple_room()));
    CHECK(text.find("not estimated") != std::string::npos);
    CHECK(text.find("Estimated level") == std::string::npos);
  }
  auto broken = simple_room();
  broken.noise = "brown";
  CHECK(all_text(safety::cautions(song(), broken)).find("cannot be used (noise must be") != std::string::npos);
}

TEST_CASE("files with overs, broken samples or a steady tone are announced before they are played") {
  CHECK_FALSE(warns(song()));

  auto file = song();
  set(file, "over_full_scale_samples", Value{1.0});
  CHECK(warns(file));
  CHECK(safety::cautions(file, {})[0].text.find("1 sample is over full scale") != std::string::npos);

  file = song();
  set(file, "true_peak", Value{0.31});
  CHECK(warns(file));
  set(file, "true_peak", Value{0.0});
  CHECK_FALSE(warns(file));
  set(file, "true_peak", NotMeasured{"silent"});
  CHECK_FALSE(warns(file));

  file = song();
  set(file, "non_finite_samples", Value{3.0});
  CHECK(warns(file));

  file = song();
  set(file, "byte_order_suspect", Value{true});
  CHECK(warns(file));
  set(file, "byte_order_suspect", Value{false});
  CHECK_FALSE(warns(file));

  file = song();  // a -18 dBFS line-up tone: crest factor 3.01 dB, loudness that does not move
  set(file, "crest_factor", Value{3.01});
  set(file, "integrated_loudness", Value{-18.0});
  set(file, "max_momentary_loudness", Value{-18.0});
  CHECK(warns(file));
  set(file, "max_momentary_loudness", Value{-14.0});  // it moves: no tone
  CHECK_FALSE(warns(file));
  set(file, "max_momentary_loudness", Value{-18.0});
  set(file, "crest_factor", Value{6.0});  // hard-limited music
  CHECK_FALSE(warns(file));
}

TEST_CASE("odd lengths and levels make plain words") {
  auto file = song(-90);
  CHECK(all_text(safety::cautions(file, simple_room())).find("lasts more than a week for adults") != std::string::npos);
  file = song(-20);
  file.facts.duration_s = 0;
  auto text = all_text(safety::cautions(file, simple_room()));
  CHECK(text.find("passes") == std::string::npos);
  CHECK(text.find("inf") == std::string::npos);
  file.facts.duration_s = 36000.5;
  CHECK(all_text(safety::cautions(file, simple_room())).find("less than one pass") != std::string::npos);
  file.facts.duration_s = 0.1;
  CHECK(all_text(safety::cautions(file, simple_room())).find("over 10000 passes") != std::string::npos);
  file = song();
  set(file, "a_weighted_level", Value{std::numeric_limits<double>::quiet_NaN()});
  CHECK(all_text(safety::cautions(file, simple_room())).find("nan") == std::string::npos);
  file.error = Error{ErrorCode::unreadable, "gone", {}};
  CHECK(safety::cautions(file, {}).empty());
}

TEST_SUITE_END();
