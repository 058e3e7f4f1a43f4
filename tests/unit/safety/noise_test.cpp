// Weightings against the table of IEC 61672-1, and the calibration noises against noise made and measured here.
#include "safety/noise.h"

#include <doctest/doctest.h>
#include <ebur128.h>

#include <cmath>
#include <numbers>
#include <random>
#include <vector>

using namespace sendworthy::safety;

TEST_SUITE_BEGIN("safety/noise");

TEST_CASE("A and C weighting read the table of IEC 61672-1 at the exact mid-frequencies") {
  // IEC 61672-1:2013, Table 3; exact mid-frequency = 1000·10^(n/10), as IEC 61260-1 has it.
  struct Row {
    int n;
    double a_db, c_db;
  };
  const Row rows[] = {{-20, -70.4, -14.3}, {-17, -50.5, -6.2}, {-15, -39.4, -3.0}, {-12, -26.2, -0.8},
                      {-10, -19.1, -0.3},  {-7, -10.9, 0.0},   {-5, -6.6, 0.0},    {-3, -3.2, 0.0},
                      {0, 0.0, 0.0},       {2, 1.0, -0.1},     {4, 1.3, -0.3},     {6, 1.0, -0.8},
                      {9, -1.1, -3.0},     {10, -2.5, -4.4},   {12, -6.6, -8.5},   {13, -9.3, -11.2}};
  for (const auto& row : rows) {
    const double frequency_hz = 1000 * std::pow(10, row.n / 10.0);
    CAPTURE(frequency_hz);
    CHECK(std::abs(a_weighting_db(frequency_hz) - row.a_db) <= 0.0501);
    CHECK(std::abs(c_weighting_db(frequency_hz) - row.c_db) <= 0.0501);
  }
}

TEST_CASE("K weighting reads the response of the filters of ITU-R BS.1770-5") {
  // Computed from Tables 1 and 2 of Annex 1 by an independent program.
  CHECK(k_weighting_db(38) == doctest::Approx(-6.003).epsilon(0.0005));
  CHECK(k_weighting_db(100) == doctest::Approx(-1.134).epsilon(0.001));
  CHECK(std::abs(k_weighting_db(997) - 0.6910) < 0.001);
  CHECK(std::abs(k_weighting_db(2000) - 3.071) < 0.005);
  CHECK(std::abs(k_weighting_db(10000) - 4.042) < 0.005);
}

TEST_CASE("calibration noises are known by the words of the configuration and by no others") {
  CHECK(noise_named("pink") == CalibrationNoise::pink);
  CHECK(noise_named("band 500-2000") == CalibrationNoise::band_500_2000);
  CHECK(noise_named("sine 1000") == CalibrationNoise::sine_1000);
  CHECK_FALSE(noise_named("Pink"));
  CHECK_FALSE(noise_named("white"));
  CHECK_FALSE(noise_named(""));
}

TEST_CASE("a calibration tone at 1 kHz is weighted by nothing but K") {
  const auto levels = levels_of(CalibrationNoise::sine_1000);
  CHECK(std::abs(levels.a_db) < 1e-9);
  CHECK(std::abs(levels.c_db) < 1e-9);
  CHECK(std::abs(levels.k_db - 0.698) < 0.005);  // as above, at 1000 Hz
}

namespace {

// Noise with equal power per octave between two edges, as a sum of tones spaced evenly over the logarithm of frequency.
std::vector<double> tones(double low_hz, double high_hz, int count, double seconds) {
  std::mt19937_64 generator(7);
  std::uniform_real_distribution<double> phase(0, 2 * std::numbers::pi);
  std::vector<double> samples(static_cast<std::size_t>(48000 * seconds));
  const double amplitude = 0.1 / std::sqrt(count);
  for (int i = 0; i < count; ++i) {
    const double w = 2 * std::numbers::pi * low_hz * std::pow(high_hz / low_hz, (i + 0.5) / count) / 48000;
    const double start = phase(generator);
    const double turn = 2 * std::cos(w);
    double before = std::sin(start - w), now = std::sin(start);
    for (auto& sample : samples) {
      sample += amplitude * now;
      const double next = turn * now - before;
      before = now;
      now = next;
    }
  }
  return samples;
}

double loudness_lufs(const std::vector<double>& samples) {
  auto* state = ebur128_init(1, 48000, EBUR128_MODE_I);
  ebur128_add_frames_double(state, samples.data(), samples.size());
  double lufs = 0;
  ebur128_loudness_global(state, &lufs);
  ebur128_destroy(&state);
  return lufs;
}

double rms_dbfs(const std::vector<double>& samples) {
  double sum = 0;
  for (const double sample : samples) sum += sample * sample;
  return 10 * std::log10(sum / static_cast<double>(samples.size()));
}

}  // namespace

TEST_CASE("the integrated K level of pink noise is what a loudness meter reads on such a noise") {
  // libebur128 on a noise made of tones: its own filter, no integral.
  const auto pink = tones(20, 20000, 300, 12);
  CHECK(std::abs(loudness_lufs(pink) - rms_dbfs(pink) - (levels_of(CalibrationNoise::pink).k_db - 0.691)) < 0.1);
  const auto band = tones(500, 2000, 60, 12);
  CHECK(std::abs(loudness_lufs(band) - rms_dbfs(band) - (levels_of(CalibrationNoise::band_500_2000).k_db - 0.691)) <
        0.1);
}

TEST_CASE("the A and C levels of pink noise follow from the third-octave table") {
  // IEC 61672-1:2013, Table 3, nominal third-octave bands 20 Hz to 20 kHz: pink noise has the same power in each, so
  // its weighted level is the mean power of the table's entries.
  const double a_db[] = {-50.5, -44.7, -39.4, -34.6, -30.2, -26.2, -22.5, -19.1, -16.1, -13.4, -10.9,
                         -8.6,  -6.6,  -4.8,  -3.2,  -1.9,  -0.8,  0.0,   0.6,   1.0,   1.2,   1.3,
                         1.2,   1.0,   0.5,   -0.1,  -1.1,  -2.5,  -4.3,  -6.6,  -9.3};
  const double c_db[] = {-6.2, -4.4, -3.0, -2.0, -1.3, -0.8, -0.5, -0.3, -0.2, -0.1, 0.0,  0.0,  0.0,  0.0,  0.0,  0.0,
                         0.0,  0.0,  0.0,  -0.1, -0.2, -0.3, -0.5, -0.8, -1.3, -2.0, -3.0, -4.4, -6.2, -8.5, -11.2};
  const auto mean_db = [](const auto& bands, int from, int to) {
    // The first and last band reach over the edge of the noise by half.
    double sum = 0, weight = 0;
    for (int i = from; i <= to; ++i) {
      const double share = i == from || i == to ? 0.5 : 1;
      sum += share * std::pow(10, bands[i] / 10);
      weight += share;
    }
    return 10 * std::log10(sum / weight);
  };
  const auto pink = levels_of(CalibrationNoise::pink);
  CHECK(std::abs(pink.a_db - mean_db(a_db, 0, 30)) < 0.05);
  CHECK(std::abs(pink.c_db - mean_db(c_db, 0, 30)) < 0.05);
  const auto band = levels_of(CalibrationNoise::band_500_2000);  // bands 14 (500 Hz) to 20 (2 kHz)
  CHECK(std::abs(band.a_db - mean_db(a_db, 14, 20)) < 0.05);
  CHECK(std::abs(band.c_db - mean_db(c_db, 14, 20)) < 0.05);
}

TEST_SUITE_END();
