// Monitoring calibration → estimated exposure, and the cautions of a sheet. Estimates; pure functions.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include <sendworthy/check.h>
#include <sendworthy/sheet.h>

namespace sendworthy::safety {

/// ITU-T H.870 weekly allowance: hours at a constant A-weighted level; 80 dB(A)·40 h (adults), 75 dB(A)·40 h (sensitive).
/// Halved for every 3 dB, exactly. `mode` picks the reference.
enum class Listener { adult, sensitive };
[[nodiscard]] double weekly_hours(double level_dba, Listener listener);

/// NIOSH 98-126 daily time in minutes: 480 / 2^((L−85)/3).
[[nodiscard]] double niosh_minutes(double level_dba);

/// Sound exposure in Pa²h of `hours` at a constant level: p0 = 20 µPa.
[[nodiscard]] double exposure_pa2h(double level_dba, double hours);

/// NIOSH dose in per cent and 8-hour time-weighted average (the printed constant 10.0).
[[nodiscard]] double niosh_dose_percent(double level_dba, double minutes);
[[nodiscard]] double niosh_twa(double dose_percent);

/// Estimated A-weighted level at the ear: from … to, dB(A).
struct Estimate {
  double from_dba = 0, to_dba = 0;
};
/// SPL = calibration SPL + (a_weighted_level − A-weighted level of the calibration noise in one channel); a mono file on
/// two loudspeakers adds 3 dB; centred content adds up to 3 dB more, hence a range.
[[nodiscard]] Estimate estimate_level(const Monitoring& monitoring, double a_weighted_level_dbfs, int channels);

/// The cautions of one file's sheet, in order: exposure, overs or tones before playing, what an estimate is.
[[nodiscard]] std::vector<Caution> cautions(const FileSheet& file, const std::optional<Monitoring>& monitoring);

}  // namespace sendworthy::safety
