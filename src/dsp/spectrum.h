// Spectra frame by frame, of any number of channels together, and the power in third-octave bands.
#pragma once

#include <cstdint>
#include <span>
#include <vector>

#include "dsp/fourier.h"

namespace sendworthy::dsp {

/// Frames of about 0.17 s under a Hann window, each beginning half a frame after the last: the windows add up to one
/// everywhere, so all audio counts alike. The first frame begins half a frame before the sound. Only frames that are
/// taken cost a transform.
class Spectra {
 public:
  Spectra(int sample_rate, int channels);

  /// `rows[c]` + offset holds `frames` samples of channel c.
  void push(const float* rows, std::int64_t stride, int frames);
  /// The frame at hand has all its samples.
  [[nodiscard]] bool ready() const;
  /// Transforms the frame at hand and goes on to the next: the power of each Fourier line, all channels added up.
  [[nodiscard]] std::span<const float> take();
  /// The mean of all channels over the frame at hand, as it was pushed.
  void mean(std::vector<float>& out) const;
  /// Goes on to frame `index`, which lies ahead.
  void skip_to(std::int64_t index);
  /// At the end: fills the frame at hand with silence where it holds sound that no frame before it has held whole.
  void pad();

  [[nodiscard]] int size() const { return size_; }
  [[nodiscard]] int step() const { return step_; }
  [[nodiscard]] int sample_rate() const { return sample_rate_; }
  [[nodiscard]] int channels() const { return channels_; }
  [[nodiscard]] std::int64_t index() const { return index_; }  ///< of the frame at hand
  [[nodiscard]] std::int64_t frames() const { return frames_; }  ///< pushed so far
  /// Times a sum of lines: mean square of one channel; full-scale sine 0.5.
  [[nodiscard]] double scale() const { return scale_; }

 private:
  const int sample_rate_, channels_, size_, step_;
  double scale_ = 0;
  Fourier fourier_;
  std::vector<float> window_, real_, imaginary_, lines_;
  std::vector<std::vector<float>> pending_;  ///< by channel, from the frame at hand on
  std::int64_t index_ = 0, frames_ = 0, to_skip_ = 0;
};

/// Bands of IEC 61260-1, base ten, mid-band frequencies from 25 Hz on as far as they lie below 0.92 of half the sample
/// rate, which may cut the last band short; a Fourier line that straddles two bands counts in both by its share.
class BandSpectrum {
 public:
  explicit BandSpectrum(const Spectra& spectra);

  /// One frame that Spectra::take() gave. Every frame of the sound belongs in here.
  void add(std::span<const float> lines);

  [[nodiscard]] const std::vector<double>& centre_hz() const { return centres_; }
  /// Mean square of each band over the `frames` samples of the sound and all channels; full-scale sine 0.5.
  [[nodiscard]] std::vector<double> mean_power(std::int64_t frames) const;
  /// Between both frequencies, the highest at which the mean spectrum, averaged over nine Fourier lines (some 50 Hz),
  /// is no more than drop_db under its largest value there.
  [[nodiscard]] double end_of(double from_hz, double to_hz, double drop_db) const;
  /// Mean power of the Fourier lines between both frequencies; only ratios of such values mean something.
  [[nodiscard]] double line_power(double from_hz, double to_hz) const;
  /// The level that a share 0 … 1 of the frames stays below, dB; frames are sorted by whole decibels from −160.
  [[nodiscard]] std::vector<double> percentile_db(double share) const;

 private:
  const int step_;
  const double line_hz_, scale_;
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
  std::vector<double> power_;                      ///< by band
  std::vector<float> line_power_;                  ///< of all frames
  std::vector<std::vector<std::int64_t>> counts_;  ///< by band and decibel
  std::int64_t transforms_ = 0;
};

}  // namespace sendworthy::dsp
