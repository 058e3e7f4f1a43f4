// The published test signals as functions of time: nothing recorded, nothing random, any sample rate.
#pragma once

#include <cstdint>
#include <limits>
#include <memory>
#include <string>
#include <vector>

#include "audio/memory_source.h"

namespace sendworthy::signals {

/// One signal, made frame by frame. `fill` is pure, so that a signal may be played again and by several threads.
struct Signal {
  std::string name;
  audio::StreamFormat format;  ///< kind real, 64 bits
  std::int64_t frames = 0;
  audio::RealSource::Fill fill;

  [[nodiscard]] double duration_s() const { return static_cast<double>(frames) / format.sample_rate; }
};

/// The signal as a stream, and as a file as far as a measuring pass wants one.
[[nodiscard]] std::unique_ptr<audio::RealSource> play(const Signal& signal);
[[nodiscard]] audio::OpenedFile as_file(const Signal& signal);

inline constexpr double kSilenceDbfs = -std::numeric_limits<double>::infinity();

/// A stretch of a tone: the peak level of each channel (one value: of every channel).
struct Stretch {
  double seconds = 0;
  std::vector<double> peak_dbfs;
};

/// A sine of a whole frequency, in phase in all channels, whose level changes from stretch to stretch without a break
/// in phase. Stretches end at the nearest frame of their summed durations.
[[nodiscard]] Signal tone(std::string name, int sample_rate, int channels, int frequency_hz,
                          const std::vector<Stretch>& stretches);

/// EBU Tech 3341 (2023), Table 1, cases 1 to 6, 9, 11, 12, 14: 1 kHz, one signal each.
/// Cases 7 and 8 are recordings and cannot be made.
[[nodiscard]] Signal tech_3341(int number, int sample_rate);

/// Cases 10 and 13 for file-based meters: 20 signals each.
[[nodiscard]] std::vector<Signal> tech_3341_segments(int number, int sample_rate);

/// Cases 11 and 14 go through 20 levels; the end of segment i (0 … 19) in seconds.
[[nodiscard]] double tech_3341_segment_end_s(int number, int i);

/// Cases 15 to 19: a sine at a fraction of the rate, in both channels, 10 ms fades; half a second.
/// Cases 20 to 23: a sine at rate/6 of 0.50 around one period of rate/4 of 1.00, made at four times the rate,
/// low-passed and taken down with an offset of 0 to 3. The low-pass, which the document leaves open, is a sinc with a
/// Kaiser window (β = 8, 513 taps at four times the rate, −6 dB at 0.47 of the rate): flat to 0.45, below −80 dB from
/// 0.49. Through it the highest point of the waveform lies at −0.09 dBFS.
[[nodiscard]] Signal tech_3341_true_peak(int number, int sample_rate);

/// EBU Tech 3342 (2023), Table 1, cases 1 to 4. Cases 5 and 6 are recordings.
[[nodiscard]] Signal tech_3342(int number, int sample_rate);

/// EBU Tech 3341 (2023), clause 2.9: 1 kHz in both channels, −18 dBFS peak; 5 s.
[[nodiscard]] Signal tech_3341_alignment_tone(int sample_rate);

/// ITU-R BS.1770-5, Annex 1: 997 Hz at 0 dBFS in one channel of a layout, or in every channel (channel = −1); 5 s.
[[nodiscard]] Signal calibration_tone(int sample_rate, int channels, int channel);

/// A signal whose loudness tells whether the absolute gate is there, which no case of Tech 3341 does: 1 kHz stereo, 20
/// s at −23, 20 s at −37, 60 s at −75 dBFS. −23.03 LUFS; −25.85 without the gate at −70 (formula of BS.1770-5).
[[nodiscard]] Signal absolute_gate_tone(int sample_rate);

}  // namespace sendworthy::signals
