// Sums of products of many signals with each other, as least squares ask for them.
#pragma once

#include <cstddef>
#include <span>

namespace sendworthy::dsp {

/// Where the sum of rows j ≤ k stands.
[[nodiscard]] constexpr std::size_t product_at(std::size_t j, std::size_t k) { return k * (k + 1) / 2 + j; }

/// sums[product_at(j, k)] += Σ rows[j][n]·rows[k][n] for all j ≤ k, in 64-bit arithmetic: what is left of a signal once others were
/// taken out of it follows from such sums down to 140 dB and more below it. A null pointer is a silent row.
void add_products(std::span<const float* const> rows, int frames, double* sums);

}  // namespace sendworthy::dsp
