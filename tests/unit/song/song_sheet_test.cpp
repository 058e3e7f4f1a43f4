// What a song's sheet says of sections that the mix does not have, of mono stems, and of how much of many pairs it writes.
#include <doctest/doctest.h>
#include <sendworthy/catalog.h>
#include <sendworthy/render.h>

#include <fstream>
#include <memory>
#include <sstream>
#include <string>

#include "unit/song/arrangement.h"

using namespace sendworthy;

namespace {

std::size_t count(const std::string& text, const std::string& part) {
  std::size_t found = 0;
  for (auto at = text.find(part); at != text.npos; at = text.find(part, at + 1)) ++found;
  return found;
}

/// The arrangement, held against its plan with this in place of that.
Sheet check_with(const std::string& from, const std::string& to) {
  test::Arrangement song;
  const test::Folder folder;
  const auto path = song.write(folder.path);
  std::stringstream text;
  text << std::ifstream(path).rdbuf();
  auto plan = text.str();
  const auto at = plan.find(from);
  REQUIRE(at != plan.npos);
  std::ofstream(path) << plan.replace(at, from.size(), to);
  PlanOptions options;
  options.check.today = "2026-01-31";
  auto sheet = check_plan(path, options);
  REQUIRE_MESSAGE(sheet, to_string(sheet.error()));
  return std::move(*sheet);
}

}  // namespace

TEST_SUITE("song/song_sheet") {
  TEST_CASE("a section ends with the mix, and what is said of it says so") {
    const auto sheet = check_with("start = 18\nend = 24\n", "start = 18\nend = 500\n");
    REQUIRE(sheet.song->sections.size() == 4);
    CHECK(sheet.song->sections[3].start_s == 18);
    CHECK(sheet.song->sections[3].end_s == doctest::Approx(24));
    for (const auto* id : {"biggest-section", "quiet-to-loud"}) {
      CAPTURE(id);
      CHECK_MESSAGE(test::words(sheet, id).ends_with("; the mix ends at 0:24.0, before \"last chorus\" does in the plan"), test::words(sheet, id));
    }
    // Behind the mix's end there is nothing.
    const auto none = check_with("start = 18\nend = 24\n", "start = 400\nend = 500\n");
    CHECK(none.song->sections[3].end_s == doctest::Approx(24));
    CHECK(test::finding(none, "biggest-section").status == Status::not_measured);
    CHECK(test::words(test::Arrangement().check(), "biggest-section").find("the mix ends") == std::string::npos);
  }

  TEST_CASE("a mono stem beside a stereo mix is in line") {
    test::Arrangement song;
    auto& kick = song.clip("kick");
    kick.channels[1] = kick.channels[0];
    song.mix = song.sum();
    kick.channels.pop_back();
    CHECK(test::finding(song.check(), "stems-aligned").status == Status::pass);
  }

  TEST_CASE("of many pairs all have their shares, and the worst 200 their bands and passages") {
    auto song = std::make_shared<SongSheet>();
    for (int i = 0; i < 250; ++i) {
      SongSheet::Pair pair;
      pair.part = "a", pair.masker = "b" + std::to_string(i), pair.masked = 50;
      pair.bands = {{100, 1}, {200, 2}};
      pair.passages = {{0, 1, 100, 200, 60}};
      song->pairs.push_back(pair);
    }
    Sheet sheet;
    sheet.song = song;
    const auto json = render_json(sheet, catalog());
    CHECK(count(json, "\"masker\"") == 250);
    CHECK(count(json, "\"freed_percent\"") == 250);
    CHECK(count(json, "\"centre_hz\"") == 400);
    CHECK(count(json, "\"low_hz\"") == 200);
  }
}
