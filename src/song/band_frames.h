// A part's power over time and frequency, as hearing divides it, in a byte per band and frame.
#pragma once

#include <array>
#include <cmath>
#include <cstdint>
#include <memory>
#include <span>
#include <vector>

namespace sendworthy::song {

/// Equivalent rectangular bandwidth of the auditory filter at `hz`, in Hz. Glasberg & Moore (1990), Hearing Research 47.
[[nodiscard]] inline double erb_hz(double hz) { return 24.7 * (4.37 * hz / 1000 + 1); }
/// How many such bandwidths lie below `hz`, with the rounded factor that is usual: 15.6214 at 1 kHz, where the exact integral gives
/// 15.572. The same source.
[[nodiscard]] inline double erb_number(double hz) { return 21.4 * std::log10(1 + 0.00437 * hz); }
[[nodiscard]] inline double hz_of_erb_number(double number) { return (std::pow(10, number / 21.4) - 1) / 0.00437; }

/// Bands between whole ERB numbers 1 … 40, so each one ERB wide: 26 Hz to 16.7 kHz. Frame t stands for 20 ms from t · 20 ms on.
/// Levels are those of the sum of all channels' mean squares: 0 dB is a mean square of 1.
class BandFrames {
 public:
  static constexpr int kBands = 39;
  static constexpr double kFrame_s = 0.02;
  /// Code 0: nothing, below −110 dB. Code c: (c − 1)/2 − 110 dB, up to 17 dB, at which higher ones stay.
  static constexpr double kLowest_db = -110, kStep_db = 0.5;

  [[nodiscard]] static double low_edge_hz(int band) { return hz_of_erb_number(band + 1); }
  [[nodiscard]] static double high_edge_hz(int band) { return hz_of_erb_number(band + 2); }
  /// Half-way between the edges on the ERB scale.
  [[nodiscard]] static double centre_hz(int band) { return hz_of_erb_number(band + 1.5); }

  [[nodiscard]] static std::uint8_t code_of(double power);
  /// Of code 1 … 255.
  [[nodiscard]] static double db_of(std::uint8_t code) { return kLowest_db + kStep_db * (code - 1); }
  /// Power of each code; 0 for code 0.
  [[nodiscard]] static const std::array<float, 256>& powers();

  [[nodiscard]] std::int64_t frames() const { return static_cast<std::int64_t>(codes_.size()) / kBands; }
  /// Codes of the bands of one frame, from the lowest up.
  [[nodiscard]] std::span<const std::uint8_t, kBands> frame(std::int64_t t) const {
    return std::span<const std::uint8_t, kBands>(codes_.data() + t * kBands, kBands);
  }
  void add_frame(const std::array<std::uint8_t, kBands>& codes) { codes_.insert(codes_.end(), codes.begin(), codes.end()); }

 private:
  std::vector<std::uint8_t> codes_;
};

/// Measures BandFrames of sound that comes in blocks, split anywhere.
///
/// From 519 Hz on, frames are seen through a sine window of 40 ms: the squares of neighbours add up to one, so that no power is lost
/// and none counts twice; lines 25 Hz apart. Below, through a Hann window of 80 ms about the same moment, of a copy at some 3 kHz:
/// lines 12.5 Hz apart against bands 28 to 75 Hz wide, but a sound's start is smeared over ±40 ms there.
/// Costs some 0.1 s for four minutes of stereo at 48 kHz, more at higher rates.
class BandAnalyser {
 public:
  /// `sample_rate_hz` ≥ 1000, `channels` ≥ 1.
  BandAnalyser(double sample_rate_hz, int channels);
  ~BandAnalyser();
  BandAnalyser(BandAnalyser&&) noexcept;
  BandAnalyser& operator=(BandAnalyser&&) noexcept;

  /// `rows`: a pointer to `frames` finite samples for each channel, full scale ±1.
  void take(std::span<const float* const> rows, int frames);
  /// Ends the sound and hands over all of its frames, the last of which may be filled up with silence. To be called once.
  [[nodiscard]] BandFrames finish();

 private:
  struct State;
  std::unique_ptr<State> state_;
};

}  // namespace sendworthy::song
