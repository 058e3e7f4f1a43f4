// Timelines for people and spreadsheets. JSON carries them in full by itself.
#pragma once

#include <sendworthy/sheet.h>

#include <string>

namespace sendworthy::cli {

/// One row per file, series and point: file, series, channel (0: the whole file), time in s, value, unit.
/// A point where nothing could be read has an empty value.
[[nodiscard]] std::string timelines_as_csv(const Sheet& sheet);

/// A table per file, one row per second or, in a long file, per step that keeps it to 120 rows. Each cell is the
/// highest reading inside its row's time, for correlation the lowest.
[[nodiscard]] std::string timelines_as_text(const Sheet& sheet);

}  // namespace sendworthy::cli
