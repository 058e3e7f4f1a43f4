#include "safety/noise.h"

#include <cmath>
#include <complex>
#include <numbers>

namespace sendworthy::safety {
namespace {

// Analogue poles behind IEC 61672-1:2013, Table 3.
constexpr double kPole1Hz = 20.598997;
constexpr double kPole2Hz = 107.65265;
constexpr double kPole3Hz = 737.86223;
constexpr double kPole4Hz = 12194.217;
constexpr double kReferenceHz = 1000;

double squared(double x) { return x * x; }

double a_power(double frequency_hz) {
  const double f2 = squared(frequency_hz);
  return squared(squared(f2)) / (squared(f2 + squared(kPole1Hz)) * (f2 + squared(kPole2Hz)) * (f2 + squared(kPole3Hz)) *
                                 squared(f2 + squared(kPole4Hz)));
}

double c_power(double frequency_hz) {
  const double f2 = squared(frequency_hz);
  return squared(f2) / (squared(f2 + squared(kPole1Hz)) * squared(f2 + squared(kPole4Hz)));
}

// ITU-R BS.1770-5, Annex 1, Tables 1 and 2. Kept here and not taken from the loudness meter: this folder computes a
// response, that one filters samples, and neither may include the other.
double k_power(double frequency_hz) {
  const auto z = std::polar(1.0, -2 * std::numbers::pi * frequency_hz / 48000);
  const auto shelf = (1.53512485958697 - 2.69169618940638 * z + 1.19839281085285 * z * z) /
                     (1.0 - 1.69065929318241 * z + 0.73248077421585 * z * z);
  const auto high_pass = (1.0 - 2.0 * z + z * z) / (1.0 - 1.99004745483398 * z + 0.99007225036621 * z * z);
  return std::norm(shelf * high_pass);
}

double to_db(double power) { return 10 * std::log10(power); }

struct Band {
  double low_hz, high_hz;
};

double mean_power(double (*weighting)(double), Band band) {
  if (band.low_hz == band.high_hz) return weighting(band.low_hz);
  constexpr int kSteps = 2000;
  const double octaves_ln = std::log(band.high_hz / band.low_hz);
  double sum = 0;
  for (int i = 0; i < kSteps; ++i) sum += weighting(band.low_hz * std::exp(octaves_ln * (i + 0.5) / kSteps));
  return sum / kSteps;
}

}  // namespace

double a_weighting_db(double frequency_hz) { return to_db(a_power(frequency_hz) / a_power(kReferenceHz)); }
double c_weighting_db(double frequency_hz) { return to_db(c_power(frequency_hz) / c_power(kReferenceHz)); }
double k_weighting_db(double frequency_hz) { return to_db(k_power(frequency_hz)); }

std::optional<CalibrationNoise> noise_named(std::string_view name) {
  if (name == "pink") return CalibrationNoise::pink;
  if (name == "band 500-2000") return CalibrationNoise::band_500_2000;
  if (name == "sine 1000") return CalibrationNoise::sine_1000;
  return std::nullopt;
}

NoiseLevels levels_of(CalibrationNoise noise) {
  Band band{kReferenceHz, kReferenceHz};
  if (noise == CalibrationNoise::pink) band = {20, 20000};
  if (noise == CalibrationNoise::band_500_2000) band = {500, 2000};
  return {to_db(mean_power(a_power, band) / a_power(kReferenceHz)),
          to_db(mean_power(c_power, band) / c_power(kReferenceHz)), to_db(mean_power(k_power, band))};
}

}  // namespace sendworthy::safety
