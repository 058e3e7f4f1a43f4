#include "desk/kept_lines.h"

#include <doctest/doctest.h>

#include <string>

using namespace sendworthy::desk;

TEST_SUITE_BEGIN("desk/kept_lines");

TEST_CASE("every line that was not touched keeps its bytes and its end") {
  CHECK(with_lines_of("a\n b\n c\r\n d\n", "new\na\n b\n c\n D\n") == "new\na\n b\n c\r\n D\n");
  CHECK(with_lines_of("a\r\nb\nc\r\nd\ne", "A\nb\nc\nmore\nd\nE") == "A\r\nb\nc\r\nmore\r\nd\nE");
  // Taken away above, added below, and a line that a browser cannot show.
  CHECK(with_lines_of("a\nb\r\n\xff\r\nc\nd\r\n", "b\n\xef\xbf\xbd\nc\nx\ny\nd") == "b\r\n\xff\r\nc\nx\ny\nd");
  CHECK(with_lines_of("a\r\nb", "a\nb\nc\n") == "a\r\nb\r\nc\r\n");
  CHECK(with_lines_of("", "a\nb") == "a\nb");
  CHECK(with_lines_of("a\r\nb\r\n", "") == "");
  for (const std::string same : {"", "\n", "a", "a\r\nb\n\n\r\nc\r\n", "\r\r\n\xc3\n"}) CHECK(with_lines_of(same, same) == same);
}

TEST_CASE("no line is lost or made up") {
  // All texts of up to four lines of two words, against each other.
  const auto text_of = [](int bits, int lines, const char* end) {
    std::string text;
    for (int i = 0; i < lines; ++i) text += std::string((bits >> i & 1) != 0 ? "a" : "b") + end;
    return text;
  };
  for (int old_lines = 0; old_lines <= 4; ++old_lines) {
    for (int lines = 0; lines <= 4; ++lines) {
      for (int both = 0; both < 1 << (old_lines + lines); ++both) {
        const auto edited = text_of(both >> old_lines, lines, "\n");
        auto read = with_lines_of(text_of(both & ((1 << old_lines) - 1), old_lines, "\r\n"), edited);
        for (std::size_t at = 0; (at = read.find('\r', at)) != std::string::npos;) read.erase(at, 1);
        REQUIRE(read == edited);
      }
    }
  }
}

TEST_CASE("lines are found again in a large text, and one that is another throughout takes no longer") {
  std::string before, edited = "first\n", wanted = "first\n";
  for (int i = 0; i < 10000; ++i) {
    const auto line = "line " + std::to_string(i % 7 == 0 ? 0 : i);
    before += line + (i % 3 == 0 ? "\r\n" : "\n");
    edited += i == 9999 ? "last\n" : line + "\n";
    wanted += (i == 9999 ? "last" : line) + (i % 3 == 0 ? "\r\n" : "\n");
  }
  // The first line is added, and ends as the one that it stands before.
  wanted.insert(5, "\r");
  CHECK(with_lines_of(before, edited) == wanted);
  std::string other;
  for (int i = 0; i < 10000; ++i) other += "x" + std::to_string(i) + "\n";
  const auto read = with_lines_of(before, other);
  CHECK(read.starts_with("x0\r\nx1\nx2\nx3\r\n"));
}

TEST_SUITE_END();
