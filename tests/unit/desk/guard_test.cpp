#include "desk/guard.h"

#include <doctest/doctest.h>

#include <array>
#include <set>
#include <string>

#include "base/random.h"

using namespace sendworthy;
using namespace sendworthy::desk;

namespace {

const std::string kToken = "0123456789abcdefghijABCDEFGHIJKL";

/// The status it is refused with; 0 where it may go on.
int asked(std::string_view target_text, const Origins& origins = {{"127.0.0.1:4000"}, {}, {}}, std::string_view method = "GET") {
  Target target;
  const auto refused = Guard(kToken, 4000).refuse(method, target_text, origins, target);
  return refused ? refused->status : 0;
}

std::string at(std::string_view rest) { return "/" + kToken + "/" + std::string(rest); }

}  // namespace

TEST_SUITE_BEGIN("desk/guard");

TEST_CASE("whoever has not the token learns nothing, whatever else is wrong") {
  for (const auto& target : {std::string("/"), std::string(""), std::string("*"), "/" + kToken, "/" + kToken.substr(1) + "x/", "//" + kToken + "/",
                             "/" + kToken + "x/", "/x" + kToken + "/", "/%30" + kToken.substr(1) + "/", "http://127.0.0.1:4000/" + kToken + "/",
                             std::string("/api/state"), std::string("/page/style.css")}) {
    Target out;
    const auto refused = Guard(kToken, 4000).refuse("GET", target, {{"127.0.0.1:4000"}, {}, {}}, out);
    REQUIRE(refused.has_value());
    CHECK_MESSAGE(refused->status == 404, target);
    CHECK_MESSAGE(refused->body.empty(), target);
    CHECK(asked(target, {{"evil.example"}, {"http://evil.example"}, {"cross-site"}}) == 404);
  }
  CHECK(asked(at("")) == 0);
}

TEST_CASE("every place of the token counts") {
  for (std::size_t i = 0; i < kToken.size(); ++i) {
    auto other = at("");
    other[i + 1] = other[i + 1] == 'z' ? 'y' : 'z';
    CHECK(asked(other) == 404);
  }
}

TEST_CASE("only our own names are answered to") {
  CHECK(asked(at(""), {{"localhost:4000"}, {}, {}}) == 0);
  CHECK(asked(at(""), {{"LocalHost:4000"}, {}, {}}) == 0);
  for (const std::string host : {"", "127.0.0.1", "localhost", "127.0.0.1:4001", "evil.example:4000", "127.0.0.1:4000.evil.example", "127.0.0.1:40000", "[::1]:4000", "127.0.0.1:4000 "})
    CHECK_MESSAGE(asked(at(""), {{host}, {}, {}}) == 403, host);
  CHECK(asked(at(""), {{}, {}, {}}) == 403);
  CHECK(asked(at(""), {{"127.0.0.1:4000", "127.0.0.1:4000"}, {}, {}}) == 403);
}

TEST_CASE("only our own page may ask") {
  const std::vector<std::string> host{"127.0.0.1:4000"};
  CHECK(asked(at(""), {host, {"http://127.0.0.1:4000"}, {"same-origin"}}) == 0);
  CHECK(asked(at(""), {host, {"http://localhost:4000"}, {"none"}}) == 0);
  for (const std::string origin : {"null", "", "https://127.0.0.1:4000", "http://127.0.0.1:4001", "http://evil.example", "http://127.0.0.1:4000/", "127.0.0.1:4000"})
    CHECK_MESSAGE(asked(at(""), {host, {origin}, {}}) == 403, origin);
  CHECK(asked(at(""), {host, {"http://127.0.0.1:4000", "http://evil.example"}, {}}) == 403);
  for (const std::string site : {"cross-site", "same-site", "", "Same-Origin"}) CHECK_MESSAGE(asked(at(""), {host, {}, {site}}) == 403, site);
  for (const std::string method : {"POST", "DELETE", "OPTIONS", "HEAD"}) CHECK(asked(at(""), {host, {"http://evil.example"}, {}}, method) == 403);
}

TEST_CASE("three methods and no other") {
  for (const std::string method : {"GET", "POST", "DELETE"}) CHECK(asked(at(""), {{"127.0.0.1:4000"}, {}, {}}, method) == 0);
  for (const std::string method : {"HEAD", "PUT", "PATCH", "OPTIONS", "TRACE", "CONNECT", "get", ""}) CHECK(asked(at(""), {{"127.0.0.1:4000"}, {}, {}}, method) == 405);
}

TEST_CASE("a target is taken apart once, and what is not written as one is refused") {
  const auto target = parse_target("/T/api/folder?path=a%2Fb%20c&x=1+2&path=other&empty=&bare&%C3%A9=%C3%A9");
  REQUIRE(target.has_value());
  CHECK(target->segments == std::vector<std::string>{"T", "api", "folder"});
  CHECK(target->of("path") == "a/b c");
  CHECK(target->of("x") == "1 2");
  CHECK(target->of("empty").empty());
  CHECK(target->query.contains("bare"));
  CHECK(target->of("é") == "é");
  // Decoded once only: what was encoded twice stays encoded.
  CHECK(parse_target("/T/%252e%252e")->segments == std::vector<std::string>{"T", "%2e%2e"});
  for (const std::string bad : {"", "x", "/%", "/%2", "/%zz", "/%00", "/a%2fb", "/a%5Cb", "/a\\b", "/a?b=%", "/a?b=%0", "/a?b=%00", "/ ", "/\n", "/\x80", "/\x7f"})
    CHECK_MESSAGE(!parse_target(bad), bad);
  CHECK(parse_target("/") ->segments == std::vector<std::string>{""});
  CHECK(parse_target("/?")->query.empty());
}

TEST_CASE("a token is letters and digits, and never the same") {
  std::set<std::string> seen;
  std::array<int, 256> count{};
  for (int i = 0; i < 1000; ++i) {
    const auto word = base::random_word(32);
    REQUIRE(word.has_value());
    CHECK(word->size() == 32);
    for (const char c : *word) ++count[static_cast<unsigned char>(c)];
    seen.insert(*word);
  }
  CHECK(seen.size() == 1000);
  // 32000 draws of 62 signs: 516 each, with a deviation of 22.5 (binomial); six of them are never seen by chance.
  int signs = 0;
  for (int c = 0; c < 256; ++c) {
    if (count[static_cast<std::size_t>(c)] == 0) continue;
    ++signs;
    CHECK(std::abs(count[static_cast<std::size_t>(c)] - 516) < 135);
  }
  CHECK(signs == 62);
  CHECK(base::same_secret("abc", "abc"));
  CHECK(!base::same_secret("abc", "abd"));
  CHECK(!base::same_secret("abc", "abcd"));
  CHECK(base::same_secret("", ""));
}

TEST_SUITE_END();
