// Windows of a third of a second of two files, held against each other at one lag or at all lags nearby: what an alignment is followed by.
#pragma once

#include <cstdint>
#include <span>
#include <vector>

#include "pair/correlate.h"
#include "pair/reader.h"

namespace sendworthy::pair {

struct WindowFit {
  double lag = 0;
  double likeness = 0;  ///< correlation, 0 … 1
};
/// Where one window of the old file stands in the new one.
struct WindowPoint {
  std::int64_t at = 0;
  double lag = 0, likeness = 0;
};

class Windows {
 public:
  Windows(Reader old_file, Reader new_file, double rate);

  [[nodiscard]] Reader& old_file() { return old_; }
  [[nodiscard]] Reader& new_file() { return new_; }
  /// Frames of a window, and how far to either side of a lag is searched: onsets tell one to 10 ms.
  [[nodiscard]] std::int64_t length() const { return length_; }
  [[nodiscard]] std::int64_t reach() const { return reach_; }

  /// Takes the old file's window at `at`, which the others here are about; false where it is silent.
  bool take(std::int64_t at);
  /// Correlation with what stands `lag` later in the new file: the best pairing of channels, whatever their signs.
  [[nodiscard]] double likeness(std::int64_t at, std::int64_t lag);
  /// The best lag within reach of this one.
  [[nodiscard]] WindowFit search(std::int64_t at, double lag);
  /// The lag between whole frames: up to the highest correlation nearby, then from that and those beside it. `here`: likeness at `lag`.
  [[nodiscard]] WindowPoint placed(std::int64_t at, std::int64_t lag, double here);

 private:
  Reader old_, new_;
  std::int64_t length_, reach_;
  Correlator correlator_;
  Rows a_, b_, around_;
  std::vector<float> first_, second_, values_, total_;
};

}  // namespace sendworthy::pair
