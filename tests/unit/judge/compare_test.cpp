#include "judge/compare.h"

#include <doctest/doctest.h>

#include <cmath>
#include <random>

using namespace sendworthy;
using judge::decide;
using judge::ValueKind;

namespace {

Comparison number_limit(Status status, LimitKind kind, double number) {
  Comparison comparison;
  comparison.status = status;
  comparison.kind = kind;
  comparison.number = number;
  return comparison;
}

Rule rule(std::vector<Comparison> comparisons, double tolerance = 0) {
  Rule made;
  made.id = "r";
  made.comparisons = std::move(comparisons);
  made.tolerance = tolerance;
  return made;
}

Status status_of(const Rule& made, double value) { return decide(made, Value(value), {}).status; }

}  // namespace

TEST_SUITE("judge/compare") {
  TEST_CASE("equal passes, above and below") {
    const auto above = rule({number_limit(Status::fail, LimitKind::above, -1.0)});
    CHECK(status_of(above, -1.0) == Status::pass);
    CHECK(status_of(above, -0.999) == Status::fail);
    CHECK(status_of(above, -5) == Status::pass);
    const auto below = rule({number_limit(Status::warn, LimitKind::below, 24)});
    CHECK(status_of(below, 24) == Status::pass);
    CHECK(status_of(below, 23.999) == Status::warn);
  }

  // EBU R 128 V5 (2023) m), s1 V3 (2020) d): the figures whose binary forms are a little off.
  TEST_CASE("decimal boundaries behave like decimals") {
    const auto s1 = rule({number_limit(Status::fail, LimitKind::above, -18.0)}, 0.2);
    CHECK(status_of(s1, -17.8) == Status::warn);
    CHECK(decide(s1, Value(-17.8), {}).within_tolerance);
    CHECK(status_of(s1, -17.79) == Status::fail);
    CHECK(status_of(s1, -17.7) == Status::fail);
    const auto peak = rule({number_limit(Status::fail, LimitKind::above, -1.0)}, 0.3);
    CHECK(status_of(peak, -0.7) == Status::warn);
    CHECK(status_of(peak, -0.69) == Status::fail);
    CHECK(status_of(peak, -1.0) == Status::pass);
    // Every tenth: limit + tolerance is inside, a hundredth more is not.
    for (int limit = -400; limit <= 100; ++limit) {
      for (int tolerance = 1; tolerance <= 20; ++tolerance) {
        const auto made = rule({number_limit(Status::fail, LimitKind::above, limit / 10.0)}, tolerance / 10.0);
        CHECK(status_of(made, (limit + tolerance) / 10.0) == Status::warn);
        CHECK(status_of(made, (10 * (limit + tolerance) + 1) / 100.0) == Status::fail);
        CHECK(status_of(made, limit / 10.0) == Status::pass);
      }
    }
  }

  TEST_CASE("large counts are compared to the last unit") {
    const auto made = rule({number_limit(Status::fail, LimitKind::above, 4e12)});
    CHECK(status_of(made, 4e12) == Status::pass);
    CHECK(status_of(made, 4e12 + 1) == Status::fail);
  }

  TEST_CASE("tolerance softens a fail to a warn, and nothing else") {
    CHECK(status_of(rule({number_limit(Status::warn, LimitKind::above, 0)}, 1), 0.5) == Status::warn);
    CHECK(status_of(rule({number_limit(Status::note, LimitKind::above, 0)}, 1), 0.5) == Status::note);
    CHECK(status_of(rule({number_limit(Status::fail, LimitKind::below, 0)}, 1), -0.5) == Status::warn);
    CHECK(status_of(rule({number_limit(Status::fail, LimitKind::below, 0)}, 1), -1.5) == Status::fail);
  }

  TEST_CASE("the worst comparison decides, and it is named") {
    const auto made =
        rule({number_limit(Status::fail, LimitKind::above, 0), number_limit(Status::warn, LimitKind::above, -3),
              number_limit(Status::note, LimitKind::above, -6), number_limit(Status::warn, LimitKind::below, -20)});
    CHECK(decide(made, Value(1.0), {}).comparison == &made.comparisons[0]);
    CHECK(decide(made, Value(-1.0), {}).comparison == &made.comparisons[1]);
    CHECK(status_of(made, -5) == Status::note);
    CHECK(decide(made, Value(-25.0), {}).comparison == &made.comparisons[3]);
    // A pass names the limit that is nearest.
    CHECK(decide(made, Value(-7.0), {}).comparison == &made.comparisons[2]);
    CHECK(decide(made, Value(-19.0), {}).comparison == &made.comparisons[3]);
    CHECK(std::get<double>(*decide(made, Value(-19.0), {}).limit) == -20);
    // A plain warn outranks a fail that is softened to one.
    const auto both = rule(
        {number_limit(Status::fail, LimitKind::above, -1.0), number_limit(Status::warn, LimitKind::above, -2.0)}, 0.5);
    CHECK(!decide(both, Value(-0.6), {}).within_tolerance);
    CHECK(decide(both, Value(-0.6), {}).status == Status::warn);
  }

  TEST_CASE("getting louder never makes an upper limit happier") {
    std::mt19937 random(7);
    std::uniform_real_distribution<double> level(-40, 10);
    for (int i = 0; i < 500; ++i) {
      const auto made = rule({number_limit(Status::fail, LimitKind::above, level(random)),
                              number_limit(Status::warn, LimitKind::above, level(random))},
                             std::fabs(level(random)) / 10);
      double value = -50;
      Status before = Status::pass;
      for (int k = 0; k < 200; ++k, value += 0.35) {
        const auto now = status_of(made, value);
        CHECK(now >= before);
        before = now;
      }
    }
  }

  TEST_CASE("unless accepts any of its values") {
    Comparison comparison;
    comparison.kind = LimitKind::unless;
    comparison.accepted = {Value(44100.0), Value(48000.0)};
    const auto made = rule({comparison});
    CHECK(status_of(made, 44100) == Status::pass);
    CHECK(status_of(made, 48000) == Status::pass);
    CHECK(status_of(made, 47999) == Status::fail);
    CHECK(std::get<double>(*decide(made, Value(47000.0), {}).limit) == 48000);
    comparison.accepted = {Value(std::string("WAV"))};
    CHECK(decide(rule({comparison}), Value(std::string("wav")), {}).status == Status::fail);
    CHECK(decide(rule({comparison}), Value(std::string("wav")), {.ignore_case = true}).status == Status::pass);
    comparison.accepted = {Value(true)};
    CHECK(decide(rule({comparison}), Value(true), {}).status == Status::pass);
    CHECK(decide(rule({comparison}), Value(false), {}).status == Status::fail);
  }

  TEST_CASE("a duration is compared in whole frames") {
    Comparison comparison;
    comparison.kind = LimitKind::unless;
    comparison.accepted = {Value(215.5)};
    const auto made = rule({comparison});
    const ValueKind at_44100{.frames_per_s = 44100};
    const double frames = std::round(215.5 * 44100);
    CHECK(decide(made, Value(frames / 44100), at_44100).status == Status::pass);
    CHECK(decide(made, Value((frames + 1) / 44100), at_44100).status == Status::fail);
    CHECK(decide(made, Value((frames - 1) / 44100), at_44100).status == Status::fail);
    // A third of a second is no whole number of frames at 44.1 kHz times ten: the nearest frame counts.
    comparison.accepted = {Value(10.00001)};
    CHECK(decide(rule({comparison}), Value(441000 / 44100.0), at_44100).status == Status::pass);
  }

  TEST_CASE("multiples are exact") {
    const auto made = rule({number_limit(Status::fail, LimitKind::multiple_of, 588)});
    CHECK(status_of(made, 0) == Status::pass);
    CHECK(status_of(made, 588.0 * 12345678) == Status::pass);
    CHECK(status_of(made, 588.0 * 12345678 + 1) == Status::fail);
    const auto tenth = rule({number_limit(Status::fail, LimitKind::multiple_of, 0.1)});
    CHECK(status_of(tenth, 0.7) == Status::pass);
    CHECK(status_of(tenth, 0.75) == Status::fail);
  }

  TEST_CASE("lists are looked through item by item") {
    Comparison forbid, require;
    forbid.kind = LimitKind::forbid;
    forbid.items = {"bext", "id3 "};
    require.kind = LimitKind::require;
    require.items = {"fmt ", "data"};
    const ValueKind list{.list = true, .ignore_case = true};
    const auto status = [&](const Comparison& c, const std::string& value) {
      return decide(rule({c}), Value(value), list).status;
    };
    CHECK(status(forbid, "fmt , LIST, data") == Status::pass);
    CHECK(status(forbid, "fmt , bext, data") == Status::fail);
    CHECK(status(forbid, "fmt , ID3 , data") == Status::fail);
    CHECK(status(forbid, "bextra") == Status::pass);
    CHECK(status(forbid, "") == Status::pass);
    CHECK(status(require, "fmt, bext, data") == Status::pass);
    CHECK(status(require, "fmt") == Status::fail);
    CHECK(status(require, "") == Status::fail);
    // A plain text is one item, commas and all.
    Comparison title;
    title.kind = LimitKind::forbid;
    title.items = {"Untitled"};
    CHECK(decide(rule({title}), Value(std::string("Untitled, again")), {}).status == Status::pass);
    CHECK(decide(rule({title}), Value(std::string("Untitled")), {}).status == Status::fail);
  }
}
