// Levels, weightings and stereo figures whose value follows from a standard or from arithmetic.
#include <doctest/doctest.h>

#include <cmath>
#include <limits>
#include <numbers>

#include "dsp/biquad.h"
#include "signals.h"
#include "standards/reading.h"

using namespace sendworthy;
using sendworthy::test::measured;

TEST_SUITE_BEGIN("standards/levels");

TEST_CASE("A-weighting reads the table of IEC 61672-1 at the exact mid-frequencies") {
  // IEC 61672-1:2013, Table 3; exact mid-frequency 1000·10^(n/10).
  struct Row {
    int n;
    double a_db;
  };
  const Row rows[] = {{-15, -39.4}, {-12, -26.2}, {-10, -19.1}, {-7, -10.9}, {-3, -3.2}, {0, 0.0},
                      {3, 1.2},     {4, 1.3},     {6, 1.0},     {8, -0.1},   {10, -2.5}, {13, -9.3}};
  for (const auto& row : rows) {
    const double frequency_hz = 1000 * std::pow(10, row.n / 10.0);
    CAPTURE(frequency_hz);
    CHECK(std::abs(dsp::a_weighting_db(frequency_hz) - row.a_db) <= 0.0501);
    for (const int rate : {44100, 48000, 96000}) {
      CAPTURE(rate);
      // Measured, end to end. Class 1 leaves ±0.7 dB at 1 kHz and ±1.5 to 3 dB at the ends (same table); the digital
      // filter bends only near half the rate.
      const auto tone = test::sine(rate, frequency_hz, 1.0, rate * 2);
      const double gain_db = measured(test::real_source(rate, {tone}))("a_weighted_level") + 10 * std::log10(2.0);
      CHECK(std::abs(gain_db - row.a_db) <= (frequency_hz > 15000 ? 1.0 : 0.25));
    }
  }
}

TEST_CASE("A-weighted power adds over channels") {
  const auto tone = test::sine(48000, 1000, 0.1, 96000);
  const auto other = test::sine(48000, 1500, 0.1, 96000);
  const double one_db = measured(test::real_source(48000, {tone}))("a_weighted_level");
  const double two_db = measured(test::real_source(48000, {tone, tone}))("a_weighted_level");
  CHECK(std::abs(two_db - one_db - 3.0103) < 0.001);
  const double mixed_db = measured(test::real_source(48000, {tone, other}))("a_weighted_level");
  const double other_db = measured(test::real_source(48000, {other}))("a_weighted_level");
  CHECK(std::abs(mixed_db - 10 * std::log10(std::pow(10, one_db / 10) + std::pow(10, other_db / 10))) < 0.001);
}

TEST_CASE("a full-scale sine reads -3.01 dB RMS, a full-scale square 0.00, with the AES17 value beside it") {
  // AES17: a full-scale 997 Hz sine is 0 dBFS RMS; the mathematical value is 3.010 dB lower.
  const auto sine = test::sine(48000, 997, 1.0, 48000 * 4);
  auto reading = measured(test::real_source(48000, {sine, sine}));
  CHECK(std::abs(reading("rms_level") + 3.010) < 0.001);
  CHECK(reading.measurement("rms_level").note.find("AES17") != std::string::npos);
  CHECK(std::abs(reading("crest_factor") - 3.010) < 0.001);
  const auto square = test::square(48000, 500, 1.0, 48000 * 4);
  reading = measured(test::real_source(48000, {square, square}));
  CHECK(std::abs(reading("rms_level")) < 0.001);
  CHECK(std::abs(reading("crest_factor")) < 0.001);
}

TEST_CASE("folding to mono costs 3 dB on unrelated channels, nothing on equal ones, all on inverted ones") {
  // Arithmetic: the power of (a + b)/2.
  const auto a = test::noise(1, 0.3, 48000 * 20);
  const auto b = test::noise(2, 0.3, 48000 * 20);
  CHECK(std::abs(measured(test::real_source(48000, {a, b}))("mono_fold_loss") - 3.01) < 0.05);
  CHECK(std::abs(measured(test::real_source(48000, {a, a}))("mono_fold_loss")) < 0.05);
  CHECK(measured(test::real_source(48000, {a, test::scaled(a, -1)}))("mono_fold_loss") >= 59.9);  // its cap is 60
  CHECK(std::abs(measured(test::real_source(48000, {a, test::silence(48000 * 20)}))("mono_fold_loss") - 3.01) < 0.05);
}

TEST_CASE("correlation is +1 on equal, -1 on inverted, 0 on quadrature tones") {
  // Definition: Σ LR / √(ΣL²·ΣR²), over whole periods.
  const auto sine = test::sine(48000, 1000, 0.5, 48000);
  const auto cosine = test::sine(48000, 1000, 0.5, 48000, std::numbers::pi / 2);
  CHECK(std::abs(measured(test::real_source(48000, {sine, sine}))("phase_correlation") - 1) < 1e-6);
  CHECK(std::abs(measured(test::real_source(48000, {sine, test::scaled(sine, -1)}))("phase_correlation") + 1) < 1e-6);
  CHECK(std::abs(measured(test::real_source(48000, {sine, cosine}))("phase_correlation")) < 1e-6);
}

TEST_CASE("the two ends of 16-bit full scale read 0.00000 and -0.00027 dBFS") {
  // Arithmetic: -32768/32768 and 32767/32768.
  for (const bool negative : {true, false}) {
    auto samples = test::sine(48000, 100, 0.25, 48000);
    samples[20000] = negative ? -1.0 : 1.0;  // a code holds +1.0 at 32767
    const double read_dbfs = measured(test::code_source(48000, 16, {samples}))("sample_peak");
    CHECK(std::abs(read_dbfs - (negative ? 0.0 : -0.000265)) < 1e-5);
  }
}

TEST_SUITE_END();
