// Kick and bass below a frequency: what stands out at the hits, what cancels, which reaches lower, and how steady the bass is.
#pragma once

#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>
#include <vector>

#include "song/kick_hits.h"
#include "song/low_mono.h"
#include "song/low_rows.h"

namespace sendworthy::song {

/// Levels are dB of the mean square, all channels added, below below_hz as LowRows says: a full-scale sine in one channel is −3.01.
struct LowEndReading {
  struct Hit {
    double at_s = 0;
    double kick_db = 0, bass_db = 0;  ///< the highest level over 30 ms, every 5 ms from 0 to 80 ms, windows centred there
    bool free = false;                ///< the bass is silent: all the time 30 dB under its loudest 5 %
    double together_db = 0;           ///< level of kick and bass together over that of their powers added, 0 … 80 ms; negative: they cancel
    [[nodiscard]] double over_db() const { return kick_db - bass_db; }
  };
  /// Ascending. Onsets of the full kick (KickHits) of which, below below_hz, no more than 24 dB are missing to the loudest of them.
  std::vector<Hit> hits;

  /// Over the hits at which the bass plays.
  struct KickOverBass {
    double median_db = 0, low_db = 0;  ///< the 50th and the 10th percentile of over_db
    double below_zero = 0;             ///< share of hits, 0 … 1
    std::size_t hits = 0, free = 0;    ///< how many, and how many without bass beside them
  };
  std::optional<KickOverBass> kick_over_bass;

  /// Medians of together_db over the hits at which the bass plays: as it is, with the bass's polarity turned, and with the bass shifted
  /// by what does best within ±5 ms, in steps of a quarter of a millisecond or less; positive: later.
  struct Together {
    double now_db = 0, flipped_db = 0, shifted_db = 0;
    double best_shift_ms = 0;
  };
  std::optional<Together> together;

  /// Centre of the power from 25 Hz to 160 Hz, its mean frequency by energy: of the kick over 200 ms from each hit, or up to the next,
  /// all of it alike but for the last tenth, which is faded out; of the bass over windows of 400 ms (Hann) every 200 ms within 20 dB
  /// of its loudest 5 %.
  std::optional<double> kick_centre_hz, bass_centre_hz;

  struct Loud {
    double at_s = 0;           ///< middle of the window
    double over_median_db = 0;
    double hz = 0;             ///< its strongest frequency between 25 Hz and 160 Hz
  };
  struct Steadiness {
    double spread_db = 0;  ///< the 95th less the 10th percentile of the windows' levels
    std::size_t windows = 0;
    std::vector<Loud> loudest;  ///< up to five, a second apart at least, loudest first
  };
  /// Of the bass, over windows of 400 ms every 100 ms in which it plays for half of the time: power mean over that time. It plays where
  /// its level over 30 ms lies within 20 dB of its loudest 5 %. Nothing where fewer than ten windows do.
  std::optional<Steadiness> bass_steadiness;

  std::optional<MonoLoss> mix_mono, kick_mono, bass_mono;  ///< of what has two channels and is not silent
  std::optional<Punch> mix_punch;
  double measured_s = 0;  ///< how much of the song was measured: its first hour at most
};

/// Mix, sum of the kicks and sum of the basses side by side, block by block, at one rate of 8 … 384 kHz. A part of one channel among
/// wider ones stands in all their channels. Memory: some 60 kB for each second of song, no more after an hour.
class LowEndMeter {
 public:
  /// How many channels each has; 0: there is none.
  struct Channels {
    int mix = 0, kick = 0, bass = 0;
  };
  /// `below_hz`: 40 … 250.
  LowEndMeter(double sample_rate_hz, double below_hz, const Channels& channels);
  /// The next `frames` of all; each span holds as many rows as was said.
  void take(std::span<const float* const> mix, std::span<const float* const> kick, std::span<const float* const> bass, int frames);
  /// At the end, once.
  [[nodiscard]] LowEndReading finish();

 private:
  /// A part whose slow rows are kept.
  struct Part {
    LowRows stream;
    std::vector<std::vector<float>> wide, low;
    void keep();
    [[nodiscard]] std::optional<MonoLoss> mono() const;
  };
  void take_mix();
  void tell_hits(LowEndReading& result, const std::vector<double>& onsets) const;
  void tell_together(LowEndReading& result) const;
  void tell_centres(LowEndReading& result) const;
  void tell_steadiness(LowEndReading& result) const;
  [[nodiscard]] double times(const Part& part) const;
  [[nodiscard]] const std::vector<float>* row(const Part& part, std::size_t channel) const;
  [[nodiscard]] std::ptrdiff_t wide_sample(double at_s) const;

  double sample_rate_hz_;
  std::size_t widest_;
  std::int64_t frames_ = 0;
  LowRows mix_;
  MonoSums mix_mono_;
  PunchMeter punch_;
  KickHits kick_hits_;
  Part kick_, bass_;
};

}  // namespace sendworthy::song
