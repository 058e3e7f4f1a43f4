// What a pair of files says, in words that all formats share.
#pragma once

#include <sendworthy/sheet.h>

#include <string>

namespace sendworthy::sheet {

/// "0:12.340 to 0:14.340 changed, else the same; 1.50 dB softer; 777 frames later (0.0162 s)."
[[nodiscard]] std::string summary_of(const Pair& pair);

/// "0:12.340 to 0:14.340 changed", "2.000 s put in at 0:12.340", with the place in the new file.
[[nodiscard]] std::string words_of(const Pair::Edit& edit);

/// "31.5 Hz", "2 kHz"
[[nodiscard]] std::string octave_name(double centre_hz);

/// "new − old", where both are numbers: "+1.1"; else empty.
[[nodiscard]] std::string difference_of(const Change& change, const Catalog& catalog);

/// "fail, was pass"
[[nodiscard]] std::string words_of(const Turn& turn);

}  // namespace sendworthy::sheet
