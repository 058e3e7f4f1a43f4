// The forms in which a sheet can be had from the page, and their writing.
#pragma once

#include <sendworthy/sheet.h>

#include <span>
#include <string>
#include <string_view>

namespace sendworthy::desk {

/// "html", "json", "jsonl", "txt", "csv" or "xml".
struct SheetForm {
  std::string_view ending, mime;
};
/// Null where there is none of this ending.
[[nodiscard]] const SheetForm* sheet_form(std::string_view ending);

/// Into files "sheet." and the ending, in a folder; beside HTML where its parts are, and of a song how the page shows it. Error: io.
[[nodiscard]] Result<void> write_sheet(Sheet sheet, std::span<const std::string_view> forms, const std::string& folder);

}  // namespace sendworthy::desk
