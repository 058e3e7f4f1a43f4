// Spectra, frame by frame, of files that are held against one another on one clock.
#pragma once

#include <sendworthy/result.h>

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "dsp/fourier.h"
#include "pair/align.h"
#include "pair/reader.h"

namespace sendworthy::pair {

/// A file, and where its sound stands on the clock that all files of a comparison share.
struct Track {
  std::string path;
  /// Of this file, as the new one, to the file whose clock it is. None: it is that file, or begins with it.
  std::optional<Alignment> alignment;
};

/// What all tracks of a comparison are brought to: the lowest of their rates, halved while it lies above 50 kHz, and mono where one
/// of them is mono.
struct Clock {
  double rate = 0;
  int channels = 0;
  int size = 0, hop = 0;  ///< frames of a spectrum, some 0.17 s, and from one to the next
  int bins = 0;           ///< that are looked at: from 0 Hz to 16 kHz, or to 0.45 of the rate
  [[nodiscard]] double hz(int bin) const { return bin * rate / size; }
};
/// Errors: as audio::open_file; channels that cannot be folded to two.
[[nodiscard]] Result<Clock> common_clock(const std::vector<const Track*>& tracks);

/// Middle and side of stereo, or mono: one row of real and one of imaginary parts per channel.
struct Spectrum {
  Rows real, imaginary;
};

class SpectrumReader {
 public:
  [[nodiscard]] static Result<SpectrumReader> open(const Track& track, const Clock& clock);
  /// Frame t, which begins at t·hop of the clock, under a Hann window. False where the track has no sound that is known to belong
  /// there: a piece that was cut out, before its beginning, behind its end.
  bool read(std::int64_t t, Spectrum& spectrum);
  /// Seconds of the track's own file at which frame t begins; only where read() gives true.
  [[nodiscard]] double own_seconds(std::int64_t t) const;
  /// Frames of the file per second of the clock.
  [[nodiscard]] double own_rate() const { return reader_.format().sample_rate * speed_; }
  /// Of the clock, an estimate from the header, at least 1.
  [[nodiscard]] std::int64_t expected_frames() const;
  /// Whether the file ended before frame t.
  [[nodiscard]] bool ended(std::int64_t t);
  [[nodiscard]] const std::optional<Error>& error() const { return reader_.error(); }

 private:
  SpectrumReader(Reader reader, const Track& track, const Clock& clock);
  [[nodiscard]] std::optional<double> lag_of(std::int64_t from) const;

  Reader reader_;
  Clock clock_;
  double speed_ = 1;
  std::vector<Stretch> stretches_;  ///< in frames of the clock
  dsp::Fourier fourier_;
  std::vector<float> window_, real_, imaginary_, mid_, side_;
};

}  // namespace sendworthy::pair
