// How loud a sound is, and what it would add to an ear's exposure: made while it is decoded.
#pragma once

#include <cstdint>
#include <optional>
#include <vector>

#include "audio/file.h"
#include "dsp/weighting_bank.h"
#include "song/loudness.h"

namespace sendworthy::desk {

/// Mean square of a file's A-weighted channels, added as powers, second by second; the last may be a part of one.
using Powers = std::vector<float>;

/// The mean over [from_s, to_s), as far as the sound goes; nothing where nothing of it lies there.
[[nodiscard]] std::optional<double> mean_power(const Powers& powers, double from_s, double to_s);

/// The same readings as those of the sheet: integrated_loudness (ITU-R BS.1770-5) and the power behind a_weighted_level. Not thread-safe.
class Weighing {
 public:
  explicit Weighing(const audio::StreamFormat& format);
  /// The next frames: a row per channel, `stride` floats apart.
  void add(const float* rows, std::int64_t stride, int frames);
  void finish();

  /// LUFS; nothing for what is shorter than 0.4 s or silent, or below 8 kHz, where the weighting does not fit.
  [[nodiscard]] std::optional<double> integrated_lufs() const;
  /// Empty below 8 kHz.
  [[nodiscard]] const Powers& a_powers() const { return a_powers_; }

 private:
  void close_step();

  const int rate_, channels_;
  std::vector<dsp::WeightingBank> banks_;
  std::vector<double> weights_;
  std::int64_t at_ = 0, begun_ = 0, second_begun_ = 0;
  double k_ = 0, a_ = 0;
  song::Loudness steps_;
  Powers a_powers_;
};

}  // namespace sendworthy::desk
