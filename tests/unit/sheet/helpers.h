// Small verbs for the tests of the renderers.
#pragma once

#include <sendworthy/render.h>

#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "unit/sheet/fixture.h"

namespace sendworthy::fixture {

[[nodiscard]] inline bool holds(std::string_view text, std::string_view part) {
  return text.find(part) != std::string_view::npos;
}

[[nodiscard]] inline std::vector<std::string> lines_of(std::string_view text, std::string_view end = "\n") {
  std::vector<std::string> lines;
  while (!text.empty()) {
    const auto at = text.find(end);
    lines.emplace_back(text.substr(0, at));
    text = at == std::string_view::npos ? std::string_view{} : text.substr(at + end.size());
  }
  return lines;
}

/// Every format of one sheet, by name.
[[nodiscard]] inline std::vector<std::pair<std::string, std::string>> all_formats(const Sheet& sheet) {
  const auto& catalog = small_catalog();
  return {{"text", render_text(sheet, catalog)},
          {"colour", render_text(sheet, catalog, {Colour::on, 80, false})},
          {"quiet", render_text(sheet, catalog, {Colour::off, 80, true})},
          {"json", render_json(sheet, catalog)},
          {"jsonl", render_jsonl(sheet, catalog)},
          {"junit", render_junit(sheet, catalog)},
          {"csv", render_csv(sheet, catalog)},
          {"markers.csv", render_markers_csv(sheet, catalog)},
          {"markers.mid", render_markers_midi(sheet, catalog)},
          {"html", render_html(sheet, catalog)},
          {"note", render_note(sheet, catalog)}};
}

[[nodiscard]] inline std::vector<Sheet> all_sheets() {
  return {one_mix(), clean_mix(), many_stems(), measured_mix(), two_rule_sets(), hostile(), Sheet{}};
}

}  // namespace sendworthy::fixture
