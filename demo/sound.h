// What every player needs: stereo buffers, random numbers that are the same everywhere, small filters.
#pragma once

#include <cmath>
#include <cstddef>
#include <cstdint>
#include <numbers>
#include <vector>

#include "score.h"

namespace demo {

[[nodiscard]] inline double from_db(double db) { return std::pow(10.0, db / 20.0); }
[[nodiscard]] inline double hz_of(double note) { return 440.0 * std::exp2((note - 69.0) / 12.0); }
/// Factor per frame of an exponential that falls by 1/e in `seconds`.
[[nodiscard]] inline double decay_per_frame(double seconds) { return std::exp(-1.0 / (seconds * kRate)); }

/// sin(2π·turns) for turns ≥ 0, from a table: within 2·10⁻⁷, and several times as fast as the real one.
[[nodiscard]] inline double sine(double turns) {
  constexpr std::size_t kSize = 4096;
  static const std::vector<double> table = [] {
    std::vector<double> values(kSize + 1);
    for (std::size_t i = 0; i <= kSize; ++i)
      values[i] = std::sin(2 * std::numbers::pi * static_cast<double>(i) / kSize);
    return values;
  }();
  const double at = turns * kSize;
  const auto whole = static_cast<std::size_t>(at);
  const double* entry = table.data() + whole % kSize;
  return entry[0] + (at - static_cast<double>(whole)) * (entry[1] - entry[0]);
}

/// SplitMix64: small, seeded, the same sequence on every machine.
class Random {
 public:
  explicit Random(std::uint64_t seed) : state_(seed) {}
  std::uint64_t bits() {
    std::uint64_t z = (state_ += 0x9E3779B97F4A7C15u);
    z = (z ^ (z >> 30)) * 0xBF58476D1CE4E5B9u;
    z = (z ^ (z >> 27)) * 0x94D049BB133111EBu;
    return z ^ (z >> 31);
  }
  double unit() { return static_cast<double>(bits() >> 11) * 0x1.0p-53; }  ///< 0 … 1
  double both() { return 2.0 * unit() - 1.0; }                             ///< −1 … 1
  double around(double centre, double spread) { return centre + spread * both(); }

 private:
  std::uint64_t state_;
};

/// One part's audio for the whole song. Full scale is ±1.
struct Stereo {
  Stereo() : left(kFrames), right(kFrames) {}
  void add(std::size_t frame, double l, double r) {
    if (frame >= left.size()) return;
    left[frame] += static_cast<float>(l);
    right[frame] += static_cast<float>(r);
  }
  std::vector<float> left, right;
};

/// Constant-power gains; −1 left, 0 centre, 1 right.
struct Pan {
  explicit Pan(double position)
      : left(std::cos((position + 1) * std::numbers::pi / 4)), right(std::sin((position + 1) * std::numbers::pi / 4)) {}
  double left, right;
};

/// First-order low-pass; subtract its output from its input for a high-pass.
class OnePole {
 public:
  OnePole() = default;
  explicit OnePole(double hz) { set(hz); }
  void set(double hz) { step_ = 1.0 - std::exp(-2.0 * std::numbers::pi * hz / kRate); }
  double operator()(double x) { return state_ += step_ * (x - state_); }

 private:
  double step_ = 1, state_ = 0;
};

/// State-variable filter by the trapezoidal rule: low, band and high at once, stable while it is moved.
class StateVariable {
 public:
  StateVariable() = default;
  StateVariable(double hz, double q) { set(hz, q); }
  void set(double hz, double q) {
    const double g = std::tan(std::numbers::pi * hz / kRate);
    k_ = 1 / q;
    a1_ = 1 / (1 + g * (g + k_));
    a2_ = g * a1_;
    a3_ = g * a2_;
  }
  void step(double x) {
    const double v3 = x - second_;
    band_ = a1_ * first_ + a2_ * v3;
    low_ = second_ + a2_ * first_ + a3_ * v3;
    first_ = 2 * band_ - first_;
    second_ = 2 * low_ - second_;
    high_ = x - k_ * band_ - low_;
  }
  double low(double x) { return step(x), low_; }
  double band(double x) { return step(x), k_ * band_; }  ///< unity gain at the centre
  double high(double x) { return step(x), high_; }

 private:
  double k_ = 1, a1_ = 1, a2_ = 0, a3_ = 0, first_ = 0, second_ = 0, low_ = 0, band_ = 0, high_ = 0;
};

/// Saw with its step smoothed over one sample to either side (polynomial band-limited step).
class Saw {
 public:
  explicit Saw(double phase = 0) : phase_(phase) {}
  double operator()(double hz) {
    const double step = hz / kRate;
    phase_ += step;
    if (phase_ >= 1) phase_ -= 1;
    double y = 2 * phase_ - 1;
    if (phase_ < step) {
      const double t = phase_ / step - 1;
      y += t * t;
    } else if (phase_ > 1 - step) {
      const double t = (phase_ - 1) / step + 1;
      y -= t * t;
    }
    return y;
  }

 private:
  double phase_;
};

/// How loud a step of a pattern is; 0 for a rest.
[[nodiscard]] inline double strength_of(char step) {
  switch (step) {
    case 'X':
      return 1.0;
    case 'x':
      return 0.72;
    case 'o':
      return 0.42;
    default:
      return 0.0;
  }
}

}  // namespace demo
