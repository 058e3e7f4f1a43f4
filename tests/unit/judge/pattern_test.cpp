#include "judge/pattern.h"

#include <doctest/doctest.h>

#include <regex>
#include <string>
#include <vector>

using sendworthy::judge::Pattern;

namespace {

bool matches(const std::string& expression, const std::string& text) {
  const auto pattern = Pattern::compile(expression);
  REQUIRE_MESSAGE(pattern.has_value(), expression << ": " << (pattern ? "" : pattern.error().text));
  return pattern->matches(text);
}

std::string error_of(const std::string& expression) {
  const auto pattern = Pattern::compile(expression);
  return pattern ? "" : pattern.error().text;
}

}  // namespace

TEST_SUITE("judge/pattern") {
  TEST_CASE("a match anywhere counts, and anchors tie it to the ends") {
    CHECK(matches("PCM 24-bit", "PCM 24-bit"));
    CHECK(matches("24", "PCM 24-bit"));
    CHECK(!matches("^24", "PCM 24-bit"));
    CHECK(!matches("float", "PCM 24-bit"));
    CHECK(error_of("") == "an empty pattern matches everything");
    CHECK(matches("^PCM", "PCM 24-bit"));
    CHECK(!matches("^PCM", "no PCM"));
    CHECK(matches("bit$", "PCM 24-bit"));
    CHECK(!matches("PC$", "PCM"));
    CHECK(matches("^PCM$", "PCM"));
    CHECK(!matches("^PCM$", "PCM "));
    CHECK(matches("cost 5\\$", "cost 5$"));
    CHECK(matches("5\\$", "cost 5$"));
    CHECK(!matches("5\\$", "cost 50"));
  }

  // ISO 3901: two letters, three letters or digits, seven digits.
  TEST_CASE("an ISRC is recognised") {
    CHECK(matches("^[A-Z]{2}[A-Z0-9]{3}[0-9]{7}$", "AA6Q72000047"));
    CHECK(!matches("^[A-Z]{2}[A-Z0-9]{3}[0-9]{7}$", "A16Q72000047"));
    CHECK(!matches("^[A-Z]{2}[A-Z0-9]{3}[0-9]{7}$", "AA6Q7200004"));
  }

  TEST_CASE("characters are code points") {
    CHECK(matches("Fj.r.ur", "Fjörður"));
    CHECK(matches("[à-ÿ]+", "öé"));
    CHECK(!matches("^.$", "ab"));
    CHECK(matches("^.$", "ö"));
  }

  TEST_CASE("case can be ignored") {
    CHECK(matches("(?i)wav", "WaV"));
    CHECK(matches("(?i)[a-c]+", "AbC"));
    CHECK(!matches("(?i)[0-9]+", "\x10"));
    CHECK(matches("(?i)^wav", "WAV file"));
    CHECK(!matches("wav", "WAV"));
  }

  TEST_CASE("what is wrong is said") {
    CHECK(error_of("(a") == "a ( without its )");
    CHECK(error_of("a)") == "a ) without its (");
    CHECK(error_of("[a") == "a [ without its ]");
    CHECK(error_of("*a") == "nothing to repeat before *");
    CHECK(error_of("a{3,1}") == "{ } with the larger number first");
    CHECK(error_of("a{x}") == "{ } needs numbers, as in {2,4}");
    CHECK(error_of("a{2") == "a { without its }");
    CHECK(error_of("a**") == "two repeats in a row");
    CHECK(error_of("[z-a]") == "a range in [ ] that runs backwards");
    CHECK(error_of("(?=a)") == "only (?: and a leading (?i) are known after (?");
    CHECK(error_of("(a)\\1") == "\\1 is not known");
    CHECK(error_of("a\\") == "a \\ at the end");
    CHECK(error_of("a{1001}") == "more than 1000 repeats");
    CHECK(error_of("((((a{99}){99}){99}){99})") == "too many repeats inside repeats");
    CHECK(error_of("((((){999}){999}){999})") == "too many repeats inside repeats");
    CHECK(error_of(std::string(501, 'a')) == "longer than 500 characters");
    CHECK(error_of(std::string(100, '(') + std::string(100, ')')) == "groups nested too deep");
  }

  TEST_CASE("patterns that make a backtracking engine explode stay fast") {
    const std::string text(30000, 'a');
    CHECK(!matches("(a+)+b", text));
    CHECK(!matches("(a|aa)+b", text));
    CHECK(!matches("(a*)*b", text));
    CHECK(!matches("^(.*)*x$", text));
    CHECK(matches("(a?){500}a{500}", std::string(500, 'a')));
    CHECK(!matches("a*", std::string(70000, 'a')));
  }

  // Oracle: std::regex (ECMAScript) of the C++ library, over every short pattern and every short text.
  TEST_CASE("short patterns agree with the standard library's") {
    const std::vector<std::string> atoms{"a", "b", ".", "[ab]", "[^a]", "(a|b)", "(ab|a)", "(?:a)", "\\w", "\\D"};
    const std::vector<std::string> repeats{"", "*", "+", "?", "{2}", "{1,2}", "{0,}", "*?"};
    std::vector<std::string> texts{""};
    for (std::size_t i = 0; i < texts.size() && texts[i].size() < 4; ++i) {
      for (const char c : {'a', 'b', '1'}) texts.push_back(texts[i] + c);
    }
    int compared = 0;
    for (const auto& a : atoms) {
      for (const auto& ra : repeats) {
        for (const auto& b : {std::string("b"), std::string("(a|)"), std::string("[^b]")}) {
          for (const auto& rb : {std::string(""), std::string("*"), std::string("{0,2}")}) {
            const std::string expression = a + ra + b + rb;
            const auto ours = Pattern::compile(expression);
            REQUIRE(ours.has_value());
            const std::regex theirs(expression);
            for (const auto& text : texts) {
              if (ours->matches(text) != std::regex_search(text, theirs)) FAIL(expression << " on " << text);
              ++compared;
            }
          }
        }
      }
    }
    CHECK(compared > 80000);
  }
}
