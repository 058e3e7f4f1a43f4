// Writes the fixtures in every format into a folder, for readers that are not ours.
#include <sendworthy/render.h>

#include <cstdio>
#include <fstream>
#include <string>
#include <utility>

#include "unit/sheet/fixture.h"

using namespace sendworthy;

namespace {

bool write(const std::string& path, const std::string& content) {
  std::ofstream file(path, std::ios::binary);
  file.write(content.data(), static_cast<std::streamsize>(content.size()));
  return file.good();
}

}  // namespace

int main(int count, char** arguments) {
  if (count != 2) return 2;
  const std::string folder = std::string(arguments[1]) + "/";
  const auto& catalog = fixture::small_catalog();
  bool good = true;
  for (const auto& [name, sheet] :
       {std::pair{"one", fixture::one_mix()}, std::pair{"clean", fixture::clean_mix()},
        std::pair{"stems", fixture::many_stems()}, std::pair{"measured", fixture::measured_mix()},
        std::pair{"two", fixture::two_rule_sets()}, std::pair{"hostile", fixture::hostile()}}) {
    const auto base = folder + name;
    good = write(base + ".txt", render_text(sheet, catalog)) && good;
    good = write(base + ".colour.txt", render_text(sheet, catalog, {Colour::on, 80, false})) && good;
    good = write(base + ".json", render_json(sheet, catalog)) && good;
    good = write(base + ".jsonl", render_jsonl(sheet, catalog)) && good;
    good = write(base + ".xml", render_junit(sheet, catalog)) && good;
    good = write(base + ".strict.xml", render_junit(sheet, catalog, WarnInJUnit::fails)) && good;
    good = write(base + ".csv", render_csv(sheet, catalog)) && good;
    good = write(base + ".markers.csv", render_markers_csv(sheet, catalog)) && good;
    good = write(base + ".mid", render_markers_midi(sheet, catalog)) && good;
    good = write(base + ".md", render_note(sheet, catalog)) && good;
  }
  return good ? 0 : 1;
}
