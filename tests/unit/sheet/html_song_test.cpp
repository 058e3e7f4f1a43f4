// The page of a song: what its pictures show is read back from their geometry; texts are inert, sizes bounded.
#include <doctest/doctest.h>

#include <cmath>
#include <limits>
#include <sstream>

#include "unit/sheet/helpers.h"
#include "unit/sheet/song_fixture.h"

using namespace sendworthy;
using namespace sendworthy::fixture;

namespace {

std::string page_of(const SongSheet& song) { return render_html(sheet_of(song), small_catalog()); }

std::string figure_of(const std::string& page, const std::string& kind) {
  const auto at = page.find("<figure id=\"" + kind + "\"");
  return at == page.npos ? "" : page.substr(at, page.find("</figure>", at) - at);
}

std::string attribute(const std::string& tag, const std::string& name) {
  const auto at = tag.find(" " + name + "=\"");
  REQUIRE(at != tag.npos);
  const auto from = at + name.size() + 3;
  return tag.substr(from, tag.find('"', from) - from);
}

std::vector<std::string> tags(const std::string& text, const std::string& begin) {
  std::vector<std::string> found;
  for (auto at = text.find(begin); at != text.npos; at = text.find(begin, at + 1)) found.push_back(text.substr(at, text.find('>', at) - at));
  return found;
}

std::vector<double> numbers(std::string text) {
  for (auto& c : text) {
    if (std::string_view("MLHVhvlmz").find(c) != std::string_view::npos) c = ' ';
  }
  std::istringstream words(text);
  std::vector<double> made;
  for (double value = 0; words >> value;) made.push_back(value);
  return made;
}

/// Value at a place of the picture, by the scale that the svg states.
double value_at(const std::string& figure, const std::string& axis, double place) {
  const auto scale = numbers(attribute(figure, "data-" + axis).substr(0, attribute(figure, "data-" + axis).rfind(' ')));
  return scale[2] + (place - scale[0]) / (scale[1] - scale[0]) * (scale[3] - scale[2]);
}

}  // namespace

