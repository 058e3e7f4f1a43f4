// The noises rooms are calibrated with, and what a K, A or C weighting makes of them.
#pragma once

#include <optional>
#include <string_view>

namespace sendworthy::safety {

/// Magnitude of a weighting at `frequency_hz`, in dB.
///
/// A and C: the analogue formulas behind IEC 61672-1:2013 Table 3 (formulas and poles from memory; they reproduce the
/// table's entries within 0.05 dB), 0 dB at 1 kHz, f1 = 20.598997, f2 = 107.65265, f3 = 737.86223, f4 = 12194.217 Hz:
///   A ∝ f4²·f⁴ / ((f² + f1²)·√((f² + f2²)(f² + f3²))·(f² + f4²)),   C ∝ f4²·f² / ((f² + f1²)(f² + f4²)).
/// K: the two filters of ITU-R BS.1770-5 Annex 1, Tables 1 and 2, as they stand at 48 kHz; not normalised (0.691 dB at
/// 997 Hz). Valid from 10 Hz to 20 kHz.
[[nodiscard]] double a_weighting_db(double frequency_hz);
[[nodiscard]] double c_weighting_db(double frequency_hz);
[[nodiscard]] double k_weighting_db(double frequency_hz);

enum class CalibrationNoise {
  pink,           ///< equal power per octave, 20 Hz to 20 kHz
  band_500_2000,  ///< equal power per octave, 500 Hz to 2 kHz (the range of the EBU's alignment noise)
  sine_1000,      ///< a 1 kHz tone
};

/// "pink", "band 500-2000" or "sine 1000", as the configuration writes them.
[[nodiscard]] std::optional<CalibrationNoise> noise_named(std::string_view name);

/// Level of a noise after each weighting, in dB over its own mathematical RMS (Z).
///
/// Equal power per octave means a power density ∝ 1/f between the edges f1 and f2, so the mean power through a
/// weighting W is 1/ln(f2/f1) · ∫ |W(f)|² df/f: over the logarithm of frequency, a plain mean. It is taken as a
/// midpoint sum (error below 0.0001 dB). The edges are ideal; the skirts of a real noise file move these numbers by
/// less than the 1 dB a room is aligned to.
///
///   noise           A        C        K
///   pink            −2.859   −1.112   +1.424 dB
///   band 500-2000   −0.165   −0.021   +1.155 dB
///   sine 1000        0.000    0.000   +0.698 dB
struct NoiseLevels {
  double a_db = 0;
  double c_db = 0;
  double k_db = 0;
};
[[nodiscard]] NoiseLevels levels_of(CalibrationNoise noise);

}  // namespace sendworthy::safety
