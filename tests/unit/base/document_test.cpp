#include "base/document.h"

#include <doctest/doctest.h>

using namespace sendworthy;
using base::Document;
using base::Node;

namespace {

std::string parse_error(const std::string& toml) {
  const auto document = Document::parse(toml, "my.toml");
  return document ? "" : to_string(document.error());
}

Document parsed(const std::string& toml) {
  auto document = Document::parse(toml, "my.toml");
  REQUIRE_MESSAGE(document.has_value(), document.error().text);
  return std::move(*document);
}

}  // namespace

TEST_SUITE("base/document") {
  TEST_CASE("values know their type and place") {
    const auto document =
        parsed("flag = true\nwhole = 3\n  real = 2.5\ntext = \"x\"\nday = 2027-01-31\nlist = [1, \"a\"]\n[t]\nk = 1\n");
    const auto members = document.root().members();
    REQUIRE(members.size() == 7);
    CHECK(members[0].key() == "flag");
    CHECK(*members[0].boolean() == true);
    CHECK(members[2].key_place().line == 3);
    CHECK(members[2].key_place().column == 3);
    CHECK(members[2].place().column == 10);
    CHECK(members[2].place().file == "my.toml");
    CHECK(*members[1].number() == 3);
    CHECK(*members[1].integer() == 3);
    CHECK(*members[2].number() == 2.5);
    CHECK(*members[3].text() == "x");
    CHECK(*members[4].date() == "2027-01-31");
    CHECK(members[5].type() == Node::Type::array);
    CHECK(members[5].members()[1].place().column == 12);
    CHECK(members[6].type() == Node::Type::table);
    CHECK(!document.root().find("nothing"));
    CHECK(document.root().find("t")->find("k"));
  }

  TEST_CASE("members come in the order of the text, whatever their names") {
    const auto document = parsed("z = 1\na = 2\nm = 3\n");
    std::string order;
    for (const auto& member : document.root().members()) order += member.key();
    CHECK(order == "zam");
  }

  TEST_CASE("a wrong type names key, place, wanted and found") {
    const auto document = parsed("title = 5\nlimit = \"loud\"\nwhole = 1.5\nok = 1\nlist = [1]\n");
    CHECK(to_string(document.root().find("title")->text().error()) ==
          "my.toml:1:9: \"title\" must be text, not a whole number");
    CHECK(to_string(document.root().find("limit")->number().error()) ==
          "my.toml:2:9: \"limit\" must be a number, not text");
    CHECK(to_string(document.root().find("whole")->integer().error()) ==
          "my.toml:3:9: \"whole\" must be a whole number, not a number");
    CHECK(to_string(document.root().find("ok")->boolean().error()) ==
          "my.toml:4:6: \"ok\" must be true or false, not a whole number");
    CHECK(to_string(document.root().find("list")->texts().error()) ==
          "my.toml:5:9: \"list\" must hold texts only, not a whole number");
  }

  TEST_CASE("NaN and infinities are no limits") {
    const auto document = parsed("a = nan\nb = -inf\nc = inf\n");
    CHECK(to_string(document.root().find("a")->number().error()) ==
          "my.toml:1:5: \"a\" must be a finite number, not nan");
    CHECK(to_string(document.root().find("b")->number().error()) ==
          "my.toml:2:5: \"b\" must be a finite number, not -inf");
    CHECK(document.root().find("c")->number().error().text == "\"c\" must be a finite number, not inf");
  }

  TEST_CASE("a date is a real day") {
    const auto document = parsed(
        "a = \"2027-02-28\"\nb = \"2027-02-29\"\nc = \"soon\"\nd = 2028-02-29\ne = 2027-01-31T00:00:00Z\nf = 1\n");
    CHECK(*document.root().find("a")->date() == "2027-02-28");
    CHECK(to_string(document.root().find("b")->date().error()) ==
          "my.toml:2:5: \"b\" must be a date such as 2027-01-31, not \"2027-02-29\"");
    CHECK(!document.root().find("c")->date());
    CHECK(*document.root().find("d")->date() == "2028-02-29");
    CHECK(document.root().find("e")->date().error().text ==
          "\"e\" must be a date such as 2027-01-31 without a time, not a date");
    CHECK(!document.root().find("f")->date());
  }

  TEST_CASE("an unknown key comes with the nearest known one") {
    const auto document = parsed("[[rule]]\nid = \"a\"\n  maxx = 1\n");
    const auto rule = document.root().find("rule")->members().at(0);
    CHECK(to_string(rule.only({"id", "max", "min"}, "[[rule]]").error()) ==
          "my.toml:3:3: unknown key \"maxx\" in [[rule]]; did you mean \"max\"?");
    CHECK(to_string(rule.only({"id", "colour"}, "[[rule]]").error()) ==
          "my.toml:3:3: unknown key \"maxx\" in [[rule]]");
    CHECK(rule.only({"id", "maxx"}, "[[rule]]").has_value());
  }

  TEST_CASE("a syntax error is one line with its place") {
    const auto text = parse_error("a = 1\nb = \n");
    CHECK(text.find("my.toml:2:5: ") == 0);
    CHECK(text.find('\n') == std::string::npos);
    CHECK(parse_error("a = 1\na = 2\n").find("my.toml:2:") == 0);
    CHECK(parse_error("a = \"\xff\xfe\"\n").find("my.toml:1:") == 0);
    CHECK(parse_error(std::string("a = 1\0", 6)) != "");
  }

  TEST_CASE("what the parser itself is not up to is refused before it") {
    using namespace std::string_literals;
    for (const auto& text : {"a = 1\n[\0"s, "a = 1\n \0"s, "a=\"\"\n#\0"s}) {
      const auto parsed = Document::parse(text, "p.toml");
      REQUIRE(!parsed.has_value());
      CHECK(parsed.error().place.line == 2);
      CHECK(parsed.error().place.column == 2);
      CHECK(parsed.error().text == "a NUL byte, which no TOML text has");
    }
    CHECK(!Document::parse("\xEF\xB9\xBF", "p.toml").has_value());
    CHECK(!Document::parse("\xEF\xB9\xBF = 1", "p.toml").has_value());
    CHECK(Document::parse("\xEF\xBB\xBF" "a = 1", "p.toml").has_value());
  }

  TEST_CASE("a file name with control characters cannot break the line of an error") {
    const auto document = Document::parse("a =", "x\n\x1b[2J.toml");
    REQUIRE(!document);
    CHECK(to_string(document.error()).find("x\\n\\u{1b}[2J.toml:1:") == 0);
  }

  TEST_CASE("too large and too deep end in an error, not in a crash") {
    CHECK(parse_error("a = \"" + std::string(2 << 20, 'x') + "\"") ==
          "my.toml: the text has 2097158 bytes; at most 1048576 are read");
    const std::size_t many = 200000;
    CHECK(parse_error("a = " + std::string(many, '[')) == "my.toml:1:69: nested deeper than 64 levels");
    std::string dotted = "a";
    for (std::size_t i = 0; i < many; ++i) dotted += ".a";
    CHECK(parse_error(dotted + " = 1").find("nested deeper than 64 levels") != std::string::npos);
    CHECK(parse_error("[" + dotted + "]\n").find("nested deeper than 64 levels") != std::string::npos);
    CHECK(parse_error("[" + dotted).find("nested deeper than 64 levels") != std::string::npos);
    std::string tables = "x";
    for (int i = 0; i < 50; ++i) tables += "={a.b.c";
    CHECK(parse_error(tables) != "");
    std::string quoted_dots = "'q'";
    for (int i = 0; i < 300; ++i) quoted_dots += " . \"q\"";
    CHECK(parse_error(quoted_dots + " = 1").find("nested deeper than 64 levels") != std::string::npos);
  }

  TEST_CASE("dots and brackets in texts, comments and long arrays are no depth") {
    std::string numbers = "a = [";
    for (int i = 0; i < 500; ++i) numbers += "1.5, ";
    CHECK(parse_error(numbers + "]\n") == "");
    CHECK(parse_error("a = \"" + std::string(500, '[') + "\"\n") == "");
    CHECK(parse_error("a = '" + std::string(500, '.') + "'\n") == "");
    CHECK(parse_error("a = \"\"\"" + std::string(500, '[') + "\n\\\"\"\"\"\n# " + std::string(500, '[') + "\n") == "");
    CHECK(parse_error("a = '''it''''\nb = 1\n# " + std::string(99, '{')) == "");
  }

  TEST_CASE("a very long key does not make a very long message") {
    const auto document = parsed(std::string(100000, 'k') + " = 1\n");
    const auto error = document.root().only({"id"}, "[ruleset]").error();
    CHECK(error.text.size() < 200);
  }
}
