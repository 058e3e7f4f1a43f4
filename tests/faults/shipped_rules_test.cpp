// Every rule of every shipped set on real sound: packaged music that just meets it, and the same music with a defect just
// beyond each of its limits. How far beyond is chosen here, so that a rule that reacts late or not at all is seen.

#include <algorithm>
#include <cmath>
#include <optional>

#include <doctest/doctest.h>

#include <sendworthy/check.h>
#include <sendworthy/rule_set.h>

#include "faults/defects.h"
#include "faults/makers.h"

using namespace sendworthy;
using namespace sendworthy::test;

namespace {

// How far beyond a limit a defect goes: little in what the ear or an ingest system would notice.
double little(const std::string& id, double limit) {
  const auto* entry = catalog().find(id);
  switch (entry->unit) {
    case Unit::ratio: return 0.05;
    case Unit::percent: return std::abs(limit) * 0.3;
    case Unit::seconds: return limit <= 0 ? 1 : limit < 1 ? limit / 2 : 0.2;
    case Unit::bits:
    case Unit::count: return 1;
    case Unit::bytes: return std::max(1.0, std::abs(limit) * 0.01);
    case Unit::hz: return 100;
    case Unit::kbit_s: return 32;
    default: return 0.4;
  }
}

Sample start(const Rule& rule) {
  Sample s;
  s.request = rule.measure;
  if (!rule.conditions.channels.empty()) makers().at("channels")(s, rule.conditions.channels.front());
  if (!rule.conditions.containers.empty()) s.wrapping.container = rule.conditions.containers.front();
  if (rule.conditions.min_duration_s && *rule.conditions.min_duration_s > 5) lengthen(s.clip, *rule.conditions.min_duration_s + 2);
  return s;
}

Value passing_value(const Rule& rule) {
  std::optional<double> above, below;
  for (const auto& c : rule.comparisons) {
    switch (c.kind) {
      case LimitKind::above: above = above ? std::min(*above, c.number) : c.number; break;
      case LimitKind::below: below = below ? std::max(*below, c.number) : c.number; break;
      case LimitKind::unless: return c.accepted.front();
      case LimitKind::multiple_of: return 500 * c.number;
      case LimitKind::matches: return std::string("plain");
      case LimitKind::forbid: return std::string(rule.measure.id == "container" ? "WAV" : "none");
      case LimitKind::require: return c.items.front();
      case LimitKind::none: break;
    }
  }
  if (above && below) return (*above + *below) / 2;
  if (above) return *above - (*above == 0 && catalog().find(rule.measure.id)->unit != Unit::dbtp &&
                                      catalog().find(rule.measure.id)->unit != Unit::db ? 0 : little(rule.measure.id, *above));
  return *below + little(rule.measure.id, *below);
}

Value failing_value(const Rule& rule, const Comparison& c) {
  const double step = little(rule.measure.id, c.number) + rule.tolerance;
  switch (c.kind) {
    case LimitKind::above:
      // Rates are steps of their own: the next usual one.
      if (rule.measure.id == "sample_rate") return 176400.0;
      return c.number + step;
    case LimitKind::below: return c.number - step;
    case LimitKind::unless: {
      const auto& first = c.accepted.front();
      if (const auto* yes = std::get_if<bool>(&first)) return !*yes;
      if (std::holds_alternative<std::string>(first)) {
        if (rule.measure.id == "bit_rate_mode") return std::string("variable");
        if (std::find(c.accepted.begin(), c.accepted.end(), Value(std::string("strong"))) != c.accepted.end()) return std::string("some");
        if (std::get<std::string>(first) == "none") return std::string("there");
        for (const char* other : {"CAF", "MP3"}) {
          if (std::find(c.accepted.begin(), c.accepted.end(), Value(std::string(other))) == c.accepted.end())
            return std::string(other);
        }
      }
      // A value that is usual elsewhere and not accepted here.
      const std::vector<double> usual = rule.measure.id == "sample_rate"  ? std::vector<double>{44100, 48000, 47952}
                                        : rule.measure.id == "bit_depth" ? std::vector<double>{16, 24, 8}
                                        : rule.measure.id == "channels"  ? std::vector<double>{2, 1, 3}
                                                                         : std::vector<double>{5};
      for (const double v : usual) {
        if (std::find(c.accepted.begin(), c.accepted.end(), Value(v)) == c.accepted.end()) return v;
      }
      return usual.back();
    }
    case LimitKind::multiple_of: return 500 * c.number + 1;
    case LimitKind::matches: return std::string("coded");
    case LimitKind::forbid: return c.items.front();
    case LimitKind::require: return std::string("none");
    case LimitKind::none: break;
  }
  return 0.0;
}

// A set that sharpens another's limit keeps the softer one behind it: the harsher of those broken decides.
Status expected(const Rule& rule, const Comparison& chosen, const Value& bad) {
  Status status = chosen.status;
  if (const auto* v = std::get_if<double>(&bad)) {
    for (const auto& c : rule.comparisons) {
      const bool broken = (c.kind == LimitKind::above && *v > c.number + rule.tolerance) ||
                          (c.kind == LimitKind::below && *v < c.number - rule.tolerance);
      if (broken) status = std::max(status, c.status);
    }
  }
  return status;
}

std::string shown(const Value& v) {
  if (const auto* d = std::get_if<double>(&v)) return std::to_string(*d);
  if (const auto* b = std::get_if<bool>(&v)) return *b ? "yes" : "no";
  return std::get<std::string>(v);
}

Status status_of(const RuleSet& set, const Rule& rule, const Value& value) {
  Sample s = start(rule);
  make_value(s, rule.measure.id, value);
  RuleSet one = set;
  one.rules = {rule};
  one.waivers.clear();
  const auto role = rule.conditions.roles.empty() ? "" : rule.conditions.roles.front();
  const auto sheet = check(s, {one}, role);
  REQUIRE_MESSAGE(!sheet.error, (sheet.error ? sheet.error->text : ""));
  REQUIRE_MESSAGE(sheet.findings.size() == 1, "skipped: " << (sheet.skipped.empty() ? "?" : sheet.skipped[0].reason));
  const auto got = number(sheet.findings[0].outcome);
  INFO("read " << (got ? std::to_string(*got) : "no number"));
  return sheet.findings[0].status;
}

void prove(const char* name) {
  const auto set = load_rule_set(name, {}, catalog());
  REQUIRE(set.has_value());
  for (const auto& rule : set->rules) {
    if (!rule.enabled) continue;
    // What a set takes over unchanged is proven where it is written.
    const bool own = std::any_of(rule.origins.begin(), rule.origins.end(), [&](const auto& origin) { return origin.second == name; });
    if (!own) continue;
    CAPTURE(rule.id);
    const auto good = passing_value(rule);
    INFO("meets it with " << shown(good));
    CHECK(status_of(*set, rule, good) == Status::pass);
    for (const auto& comparison : rule.comparisons) {
      const auto bad = failing_value(rule, comparison);
      INFO("breaks it with " << shown(bad));
      CHECK(status_of(*set, rule, bad) == expected(rule, comparison, bad));
    }
  }
}

}  // namespace

