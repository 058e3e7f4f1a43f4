// Patterns of file names.
#include <doctest/doctest.h>

#include "delivery/name_pattern.h"

using namespace sendworthy;
using sendworthy::delivery::NamePattern;
using sendworthy::delivery::rate_field;

TEST_CASE("rates are written in kilohertz, as the trade writes them in names") {
  CHECK(rate_field(44100) == "44.1");
  CHECK(rate_field(48000) == "48");
  CHECK(rate_field(88200) == "88.2");
  CHECK(rate_field(192000) == "192");
  CHECK(rate_field(11025) == "11.025");
}

TEST_CASE("a name fits its pattern to the letter, spaces as underscores, whatever the Unicode form") {
  const auto pattern = NamePattern::parse("{artist}_{title}_{version}_{rate}k{bits}");
  REQUIRE(pattern);
  NamePattern::Fields fields{{"artist", {"Nobody Known"}}, {"title", {"\xC3\x89t\xC3\xA9"}}, {"version", {"tv mix", "tv-mix"}}, {"rate", {"44.1"}}, {"bits", {"32f"}}};
  CHECK(pattern->expected(fields) == "Nobody_Known_\xC3\x89t\xC3\xA9_tv_mix_44.1k32f");
  CHECK(pattern->matches("Nobody_Known_\xC3\x89t\xC3\xA9_tv_mix_44.1k32f", fields));
  CHECK(pattern->matches("Nobody_Known_E\xCC\x81te\xCC\x81_TV-Mix_44.1k32f", fields));  // decomposed, and the version in capitals
  CHECK_FALSE(pattern->matches("Nobody Known_\xC3\x89t\xC3\xA9_tv_mix_44.1k32f", fields));
  const auto spaced = NamePattern::parse("{title} - {artist}");
  REQUIRE(spaced);
  CHECK(spaced->expected(fields) == "\xC3\x89t\xC3\xA9 - Nobody_Known");
  CHECK(spaced->matches("\xC3\x89t\xC3\xA9 - Nobody_Known", fields));
  CHECK_FALSE(spaced->matches("\xC3\x89t\xC3\xA9_-_Nobody_Known", fields));
  CHECK_FALSE(pattern->matches("nobody_known_\xC3\x89t\xC3\xA9_tv_mix_44.1k32f", fields));
  CHECK_FALSE(pattern->matches("Nobody_Known_\xC3\x89t\xC3\xA9_tv_mix_44.1k24", fields));
  CHECK_FALSE(pattern->matches("Nobody_Known_\xC3\x89t\xC3\xA9_tv_mix_44.1k32f_2", fields));
  CHECK_FALSE(pattern->matches("", fields));
}

TEST_CASE("a field of which nothing is known may be anything, and stays in its braces") {
  const auto pattern = NamePattern::parse("{title}-{role}");
  REQUIRE(pattern);
  CHECK(pattern->matches("Low-drums-left", {{"title", {"Low"}}}));
  CHECK_FALSE(pattern->matches("Low-", {{"title", {"Low"}}}));
  CHECK(pattern->expected({{"title", {"Low"}}}) == "Low-{role}");
  // Many unknown fields do not take for ever.
  std::string many;
  for (int i = 0; i < 30; ++i) many += "{role}";
  const auto greedy = NamePattern::parse(many + "x");
  REQUIRE(greedy);
  CHECK_FALSE(greedy->matches(std::string(900, 'a'), {}));
}

TEST_CASE("a wrong pattern is refused with the nearest field") {
  CHECK(NamePattern::parse("{titel}").error().text.find("did you mean \"title\"?") != std::string::npos);
  CHECK_FALSE(NamePattern::parse("{title"));
  CHECK_FALSE(NamePattern::parse("title}"));
  CHECK_FALSE(NamePattern::parse("a/{title}"));
}
