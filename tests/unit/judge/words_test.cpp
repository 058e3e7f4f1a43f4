#include "judge/words.h"

#include <doctest/doctest.h>

using namespace sendworthy;
using namespace sendworthy::judge;

namespace {

Comparison limit(LimitKind kind, double number, Status status = Status::fail) {
  Comparison comparison;
  comparison.kind = kind;
  comparison.number = number;
  comparison.status = status;
  return comparison;
}

std::string words(std::vector<Comparison> comparisons, Unit unit, int decimals, std::optional<double> value = {}) {
  Rule rule;
  rule.comparisons = std::move(comparisons);
  return limit_words(rule, rule.comparisons.front(), unit, decimals, value);
}

}  // namespace

TEST_SUITE("judge/words") {
  TEST_CASE("limits in words") {
    CHECK(words({limit(LimitKind::above, -1)}, Unit::dbtp, 1) == "at most -1.0 dBTP");
    CHECK(words({limit(LimitKind::below, 24)}, Unit::bits, 0) == "at least 24 bits");
    CHECK(words({limit(LimitKind::above, -22), limit(LimitKind::below, -24)}, Unit::lufs, 1) ==
          "between -24.0 and -22.0 LUFS");
    CHECK(words({limit(LimitKind::above, 3), limit(LimitKind::below, 3)}, Unit::count, 0) == "exactly 3");
    CHECK(words({limit(LimitKind::above, -22), limit(LimitKind::below, -25, Status::warn)}, Unit::lufs, 1) ==
          "at most -22.0 LUFS");
    CHECK(words({limit(LimitKind::multiple_of, 588)}, Unit::count, 0) == "a multiple of 588");
    Comparison rates = limit(LimitKind::unless, 0);
    rates.accepted = {Value(44100.0), Value(48000.0)};
    CHECK(words({rates}, Unit::hz, 0) == "one of 44100, 48000 Hz");
    rates.accepted = {Value(24.0)};
    CHECK(words({rates}, Unit::bits, 0) == "exactly 24 bits");
    rates.accepted = {Value(false)};
    CHECK(words({rates}, Unit::boolean, 0) == "no");
    rates.accepted = {Value(std::string("WAV")), Value(std::string("AIFF"))};
    CHECK(words({rates}, Unit::text, 0) == "one of WAV, AIFF");
    Comparison items = limit(LimitKind::forbid, 0);
    items.items = {"bext", "iXML"};
    CHECK(words({items}, Unit::list, 0) == "without bext or iXML");
    items.kind = LimitKind::require;
    CHECK(words({items}, Unit::list, 0) == "with bext and iXML");
    items.kind = LimitKind::matches;
    items.items = {"^PCM"};
    CHECK(words({items}, Unit::text, 0) == "like \"^PCM\"");
  }

  TEST_CASE("a limit is printed with all its decimals, and more where the value would look the same") {
    CHECK(words({limit(LimitKind::above, -0.45)}, Unit::dbfs, 1) == "at most -0.45 dBFS");
    CHECK(words({limit(LimitKind::above, -1)}, Unit::dbtp, 1, -0.96) == "at most -1.00 dBTP");
    CHECK(words({limit(LimitKind::above, -1)}, Unit::dbtp, 1, -0.9999) == "at most -1.0000 dBTP");
    CHECK(words({limit(LimitKind::above, -1)}, Unit::dbtp, 1, -0.5) == "at most -1.0 dBTP");
    CHECK(words({limit(LimitKind::above, 0.1)}, Unit::percent, 3) == "at most 0.100 %");
  }

  TEST_CASE("a difference is worded as one") {
    Rule rule;
    rule.compare_to = MeasureRequest{"bit_depth", {}};
    rule.comparisons = {limit(LimitKind::below, -3)};
    CHECK(limit_words(rule, rule.comparisons[0], Unit::bits, 0, {}) == "at least -3 bits");
    rule.comparisons = {limit(LimitKind::unless, 0)};
    rule.comparisons[0].accepted = {Value(true)};
    CHECK(limit_words(rule, rule.comparisons[0], Unit::boolean, 0, {}) == "equal to bit_depth");
    rule.comparisons[0].accepted = {Value(false)};
    CHECK(limit_words(rule, rule.comparisons[0], Unit::boolean, 0, {}) == "different from bit_depth");
  }

  TEST_CASE("placeholders are filled, and what is not known is left out") {
    const Amounts all{"1.4 dB", "down", "-0.6 dBTP", "-2.0 dBTP", "-2.0 dBTP"};
    CHECK(fill("Move it {direction} by {change}; the true peak becomes {true_peak_after}.", all) ==
          "Move it down by 1.4 dB; the true peak becomes -2.0 dBTP.");
    CHECK(fill("It is {value}, not {limit}.", all) == "It is -0.6 dBTP, not -2.0 dBTP.");
    CHECK(fill("Move it by {change}; the true peak becomes {true_peak_after}. Then bounce.",
               {"1.0 dB", "", "", "", ""}) == "Move it by 1.0 dB. Then bounce.");
    CHECK(fill("Lower by {change}. Bounce again. Do {direction} it.", {}) == "Bounce again.");
    CHECK(fill("{change}", {}) == "");
    CHECK(fill("0.5 to 1 s; no amounts", {}) == "0.5 to 1 s; no amounts");
    CHECK(fill("", all) == "");
    CHECK(fill("open { brace", all) == "open { brace");
  }

  TEST_CASE("unknown placeholders are found") {
    CHECK(unknown_placeholder("by {change} and {limit}") == "");
    CHECK(unknown_placeholder("by {chnage}") == "chnage");
    CHECK(unknown_placeholder("{}") == " ");
    CHECK(says_amount("by {change}"));
    CHECK(!says_amount("by {value}"));
  }

  TEST_CASE("numbers are listed as a reader would") {
    CHECK(number_list({2}) == "2");
    CHECK(number_list({6, 1}) == "1 or 6");
    CHECK(number_list({1, 2}) == "1 or 2");
    CHECK(number_list({3, 4, 5, 6, 7, 8, 10, 12}) == "3 to 8, 10 or 12");
    CHECK(number_list({}) == "");
  }

  TEST_CASE("a value is printed with the catalog's decimals, a limit with all of its own") {
    CHECK(value_with_unit(-0.005833, Unit::db, 1) == "0.0 dB");
    CHECK(limit_with_unit(-0.45, Unit::db, 1) == "-0.45 dB");
  }

  TEST_CASE("differences have a unit of their own") {
    CHECK(unit_of_difference(Unit::lufs) == Unit::lu);
    CHECK(unit_of_difference(Unit::dbtp) == Unit::db);
    CHECK(unit_of_difference(Unit::bits) == Unit::bits);
    CHECK(unit_of_difference(Unit::text) == Unit::boolean);
  }
}
