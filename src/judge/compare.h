// The closed set of comparisons a rule can make, as one table of functions of plain values.
#pragma once

#include <sendworthy/rule_set.h>
#include <sendworthy/sheet.h>

#include <optional>
#include <string_view>
#include <vector>

namespace sendworthy::judge {

/// What the values of a rule's measurement are, beyond their type.
struct ValueKind {
  bool list = false;         ///< items joined by ", "
  bool ignore_case = false;  ///< texts from a file's format are words of ours: "wav" and "WAV" are the same
  int frames_per_s = 0;      ///< of a duration: `unless` compares whole frames; 0: plain numbers
};

struct Decision {
  Status status = Status::pass;
  const Comparison* comparison = nullptr;  ///< that decided; for a pass the one that would decide first
  bool within_tolerance = false;
  std::optional<Value> limit;
};

/// How far `value` lies beyond a limit, in its own unit; 0 or less: not beyond. Values that differ by less than 1e-9,
/// or by the last bits of a large number, are equal: -17.8 lies 0.2 above -18.0 although the doubles say
/// 0.19999999999999929.
[[nodiscard]] double beyond(double value, const Comparison& comparison, int frames_per_s = 0);

/// Whether an amount beyond a limit is no more than the tolerance, with the same guard.
[[nodiscard]] bool within(double amount, double tolerance, double scale);

/// The worst of the rule's comparisons. A fail or warn within the tolerance is a warn.
[[nodiscard]] Decision decide(const Rule& rule, const Value& value, const ValueKind& kind);

/// ASCII letters compared without case.
[[nodiscard]] bool same_text(std::string_view a, std::string_view b, bool ignore_case);

/// The items of a list value, trimmed of spaces.
[[nodiscard]] std::vector<std::string_view> list_items(std::string_view list);

}  // namespace sendworthy::judge
