// Power in third-octave bands, frame by frame, of any number of channels together.
#pragma once

#include <cstdint>
#include <vector>

#include "dsp/fourier.h"

namespace sendworthy::dsp {

/// Frames of about 0.17 s under a window that is flat in its middle half (Tukey, 0.5), each beginning three quarters of
/// a frame after the last: the windows add up to one everywhere, so all audio counts alike. Bands of IEC 61260-1, base
/// ten, mid-band frequencies from 25 Hz on as far as they lie below 0.92 of half the sample rate, which may cut the
/// last band short; a Fourier line that straddles two bands counts in both by its share.
class BandSpectrum {
 public:
  BandSpectrum(int sample_rate, int channels);

  /// `rows[c]` + offset holds `frames` samples of channel c.
  void process(const float* rows, std::int64_t stride, int frames);
  /// What is left at the end, filled up with silence.
  void finish();

  [[nodiscard]] const std::vector<double>& centre_hz() const { return centres_; }
  /// Mean square of each band over all frames and channels; full-scale sine 0.5.
  [[nodiscard]] std::vector<double> mean_power() const;
  /// Between both frequencies, the highest at which the mean spectrum, averaged over nine Fourier lines (some 50 Hz),
  /// is no more than drop_db under its largest value there.
  [[nodiscard]] double end_of(double from_hz, double to_hz, double drop_db) const;
  /// Mean power of the Fourier lines between both frequencies; only ratios of such values mean something.
  [[nodiscard]] double line_power(double from_hz, double to_hz) const;
  /// The level that a share 0 … 1 of the frames stays below, dB; frames are sorted by whole decibels from −160.
  [[nodiscard]] std::vector<double> percentile_db(double share) const;

 private:
  void transform();

  const int sample_rate_, channels_, size_, step_;
  Fourier fourier_;
  std::vector<float> real_, imaginary_;
  std::vector<double> centres_;
  struct Edge {
    int line;
    double share;
  };
  /// Whole lines, and those that neighbours share.
  struct Band {
    int first = 0, count = 0;
    std::vector<Edge> edges;
  };
  std::vector<Band> bands_;
  std::vector<float> window_;
  std::vector<std::vector<float>> pending_;        ///< by channel
  std::vector<double> power_, frame_;              ///< by band
  std::vector<float> lines_, line_power_;          ///< of one frame; of all
  std::vector<std::vector<std::int64_t>> counts_;  ///< by band and decibel
  std::int64_t transforms_ = 0, frames_ = 0;
  double scale_ = 0;
};

}  // namespace sendworthy::dsp
