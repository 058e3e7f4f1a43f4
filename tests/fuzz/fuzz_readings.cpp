// Kept readings from anywhere: refused, or read into what is written the same again and what every format takes.
#include <sendworthy/render.h>

#include <cstddef>
#include <cstdint>
#include <cstdlib>
#include <string_view>
#include <utility>

#include "delivery/readings.h"

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  using namespace sendworthy;
  const std::string_view bytes(reinterpret_cast<const char*>(data), size);
  auto readings = delivery::read(bytes);
  if (!readings) return 0;
  if (delivery::written(*readings) != bytes) std::abort();
  FileSheet file;
  file.path = "a.wav";
  file.facts = std::move(readings->facts);
  file.measurements = std::move(readings->measurements);
  file.timelines = std::move(readings->timelines);
  file.pictures = std::move(readings->pictures);
  Sheet sheet;
  sheet.judged = false;
  sheet.files.push_back(std::move(file));
  (void)render_text(sheet, catalog());
  (void)render_json(sheet, catalog());
  (void)render_csv(sheet, catalog());
  sheet.judged = true;
  (void)render_html(sheet, catalog());
  return 0;
}