TEST_SUITE("sheet/html song") {
  TEST_CASE("the page says what it comes to, what is meant, what speaks against it, then the rest, in that order") {
    const auto page = page_of(small_song());
    std::size_t last = 0;
    for (const char* part : {"FAIL: ", "1 fail, 1 not measured, 1 warn, 1 note, 1 pass", "Low Water, Nobody Known", "Calm, then wide awake.", "The voice stays close.", "song.toml", "Fail (1)", "14.000 to 0:18.000",
                             "Not measured (1)", "Warn (1)", "How big the sections are", "The lead vocal over the bed", "What matters less over what matters more, by band", "Heard very quietly",
                             "The kick against the bass, hit by hit", ">Sections<", ">Stems<", "Beside it, never judged", "Pass (1)", "Notes (1)"}) {
      CAPTURE(part);
      const auto at = page.find(part, last);
      REQUIRE(at != page.npos);
      last = at;
    }
    CHECK(holds(page, "there is no such file"));
    CHECK_FALSE(holds(page, "<script"));
  }

  TEST_CASE("every picture has a heading, a sentence and words for those who cannot see it") {
    const auto page = page_of(small_song());
    for (const char* kind : {"song-sizes", "song-vocal", "song-masking", "song-quiet", "song-kick"}) {
      CAPTURE(kind);
      const auto figure = figure_of(page, kind);
      CHECK(holds(figure, "role=\"img\""));
      CHECK(holds(figure, "<title id=\"" + std::string(kind) + "-t\">"));
      CHECK(holds(figure, "<desc id=\"" + std::string(kind) + "-d\">"));
      const auto from = figure.find("<p>") + 3;
      const auto caption = figure.substr(from, figure.find("</p>") - from);
      CHECK(caption.size() > 20);
      CHECK(caption.ends_with("."));
    }
  }

  TEST_CASE("bars are as high as the sections are loud and as wide as they last") {
    const auto song = small_song();
    const auto figure = figure_of(page_of(song), "song-sizes");
    const auto bars = tags(figure, "<path class=\"bar");
    REQUIRE(bars.size() == 3);
    for (std::size_t i = 0; i < 3; ++i) {
      const auto d = numbers(attribute(bars[i], "d"));  // M left bottom V top H right V bottom
      CHECK(value_at(figure, "y", d.at(2)) == doctest::Approx(*song.sections[i].loudness).epsilon(0.005));
      CHECK(value_at(figure, "x", d.at(0)) == doctest::Approx(song.sections[i].start_s).epsilon(0.02).scale(10));
      CHECK(value_at(figure, "x", d.at(3)) == doctest::Approx(song.sections[i].end_s).epsilon(0.02).scale(10));
    }
    CHECK(holds(bars[0], "least"));
    CHECK(holds(bars[2], "most"));
    CHECK(holds(figure, "4.5 LU over “Verse”"));
    CHECK(holds(figure, ">10.0 LU<"));
  }

  TEST_CASE("a section that beats the one marked as the biggest is named with how much") {
    auto song = small_song();
    song.sections[1].loudness = -12.5;
    CHECK(holds(page_of(song), "“Chorus” is meant to be the biggest, yet “Verse” beats it by 1.5 LU"));
  }

  TEST_CASE("places of findings stand under the pictures they belong to") {
    const auto page = page_of(small_song());
    const auto marks = tags(figure_of(page, "song-vocal"), "<path class=\"mark fail\"");
    REQUIRE(marks.size() == 1);
    CHECK(attribute(marks.front(), "data-n") == "1");
    CHECK(value_at(figure_of(page, "song-vocal"), "x", numbers(attribute(marks.front(), "d")).at(0)) == doctest::Approx(14).epsilon(0.01));
    CHECK(tags(figure_of(page, "song-sizes"), "<path class=\"mark").empty());
  }

  TEST_CASE("places at the same time have rows of their own, each with its number") {
    auto sheet = sheet_of(small_song());
    const auto first = sheet.findings.front();
    for (int i = 0; i < 40; ++i) sheet.findings.push_back(first);
    const auto figure = figure_of(render_html(sheet, small_catalog()), "song-vocal");
    const auto marks = tags(figure, "<path class=\"mark fail\"");
    REQUIRE(marks.size() == 24);
    double last = 0;
    for (std::size_t i = 0; i < marks.size(); ++i) {
      const auto d = numbers(attribute(marks[i], "d"));  // M left top H right v height H left
      CHECK(d.at(1) > last);
      last = d.at(1) + d.at(3);
      CHECK(holds(figure, ">" + attribute(marks[i], "data-n") + "</text>"));
    }
    CHECK(holds(figure, "and 17 more findings"));
    const auto box = numbers(attribute(tags(figure, "<svg class=\"plot").at(0), "viewBox"));
    CHECK(last + 17 <= box.at(3));
  }

  TEST_CASE("what the plan wants of the vocal and of the kick is drawn where it is wanted") {
    auto song = small_song();
    const auto vocal = figure_of(page_of(song), "song-vocal");
    const auto ranges = tags(vocal, "<path class=\"wanted\"");
    REQUIRE(ranges.size() == 3);
    for (std::size_t i = 0; i < 3; ++i) {
      const auto d = numbers(attribute(ranges[i], "d"));  // M left top H right V bottom H left
      CHECK(value_at(vocal, "x", d.at(0)) == doctest::Approx(song.sections[i].start_s).epsilon(0.01).scale(1));
      CHECK(value_at(vocal, "y", d.at(1)) == doctest::Approx(song.sections[i].wanted_vocal_over_bed->high).epsilon(0.02));
      CHECK(value_at(vocal, "y", d.at(3)) == doctest::Approx(song.sections[i].wanted_vocal_over_bed->low).epsilon(0.02));
    }
    const auto kick = figure_of(page_of(song), "song-kick");
    REQUIRE(tags(kick, "<path class=\"wanted\"").size() == 1);
    CHECK(value_at(kick, "y", numbers(attribute(tags(kick, "<path class=\"wanted\"").front(), "d")).at(1)) == doctest::Approx(3).epsilon(0.02));
    CHECK(holds(kick, ">wanted 3.0<"));
    song.sections[2].kick_over_bass = -1.5;
    const auto by_section = figure_of(page_of(song), "song-kick");
    const auto medians = tags(by_section, "<path class=\"level\"");
    REQUIRE(medians.size() == 1);
    CHECK(value_at(by_section, "y", numbers(attribute(medians.front(), "d")).at(1)) == doctest::Approx(-1.5).epsilon(0.02));
    CHECK(tags(by_section, "<path class=\"median\"").size() == 1);
    for (auto& one : song.sections) one.wanted_vocal_over_bed.reset();
    song.low_end->wanted_kick_over_bass.reset();
    CHECK_FALSE(holds(page_of(song), "class=\"wanted\""));
    song.sections.clear();
    CHECK(tags(figure_of(page_of(song), "song-vocal"), "<path class=\"wanted\"").size() == 1);  // of the whole song
  }

  TEST_CASE("the vocal's curve stays within the picture, and what leaves it is said") {
    auto song = small_song();
    for (int i = 500; i < 560; ++i) song.vocal->over_bed[static_cast<std::size_t>(i)] = 11;
    auto figure = figure_of(page_of(song), "song-vocal");
    const auto scale = numbers(attribute(figure, "data-y"));
    CHECK(scale.at(3) >= 11);
    CHECK_FALSE(holds(figure, "out of the picture"));
    song.vocal->over_bed[5] = 70;
    CHECK(holds(figure_of(page_of(song), "song-vocal"), "single words run out of the picture, up to +70.0 LU"));
  }

  TEST_CASE("files have the names of the plan, as on the text sheet") {
    auto song = small_song();
    song.path = "/a/far/song.toml", song.mix = "/a/far/mix.wav", song.stems[0].path = "/a/far/voice.wav";
    auto sheet = sheet_of(song);
    sheet.findings.front().files = {song.stems[0].path, song.mix};
    sheet.findings.front().where.front().file = song.mix;
    const auto page = render_html(sheet, small_catalog());
    CHECK(holds(page, "the mix at 0:14.000"));
    CHECK(holds(page, "voice, the mix<"));
    CHECK_FALSE(holds(page, "/a/far/voice.wav"));
  }

  TEST_CASE("with nothing in order there is no heading for it") {
    auto sheet = sheet_of(small_song());
    CHECK(holds(render_html(sheet, small_catalog()), "What is in order"));
    std::erase_if(sheet.findings, [](const Finding& one) { return one.status == Status::pass || one.status == Status::note; });
    CHECK_FALSE(holds(render_html(sheet, small_catalog()), "What is in order"));
  }

  TEST_CASE("cells are filled to the share that is covered") {
    const auto figure = figure_of(page_of(small_song()), "song-masking");
    const auto filled = [&](const std::string& name) {
      for (const auto& tag : tags(figure, "<path class=\"share")) {
        if (holds(tag, "data-name=\"" + name + "\"")) return numbers(attribute(tag, "d"));
      }
      return std::vector<double>{};
    };
    // M x foot h width v-height h-width: the room of a cell is 22 high.
    CHECK(filled("half and more").at(3) == doctest::Approx(-0.75 * 22).epsilon(0.01));
    CHECK(filled("below half").at(3) == doctest::Approx(-0.10 * 22).epsilon(0.05));
    CHECK(filled("below half").at(8) == doctest::Approx(-0.35 * 22).epsilon(0.02));
    CHECK(holds(figure, "“voice” is covered most: 40 % of its time and bands, by “snare”, most round 1 kHz"));
  }

  TEST_CASE("hits above and below the bass differ in shape and lie at their differences") {
    const auto song = small_song();
    const auto figure = figure_of(page_of(song), "song-kick");
    const auto dots = tags(figure, "<path class=\"dots\""), crosses = tags(figure, "<path class=\"crosses\"");
    REQUIRE(dots.size() == 1);
    REQUIRE(crosses.size() == 1);
    const auto at = numbers(attribute(dots.front(), "d"));  // M x y h0
    CHECK(value_at(figure, "x", at.at(0)) == doctest::Approx(0));
    CHECK(value_at(figure, "y", at.at(1)) == doctest::Approx(4).epsilon(0.02));
    CHECK(holds(figure, "4 hits without bass"));
    for (const auto& [css, value] : {std::pair{"level", 1.0}, {"tenth", -2.0}}) {
      const auto lines = tags(figure, "<path class=\"" + std::string(css) + "\"");
      REQUIRE(lines.size() == 1);
      CHECK(value_at(figure, "y", numbers(attribute(lines.front(), "d")).at(1)) == doctest::Approx(value).epsilon(0.02));
    }
  }

  TEST_CASE("what disappears very quietly is said and shown") {
    const auto figure = figure_of(page_of(small_song()), "song-quiet");
    CHECK(holds(figure, "“kick” disappears"));
    CHECK(holds(figure, ">not heard<"));
    CHECK(holds(figure, "moved +3.5 dB"));
    CHECK(holds(figure, "an estimate"));
  }

  TEST_CASE("hostile names are inert, and numbers that are none leave no trace") {
    auto song = small_song();
    const std::string bad = "\"><script>alert(1)</script><img src=x onerror=y>'&<!--\n\xe2\x80\xae\xff";
    const double nan = std::nan(""), infinite = std::numeric_limits<double>::infinity();
    song.title = song.artist = song.feeling = song.approach = song.path = song.mix = song.vocal->bed = bad;
    for (auto& one : song.sections) one.name = bad;
    for (auto& one : song.stems) one.name = one.path = one.role = bad;
    for (auto& one : song.pairs) one.part = one.masker = bad;
    for (auto& one : song.references) one.path = bad, one.loudness = nan;
    song.references.back().trouble = bad;
    song.sections[0].loudness = nan, song.sections[1].vocal_over_bed = infinite, song.sections[1].end_s = infinite;
    song.vocal->over_bed[3] = std::numeric_limits<float>::infinity();
    song.low_end->hits[0].at_s = nan, song.low_end->hits[1].kick_db = -infinite, song.low_end->kick_over_bass = nan;
    song.pairs[0].bands[0] = {nan, nan}, song.stems[0].reference_level = infinite, song.stems[1].moved = nan;
    const auto page = page_of(song);
    for (const std::string part : {"<script", "<img", "<!--", "onerror=y>'", "\xe2\x80\xae", "\xff", " style=\"", "http:", "\"nan", " nan", "nan ", "inf "}) {
      CAPTURE(part);
      CHECK_FALSE(holds(page, part));
    }
  }

  TEST_CASE("what was not measured is said to be missing, not drawn") {
    SongSheet song;
    song.path = "song.toml", song.mix = "mix.wav";
    const auto page = page_of(song);
    CHECK(holds(page, "the plan has no sections"));
    CHECK(holds(page, "No picture of the vocal over the bed"));
    CHECK(holds(page, "not stated"));
    CHECK_FALSE(holds(page, "<figure"));
  }

  TEST_CASE("a song of the largest plan stays bounded") {
    auto song = small_song();
    song.sections.clear(), song.stems.clear(), song.pairs.clear(), song.low_end->hits.clear(), song.vocal->over_bed.clear();
    for (int i = 0; i < 200; ++i) {
      SongSheet::Section section;
      section.name = std::string(200, 'x'), section.start_s = 3 * i, section.end_s = 3 * i + 3, section.loudness = -20 + i % 7, section.vocal_over_bed = i % 5;
      song.sections.push_back(section);
      SongSheet::Stem stem;
      stem.name = std::string(200, 'x'), stem.role = "lead", stem.reference_level = 60, stem.quiet_level = 30, stem.by_section.assign(200, -20.0);
      song.stems.push_back(stem);
      for (int k = 0; k < 10; ++k) song.pairs.push_back({stem.name, stem.name, 50, 10, std::vector<std::pair<double, double>>(39, {1000, 50}), {}});
    }
    for (int i = 0; i < 60000; ++i) {
      song.vocal->over_bed.push_back(static_cast<float>(i % 9 - 4));
      song.low_end->hits.push_back({0.01 * i, -10, -10.0 + i % 7 - 3});
    }
    const auto page = page_of(song);
    CHECK(page.size() < 600000);
    const auto line = attribute(tags(figure_of(page, "song-vocal"), "<path class=\"line s0\"").at(0), "d");
    CHECK(numbers(line).size() <= 4000);
  }
}
