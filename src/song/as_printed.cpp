#include "song/as_printed.h"

#include <charconv>
#include <cmath>

#include "base/text.h"

namespace sendworthy::song {

double as_printed(double value, int decimals) {
  if (!std::isfinite(value)) return value;
  const auto text = base::fixed(value, decimals);
  double printed = value;
  std::from_chars(text.data(), text.data() + text.size(), printed);
  return printed;
}

bool at_least(double value, double limit, int decimals) { return as_printed(value, decimals) >= as_printed(limit, decimals); }
bool at_most(double value, double limit, int decimals) { return as_printed(value, decimals) <= as_printed(limit, decimals); }

}  // namespace sendworthy::song
