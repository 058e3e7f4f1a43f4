// Times and doses against the figures of the documents that print them.
#include "safety/exposure.h"

#include <doctest/doctest.h>

#include <cmath>
#include <limits>

#include "safety/noise.h"

using namespace sendworthy;
using namespace sendworthy::safety;

TEST_SUITE_BEGIN("safety/exposure");

TEST_CASE("the weekly allowance is 40 hours at the reference level and halves every 3 dB") {
  // ITU-T H.870 (2022): 80 dB(A) for 40 h (adults), 75 dB(A) for 40 h (sensitive), equal energy.
  CHECK(weekly_hours(80, Listener::adult) == doctest::Approx(40).epsilon(1e-12));
  CHECK(weekly_hours(75, Listener::sensitive) == doctest::Approx(40).epsilon(1e-12));
  CHECK(weekly_hours(83, Listener::adult) == doctest::Approx(20).epsilon(1e-12));
  CHECK(weekly_hours(86, Listener::adult) == doctest::Approx(10).epsilon(1e-12));
  CHECK(weekly_hours(89, Listener::adult) == doctest::Approx(5).epsilon(1e-12));
  CHECK(weekly_hours(95, Listener::adult) * 60 == doctest::Approx(75).epsilon(1e-12));
  CHECK(weekly_hours(98, Listener::adult) * 60 == doctest::Approx(37.5).epsilon(1e-12));
  CHECK(weekly_hours(101, Listener::adult) * 60 == doctest::Approx(18.75).epsilon(1e-12));
  CHECK(weekly_hours(78, Listener::sensitive) == doctest::Approx(20).epsilon(1e-12));
  // Rows that are no whole step, from the same rule.
  CHECK(std::abs(weekly_hours(80, Listener::sensitive) - 12.6) < 0.05);
  CHECK(std::abs(weekly_hours(90, Listener::adult) - 3.97) < 0.005);
  CHECK(std::abs(weekly_hours(92, Listener::sensitive) * 60 - 47) < 0.5);
  CHECK(std::abs(weekly_hours(107, Listener::sensitive) * 60 - 1.5) < 0.05);
}

TEST_CASE("the weekly allowance in pascal-squared hours is the one printed") {
  // ITU-T H.871 (2019), summary: 1.6 Pa²h in 7 days = 80 dB(A) for 40 h.
  CHECK(std::abs(exposure_pa2h(80, 40) - 1.6) < 1e-9);
  CHECK(std::abs(exposure_pa2h(75, 40) - 0.5060) < 0.001);
  CHECK(std::abs(100 * exposure_pa2h(75, 40) / exposure_pa2h(80, 40) - 31.6) < 0.05);
}

TEST_CASE("the NIOSH daily time reads the printed table") {
  // NIOSH 98-126 (1998), Table 1-1.
  struct Row {
    double level_dba, minutes, tolerance_minutes;
  };
  const Row rows[] = {{82, 960, 1e-9},
                      {85, 480, 1e-9},
                      {88, 240, 1e-9},
                      {91, 120, 1e-9},
                      {94, 60, 1e-9},
                      {97, 30, 1e-9},
                      {100, 15, 1e-9},
                      {103, 7.5, 1e-9},
                      {106, 3.75, 1e-9},
                      {80, 1524, 0.5},
                      {83, 762, 0.5},
                      {84, 605, 0.5},
                      {86, 381, 0.5},
                      {87, 302, 0.5},
                      {89, 190, 0.5},
                      {93, 76, 0.5},
                      {96, 37.8, 0.01},
                      {98, 23 + 49 / 60.0, 0.01},
                      {102, 9 + 27 / 60.0, 0.01},
                      {104, 5 + 57 / 60.0, 0.01},
                      {105, 4 + 43 / 60.0, 0.01},
                      {112, 56 / 60.0, 0.01},
                      {115, 28 / 60.0, 0.01},
                      {118, 14 / 60.0, 0.01}};
  for (const auto& row : rows) {
    CAPTURE(row.level_dba);
    CHECK(std::abs(niosh_minutes(row.level_dba) - row.minutes) <= row.tolerance_minutes);
  }
  // Rows to the second, from the formula of the same document.
  CHECK(std::abs(niosh_minutes(95) * 60 - (47 * 60 + 37)) < 1);
  CHECK(std::abs(niosh_minutes(92) * 60 - (95 * 60 + 15)) < 1);
  CHECK(std::abs(niosh_minutes(90) * 60 - (151 * 60 + 11)) < 1);
}

