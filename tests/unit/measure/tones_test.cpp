// Line-up tones and what moves below hearing: closed forms, packaged music, and sounds that only look like it.
#include <doctest/doctest.h>

#include <cmath>
#include <string>

#include "faults/sample.h"
#include "signals.h"
#include "standards/reading.h"

using namespace sendworthy;
using namespace sendworthy::test;

namespace {

std::string tone(const Reading& r) {
  return std::get<std::string>(std::get<Value>(r.measurement("lineup_tone").outcome));
}
Channels pair(const Samples& x) { return {x, x}; }

}  // namespace

TEST_SUITE("measure/tones") {
  TEST_CASE("a tone before, inside and after music is told with its figures and its place") {
    for (const int rate : {44100, 48000, 96000}) {
      for (const double hz : {50.0, 440.0, 997.0, 1000.0, 3000.0, 10000.0}) {
        CAPTURE(rate);
        CAPTURE(hz);
        const auto wave = sine(rate, hz, from_db(-18), 10 * rate, 0.4);
        const auto& x = music().channels[0];
        for (const auto& [before, after] : {std::pair{silence(777), x}, {x, silence(5000)}, {silence(1), silence(0)}}) {
          const auto r = measured(code_source(rate, 24, pair(concatenated({before, wave, after}))));
          CHECK(tone(r) ==
                std::to_string(static_cast<int>(hz)) + (hz < 100 ? ".0" : "") + " Hz at -18.0 dBFS for 10.0 s");
          const auto& m = r.measurement("lineup_tone");
          CHECK(m.note == "at the level of EBU R 68, 18 dB below full scale");
          REQUIRE(m.where.size() == 1);
          CHECK(m.where[0].channel == 0);
          CHECK(std::abs(m.where[0].start_frame - length(before)) < 0.02 * rate);
          CHECK(std::abs(m.where[0].end_frame - length(before) - length(wave)) < 0.02 * rate);
        }
      }
    }
  }

  TEST_CASE("level, noise of 45 dB under it, one channel, and 16 bits") {
    auto wave = sum(sine(48000, 1000, from_db(-14.4), 3 * 48000), noise(2, from_db(-60), 3 * 48000));
    const auto r = measured(code_source(48000, 16, {wave, silence(length(wave))}));
    CHECK(tone(r) == "1000 Hz at -14.4 dBFS for 3.0 s");
    CHECK(r.measurement("lineup_tone").note == "3.6 dB above the level of EBU R 68, 5.6 dB above that of SMPTE RP 155");
    CHECK(r.measurement("lineup_tone").where.at(0).channel == 1);
    CHECK(tone(measured(code_source(48000, 24, {wave}))) == "1000 Hz at -14.4 dBFS for 3.0 s");
  }

  TEST_CASE("what is short, moves, beats, or has overtones is no line-up tone") {
    const int rate = 48000;
    const auto none = [&](const Samples& x) { return tone(measured(code_source(rate, 24, pair(x)))) == "none"; };
    CHECK(none(concatenated({sine(rate, 1000, 0.1, rate * 19 / 10), silence(rate)})));
    CHECK(none(music().channels[0]));
    CHECK(none(silence(rate * 3)));
    CHECK(none(noise(1, 0.3, rate * 4)));
    CHECK(none(square(rate, 400, 0.2, rate * 4)));
    CHECK(none(sum(sine(rate, 440, 0.2, rate * 4), sine(rate, 880, 0.01, rate * 4))));
    CHECK(none(sum(sine(rate, 440, 0.2, rate * 4), sine(rate, 441, 0.02, rate * 4))));
    Samples vibrato, drop, swell;
    double a = 0, b = 0;
    for (int n = 0; n < 4 * rate; ++n) {
      a += 440 * (1 + 0.004 * std::sin(5 * 6.2831853 * n / rate)) / rate;
      b += (60 - 5.0 * n / rate) / rate;
      vibrato.push_back(0.2 * std::sin(6.2831853 * a));
      drop.push_back(0.4 * std::sin(6.2831853 * b));
      swell.push_back(0.2 * from_db(-1.0 * n / rate) * std::sin(6.2831853 * 440 * n / rate));
    }
    CHECK(none(vibrato));
    CHECK(none(drop));
    CHECK(none(swell));
    // A tone on one side while music plays on the other.
    const auto& x = music().channels[0];
    CHECK(tone(measured(code_source(rate, 24, {sine(rate, 440, 0.1, length(x)), x}))) == "none");
  }

  TEST_CASE("subsonic level of two sines is their ratio, at any rate and number of channels; DC does not count") {
    for (const int rate : {8000, 44100, 48000, 96000, 192000}) {
      for (const std::size_t channels : {1u, 2u, 3u}) {
        CAPTURE(rate);
        CAPTURE(channels);
        auto x = sum(sine(rate, 10, 0.02, 8 * rate), sine(rate, 500, 0.2, 8 * rate));
        for (auto& v : x) v += 0.1;
        const auto r = measured(real_source(rate, Channels(channels, x)));
        CHECK(r("subsonic_level") == doctest::Approx(10 * std::log10(0.01 / 1.01)).epsilon(0.02));
      }
    }
  }

  TEST_CASE("a bass and a kick are no rumble; a short or silent file is not measured") {
    const int rate = 48000;
    CHECK(measured(code_source(rate, 24, pair(sine(rate, 31, 0.3, 8 * rate))))("subsonic_level") < -35);
    CHECK(measured(code_source(rate, 24, music().channels))("subsonic_level") < -20);
    CHECK(measured(code_source(rate, 24, pair(sine(rate, 12, 0.3, 8 * rate))))("subsonic_level") > -0.5);
    CHECK_FALSE(measured(code_source(rate, 24, pair(sine(rate, 12, 0.3, rate)))).measured("subsonic_level"));
    CHECK_FALSE(measured(code_source(rate, 24, pair(silence(4 * rate)))).measured("subsonic_level"));
  }
}
