// What of a part is covered by other parts: an estimate from power in bands one ERB wide.
//
// 1. Powers are smoothed over neighbouring frames (¼, ½, ¼), which sees some 80 ms at once, for who covers and who is covered alike.
// 2. A masker's power spreads over bands by the rounded-exponential auditory filter, (1 + p·g)·e^(−p·g) with g the distance from the
//    filter's centre in parts of it, p = 4·centre/ERB above the centre and, below it, falling with the masker's level in its band
//    (Glasberg & Moore 1990, Hearing Research 47; from memory): one, two and three ERB up 8, 19 and 30 dB less at 60 dB, 4, 10 and 16 dB
//    at 90 dB; one and two ERB down 11 and 29 dB less at any level. Several maskers add up as powers.
// 3. The part is covered in a band where its own power there lies `offset_db` or more below what the maskers spread into it. Noise
//    covers a tone from some 4 dB less than itself, a tone covers noise from some 14 dB (from memory); 6 dB is for parts of music,
//    which are mixtures nearer to noise.
// 4. Shared low notes are normal: in bands that begin below 100 Hz nothing spreads, and a masker must be stronger there by 6 dB.
// 5. Counted is where the part plays: from a frame 20 dB under the mean of its louder frames until one 26 dB under it. The louder
//    frames are those less than 10 dB under the mean of all that sound.
// 6. Counted are bands within 30 dB of the part's strongest in that frame, each weighed by power^0.3, as loudness grows (Stevens).
#pragma once

#include <array>
#include <cstddef>
#include <optional>
#include <span>
#include <vector>

#include "song/band_frames.h"

namespace sendworthy::song {

struct TimeSpan {
  double start_s = 0, end_s = 0;
};

struct MaskingOptions {
  double offset_db = 6;
  /// Sound pressure level that a mean square of 1 is taken to have where it is heard, in dB: a mix at −22 dB plays at 78 dB SPL. It decides
  /// how far maskers spread, and little else.
  double full_scale_db_spl = 100;
};

/// Where most is covered. Times to half a second; edges of the bands between which it happens.
struct CoveredPassage {
  double start_s = 0, end_s = 0, low_hz = 0, high_hz = 0;
  double share = 0;  ///< of the part in that time and those bands, 0 … 1
};

/// Shares of the part's time and bands, weighed by its own loudness in them: 0 … 1.
struct Coverage {
  double share = 0;
  std::array<double, BandFrames::kBands> bands{};
  std::vector<double> spans;             ///< of each time span that was asked for; 0 where the part rests
  std::vector<CoveredPassage> passages;  ///< worst first, at most three
};

struct MaskerCoverage {
  Coverage alone;        ///< by this masker, as if there were no other
  double uncovered = 0;  ///< how much less of the part is covered when this one is left out, 0 … 1
};

struct Masking {
  double active_s = 0;  ///< how long the part plays; with 0 the rest means nothing
  std::array<double, BandFrames::kBands> weights{};  ///< how much each band counts; they add up to 1
  std::vector<double> span_active_s;
  Coverage together;                 ///< by all maskers at once
  std::vector<MaskerCoverage> each;  ///< in the order of the maskers
  /// Of `each`: without which most is uncovered; of equal ones, which covers most alone. None where nothing is covered.
  std::optional<std::size_t> named;
};

/// Numbers of parts: what is covered (several count as one, by the sum of their powers), and by whom.
struct MaskingCase {
  std::vector<std::size_t> target, maskers;
};

/// All cases in one walk through the parts, which begin together; those that are shorter rest at their end. One result a case.
/// 12 parts of 4 minutes, each against all behind it: at most half a second.
[[nodiscard]] std::vector<Masking> measure_masking(std::span<const BandFrames* const> parts, std::span<const MaskingCase> cases,
                                                   std::span<const TimeSpan> spans, const MaskingOptions& options = {});

}  // namespace sendworthy::song
