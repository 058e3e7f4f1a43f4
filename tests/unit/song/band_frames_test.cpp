#include "song/band_frames.h"

#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <vector>

#include "signals.h"
#include "unit/song/bands.h"

using namespace sendworthy;
using song::BandFrames;

namespace {

double power(const BandFrames& bands, std::int64_t t, int first = 0, int last = BandFrames::kBands) {
  double sum = 0;
  for (int band = first; band < last; ++band) sum += static_cast<double>(BandFrames::powers()[bands.frame(t)[static_cast<std::size_t>(band)]]);
  return sum;
}
double db(double power) { return 10 * std::log10(power); }

int band_of(double hz) { return static_cast<int>(std::floor(song::erb_number(hz))) - 1; }

}  // namespace

TEST_SUITE("song/band_frames") {
  // Values computed elsewhere from the two formulas of Glasberg & Moore (1990).
  TEST_CASE("bandwidths and ERB numbers of Glasberg and Moore") {
    const double hz[] = {100, 500, 1000, 2000, 4000, 10000};
    const double widths[] = {35.494, 78.669, 132.639, 240.578, 456.456, 1104.090};
    const double numbers[] = {3.3696, 10.7665, 15.6214, 21.1552, 27.1074, 35.3166};
    for (int i = 0; i < 6; ++i) {
      CHECK(song::erb_hz(hz[i]) == doctest::Approx(widths[i]).epsilon(2e-5));
      CHECK(song::erb_number(hz[i]) == doctest::Approx(numbers[i]).epsilon(1e-5));
      CHECK(song::hz_of_erb_number(song::erb_number(hz[i])) == doctest::Approx(hz[i]));
    }
    CHECK(BandFrames::low_edge_hz(0) == doctest::Approx(26.0).epsilon(0.01));
    CHECK(BandFrames::high_edge_hz(BandFrames::kBands - 1) == doctest::Approx(16702).epsilon(0.01));
    for (int band = 0; band < BandFrames::kBands; ++band) {
      const double width = BandFrames::high_edge_hz(band) - BandFrames::low_edge_hz(band);
      CHECK(width == doctest::Approx(song::erb_hz(BandFrames::centre_hz(band))).epsilon(0.01));
    }
  }

  TEST_CASE("codes are half-decibel steps") {
    CHECK(BandFrames::code_of(0) == 0);
    CHECK(BandFrames::code_of(1e-12) == 0);
    CHECK(BandFrames::code_of(1e30) == 255);
    CHECK(BandFrames::code_of(1) == 221);
    CHECK(BandFrames::db_of(221) == 0);
    for (int code = 1; code < 256; ++code) CHECK(BandFrames::code_of(static_cast<double>(BandFrames::powers()[static_cast<std::size_t>(code)])) == code);
  }

  TEST_CASE("a sine stands in its own band with its own level, at any rate") {
    for (const int rate : {8000, 22050, 44100, 48000, 96000, 192000}) {
      for (const double hz : {70.0, 450.0, 1000.0, 3000.0, 9000.0}) {
        if (hz > 0.45 * rate) continue;
        const auto bands = test::bands_of({test::sine(rate, hz, 0.5, rate)}, rate);
        CAPTURE(rate);
        CAPTURE(hz);
        REQUIRE(bands.frames() == 50);
        const int band = band_of(hz);
        const double expected = db(0.125);
        for (std::int64_t t = 4; t < 46; ++t) {
          // Lines of the window reach over an edge that is near; what lies beside it belongs to the sine too.
          CHECK(db(power(bands, t, std::max(0, band - 1), std::min(band + 2, BandFrames::kBands))) == doctest::Approx(expected).epsilon(0.04));
          for (int other = 0; other < BandFrames::kBands; ++other) {
            const auto code = bands.frame(t)[static_cast<std::size_t>(other)];
            if (other == band) CHECK(BandFrames::db_of(code) == doctest::Approx(expected).epsilon(0.1));
            if (std::abs(other - band) >= 4 && code > 0) CHECK(BandFrames::db_of(code) < expected - 40);
          }
        }
      }
    }
  }

  TEST_CASE("left and right are summed as powers, whatever their polarity") {
    const auto tone = test::sine(48000, 1000, 0.5, 48000);
    for (const double gain : {1.0, -1.0}) {
      const auto bands = test::bands_of({tone, test::scaled(tone, gain)}, 48000);
      CHECK(std::abs(db(power(bands, 25)) - db(0.25)) < 0.3);
    }
    const auto six = test::bands_of({tone, test::silence(48000), tone, test::silence(48000), tone}, 48000);
    CHECK(std::abs(db(power(six, 25)) - db(0.375)) < 0.3);
  }

  TEST_CASE("the bands of noise add up to its power between 26 Hz and 16.7 kHz") {
    for (const int rate : {44100, 48000, 96000}) {
      const auto noise = test::noise(3, 0.5, rate * 10);
      const auto bands = test::bands_of({noise, test::noise(4, 0.5, rate * 10)}, rate);
      double sum = 0;
      for (std::int64_t t = 0; t < bands.frames(); ++t) sum += power(bands, t);
      const double all = 2 * 0.25 / 3, inside = (BandFrames::high_edge_hz(BandFrames::kBands - 1) - BandFrames::low_edge_hz(0)) / (rate / 2.0);
      CAPTURE(rate);
      CHECK(std::abs(db(sum / static_cast<double>(bands.frames())) - db(all * inside)) < 0.2);
    }
  }

  // Squared windows of neighbours add up to one: a short sound counts once, wherever it lies against the frames.
  TEST_CASE("a click has one energy wherever it falls") {
    for (std::int64_t at = 24000; at < 24960; at += 96) {
      const auto bands = test::bands_of({test::impulse(48000, at, 1)}, 48000);
      double high = 0;
      for (std::int64_t t = 0; t < bands.frames(); ++t) high += power(bands, t, 10) * 960;
      CHECK(std::abs(db(high) - db((16702.0 - 519) / 24000)) < 0.3);
      const auto frame = at / 960;
      CHECK(power(bands, frame, 10) > 0.49 * high / 960);
      CHECK(power(bands, frame - 2, 10) + power(bands, frame + 2, 10) == 0);
    }
  }

  TEST_CASE("any split into blocks gives the same frames") {
    const auto noise = test::noise(5, 0.5, 50001);
    for (const int rate : {11025, 48000}) {
      const auto whole = test::bands_of({noise}, rate, 1 << 20);
      for (const int block : {1, 997, 4096}) {
        if (block == 1 && rate != 48000) continue;
        const auto split = test::bands_of({noise}, rate, block);
        REQUIRE(split.frames() == whole.frames());
        bool same = true;
        for (std::int64_t t = 0; t < whole.frames(); ++t) same = same && std::ranges::equal(split.frame(t), whole.frame(t));
        CHECK(same);
      }
    }
  }

  TEST_CASE("silence, one frame and nothing") {
    const auto silent = test::bands_of({test::silence(48000)}, 48000);
    CHECK(silent.frames() == 50);
    CHECK(power(silent, 20) == 0);
    CHECK(test::bands_of({test::constant(0.5, 1)}, 48000).frames() == 1);
    CHECK(song::BandAnalyser(48000, 2).finish().frames() == 0);
    // A rest between two sounds is as empty as silence, and what comes after it as if there had been none.
    const auto noise = test::noise(6, 0.5, 48000);
    const auto rested = test::bands_of({test::concatenated({noise, test::silence(48000), noise})}, 48000);
    const auto alone = test::bands_of({test::concatenated({test::silence(96000), noise})}, 48000);
    for (std::int64_t t = 60; t < 97; ++t) CHECK(power(rested, t) == 0);
    for (std::int64_t t = 100; t < 150; ++t) CHECK(std::ranges::equal(rested.frame(t), alone.frame(t)));
  }
}
