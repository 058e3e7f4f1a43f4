// Loudness over time in steps of a tenth of a second, from which every stretch of a song can be read.
#pragma once

#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>
#include <vector>

#include "dsp/weighting_bank.h"
#include "song/parts.h"

namespace sendworthy::song {

/// K-weighted mean square of all channels in each tenth of a second (ITU-R BS.1770-5, Annex 1); a rest shorter than that at the end is
/// left out.
using Loudness = std::vector<double>;
inline constexpr double kStepS = 0.1;
/// Of a window of 400 ms, which begins at every step.
inline constexpr std::size_t kWindowSteps = 4;

class LoudnessMeter {
 public:
  LoudnessMeter(double sample_rate, int channels) : rate_(sample_rate), channels_(channels), bank_(sample_rate) {}
  void push(ChannelRows rows, std::int64_t frames);
  [[nodiscard]] Loudness take() { return std::move(steps_); }

 private:
  double rate_;
  int channels_;
  dsp::WeightingBank bank_;
  std::int64_t at_ = 0, begun_ = 0;
  double sum_ = 0;
  Loudness steps_;
};

/// The first frame of a step.
[[nodiscard]] std::int64_t frame_of_step(std::int64_t step, double sample_rate);

/// LUFS of a K-weighted mean square; −144 for silence.
[[nodiscard]] double lufs_of(double mean_square);

/// Steps [from, to).
struct Steps {
  std::size_t from = 0, to = 0;
  [[nodiscard]] std::size_t count() const { return to - from; }
};
/// The whole steps of a stretch of time, seconds, as far as there are any.
[[nodiscard]] Steps steps_between(double start_s, double end_s, std::size_t total);

/// Integrated loudness of a stretch, both gates of BS.1770 on it alone, LUFS; nothing below 0.4 s or where no window passes −70 LUFS.
[[nodiscard]] std::optional<double> integrated(const Loudness& loudness, Steps steps);
/// The highest loudness of 3 s within it, LUFS; nothing below 3 s.
[[nodiscard]] std::optional<double> max_short_term(const Loudness& loudness, Steps steps);

/// Mean square of the window that begins at a step.
[[nodiscard]] double window_power(const Loudness& loudness, std::size_t step);
/// Windows in which a part plays: from one that reaches 20 LU under the part's own integrated loudness until one falls 26 LU under it.
/// One flag for each window of the song; none where the part has no loudness.
[[nodiscard]] std::vector<bool> active_windows(const Loudness& part);

/// Steps no more than 26 LU under the part's own integrated loudness; none where it has none.
[[nodiscard]] std::vector<bool> sounding_steps(const Loudness& part);

/// The softest half second, LUFS, among those that lie a second and more from all that sounds: noise, or the last of a tail. Nothing where
/// there is none, or nothing in it.
[[nodiscard]] std::optional<double> noise_between(const Loudness& part);

/// Power means of two parts over the same windows.
struct Against {
  double difference_lu = 0;
  double seconds = 0;  ///< that the windows cover, by their steps
};
/// How far `part` lies over `other` in those windows [from, to) that are marked; nothing where none is, or the other is silent.
[[nodiscard]] std::optional<Against> against(const Loudness& part, const Loudness& other, const std::vector<bool>& windows, Steps range);
/// The windows that lie in a stretch as a whole, so that none is heard in two of them.
[[nodiscard]] Steps windows_between(double start_s, double end_s, std::size_t windows);

}  // namespace sendworthy::song
