// A chain of second-order sections over two channels side by side.
#pragma once

#include <utility>
#include <vector>

#include "dsp/biquad.h"

namespace sendworthy::dsp {

/// A cascade with its state, two channels side by side, transposed direct form II. State that decayed below 1e-30 is set to
/// zero, since arithmetic on denormal numbers is many times slower.
class PairCascade {
 public:
  /// Both channels in one register: the compilers' own vector type, since two lanes are the same on every processor.
  using Pair = double __attribute__((vector_size(16)));
  explicit PairCascade(std::vector<Biquad> sections) : sections_(std::move(sections)), state_(sections_.size()) {}
  Pair process(double first, double second) {
    Pair x{first, second};
    for (std::size_t i = 0; i < sections_.size(); ++i) {
      const auto& c = sections_[i];
      auto& s = state_[i];
      const Pair y = c.b0 * x + s.s1;
      s.s1 = c.b1 * x - c.a1 * y + s.s2;
      s.s2 = c.b2 * x - c.a2 * y;
      x = y;
    }
    return x;
  }

  /// Of what comes out: squares of both channels, and their product.
  struct Sums {
    double first = 0, second = 0, product = 0;
  };
  /// `frames` samples of each channel; the output itself is not kept.
  Sums sums(const float* first, const float* second, int frames);

  void flush_denormals();

  struct State {
    Pair s1{}, s2{};
  };

 private:
  std::vector<Biquad> sections_;
  std::vector<State> state_;
};

}  // namespace sendworthy::dsp
