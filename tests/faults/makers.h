// Music whose measurements take wanted values, near enough to stand on the right side of a limit.
#pragma once

#include <functional>
#include <map>
#include <string>
#include <vector>

#include <sendworthy/check.h>
#include <sendworthy/rule_set.h>

#include "faults/sample.h"

namespace sendworthy::test {

struct Sample {
  Clip clip = test::music();
  Wrapping wrapping;
  MeasureRequest request;  ///< of the rule that is proven
};

// Makes the measurement take a wanted value, near enough to stand on the right side of a limit.
using Maker = std::function<void(Sample&, double)>;

[[nodiscard]] FileSheet check(const Sample& sample, const std::vector<RuleSet>& sets, const std::string& role);

/// By measurement id.
[[nodiscard]] const std::map<std::string, Maker>& makers();
void make_value(Sample& s, const std::string& id, const Value& wanted);

}  // namespace sendworthy::test
