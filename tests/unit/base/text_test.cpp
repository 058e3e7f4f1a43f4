#include "base/text.h"

#include <doctest/doctest.h>

#include <cmath>
#include <limits>
#include <string>

#include "base/document.h"

using namespace sendworthy::base;

TEST_SUITE("base/text") {
  TEST_CASE("valid UTF-8 stays as it is") {
    for (const std::string text : {"", "mix 01.wav", "Fjörður", "日本語", "\U0001F3B5"})
      CHECK(clean_utf8(text) == text);
  }

  // Unicode standard, table 3-7: the forms a decoder has to refuse.
  TEST_CASE("each byte that is not part of a well-formed sequence becomes one replacement character") {
    CHECK(clean_utf8("a\xFFz") == "a\uFFFDz");
    CHECK(clean_utf8("\xC0\xAF") == "\uFFFD\uFFFD");                      // overlong slash
    CHECK(clean_utf8("\xE0\x80\xAF") == "\uFFFD\uFFFD\uFFFD");            // overlong, three bytes
    CHECK(clean_utf8("\xED\xA0\x80") == "\uFFFD\uFFFD\uFFFD");            // surrogate
    CHECK(clean_utf8("\xF4\x90\x80\x80") == "\uFFFD\uFFFD\uFFFD\uFFFD");  // above 10FFFF
    CHECK(clean_utf8("\xE2\x82") == "\uFFFD\uFFFD");                      // cut short
    CHECK(clean_utf8("\x80") == "\uFFFD");
  }

  TEST_CASE("cleaning twice changes nothing more") {
    std::string bytes;
    for (int i = 0; i < 256; ++i) bytes += static_cast<char>(i);
    CHECK(clean_utf8(clean_utf8(bytes)) == clean_utf8(bytes));
  }

  TEST_CASE("a terminal sees neither control characters nor reordered text") {
    CHECK(for_terminal("a\nb\tc\rd") == "a\\nb\\tc\\rd");
    CHECK(for_terminal("\x1b[31mred") == "\\u{1b}[31mred");
    CHECK(for_terminal("\x7f") == "\\u{7f}");
    CHECK(for_terminal("\xC2\x9B") == "\\u{9b}");  // C1: a one-byte escape introducer
    CHECK(for_terminal("gpj.\u202Ewav") == "gpj.\\u{202e}wav");
    CHECK(for_terminal("a\u2028b") == "a\\u{2028}b");
    CHECK(for_terminal("\xff") == "\uFFFD");
    CHECK(for_terminal(std::string_view("a\0b", 3)) == "a\\u{0}b");
    CHECK(for_terminal("Fjörður") == "Fjörður");
  }

  TEST_CASE("XML text holds only characters that XML 1.0 allows") {
    CHECK(for_xml("<a href=\"x\">'&]]>") == "&lt;a href=&quot;x&quot;&gt;&apos;&amp;]]&gt;");
    CHECK(for_xml("\x01\x1b\xff") == "\uFFFD\uFFFD\uFFFD");
    CHECK(for_xml("\uFFFE") == "\uFFFD");
    CHECK(for_xml("a\n\t") == "a&#10;&#9;");
  }

  TEST_CASE("CSV fields are quoted where RFC 4180 asks for it, and start no formula") {
    CHECK(for_csv("plain") == "plain");
    CHECK(for_csv("a,b") == "\"a,b\"");
    CHECK(for_csv("say \"hi\"") == "\"say \"\"hi\"\"\"");
    CHECK(for_csv("two\nlines") == "\"two\nlines\"");
    for (const std::string start : {"=", "+", "-", "@", "\t"}) CHECK(for_csv(start + "1") == "'" + start + "1");
    CHECK(for_csv("\r1") == "\"'\r1\"");
  }

  TEST_CASE("a TOML text is one line, and is read as what it was") {
    CHECK(toml_text("a b") == "\"a b\"");
    CHECK(toml_text("\"\\\n\x7f") == R"("\"\\\u000a\u007f")");
    CHECK(toml_text("\xe2\x80\xae\xff") == "\"\\u202e\xef\xbf\xbd\"");
    for (const std::string text : {"", "\xc3\xa4\xe2\x80\x8b\"", "'''\"\"\"#\r\n\t", "\\u0041"}) {
      const auto document = Document::parse("x = " + toml_text(text), "x.toml");
      REQUIRE(document);
      CHECK(*document->root().find("x")->text() == text);
    }
  }

  TEST_CASE("fixed rounds half away from zero and prints no negative zero") {
    CHECK(fixed(0.125, 2) == "0.13");
    CHECK(fixed(-0.125, 2) == "-0.13");
    CHECK(fixed(0.5, 0) == "1");
    CHECK(fixed(2.5, 0) == "3");
    CHECK(fixed(-2.5, 0) == "-3");
    CHECK(fixed(9.5, 0) == "10");
    CHECK(fixed(99.96875, 1) == "100.0");
    CHECK(fixed(-0.04, 1) == "0.0");
    CHECK(fixed(-0.0, 1) == "0.0");
    CHECK(fixed(1.0, 3) == "1.000");
    CHECK(fixed(-23.0, 1) == "-23.0");
    CHECK(fixed(44100, 0) == "44100");
    CHECK(fixed(1e300, 0).size() == 301);
    CHECK(fixed(std::numeric_limits<double>::quiet_NaN(), 1) == "nan");
    CHECK(fixed(-std::numeric_limits<double>::infinity(), 1) == "-inf");
  }

  TEST_CASE("shortest reads back as the same double") {
    CHECK(shortest(48000) == "48000");
    CHECK(shortest(-1) == "-1");
    CHECK(shortest(0.1) == "0.1");
    CHECK(shortest(-0.0) == "0");
    for (const double value : {1.0 / 3, 1e-300, 123456789.123456789, -17.8}) CHECK(std::stod(shortest(value)) == value);
  }

  TEST_CASE("clock time carries into seconds, minutes and hours") {
    CHECK(clock_time(3.2) == "0:03.200");
    CHECK(clock_time(3723.25) == "1:02:03.250");
    CHECK(clock_time(59.9996) == "1:00.000");
    CHECK(clock_time(0) == "0:00.000");
    CHECK(clock_time(-1.5) == "-0:01.500");
    CHECK(clock_time(61, 0) == "1:01");
    CHECK(clock_time(1e12) == "1000000000000 s");
  }

  TEST_CASE("columns counts what a terminal shows") {
    CHECK(columns("abc") == 3);
    CHECK(columns("Fjörður") == 7);
    CHECK(columns("e\u0301") == 1);
    CHECK(columns("日本") == 4);
    CHECK(columns("") == 0);
  }

  TEST_CASE("wrap keeps every line within the width and loses no word") {
    CHECK(wrap("one two three", 7) == std::vector<std::string>{"one two", "three"});
    CHECK(wrap("  one   two ", 20) == std::vector<std::string>{"one two"});
    CHECK(wrap("a\nb", 20) == std::vector<std::string>{"a", "b"});
    CHECK(wrap("abcdefghij k", 4) == std::vector<std::string>{"abcd", "efgh", "ij k"});
    CHECK(wrap("", 10).empty());
    CHECK(wrap("日本語", 4) == std::vector<std::string>{"日本", "語"});
    for (int width = 1; width < 30; ++width) {
      for (const auto& line : wrap("Lower the lead by 1.4 dB, then bounce again: 日本語 mix.", width))
        CHECK(columns(line) <= std::max(width, 2));
    }
  }

  TEST_CASE("nearest finds slips of the hand and nothing else") {
    const std::vector<std::string_view> ids{"true_peak", "sample_peak", "integrated_loudness", "loudness_range", "max"};
    CHECK(nearest("true_paek", ids) == "true_peak");
    CHECK(nearest("truepeak", ids) == "true_peak");
    CHECK(nearest("True-Peak", ids) == "true_peak");
    CHECK(nearest("maxx", ids) == "max");
    CHECK(nearest("loud_range", ids) == "loudness_range");
    CHECK(nearest("integrated", ids) == "integrated_loudness");
    CHECK(nearest("colour", ids) == "");
    CHECK(nearest("", ids) == "");
    CHECK(nearest(std::string(1 << 20, 'x'), ids) == "");
    CHECK(nearest("x", {}) == "");
  }

  TEST_CASE("patterns match like a shell's") {
    CHECK(matches_pattern("*", ""));
    CHECK(matches_pattern("*-radio-*", "song-radio-v2.wav"));
    CHECK(!matches_pattern("*-radio-*", "song-album.wav"));
    CHECK(matches_pattern("a*b*c", "aXXbYYbZZc"));
    CHECK(!matches_pattern("a*b*c", "aXXbYYcZ"));
    CHECK(matches_pattern("mi?.wav", "mix.wav"));
    CHECK(matches_pattern("f?", "f\u00f6"));  // one character, two bytes
    CHECK(!matches_pattern("", "x"));
    CHECK(!matches_pattern("abc", "abcd"));
  }

  TEST_CASE("a pattern of many stars does not explode") {
    std::string pattern, text(20000, 'a');
    for (int i = 0; i < 200; ++i) pattern += "*a";
    CHECK(!matches_pattern(pattern + "b", text));
  }
}
