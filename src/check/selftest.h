// The published test signals, made here and measured on this machine.
#pragma once

#include <string>
#include <vector>

#include <sendworthy/result.h>

namespace sendworthy {

struct SelftestRow {
  std::string signal;     ///< "Tech 3341 case 9"
  int sample_rate = 0;
  std::string quantity;   ///< "short-term after 3 s"
  double expected = 0, lower = 0, upper = 0;  ///< lower and upper bound of what passes
  double read = 0;
  std::string second;     ///< the second meter's reading, or "-"
  std::string unit, source;
  bool passed = false;
};

/// Runs every signal at 44.1, 48 and 96 kHz. Only our reading decides `passed`.
[[nodiscard]] std::vector<SelftestRow> run_selftest(int jobs);

}  // namespace sendworthy
