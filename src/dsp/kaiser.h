// The Kaiser window and the sinc under it, as the project's filters are designed (Kaiser, "Nonrecursive digital filter design
// using the I0-sinh window function", 1974).
#pragma once

namespace sendworthy::dsp {

/// The modified Bessel function of the first kind, order 0; arguments of 0 … 20.
[[nodiscard]] double bessel_i0(double x);

/// A tap `at` samples from the filter's middle, which reaches `half` samples to each side: a sinc that passes up to `cut` times half
/// the rate, under a Kaiser window of `beta`; 0 beyond its reach.
[[nodiscard]] double kaiser_sinc(double at, double half, double cut, double beta);

}  // namespace sendworthy::dsp
