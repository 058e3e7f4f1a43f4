// JSONL from anywhere: refused with words, or read into a sheet that every format takes and that reads back the same.
#include <sendworthy/render.h>

#include <cstddef>
#include <cstdint>
#include <cstdlib>
#include <string>

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  using namespace sendworthy;
  const Catalog catalog;  // without entries every id is unknown, and numbers stay as exact as they came
  const std::string text(reinterpret_cast<const char*>(data), size);
  const auto sheet = merge_jsonl({{"input", text}}, catalog);
  if (!sheet) {
    if (sheet.error().text.empty()) std::abort();
    return 0;
  }
  (void)render_text(*sheet, catalog, {Colour::on, 60, false});
  (void)render_json(*sheet, catalog);
  (void)render_junit(*sheet, catalog);
  (void)render_csv(*sheet, catalog);
  (void)render_markers_csv(*sheet, catalog);
  (void)render_markers_midi(*sheet, catalog);
  (void)render_note(*sheet, catalog);
  const auto lines = render_jsonl(*sheet, catalog);
  const auto again = merge_jsonl({{"again", lines}}, catalog);
  if (!again) std::abort();
  if (again->verdict != sheet->verdict && sheet->findings.empty()) std::abort();
  return 0;
}