TEST_CASE("at 99 dB(A) the NIOSH formula counts, not the misprinted row of the table") {
  // The table prints 18 min 59 s; the formula beside it gives 18 min 53.9 s.
  CHECK(std::abs(niosh_minutes(99) * 60 - (18 * 60 + 53.9)) < 0.1);
  CHECK(std::abs(niosh_minutes(99) * 60 - (18 * 60 + 59)) > 4);
}

TEST_CASE("dose and time-weighted average follow NIOSH 98-126 with its printed constant") {
  CHECK(niosh_dose_percent(85, 480) == doctest::Approx(100).epsilon(1e-12));
  CHECK(niosh_dose_percent(100, 480) == doctest::Approx(3200).epsilon(1e-12));
  CHECK(std::abs(niosh_twa(niosh_dose_percent(100, 480)) - 100.05) < 0.01);
  CHECK(niosh_twa(100) == doctest::Approx(85).epsilon(1e-12));
}

TEST_CASE("exposures add as energy, as the worked examples of the standards do") {
  // IEC 61252: 3.2 Pa²h in 8 h is exactly 90 dB.
  CHECK(std::abs(level_of_exposure(3.2, 8) - 90) < 1e-6);
  CHECK(std::abs(exposure_pa2h(90, 8) - 3.2) < 1e-9);
  // ISO 9612:2009, Annex D: three tasks, each the energy mean of its samples.
  const auto mean_dba = [](std::initializer_list<double> levels) {
    double pa2h = 0;
    for (const double level : levels) pa2h += exposure_pa2h(level, 1);
    return level_of_exposure(pa2h, static_cast<double>(levels.size()));
  };
  const double tasks_pa2h = exposure_pa2h(70, 1.5) + exposure_pa2h(mean_dba({80.1, 82.2, 79.6}), 5) +
                            exposure_pa2h(mean_dba({86.5, 92.4, 89.3, 93.2, 87.8, 86.2}), 1.5);
  CHECK(std::abs(level_of_exposure(tasks_pa2h, 8) - 84.3) < 0.05);
  // HSE L108: 80 dB for 5 h, 86 dB for 2 h, 95 dB for 45 min are 87 dB(A) over 8 h.
  const double day_pa2h = exposure_pa2h(80, 5) + exposure_pa2h(86, 2) + exposure_pa2h(95, 0.75);
  CHECK(std::abs(level_of_exposure(day_pa2h, 8) - 86.61) < 0.05);
  CHECK(std::round(level_of_exposure(day_pa2h, 8)) == 87);
}

TEST_CASE("the calibration noise itself reads the sound pressure level it was calibrated with") {
  // EBU Tech 3343, clause 8.2: -23 LUFS noise of 500-2000 Hz gives 73 dB(C) from each loudspeaker.
  const Monitoring ebu;
  REQUIRE_FALSE(problem_with(ebu));
  const double noise_dbfs_a = calibration_a_level_dbfs(ebu);
  const auto estimate = estimate_level(ebu, noise_dbfs_a, 2);  // in one channel of a stereo file
  const auto noise = levels_of(CalibrationNoise::band_500_2000);
  CHECK(std::abs(estimate.from_dba - (73 + noise.a_db - noise.c_db)) < 1e-9);
  CHECK(std::abs(estimate.from_dba - 73) < 0.2);  // A and C differ little in that band
  // The same noise in both channels: twice the power, and not a decibel more than both loudspeakers can add up to.
  const auto both = estimate_level(ebu, noise_dbfs_a + 10 * std::log10(2.0), 2);
  CHECK(std::abs(both.from_dba - estimate.from_dba - 3.0103) < 1e-3);
}

