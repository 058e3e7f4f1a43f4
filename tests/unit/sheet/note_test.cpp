#include <doctest/doctest.h>

#include "unit/sheet/helpers.h"

using namespace sendworthy;
using namespace sendworthy::fixture;

TEST_SUITE("sheet/note") {
  TEST_CASE("measured facts are filled in, tags too, and the rest is left blank") {
    const auto note = render_note(one_mix(), small_catalog());
    for (const auto* part : {"- Artist: The Example Tides\n", "- Title: Paper Lantern\n",
                             "WAV, 48 kHz, 24-bit, stereo, 3:35.2 (10329600 frames)",
                             "- Loudness: -14.2 LUFS, range 6.1 LU\n", "true peak +0.4 dBTP, sample peak 0.0 dBFS",
                             "0.002 s before the music, 2.100 s after it", "xxh128:00112233445566778899aabbccddeeff",
                             "- Tempo and metre: ______", "- From, and how to reach me: ______"})
      CHECK_MESSAGE(holds(note, part), part);
    auto untagged = one_mix();
    untagged.files.front().facts.tags.clear();
    CHECK(holds(render_note(untagged, small_catalog()), "- Artist: ______"));
  }

  TEST_CASE("what was found and what was left on purpose are told apart") {
    const auto note = render_note(one_mix(), small_catalog());
    const auto found =
        note.find("Not as it should be:\n\n- True peak: +0.4 dBTP, at most -1.0 dBTP; at 0:41.203 and 40 more");
    const auto purpose = note.find("## Left as it is on purpose\n\n- Fade-out: 9.13 s");
    REQUIRE(found != std::string::npos);
    REQUIRE(purpose != std::string::npos);
    CHECK(found < purpose);
    CHECK(holds(note, "the fade is part of the arrangement (EX, until 2027-01-31)"));
    CHECK(holds(render_note(clean_mix(), small_catalog()), "Nothing that speaks against it."));
  }

  TEST_CASE("it stays a page and speaks no command line") {
    for (const auto& sheet : {one_mix(), many_stems(), measured_mix(), hostile()}) {
      const auto note = render_note(sheet, small_catalog());
      CHECK(lines_of(note).size() <= 90);
      for (const auto* word : {"--", "rule set", "exit", "JSON", "ruleset"}) CHECK_FALSE(holds(note, word));
    }
  }

  TEST_CASE("names cannot become markup") {
    auto sheet = one_mix();
    sheet.files.front().path = "[a](http://x) *b* _c_ <i>d</i> `e` f_g.wav\n# head";
    CHECK(holds(render_note(sheet, small_catalog()),
                "- File: \\[a\\](http://x) \\*b\\* \\_c\\_ \\<i\\>d\\</i\\> \\`e\\` f_g.wav\\\\n\\# head\n"));
  }
}
