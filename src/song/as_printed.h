// Numbers against limits, both as they are printed: what a person reads, and what a plan is judged by, are the same.
#pragma once

namespace sendworthy::song {

/// As base::fixed writes it with so many decimals; infinity and what is no number stay what they are.
[[nodiscard]] double as_printed(double value, int decimals = 1);
/// A value that is printed as its limit keeps to it.
[[nodiscard]] bool at_least(double value, double limit, int decimals = 1);
[[nodiscard]] bool at_most(double value, double limit, int decimals = 1);

}  // namespace sendworthy::song
