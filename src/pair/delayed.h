// A file read a lag later that need not be whole frames.
#pragma once

#include <array>
#include <cstdint>

#include "pair/reader.h"

namespace sendworthy::pair {

/// An offset this near to a whole frame is one.
inline constexpr double kWholeFrame = 0.002;

/// Taps of the fractional delay.
inline constexpr int kDelayTaps = 64;

/// Frame n of what it reads is what stands at n + lag in the file, up to `cut` times half the rate: fractions of a frame by a Kaiser-windowed
/// sinc. The file has to stay where it is.
class Delayed {
 public:
  Delayed(Reader& file, double lag, double cut);
  void read(std::int64_t at, std::int64_t frames, Rows& rows);

 private:
  Reader& file_;
  std::int64_t whole_;
  bool plain_ = false;
  std::array<float, kDelayTaps> taps_{};
  Rows wide_;
};

}  // namespace sendworthy::pair
