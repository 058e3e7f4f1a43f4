// What is wrong with a vocal's recording: harsh esses, popped plosives, noise between phrases, clipping. Numbers and places, no verdict.
#pragma once

#include <cstdint>
#include <optional>
#include <span>
#include <vector>

#include "song/band_frames.h"

namespace sendworthy::song {

/// Levels are those of all channels' power. All from common practice, no source; recordings of clean speech stay under them.
struct VocalLimits {
  /// Least level between 5 and 9.7 kHz over the middle, 312 Hz to 3.1 kHz, of what is sung within a second around: clean voices reach
  /// −8 to 0 dB in their sharpest esses.
  double ess_over_middle_db = 3;
  /// Least level between 26 and 87 Hz against that middle: clean voices stay under −10 dB for 99 % of the time.
  double plosive_over_middle_db = -3;
  /// And over the 90th percentile of the voice's own level there.
  double plosive_over_own_low_db = 12;
};

struct VocalPlace {
  double start_s = 0, end_s = 0;
  double value = 0;  ///< what it is, the list says
};

/// Places in the order of time. Of more than kMostPlaces, those with the highest value.
struct VocalPlaces {
  static constexpr std::size_t kMostPlaces = 200;
  std::int64_t count = 0;  ///< of all
  std::vector<VocalPlace> places;
};

struct VocalCondition {
  double active_s = 0;  ///< how long it sings: with 0 nothing was measured
  VocalPlaces esses;    ///< level over the middle, in dB; two frames and more that are louder between 5 and 9.7 kHz than in the middle
  /// Level over the middle, in dB; less than 0.3 s long, where the middle rises by 6 dB or more about the burst.
  VocalPlaces plosives;
  /// Pauses in which noise stays, of 1 s and more, their level against that of what is sung, in dB. The first 0.3 s and the last 0.2 s of a
  /// pause are left out, for reverb and breath; then the quietest half second counts, where it does not fall or rise by 3 dB within.
  VocalPlaces noise;
  /// Median of these over time; none where there are none.
  std::optional<double> noise_db;
  double noise_s = 0, silent_s = 0;  ///< pauses with noise, and those with half a second of digital silence and more
};

/// `vocal`: the lead vocal's frames; it sings from a frame 20 dB under the mean of its louder frames until one 26 dB under it.
[[nodiscard]] VocalCondition vocal_condition(const BandFrames& vocal, const VocalLimits& limits = {});

/// Runs of three and more identical samples at full scale, to within a step of 16 bits, or at one value beyond it, with a step of more
/// than four such steps into or out of the run. The measurement clipped_runs knows a file's own word length and is sharper by that.
class ClippedRuns {
 public:
  ClippedRuns(double sample_rate_hz, int channels);
  /// A pointer to `frames` finite samples for each channel.
  void take(std::span<const float* const> rows, int frames);
  /// Places of runs, those less than 50 ms apart as one; their value is how many samples are flat. To be called once, at the end.
  [[nodiscard]] VocalPlaces finish();
  [[nodiscard]] std::int64_t runs() const { return runs_; }
  [[nodiscard]] std::int64_t samples() const { return samples_; }

 private:
  struct Channel {
    float before = 0, value = 0;  ///< the sample before the run, and that of the run
    std::int64_t start = -1;      ///< of the run; −1: none
    float last = 0;
  };
  void look(Channel& channel, float sample, std::int64_t frame);
  void close(Channel& channel, float after, std::int64_t frame);

  double rate_;
  std::vector<Channel> channels_;
  std::int64_t at_ = 0, runs_ = 0, samples_ = 0;
  struct Place {
    std::int64_t start = 0, end = 0, samples = 0;
  };
  std::vector<Place> places_;
};

}  // namespace sendworthy::song
