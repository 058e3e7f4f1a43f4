// The selftest: that it holds every published signal, that it passes, and that the second meter agrees.
#include "check/selftest.h"

#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <set>
#include <string>

using namespace sendworthy;

TEST_SUITE_BEGIN("standards/selftest");

TEST_CASE("the selftest passes on every published signal at every rate, and the second meter agrees") {
  const auto rows = run_selftest(2);
  std::set<std::pair<std::string, int>> seen;
  for (const auto& row : rows) {
    CAPTURE(row.signal);
    CAPTURE(row.sample_rate);
    CAPTURE(row.quantity);
    CAPTURE(row.read);
    CAPTURE(row.second);
    CHECK(row.passed);
    CHECK(row.lower <= row.expected);
    CHECK(row.expected <= row.upper);
    CHECK_FALSE(row.unit.empty());
    CHECK_FALSE(row.source.empty());
    seen.emplace(row.signal, row.sample_rate);
    if (row.second == "-") continue;
    const double second = std::stod(row.second);
    // Integrated within 0.1 LU; the second meter's loudness range comes from a coarser series; its true peak is only
    // asked not to read more than ours.
    if (row.quantity.starts_with("integrated")) CHECK(std::abs(second - row.read) <= 0.1);
    if (row.quantity == "loudness range") CHECK(std::abs(second - row.read) <= 1);
    if (row.quantity == "true peak") CHECK(second <= row.read + 0.1);
  }
  int mutations = 0;
  for (const int rate : {44100, 48000, 96000}) {
    for (const int number : {1, 2, 3, 4, 5, 6, 9, 10, 11, 12, 13, 14, 15, 16, 17, 18, 19, 20, 21, 22, 23})
      CHECK(seen.contains({"Tech 3341 case " + std::to_string(number), rate}));
    for (const int number : {1, 2, 3, 4}) CHECK(seen.contains({"Tech 3342 case " + std::to_string(number), rate}));
    CHECK(seen.contains({"BS.1770 tone, mono", rate}));
    CHECK(seen.contains({"BS.1770 tone, stereo, all channels", rate}));
    CHECK(seen.contains({"Tech 3341 alignment tone", rate}));
    CHECK(seen.contains({"absolute gate tone", rate}));
  }
  // The mutation checks of both gates: what they would read lies outside the bounds of the true reading.
  for (const auto& row : rows) {
    if (!row.quantity.starts_with("mutation")) continue;
    ++mutations;
    CHECK(row.upper < -24);
    CHECK(row.second == "-");
  }
  CHECK(mutations == 9);
  // The second meter stands beside most rows, not beside none.
  const auto seconds = std::count_if(rows.begin(), rows.end(), [](const auto& row) { return row.second != "-"; });
  CHECK(seconds * 2 > static_cast<std::ptrdiff_t>(rows.size()));
}

TEST_CASE("the selftest does not depend on the number of threads") {
  const auto one = run_selftest(1);
  const auto three = run_selftest(3);
  REQUIRE(one.size() == three.size());
  for (std::size_t i = 0; i < one.size(); ++i) {
    CHECK(one[i].signal == three[i].signal);
    CHECK(one[i].quantity == three[i].quantity);
    CHECK(one[i].read == three[i].read);
    CHECK(one[i].second == three[i].second);
  }
}

TEST_SUITE_END();
