#include "check/second_opinion.h"

#include <cmath>
#include <string>

#include "base/text.h"

namespace sendworthy {
namespace {

struct Comparison {
  const char* rule;
  const char* measure;
  const char* own_key;
  const char* other_key;
  Unit unit;
  double within;
  bool one_sided;  // only the other meter reading higher is a disagreement
};

constexpr Comparison kComparisons[] = {
    {"second-meter-integrated", "integrated_loudness", "integrated_loudness", "second_meter.integrated_loudness", Unit::lufs, 0.1,
     false},
    {"second-meter-momentary", "max_momentary_loudness", "second_meter.own_momentary", "second_meter.max_momentary_loudness",
     Unit::lufs, 0.1, false},
    {"second-meter-range", "loudness_range", "second_meter.own_range", "second_meter.loudness_range", Unit::lu, 0.3, false},
    {"second-meter-true-peak", "true_peak", "true_peak", "second_meter.true_peak", Unit::dbtp, 0.1, true},
};

const Measurement* find(const std::vector<Measurement>& list, std::string_view key) {
  for (const auto& m : list) {
    if (m.key == key) return &m;
  }
  return nullptr;
}

}  // namespace

std::vector<Finding> second_opinion(const std::vector<Measurement>& measurements) {
  std::vector<Finding> findings;
  for (const auto& comparison : kComparisons) {
    const auto* own = find(measurements, comparison.own_key);
    const auto* other = find(measurements, comparison.other_key);
    Finding f;
    f.ruleset = "second-meter";
    f.rule = comparison.rule;
    f.measure = comparison.measure;
    f.key = comparison.own_key;
    f.unit = comparison.unit;
    f.why = "Two meters that agree are better evidence than one.";
    f.source = "libebur128 on the same samples";
    f.optional = true;
    const auto a = own ? number(own->outcome) : std::nullopt;
    const auto b = other ? number(other->outcome) : std::nullopt;
    if (!a || !b) {
      f.outcome = own ? own->outcome : Outcome(NotMeasured{"not measured"});
      f.status = Status::note;
      f.note = "the second meter has nothing to compare";
    } else {
      const double difference = *b - *a;
      const bool agrees = comparison.one_sided ? difference <= comparison.within : std::abs(difference) <= comparison.within;
      f.outcome = Value(*a);
      f.limit = Value(*b);
      f.limit_text = std::string(comparison.one_sided ? "second meter reads no more than " : "second meter reads ") +
                     base::fixed(*b, 2) + " " + std::string(to_string(comparison.unit));
      f.status = agrees ? Status::pass : Status::warn;
      f.note = "difference " + base::fixed(difference, 2);
      if (!agrees) f.remedy = "Trust neither reading before the cause is known: run \"sendworthy selftest\".";
    }
    f.before_waiver = f.status;
    findings.push_back(std::move(f));
  }
  return findings;
}

}  // namespace sendworthy
