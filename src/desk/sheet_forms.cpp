#include "desk/sheet_forms.h"

#include <sendworthy/catalog.h>
#include <sendworthy/render.h>

#include <algorithm>
#include <array>
#include <optional>
#include <utility>

#include "base/files.h"
#include "desk/page_words.h"
#include "desk/sheet_parts.h"

namespace sendworthy::desk {

const SheetForm* sheet_form(std::string_view ending) {
  static constexpr std::array<SheetForm, 6> kForms{{{"html", "text/html; charset=utf-8"},
                                                    {"json", "application/json"},
                                                    {"jsonl", "application/x-ndjson"},
                                                    {"txt", "text/plain; charset=utf-8"},
                                                    {"csv", "text/csv; charset=utf-8"},
                                                    {"xml", "application/xml"}}};
  const auto found = std::find_if(kForms.begin(), kForms.end(), [&](const SheetForm& form) { return form.ending == ending; });
  return found == kForms.end() ? nullptr : &*found;
}

Result<void> write_sheet(Sheet sheet, std::span<const std::string_view> forms, const std::string& folder) {
  const auto& names = catalog();
  const auto write = [&](std::string_view form) {
    const auto text = form == "json"    ? render_json(sheet, names)
                      : form == "jsonl" ? render_jsonl(sheet, names)
                      : form == "csv"   ? render_csv(sheet, names)
                      : form == "xml"   ? render_junit(sheet, names)
                                        : render_text(sheet, names);
    return base::write_private(folder + "/sheet." + std::string(form), text);
  };
  Result<void> written;
  if (std::ranges::find(forms, "html") != forms.end()) {
    const auto page = render_html(sheet, names);
    written = base::write_private(folder + "/sheet.html", page);
    if (written) written = base::write_private(folder + "/sheet.parts", places_of_parts(page));
    // What is saved may be read where there is no page.
    auto shown = sheet.song ? std::optional(sheet) : std::nullopt;
    if (written && shown && put_on_the_page(*shown)) {
      const auto on_page = render_html(*shown, names);
      written = base::write_private(folder + "/shown.html", on_page);
      if (written) written = base::write_private(folder + "/shown.parts", places_of_parts(on_page));
    }
  }
  // Pictures belong to the page; the other forms are what the command writes in them.
  for (auto& file : sheet.files) {
    file.timelines.clear();
    file.pictures.reset();
  }
  for (const auto form : forms) {
    if (written && form != "html") written = write(form);
  }
  return written;
}

}  // namespace sendworthy::desk
