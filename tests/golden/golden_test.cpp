// One small sheet in every format, compared byte by byte. SENDWORTHY_RECORD=1 writes the files anew; the difference is
// then the thing to review. A missing file is a failure, never written by itself.
#include <doctest/doctest.h>

#include <cstdlib>
#include <fstream>
#include <sstream>
#include <string>

#include "unit/sheet/helpers.h"
#include "unit/sheet/song_fixture.h"

using namespace sendworthy;
using namespace sendworthy::fixture;

namespace {

void compare(const std::string& name, const std::string& made) {
  const auto path = std::string(SENDWORTHY_SOURCE_DIR) + "/tests/golden/" + name;
  CAPTURE(path);
  const char* record = std::getenv("SENDWORTHY_RECORD");
  if (record != nullptr && std::string(record) == "1") {
    std::ofstream file(path, std::ios::binary);
    file << made;
    REQUIRE(file.good());
    return;
  }
  std::ifstream file(path, std::ios::binary);
  REQUIRE_MESSAGE(file.good(), "golden file is missing");
  std::ostringstream golden;
  golden << file.rdbuf();
  const auto is = lines_of(made);
  const auto was = lines_of(golden.str());
  for (std::size_t i = 0; i < std::min(is.size(), was.size()); ++i) {
    CAPTURE(i);
    REQUIRE(is[i] == was[i]);
  }
  CHECK(made == golden.str());
}

}  // namespace

TEST_SUITE("golden") {
  TEST_CASE("a judged sheet looks as it did in every format") {
    const auto sheet = one_mix();
    const auto& catalog = small_catalog();
    compare("mix.txt", render_text(sheet, catalog));
    compare("mix.json", render_json(sheet, catalog));
    compare("mix.jsonl", render_jsonl(sheet, catalog));
    compare("mix.xml", render_junit(sheet, catalog));
    compare("mix.csv", render_csv(sheet, catalog));
    compare("mix.markers.csv", render_markers_csv(sheet, catalog));
    compare("mix.mid", render_markers_midi(sheet, catalog));
    compare("mix.md", render_note(sheet, catalog));
  }
  TEST_CASE("a song against its plan looks as it did") {
    const auto sheet = sheet_of(small_song());
    compare("song.txt", render_text(sheet, small_catalog()));
    compare("song.json", render_json(sheet, small_catalog()));
    // Without the head, which has the style of all pages.
    const auto page = render_html(sheet, small_catalog());
    compare("song.html", page.substr(page.find("<body>")));
  }
  TEST_CASE("a clean sheet, many files and a measured sheet look as they did") {
    compare("clean.txt", render_text(clean_mix(), small_catalog()));
    compare("stems.txt", render_text(many_stems(), small_catalog()));
    compare("measured.txt", render_text(measured_mix(), small_catalog()));
  }
}
