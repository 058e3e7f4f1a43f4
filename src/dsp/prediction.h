// Whether a wave goes on as it went: a quick look at its kinks, and linear prediction.
#pragma once

#include <cstdint>

namespace sendworthy::dsp {

/// Largest magnitude of x[n−2] − 4 x[n−1] + 6 x[n] − 4 x[n+1] + x[n+2] over each kSubBlock frames; reads two samples
/// before and after the row. Smooth sound all but vanishes in it, a break does not.
void sub_kinks(const float* row, int frames, float* largest);

inline constexpr int kPredictionOrder = 16;
inline constexpr int kLongestPredicted = 1088;  ///< samples one filter is made from, at most

/// Prediction error filter of Burg's recursion: taps[0] = 1 and kPredictionOrder more, so that Σ taps[i]·x[n−i] is by
/// how much x[n] misses what the samples before it let expect. More than kPredictionOrder samples, kLongestPredicted at
/// most.
void burg(const float* x, int count, float* taps);

/// misses[n − kPredictionOrder] = |Σ taps[i]·x[n−i]| for n = kPredictionOrder … count − 1.
void prediction_misses(const float* x, int count, const float* taps, float* misses);

}  // namespace sendworthy::dsp
