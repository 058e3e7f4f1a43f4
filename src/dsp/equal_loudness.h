// How loud a steady tone is to an average ear: the equal-loudness contours of ISO 226:2023, and the threshold of hearing.
#pragma once

namespace sendworthy::dsp {

/// At this loudness level Formula (1) of ISO 226:2023 gives the threshold of hearing itself: 1 kHz is heard from 2.4 dB on.
inline constexpr double kThresholdPhon = 2.4;

/// Sound pressure level, dB, at which a tone of `hz` is as loud as one of 1 kHz at `phon` dB: ISO 226:2023, Formula (1). Its
/// parameters stand for 29 frequencies from 20 Hz to 12.5 kHz; between them they run straight over the logarithm of frequency.
/// The standard covers 20 … 90 phon up to 4 kHz and 20 … 80 phon above. Beyond it the formula goes on as it is, down to 0 phon
/// (lower counts as 0), meeting the threshold at kThresholdPhon; and in frequency from 10 Hz to 20 kHz (others count as
/// these), with the threshold of hearing_threshold_spl and the other two parameters of the nearest frequency of the table.
[[nodiscard]] double equal_loudness_spl(double hz, double phon);

/// The other way round: loudness level, phon, of a tone of `hz` at `spl` dB. Below the threshold it is less than
/// kThresholdPhon, down to minus infinity, and means nothing but that.
[[nodiscard]] double loudness_level_phon(double hz, double spl);

/// The level, dB SPL, from which an average young ear hears a tone: T_f of ISO 226:2023. Below 20 Hz it rises on by 9.4 dB a
/// third of an octave, as from 25 Hz to 20 Hz. Above 12.5 kHz it rises to 18.4 dB at 14 kHz and 40.2 dB at 16 kHz
/// (ISO 389-7, from memory), and on as steeply.
[[nodiscard]] double hearing_threshold_spl(double hz);

}  // namespace sendworthy::dsp
