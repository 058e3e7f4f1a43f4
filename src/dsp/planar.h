// From interleaved samples to one row per channel, and the plain sums over such rows.
#pragma once

#include <cstdint>

namespace sendworthy::dsp {

/// Frames in one sub-block of extremes.
inline constexpr int kSubBlock = 64;

/// Left-justified codes (frames × channels) → rows of float, full scale ±1, `stride` floats apart. Codes of up to 24 bits
/// arrive exactly. Returns the bitwise OR of all codes.
std::uint32_t split_codes(const std::int32_t* interleaved, int frames, int channels, float* rows, std::int64_t stride);

/// 24-bit samples, packed, → left-justified codes, as far as whole vectors go; nothing is read beyond the samples. Returns how
/// many were converted.
std::int64_t codes_of_triples(const std::uint8_t* bytes, std::int64_t count, bool big_endian, std::int32_t* codes);

struct RealStats {
  std::int64_t not_finite = 0;  ///< NaN or infinite
  std::int64_t tiny = 0;        ///< not zero, magnitude below the smallest normal 32-bit float
  std::int64_t nonzero = 0;
};
/// The same for reals. NaN and infinities become 0; magnitudes are limited to 1e12 so that sums of squares stay finite;
/// magnitudes below 1e-37 become 0, since denormal arithmetic is slow.
RealStats split_reals(const double* interleaved, int frames, int channels, float* rows, std::int64_t stride);

/// Largest and smallest sample of each kSubBlock frames, and where wanted the sum of their squares (in 32-bit float); the last
/// one may be shorter. Writes ceil(frames / 64) of each.
void sub_extremes(const float* row, int frames, float* highest, float* lowest, float* squares = nullptr);

/// Largest magnitude of x[n−1] − 2 x[n] + x[n+1] over each kSubBlock frames; reads one sample before and after the row.
void sub_bends(const float* row, int frames, float* largest);

/// Σ (x[n] − x[n−1])² over each kSubBlock frames, with `before` as the sample ahead of the first.
void sub_motion(const float* row, int frames, float before, float* squares);

/// Bit n tells whether sign·row[n] ≥ least; at most kSubBlock frames.
[[nodiscard]] std::uint64_t where_at_least(const float* row, int frames, float sign, float least);

struct RowSums {
  double sum = 0, square = 0;
  double peak = 0;  ///< largest magnitude
};
[[nodiscard]] RowSums row_sums(const float* row, int frames);

/// sum[n] += row[n]; gives Σ row[n]², in 64-bit arithmetic.
double add_row(const float* row, int frames, float* sum);

struct PairSums {
  double left = 0, right = 0, left_square = 0, right_square = 0, product = 0;
  double left_peak = 0, right_peak = 0;  ///< largest magnitudes
};
[[nodiscard]] PairSums pair_sums(const float* left, const float* right, int frames);

/// Σ x[n]·x[n−1], with `before` as the sample ahead of the first.
[[nodiscard]] double lag_one_sum(const float* row, int frames, float before);

/// mid = (left + right)/2, side = (left − right)/2.
void mid_side(const float* left, const float* right, int frames, float* mid, float* side);

struct PlaneSides {
  std::int64_t more_mid = 0, more_side = 0;  ///< frames in which one is larger than the other
};
/// Where each frame stands on a grid of side × side cells (side odd) over mid and side from −1 to 1, beyond which it stands at
/// the rim: row · side + column, rows by mid.
PlaneSides plane_cells(const float* left, const float* right, int frames, int side, std::int32_t* cells);

/// Multiplies a sample's bits into a hash.
inline constexpr std::uint32_t kSampleHash = 2654435761u;
/// Bit b of word w tells whether sample 64·w + b is chosen by its own value, one in sixteen of those of magnitude `least` and
/// more: the same samples are chosen wherever they stand.
void one_in_sixteen(const float* x, int words, float least, std::uint64_t* chosen);

/// out[n] = row[n] − row[n−1], with `before` as the sample ahead of the first.
void first_differences(const float* row, int frames, float before, float* out);

/// Σ left[n]·right[n+lag] over n = 0 … frames − 1, for lag = first_lag … first_lag + count − 1. Adds to `sums`.
void lagged_products(const float* left, const float* right, int frames, int first_lag, int count, double* sums);

/// Bit b of word w tells whether x[64·w + b] is greater than (`rising`), or other than (`moving`), the sample before it;
/// reads x[−1 … 64·words − 1].
void signs_of_differences(const float* x, int words, std::uint64_t* rising, std::uint64_t* moving);

}  // namespace sendworthy::dsp
