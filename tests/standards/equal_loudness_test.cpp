// Equal-loudness contours against the values that ISO 226:2023 prints.
#include <doctest/doctest.h>

#include <cmath>
#include <cstddef>
#include <iterator>

#include "dsp/equal_loudness.h"

using namespace sendworthy;

TEST_SUITE_BEGIN("standards/equal_loudness");

TEST_CASE("Levels of equal loudness read Table B.1 of ISO 226:2023") {
  struct Row {
    double phon, hz, spl;
  };
  // ISO 226:2023, Table B.1, printed to 0.1 dB.
  const Row rows[] = {{20, 20, 89.5},  {20, 12500, 33.0}, {40, 20, 99.7},   {40, 63, 73.0},    {40, 250, 50.3},
                      {40, 4000, 36.7}, {40, 8000, 51.6}, {60, 100, 78.5},  {60, 500, 62.1},   {60, 2000, 60.0},
                      {80, 20, 118.9}, {80, 12500, 85.6}, {90, 20, 123.6},  {90, 4000, 88.8}};
  for (const auto& row : rows) {
    const double hz = row.hz, phon = row.phon;
    CAPTURE(hz);
    CAPTURE(phon);
    CHECK(std::abs(dsp::equal_loudness_spl(hz, phon) - row.spl) <= 0.0501);
  }
}

TEST_CASE("Loudness levels read Table B.2 of ISO 226:2023") {
  struct Row {
    double spl, hz, phon;
  };
  // ISO 226:2023, Table B.2, printed to 0.1 phon.
  const Row rows[] = {{60, 63, 21.6}, {80, 8000, 68.6}, {90, 20, 20.8}, {70, 400, 67.1}, {50, 3150, 53.9}};
  for (const auto& row : rows) {
    const double hz = row.hz;
    CAPTURE(hz);
    CHECK(std::abs(dsp::loudness_level_phon(hz, row.spl) - row.phon) <= 0.0501);
  }
}

TEST_CASE("At 1 kHz phon and decibels are the same, by definition") {
  for (double phon = 0; phon <= 100; phon += 5) {
    CAPTURE(phon);
    CHECK(std::abs(dsp::equal_loudness_spl(1000, phon) - phon) < 1e-9);
    CHECK(std::abs(dsp::loudness_level_phon(1000, phon) - phon) < 1e-9);
  }
}

TEST_CASE("Beyond the standard the contours go on: they meet the threshold, stay in order and turn round") {
  for (double hz = 10; hz <= 20000; hz *= 1.03) {
    CAPTURE(hz);
    CHECK(std::abs(dsp::equal_loudness_spl(hz, dsp::kThresholdPhon) - dsp::hearing_threshold_spl(hz)) < 1e-9);
    double below = dsp::equal_loudness_spl(hz, 0);
    CHECK(std::isfinite(below));
    for (double phon = 2; phon <= 100; phon += 2) {
      const double spl = dsp::equal_loudness_spl(hz, phon);
      CHECK(spl > below);
      CHECK(std::abs(dsp::loudness_level_phon(hz, spl) - phon) < 1e-6);
      below = spl;
    }
    CHECK(dsp::loudness_level_phon(hz, dsp::hearing_threshold_spl(hz) - 1) < dsp::kThresholdPhon);
  }
  CHECK(dsp::equal_loudness_spl(50, -30) == dsp::equal_loudness_spl(50, 0));
  CHECK(dsp::equal_loudness_spl(0, 40) == dsp::equal_loudness_spl(10, 40));
  CHECK(dsp::equal_loudness_spl(96000, 40) == dsp::equal_loudness_spl(20000, 40));
}

TEST_CASE("Between the frequencies of ISO 226:2023 a contour leaves the straight line by 0.15 dB at most") {
  const double table[] = {20,  25,  31.5, 40,   50,   63,   80,   100,  125,  160,  200,  250,  315,  400,  500,
                          630, 800, 1000, 1250, 1600, 2000, 2500, 3150, 4000, 5000, 6300, 8000, 10000, 12500};
  for (std::size_t i = 1; i < std::size(table); ++i) {
    const double middle = std::sqrt(table[i - 1] * table[i]);
    CAPTURE(middle);
    for (const double phon : {10.0, 20.0, 45.0, 78.0}) {
      const double straight = (dsp::equal_loudness_spl(table[i - 1], phon) + dsp::equal_loudness_spl(table[i], phon)) / 2;
      CHECK(std::abs(dsp::equal_loudness_spl(middle, phon) - straight) < 0.15);
    }
  }
}

TEST_SUITE_END();
