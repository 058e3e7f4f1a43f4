// Cue points and their labels, AIFF markers: as they stand in the file, and as many as can be there.
#include <doctest/doctest.h>

#include <cstdint>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "audio/file.h"
#include "makers.h"

using namespace sendworthy;
using makers::chunk;
using makers::Maker;

namespace {

std::vector<audio::Marker> markers_of(const std::string& bytes, const std::string& name) {
  auto result = audio::open_bytes(makers::kept(bytes), name);
  REQUIRE_MESSAGE(result.has_value(), result.error().text);
  return result->facts.markers;
}

struct Point {
  std::uint32_t id = 0, position = 0, frame = 0;
};

std::string cues(std::uint32_t says, const std::vector<Point>& points, bool big_endian = false) {
  Maker body;
  const auto word = [&](std::uint32_t value) { big_endian ? body.be(value, 4) : body.le(value, 4); };
  word(says);
  for (const auto& point : points) {
    word(point.id), word(point.position);
    body.text("data");
    word(0), word(0), word(point.frame);
  }
  return chunk("cue ", body.bytes, big_endian);
}

std::string labels(const std::vector<std::pair<std::uint32_t, std::string>>& names, bool big_endian = false) {
  std::string body = "adtl";
  for (const auto& [id, name] : names) {
    Maker label;
    big_endian ? label.be(id, 4) : label.le(id, 4);
    body += chunk("labl", label.text(name).fill(1).bytes, big_endian);
  }
  return chunk("LIST", body, big_endian);
}

std::string with(std::string_view before, std::string_view after) {
  return makers::riff(chunk("fmt ", makers::format_body({})) + std::string(before) + chunk("data", makers::tone(480, 2, 2)) + std::string(after));
}

}  // namespace

TEST_SUITE("audio/markers") {
  TEST_CASE("cue points take their labels by id, wherever these stand") {
    const auto points = cues(3, {{7, 0, 0}, {9, 200, 200}, {8, 100, 100}});
    const auto names = labels({{8, "verse"}, {7, "intro"}, {99, "nobody's"}});
    for (const auto& bytes : {with(points + names, ""), with(names + points, ""), with("", points + names), with(names, points)}) {
      const auto found = markers_of(bytes, "mix.wav");
      REQUIRE(found.size() == 3);
      CHECK(found[0].frame == 0);
      CHECK(found[0].name == "intro");
      CHECK(found[1].frame == 200);
      CHECK(found[1].name.empty());
      CHECK(found[2].frame == 100);
      CHECK(found[2].name == "verse");
    }
  }

  TEST_CASE("a place in the play order stands in for a frame that was left at 0") {
    const auto found = markers_of(with(cues(2, {{1, 123, 0}, {2, 5, 240}}), ""), "mix.wav");
    REQUIRE(found.size() == 2);
    CHECK(found[0].frame == 123);
    CHECK(found[1].frame == 240);
  }

  TEST_CASE("big-endian RIFX reads the same") {
    const auto bytes = makers::riff(chunk("fmt ", makers::format_body({}, true), true) + cues(1, {{4, 50, 50}}, true) + labels({{4, "here"}}, true) +
                                        chunk("data", makers::tone(480, 2, 2), true),
                                    "RIFX");
    auto fixed = bytes;  // the size of the whole is big-endian, too
    const auto size = static_cast<std::uint32_t>(bytes.size() - 8);
    fixed.replace(4, 4, Maker().be(size, 4).bytes);
    const auto found = markers_of(fixed, "mix.wav");
    REQUIRE(found.size() == 1);
    CHECK(found[0].frame == 50);
    CHECK(found[0].name == "here");
  }

  TEST_CASE("counts that lie, chunks cut inside a point, too many points, frames outside of the file") {
    const std::vector<Point> two{{1, 10, 10}, {2, 20, 20}};
    CHECK(markers_of(with(cues(4'000'000'000u, two), ""), "mix.wav").size() == 2);
    CHECK(markers_of(with(cues(1, two), ""), "mix.wav").size() == 1);
    CHECK(markers_of(with(cues(0, two), ""), "mix.wav").empty());
    CHECK(markers_of(with(chunk("cue ", "ab"), ""), "mix.wav").empty());
    CHECK(markers_of(with(chunk("cue ", Maker().le(2, 4).fill(40).bytes), ""), "mix.wav").size() == 1);
    CHECK(markers_of(with(cues(100'000, std::vector<Point>(100'000, {1, 2, 3})), ""), "mix.wav").size() == 256);
    const auto beyond = markers_of(with(cues(2, {{1, 0xffffffffu, 0xffffffffu}, {1, 3, 3}}) + labels({{1, "one"}, {1, "another"}}), ""), "mix.wav");
    REQUIRE(beyond.size() == 2);
    CHECK(beyond[0].frame == 0xffffffff);
    CHECK(beyond[0].name == "one");
    CHECK(beyond[1].name == "one");
    // A second cue chunk adds nothing; a chunk that ends with the file is read as far as it goes.
    CHECK(markers_of(with(cues(1, {{1, 5, 5}}) + cues(1, {{1, 6, 6}}), ""), "mix.wav").size() == 1);
    auto cut = with("", cues(2, two));
    cut.resize(cut.size() - 10);
    CHECK(markers_of(cut, "mix.wav").size() == 1);
  }

  TEST_CASE("labels: none without points, and no longer than they may be") {
    CHECK(markers_of(with(labels({{1, "alone"}}), ""), "mix.wav").empty());
    const auto found = markers_of(with(cues(1, {{1, 5, 5}}) + labels({{1, std::string(5000, 'x')}}), ""), "mix.wav");
    REQUIRE(found.size() == 1);
    CHECK(found[0].name.size() == 1024);
  }

  TEST_CASE("AIFF markers, whole and broken") {
    const auto file = [](std::string_view marks) {
      const auto common = Maker().be(2, 2).be(480, 4).be(16, 2).text(std::string_view("\x40\x0e\xbb\x80\0\0\0\0\0\0", 10)).bytes;
      const auto chunks = chunk("COMM", common, true) + std::string(marks) + chunk("SSND", Maker().fill(8).text(makers::tone(480, 2, 2)).bytes, true);
      return Maker().text("FORM").be(chunks.size() + 4, 4).text("AIFF").text(chunks).bytes;
    };
    const auto mark = [](int id, std::uint32_t frame, std::string_view name) {
      Maker m;
      m.be(static_cast<std::uint64_t>(id), 2).be(frame, 4).be(name.size(), 1).text(name);
      if (name.size() % 2 == 0) m.fill(1);
      return m.bytes;
    };
    const auto three = mark(1, 0, "intro") + mark(2, 100, "") + mark(3, 4'000'000'000u, "verse 1");
    const auto found = markers_of(file(chunk("MARK", Maker().be(3, 2).text(three).bytes, true)), "mix.aiff");
    REQUIRE(found.size() == 3);
    CHECK(found[0].name == "intro");
    CHECK(found[1].frame == 100);
    CHECK(found[1].name.empty());
    CHECK(found[2].frame == 4'000'000'000);
    CHECK(found[2].name == "verse 1");
    CHECK(markers_of(file(chunk("MARK", Maker().be(65535, 2).text(three).bytes, true)), "mix.aiff").size() == 3);
    CHECK(markers_of(file(chunk("MARK", Maker().be(3, 2).text(three.substr(0, three.size() - 3)).bytes, true)), "mix.aiff").size() == 2);
    CHECK(markers_of(file(chunk("MARK", "x", true)), "mix.aiff").empty());
  }
}
