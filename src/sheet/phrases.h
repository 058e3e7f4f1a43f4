// The words of a sheet. One place turns the fields of findings and measurements into phrases, so that no two renderers
// can disagree. Every phrase is one clean line of UTF-8 without control characters; a renderer still escapes it for its
// own format.
#pragma once

#include <sendworthy/catalog.h>
#include <sendworthy/sheet.h>

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace sendworthy::sheet {

/// A figure of one measurement as digits: fixed decimals, never "-0.0"; the shortest exact form beyond 1e15 or where
/// `decimals` is negative; empty for NaN and infinities. The same digits stand in every format.
[[nodiscard]] std::string digits(double value, int decimals);

/// The same with the sign and the unit as people write them: "+0.4 dBTP", "6.1 LU", "3" (a count).
[[nodiscard]] std::string figure(double value, Unit unit, int decimals);

/// Decimals of a measurement; -1 (as exact as the number is) where the catalog does not know the id.
[[nodiscard]] int decimals_of(const Catalog& catalog, std::string_view id);

/// Decimals with which the value of a finding is shown: the catalog's, or more where a failing value and its limit
/// would print alike.
[[nodiscard]] int decimals_of(const Finding& finding, const Catalog& catalog);

/// Decimals of a number that someone wrote, such as a limit: rounding may not change it.
[[nodiscard]] int decimals_as_written(double value, int decimals);

/// How far to move a level, to a tenth of a decibel and never less than what is needed.
[[nodiscard]] double change_to_show(double change_db);

/// "True peak", "Low-band correlation (below_hz=150)", "Bits in use against Bit depth"; the rule's id where a finding stands on no measurement.
[[nodiscard]] std::string title_of(const Finding& finding, const Catalog& catalog);
[[nodiscard]] std::string title_of(const Measurement& measurement, const Catalog& catalog);

/// "+0.4 dBTP", "not measured", "yes".
[[nodiscard]] std::string value_of(const Finding& finding, const Catalog& catalog);
[[nodiscard]] std::string value_of(const Measurement& measurement, const Catalog& catalog);

/// "True peak: +0.4 dBTP, at most -1.0 dBTP", with the tolerance or the reason where there is one.
/// A reason that begins so tells the value itself: it was measured, and cannot be judged. The headline then says no "not measured".
inline constexpr std::string_view kMeasuredBut = "measured ";
[[nodiscard]] std::string headline(const Finding& finding, const Catalog& catalog);

/// Why nothing could be measured, or empty.
[[nodiscard]] std::string reason_of(const Outcome& outcome);

/// "0:41.203 right, frame 1977744", "1:02.100 to 1:02.400, frames 2980800 to 2995200: note". `channels`: of the file.
[[nodiscard]] std::string place(const Where& where, int channels);

/// "left", "right" in a stereo file, else "channel 3"; empty for 0.
[[nodiscard]] std::string channel_name(int channel, int channels);

/// "and 37 more", or empty when `shown` of `total` are all.
[[nodiscard]] std::string and_more(std::size_t shown, std::int64_t total);

/// "down by 1.4 dB; true peak is then -1.0 dBTP", or empty where no amount is known or the remedy states it already.
[[nodiscard]] std::string move_by(const Finding& finding);

/// "WAV, 48 kHz, 24-bit, stereo, 3:35.2"
[[nodiscard]] std::string facts_line(const Facts& facts);
[[nodiscard]] std::string rate_text(int sample_rate);      ///< "44.1 kHz"
[[nodiscard]] std::string depth_text(const Facts& facts);  ///< "24-bit", "32-bit float", "Vorbis"

/// "agreed by mail (AB, until 2027-01-31)"
[[nodiscard]] std::string waiver_text(const AppliedWaiver& waiver);

/// How many findings there are of each status; an optional "not measured" is counted apart, for it changes nothing.
struct Counts {
  int fail = 0, not_measured = 0, warn = 0, note = 0, pass = 0, waived = 0, optional_not_measured = 0;
};
[[nodiscard]] Counts count(const std::vector<Finding>& findings);

/// "2 fail, 1 not measured, 1 warn, 24 pass": what there is none of is left out.
[[nodiscard]] std::string counts_text(const Counts& counts);

/// How many of a set's or a song's own findings its verdict may hang on: fail, warn, and not measured unless optional.
[[nodiscard]] std::int64_t speaking_against(const std::vector<Finding>& findings);

/// "9 findings about the whole set", of those that speak against it; empty where none does.
[[nodiscard]] std::string about_the_set(const std::vector<Finding>& findings);

/// "PASS", "WARN", "FAIL", and what that means: "worth sending", …
[[nodiscard]] std::string_view verdict_word(Verdict verdict);
[[nodiscard]] std::string_view verdict_meaning(Verdict verdict);

/// The path for people: "(no name)" where it is empty.
[[nodiscard]] std::string path_of(const FileSheet& file);

/// "1 file", "12 files"
[[nodiscard]] std::string plural(std::int64_t count, std::string_view one, std::string_view many);

}  // namespace sendworthy::sheet