TEST_SUITE("faults/shipped rules") {
  TEST_CASE("common: each rule passes and fails on packaged music") { prove("common"); }
  TEST_CASE("premaster: each rule passes and fails on packaged music") { prove("premaster"); }
  TEST_CASE("stems: each rule passes and fails on packaged music") { prove("stems"); }
  TEST_CASE("cd: each rule passes and fails on packaged music") { prove("cd"); }
  TEST_CASE("hi-res: each rule passes and fails on packaged music") { prove("hi-res"); }
  TEST_CASE("streaming-music: each rule passes and fails on packaged music") { prove("streaming-music"); }
  TEST_CASE("broadcast-r128: each rule passes and fails on packaged music") { prove("broadcast-r128"); }
  TEST_CASE("broadcast-r128-short: each rule passes and fails on packaged music") { prove("broadcast-r128-short"); }
  TEST_CASE("broadcast-a85: each rule passes and fails on packaged music") { prove("broadcast-a85"); }
  TEST_CASE("film-tv-stem: each rule passes and fails on packaged music") { prove("film-tv-stem"); }
  TEST_CASE("vinyl-premaster: each rule passes and fails on packaged music") { prove("vinyl-premaster"); }
  TEST_CASE("podcast: each rule passes and fails on packaged music") { prove("podcast"); }
  TEST_CASE("audiobook: each rule passes and fails on packaged music") { prove("audiobook"); }
  TEST_CASE("game-asset: each rule passes and fails on packaged music") { prove("game-asset"); }
}
