#include "safety/exposure.h"

#include <cmath>

#include "safety/noise.h"

namespace sendworthy::safety {
namespace {

constexpr double kReferencePressurePa = 20e-6;  // ISO 1683: 0 dB SPL
constexpr double kReferencePressure2 = kReferencePressurePa * kReferencePressurePa;
constexpr double kExchangeDb = 3;             // the equal-energy rule, as both documents print it
constexpr double kKWeightingOffset = -0.691;  // ITU-R BS.1770-5, Annex 1, equation 2
const double kTwiceThePowerDb = 10 * std::log10(2.0);

}  // namespace

double weekly_hours(double level_dba, Listener listener) {
  const double reference_dba = listener == Listener::adult ? 80 : 75;
  return 40 * std::exp2((reference_dba - level_dba) / kExchangeDb);
}

double niosh_minutes(double level_dba) { return 480 * std::exp2((85 - level_dba) / kExchangeDb); }

double exposure_pa2h(double level_dba, double hours) {
  return kReferencePressure2 * std::pow(10, level_dba / 10) * hours;
}

double level_of_exposure(double pa2h, double hours) { return 10 * std::log10(pa2h / (kReferencePressure2 * hours)); }

double niosh_dose_percent(double level_dba, double minutes) { return 100 * minutes / niosh_minutes(level_dba); }

double niosh_twa(double dose_percent) { return 10.0 * std::log10(dose_percent / 100) + 85; }

std::optional<std::string> problem_with(const Monitoring& monitoring) {
  if (!noise_named(monitoring.noise)) return "noise must be \"pink\", \"band 500-2000\" or \"sine 1000\"";
  if (monitoring.spl_weighting != "A" && monitoring.spl_weighting != "C" && monitoring.spl_weighting != "Z")
    return "the weighting of the sound pressure level must be \"A\", \"C\" or \"Z\"";
  if (monitoring.level_unit != "LUFS" && monitoring.level_unit != "dBFS")
    return "the unit of the digital level must be \"LUFS\" or \"dBFS\"";
  // Written so that NaN fails.
  if (!(monitoring.spl_db >= 30 && monitoring.spl_db <= 130))
    return "the sound pressure level must lie between 30 and 130 dB";
  if (!(monitoring.level >= -80 && monitoring.level <= 0)) return "the digital level must lie between -80 and 0";
  return std::nullopt;
}

double calibration_a_level_dbfs(const Monitoring& monitoring) {
  const auto noise = levels_of(noise_named(monitoring.noise).value_or(CalibrationNoise::pink));
  double rms_dbfs = monitoring.level;
  if (monitoring.level_unit == "LUFS") rms_dbfs -= noise.k_db + kKWeightingOffset;
  return rms_dbfs + noise.a_db;
}

double calibration_spl_dba(const Monitoring& monitoring) {
  const auto noise = levels_of(noise_named(monitoring.noise).value_or(CalibrationNoise::pink));
  if (monitoring.spl_weighting == "A") return monitoring.spl_db;
  if (monitoring.spl_weighting == "C") return monitoring.spl_db + noise.a_db - noise.c_db;
  return monitoring.spl_db + noise.a_db;
}

Estimate estimate_level(const Monitoring& monitoring, double a_weighted_level_dbfs, int channels) {
  const double level_dba =
      calibration_spl_dba(monitoring) + a_weighted_level_dbfs - calibration_a_level_dbfs(monitoring);
  if (monitoring.kind == Monitoring::Kind::headphones) {
    if (channels <= 1) return {level_dba, level_dba};
    return {level_dba - kTwiceThePowerDb, level_dba};
  }
  const double from_dba = channels <= 1 ? level_dba + kTwiceThePowerDb : level_dba;
  return {from_dba, from_dba + kTwiceThePowerDb};
}

}  // namespace sendworthy::safety