TEST_CASE("LUFS and dBFS calibrations of the same noise agree") {
  Monitoring lufs;
  lufs.noise = "pink";
  lufs.level = -20;
  Monitoring dbfs = lufs;
  dbfs.level_unit = "dBFS";
  // Pink noise of 0 dBFS RMS in one channel reads 0.733 LUFS (its K level 1.424 dB, less 0.691).
  dbfs.level = -20 - (1.424 - 0.691);
  CHECK(std::abs(calibration_a_level_dbfs(lufs) - calibration_a_level_dbfs(dbfs)) < 0.001);
}

TEST_CASE("sound pressure levels in A, C and Z are turned into A with the noise they were taken with") {
  Monitoring monitoring;
  monitoring.noise = "pink";
  monitoring.spl_db = 83;
  monitoring.spl_weighting = std::string("A");
  CHECK(calibration_spl_dba(monitoring) == 83);
  monitoring.spl_weighting = std::string("C");
  CHECK(std::abs(calibration_spl_dba(monitoring) - (83 - 1.747)) < 0.001);
  monitoring.spl_weighting = std::string("Z");
  CHECK(std::abs(calibration_spl_dba(monitoring) - (83 - 2.859)) < 0.001);
  monitoring.noise = "sine 1000";
  CHECK(calibration_spl_dba(monitoring) == doctest::Approx(83));
}

TEST_CASE("the range is L to L + 3 on loudspeakers, 3 dB higher for a mono file on two, and per ear on headphones") {
  Monitoring monitoring;
  monitoring.noise = "sine 1000";
  monitoring.level = -20;
  monitoring.level_unit = "dBFS";
  monitoring.spl_db = 80;
  monitoring.spl_weighting = std::string("A");
  const double three_db = 10 * std::log10(2.0);
  auto estimate = estimate_level(monitoring, -20, 2);
  CHECK(estimate.from_dba == doctest::Approx(80));
  CHECK(estimate.to_dba == doctest::Approx(80 + three_db));
  estimate = estimate_level(monitoring, -20, 1);
  CHECK(estimate.from_dba == doctest::Approx(80 + three_db));
  CHECK(estimate.to_dba == doctest::Approx(80 + 2 * three_db));
  monitoring.kind = Monitoring::Kind::headphones;
  estimate = estimate_level(monitoring, -20, 2);
  CHECK(estimate.from_dba == doctest::Approx(80 - three_db));
  CHECK(estimate.to_dba == doctest::Approx(80));
  estimate = estimate_level(monitoring, -20, 1);
  CHECK(estimate.from_dba == doctest::Approx(80));
  CHECK(estimate.to_dba == doctest::Approx(80));
}

TEST_CASE("a calibration that cannot be is named as such") {
  Monitoring monitoring;
  CHECK_FALSE(problem_with(monitoring));
  monitoring.noise = "brown";
  CHECK(problem_with(monitoring)->find("noise") != std::string::npos);
  monitoring = {};
  monitoring.spl_weighting = std::string("B");
  CHECK(problem_with(monitoring)->find("weighting") != std::string::npos);
  monitoring = {};
  monitoring.level_unit = "VU";
  CHECK(problem_with(monitoring)->find("unit") != std::string::npos);
  monitoring = {};
  for (const double bad :
       {std::numeric_limits<double>::quiet_NaN(), std::numeric_limits<double>::infinity(), 29.0, 131.0}) {
    monitoring.spl_db = bad;
    CHECK(problem_with(monitoring));
  }
  monitoring = {};
  for (const double bad : {std::numeric_limits<double>::quiet_NaN(), 1.0, -81.0}) {
    monitoring.level = bad;
    CHECK(problem_with(monitoring));
  }
}

TEST_SUITE_END();
