// Words and arithmetic shared by reading and judging rules: limits in words, amounts in remedies, units of differences.
#pragma once

#include <sendworthy/catalog.h>
#include <sendworthy/rule_set.h>

#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace sendworthy::judge {

/// The unit of a difference of two values of this unit: LUFS → LU, dBTP and dBFS → dB, text and bool → "equal" (bool).
[[nodiscard]] Unit unit_of_difference(Unit unit);

/// A limit, `-0.45 dBFS`, `3`, `44100 Hz`: with at least `decimals`, and as many more (to 6) as the number itself has.
[[nodiscard]] std::string limit_with_unit(double limit, Unit unit, int decimals);

/// A measured value, `-12.5 LUFS`: with exactly `decimals`.
[[nodiscard]] std::string value_with_unit(double value, Unit unit, int decimals);

/// Whole numbers as a reader would list them: "2", "1 or 6", "3 to 8, 10 or 12".
[[nodiscard]] std::string number_list(std::vector<int> numbers);

/// What the placeholders of a rule's texts stand for. An empty member: nothing is known to put there.
struct Amounts {
  std::string change;           ///< "1.4 dB", how far to move a level, without its sign
  std::string direction;        ///< "down" or "up"
  std::string value;            ///< "-9.3 LUFS"
  std::string limit;            ///< "-16.0 LUFS"
  std::string true_peak_after;  ///< "-1.0 dBTP"
};

/// `change`, `direction`, `value`, `limit`, `true_peak_after`: written in braces in `why` and `remedy`.
[[nodiscard]] const std::vector<std::string_view>& placeholders();

/// The first word in braces that is no placeholder; "" when all are.
[[nodiscard]] std::string unknown_placeholder(std::string_view text);

/// Fills placeholders. A clause (up to `;`) or sentence that needs an amount nobody knows is left out.
[[nodiscard]] std::string fill(std::string_view text, const Amounts& amounts);

/// Whether the text already says the amount itself.
[[nodiscard]] bool says_amount(std::string_view text);

/// The limits of all comparisons with this status and of the kind of `decisive`, in words. `value`: more decimals are
/// printed where the value and the limit would look alike.
[[nodiscard]] std::string limit_words(const Rule& rule, const Comparison& decisive, Unit unit, int decimals,
                                      std::optional<double> value);

}  // namespace sendworthy::judge
