// Monitoring calibration → estimated exposure, and the cautions of a sheet. Estimates; pure functions.
#pragma once

#include <sendworthy/check.h>
#include <sendworthy/sheet.h>

#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace sendworthy::safety {

/// ITU-T H.870 weekly allowance: hours at a constant A-weighted level; 80 dB(A)·40 h (adults), 75 dB(A)·40 h
/// (sensitive). Halved for every 3 dB, exactly. `listener` picks the reference.
enum class Listener { adult, sensitive };
[[nodiscard]] double weekly_hours(double level_dba, Listener listener);

/// NIOSH 98-126 daily time in minutes: 480 / 2^((L−85)/3). The printed table has 18 min 59 s at 99 dB(A); the formula
/// gives 18 min 53.9 s, and the formula is what counts.
[[nodiscard]] double niosh_minutes(double level_dba);

/// Sound exposure in Pa²h of `hours` at a constant level: p0 = 20 µPa. Exposures of several periods add.
[[nodiscard]] double exposure_pa2h(double level_dba, double hours);

/// The constant level whose exposure over `hours` is `pa2h`; over 8 h this is LEX,8h (IEC 61252).
[[nodiscard]] double level_of_exposure(double pa2h, double hours);

/// NIOSH dose in per cent and 8-hour time-weighted average (the printed constant 10.0).
[[nodiscard]] double niosh_dose_percent(double level_dba, double minutes);
[[nodiscard]] double niosh_twa(double dose_percent);

/// What makes a calibration unusable, in words ("noise must be …"), or nothing. For the reader of the configuration.
[[nodiscard]] std::optional<std::string> problem_with(const Monitoring& monitoring);

/// A-weighted level, dBFS, of the calibration noise in one channel. Precondition: problem_with() says nothing.
[[nodiscard]] double calibration_a_level_dbfs(const Monitoring& monitoring);

/// A-weighted sound pressure level, dB(A), of that noise from one loudspeaker or at one ear. Precondition as above.
[[nodiscard]] double calibration_spl_dba(const Monitoring& monitoring);

/// Estimated A-weighted level at the ear: from … to, dB(A).
struct Estimate {
  double from_dba = 0, to_dba = 0;
};
/// SPL = calibration SPL + (a_weighted_level − A-weighted level of the calibration noise in one channel).
///
/// `a_weighted_level_dbfs` sums the channels as powers.
/// Loudspeakers: L for channels that share nothing, up to L + 3 dB for content common to both sides. A mono file is
/// taken to play on two, which adds 3 dB to both ends. More than two channels: the same range; full coherence over all
/// of them does not occur in programmes.
/// Headphones: nothing crosses from one ear to the other. The louder ear of a stereo file lies between L − 3 dB (equal
/// channels) and L (all in one channel); a mono file plays L in each ear. No estimate fits more than two channels,
/// whose fold-down to the ears is not known; then the range is that of a stereo file and must not be shown.
/// Precondition: problem_with() says nothing.
[[nodiscard]] Estimate estimate_level(const Monitoring& monitoring, double a_weighted_level_dbfs, int channels);

/// The cautions of one file's sheet, at most four, in order: a warning before playing where one is due, the exposure
/// by ITU-T H.870 and by NIOSH, what an estimate is. None for a file of which nothing could be read.
[[nodiscard]] std::vector<Caution> cautions(const FileSheet& file, const std::optional<Monitoring>& monitoring);

/// What was played, added up.
struct Played {
  double seconds = 0;
  double estimated_s = 0;            ///< of which the level could be estimated
  double low_share = 0, high_share = 0;  ///< of the adults' weekly allowance, 1 = all of it, over those: from … to
};

/// Adds so many seconds. `a_power`: mean square of what was played, A-weighted, channels added as powers, full scale 1; nothing
/// where it is not known. What is over full scale is taken to be held there, as the page's peak guard does. `gain_db`: how it was turned. Nothing is estimated
/// without a usable calibration, and on headphones for more than two channels.
void add_played(Played& played, const std::optional<Monitoring>& monitoring, double seconds, std::optional<double> a_power, double gain_db, int channels);

/// What was played in words: for how long, and which part of the weekly allowances that is by estimate, or why none is told.
struct PlayedWords {
  std::string time;      ///< for how long
  std::string rest;      ///< what is known besides, or why nothing is; may be empty
  std::string exposure;  ///< of which the estimate; empty where there is none
  std::string source;    ///< of the allowance
};
[[nodiscard]] PlayedWords words_of(const Played& played, const std::optional<Monitoring>& monitoring);

/// What to do before something is played: the beginning of the first of the cautions below.
inline constexpr std::string_view kBeforePlaying = "Turn your monitors down before you play something.";
/// The cautions beside a button that plays something: what is at stake, and what an estimate is.
[[nodiscard]] std::vector<Caution> playing_cautions(const std::optional<Monitoring>& monitoring);

}  // namespace sendworthy::safety
