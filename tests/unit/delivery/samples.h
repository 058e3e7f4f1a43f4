// Readings with everything in them that is easily lost on the way.
#pragma once

#include <cmath>
#include <cstdint>
#include <limits>
#include <string>

#include <sendworthy/store.h>

namespace sendworthy::test {

inline Readings odd_readings() {
  constexpr double kInfinity = std::numeric_limits<double>::infinity();
  Readings r;
  r.facts = {.container = "WAV", .encoding = "PCM 24-bit", .sample_rate = 48000, .bit_depth = 24, .channels = 2,
             .channel_layout = "stereo", .frames = std::int64_t{1} << 40, .duration_s = static_cast<double>(std::int64_t{1} << 40) / 48000, .file_size = 1234567890123,
             .tags = {{"title", std::string("nul \0 and \xFF", 10), "ID3v2"}, {"", "", ""}}};
  r.audio_digest = "xxh128:00";
  Measurement m;
  m.id = m.key = "a";
  m.outcome = Value(0.1);
  m.note = "note\nwith a line";
  m.channels = {-0.0, std::nullopt, std::nan(""), kInfinity, std::numeric_limits<double>::denorm_min()};
  m.where = {{.start_s = 1.0 / 3, .end_s = 2.0 / 3, .start_frame = 16000, .end_frame = 32000, .channel = 2, .file = "f", .note = "n"}, {}};
  m.where_total = 1000;
  r.measurements.push_back(m);
  for (const auto& outcome : {Outcome(Value(true)), Outcome(Value(false)), Outcome(Value(std::string("text"))), Outcome(Value(-kInfinity)),
                              Outcome(NotMeasured{"too short"}), Outcome(NotApplicable{"mono"})})
    r.measurements.push_back({.id = "b", .key = "b(x=1)", .outcome = outcome});
  r.timelines.push_back({"envelope", "dBFS", 1, 0.05, 0.1, 2, {1.5f, std::nanf(""), -0.0f, -std::numeric_limits<float>::infinity()}});
  r.timelines.push_back({"empty", "", 0, 0, 1, 1, {}});
  Pictures pictures;
  pictures.spectrum = {{25, 31.5}, {-20, -144}, 16000.0};
  pictures.levels = {-61, {0.25f, 0.75f}};
  pictures.density = {2, 0.5, {0.1f, 0.2f, 0.3f, 0.4f}, 0.9, 0.1};
  r.pictures = pictures;
  return r;
}

}  // namespace sendworthy::test
