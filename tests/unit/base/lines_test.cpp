#include "base/lines.h"

#include <doctest/doctest.h>

using sendworthy::base::lines_for_terminal;

TEST_SUITE("base/lines") {
  TEST_CASE("lines that somebody wrote stay lines, and what else is in them is still shown") {
    CHECK(lines_for_terminal("").empty());
    CHECK(lines_for_terminal(" \n\t\r\n").empty());
    CHECK(lines_for_terminal("one") == std::vector<std::string>{"one"});
    CHECK(lines_for_terminal("one\r\n\n two\n\x1b[2J\u202Ex\n") == std::vector<std::string>{"one", " two", "\\u{1b}[2J\\u{202e}x"});
  }
}
