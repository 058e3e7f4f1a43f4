// Second-order sections: the standards' weightings and the Butterworth filters of the low-band meters.
#pragma once

#include <array>
#include <span>
#include <vector>

namespace sendworthy::dsp {

/// H(z) = (b0 + b1 z⁻¹ + b2 z⁻²) / (1 + a1 z⁻¹ + a2 z⁻²).
struct Biquad {
  double b0 = 1, b1 = 0, b2 = 0, a1 = 0, a2 = 0;
};

/// K-weighting, ITU-R BS.1770-5 Annex 1, Tables 1 and 2: exact at 48 kHz. At other rates the two sections are mapped to
/// the s-plane by the bilinear transform and back at the new rate, the shelf so that 1 kHz stays where it is. Within 0.02 dB
/// of the 48 kHz response from 20 Hz to 20 kHz (or 0.45 fs) at 32 … 384 kHz; within 0.05 dB at 22.05 kHz, 0.25 dB at
/// 11.025 kHz and 0.45 dB at 8 kHz, the most near 2 kHz.
[[nodiscard]] std::array<Biquad, 2> k_weighting(double sample_rate_hz);

/// A-weighting, IEC 61672-1: the four low poles by the bilinear transform, the double pole at 12 194 Hz with zeros
/// fitted to the formula; 0 dB at 1 kHz. Within 0.2 dB of the formula from 20 Hz to 20 kHz (or 0.45 fs).
[[nodiscard]] std::array<Biquad, 3> a_weighting(double sample_rate_hz);

/// A-weighting of the standard's analogue formula, dB re 1 kHz. IEC 61672-1, Annex E.
[[nodiscard]] double a_weighting_db(double hz);

/// Butterworth low-pass or high-pass of even order (bilinear transform, frequency pre-warped), as order/2 sections.
[[nodiscard]] std::vector<Biquad> butterworth_low_pass(int order, double cutoff_hz, double sample_rate_hz);
[[nodiscard]] std::vector<Biquad> butterworth_high_pass(int order, double cutoff_hz, double sample_rate_hz);

/// Magnitude of a cascade at a frequency, linear.
[[nodiscard]] double magnitude(std::span<const Biquad> sections, double hz, double sample_rate_hz);

}  // namespace sendworthy::dsp
