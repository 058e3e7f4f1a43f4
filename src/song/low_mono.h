// What of the low end is lost in mono, and how far its attacks stand over what they leave behind: both can be told of a mix alone.
#pragma once

#include <cstddef>
#include <optional>
#include <span>
#include <vector>

#include "song/low_rows.h"

namespace sendworthy::song {

/// Power of (L + R)/√2 under that of both channels, dB: 0 for equal channels, 3.01 for unlike ones or one alone, more where they
/// cancel; kMostLost at most.
struct MonoLoss {
  double whole_db = 0;    ///< over all of it
  double worst_db = 0;    ///< of the worst second, by steps of 0.1 s, of those within 20 dB of its loudest 5 %
  double worst_at_s = 0;  ///< where that begins
  std::vector<float> seconds_db;  ///< of each second, by steps of 0.1 s from the start on; 0 where it is silent
};
inline constexpr double kMostLost = 60;

/// Sums for MonoLoss, over slow rows.
class MonoSums {
 public:
  MonoSums(double rate_hz, double start_s);
  void add(std::span<const float> left, std::span<const float> right);
  /// Nothing where all is silent.
  [[nodiscard]] std::optional<MonoLoss> finish() const;

 private:
  struct Tenth {
    double power = 0, product = 0;  ///< L² + R², and L·R
  };
  double rate_hz_, start_s_;
  std::size_t tenth_, filled_ = 0;
  std::vector<Tenth> tenths_;
};

/// MonoLoss of any stem of two channels, below `below_hz` as LowRows says. Memory: 160 bytes a second.
class MonoLowMeter {
 public:
  MonoLowMeter(double sample_rate_hz, double below_hz);
  /// The next `frames` of both channels.
  void take(std::span<const float* const> rows, int frames);
  /// At the end, once.
  [[nodiscard]] std::optional<MonoLoss> finish();

 private:
  LowRows rows_;
  MonoSums sums_;
};

/// How far attacks in the low band stand over what follows them.
struct Punch {
  double db = 0;  ///< median over all attacks
  std::size_t attacks = 0;
};

/// Collects Punch over slow rows: level over 30 ms every 5 ms, all channels added. An attack is a rise of 3 dB within 50 ms to no less
/// than 20 dB under the loudest 5 %, 100 ms after the one before at the earliest; its highest level within 80 ms is held against the
/// median level from 100 ms after it up to the next one, 500 ms at most. Common practice, no source.
class PunchMeter {
 public:
  explicit PunchMeter(double rate_hz);
  void add(std::span<const std::vector<float>> rows);
  /// Nothing where nothing attacks.
  [[nodiscard]] std::optional<Punch> finish() const;

 private:
  std::size_t hop_, filled_ = 0;
  double sum_ = 0;
  std::vector<float> hops_;  ///< mean square of each 5 ms
};

}  // namespace sendworthy::song
