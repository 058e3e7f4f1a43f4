// The drum kit and the hand percussion, from sines and filtered noise.
#include <algorithm>
#include <array>

#include "players.h"

namespace demo {
namespace {

/// Where a hit really falls: a few milliseconds off the grid, as hands do.
std::size_t played(std::size_t frame, Random& random, double spread_s) {
  return static_cast<std::size_t>(static_cast<double>(frame) + random.both() * spread_s * kRate);
}

template <class Hit>
void play_pattern(std::string_view DrumBar::*drum, Random& random, double spread_s, Hit hit) {
  for (int bar = 0; bar < kBars; ++bar) {
    const std::string_view steps = drums_at(bar).*drum;
    for (int step = 0; step < 16; ++step) {
      const double strength = strength_of(steps[static_cast<std::size_t>(step)]);
      if (strength > 0) hit(played(frame_of(bar, step), random, spread_s), strength * random.around(1.0, 0.06));
    }
  }
}

/// A stretch of noise between two corners, with its own attack and decay, laid into the part.
struct Burst {
  double low_cut_hz, high_cut_hz;
  double attack_s, decay_s, length_s;
  double level;
};
void add_burst(Stereo& part, std::size_t frame, const Burst& burst, Pan pan, double spread, Random& random) {
  StateVariable cut_left(burst.low_cut_hz, 0.8), cut_right(burst.low_cut_hz, 0.8);
  OnePole dull_left(burst.high_cut_hz), dull_right(burst.high_cut_hz);
  const double fall = decay_per_frame(burst.decay_s);
  const auto frames = static_cast<std::size_t>(burst.length_s * kRate);
  const double attack = std::max(1.0, burst.attack_s * kRate), release = 0.004 * kRate;
  double envelope = burst.level;
  for (std::size_t n = 0; n < frames; ++n) {
    const double common = random.both();
    const double l = dull_left(cut_left.high(common + spread * (random.both() - common)));
    const double r = dull_right(cut_right.high(common + spread * (random.both() - common)));
    const double edge = std::min({1.0, static_cast<double>(n) / attack, static_cast<double>(frames - n) / release});
    part.add(frame + n, envelope * edge * l * pan.left, envelope * edge * r * pan.right);
    envelope *= fall;
  }
}

void add_closed_hat(Stereo& part, std::size_t frame, double strength, Random& random) {
  add_burst(part, frame, {7200, 19000, 0.0004, 0.018 + 0.022 * strength, 0.16, 0.32 * strength}, Pan(0.28), 0.35,
            random);
}

/// Metal: six inharmonic squares, high-passed, over noise.
void add_metal(Stereo& part, std::size_t frame, double seconds, double decay_s, double level, Pan pan, Random& random) {
  constexpr std::array<double, 6> kHz = {2051, 3043, 3659, 4327, 5399, 6151};
  std::array<double, 6> phase{};
  for (double& p : phase) p = random.unit();
  StateVariable high(6500, 0.7), high_2(6500, 0.7);
  const double fall = decay_per_frame(decay_s);
  const auto frames = static_cast<std::size_t>(seconds * kRate);
  double envelope = level;
  for (std::size_t n = 0; n < frames; ++n) {
    double x = 0;
    for (std::size_t i = 0; i < kHz.size(); ++i) {
      phase[i] += kHz[i] / kRate;
      phase[i] -= std::floor(phase[i]);
      x += sine(phase[i] + 1 + 0.27 * sine(2.4 * phase[i]));
    }
    x = high_2.high(high.high(x / 6));
    const double edge = std::min({1.0, static_cast<double>(n) / 40, static_cast<double>(frames - n) / 200});
    part.add(frame + n, envelope * edge * x * pan.left, envelope * edge * x * pan.right);
    envelope *= fall;
  }
}

}  // namespace

Stereo play_kick() {
  Stereo part;
  Random random(101);
  play_pattern(&DrumBar::kick, random, 0.001, [&](std::size_t frame, double strength) {
    constexpr double kSeconds = 0.42;
    const auto frames = static_cast<std::size_t>(kSeconds * kRate);
    double phase = 0, beater = 1;
    OnePole felt(3800);
    for (std::size_t n = 0; n < frames; ++n) {
      const double t = static_cast<double>(n) / kRate;
      phase += (49 + 92 * std::exp(-t / 0.022) + 160 * std::exp(-t / 0.004)) / kRate;
      const double body = sine(phase) * std::exp(-t / 0.125);
      const double click = felt(random.both()) * beater;
      beater *= 0.9935;
      const double edge = std::min({1.0, static_cast<double>(n) / 24, static_cast<double>(frames - n) / 1500});
      const double y = std::tanh(1.5 * (body + 0.28 * click) * strength) * edge;
      part.add(frame + n, y, y);
    }
  });
  return part;
}

Stereo play_snare() {
  Stereo part;
  Random random(102);
  play_pattern(&DrumBar::snare, random, 0.002, [&](std::size_t frame, double strength) {
    const double tune = random.around(1.0, 0.008);
    const auto frames = static_cast<std::size_t>(0.34 * kRate);
    for (std::size_t n = 0; n < frames; ++n) {
      const double t = static_cast<double>(n) / kRate;
      const double bend = 1 + 0.25 * std::exp(-t / 0.012);
      const double head =
          sine(187 * tune * bend * t) * std::exp(-t / 0.075) + 0.55 * sine(331 * tune * t) * std::exp(-t / 0.05);
      const double edge = std::min({1.0, static_cast<double>(n) / 12, static_cast<double>(frames - n) / 900});
      part.add(frame + n, 0.42 * strength * head * edge, 0.42 * strength * head * edge);
    }
    add_burst(part, frame, {1500, 13500, 0.0003, 0.05 + 0.055 * strength, 0.45, 0.55 * strength}, Pan(0), 0.2, random);
    add_burst(part, frame, {2800, 17000, 0.0001, 0.006, 0.04, 0.5 * strength}, Pan(0), 0.0, random);
  });
  play_pattern(&DrumBar::side_stick, random, 0.002, [&](std::size_t frame, double strength) {
    const auto frames = static_cast<std::size_t>(0.09 * kRate);
    for (std::size_t n = 0; n < frames; ++n) {
      const double t = static_cast<double>(n) / kRate;
      const double wood = sine(1690 * t) * std::exp(-t / 0.009) + 0.8 * sine(463 * t) * std::exp(-t / 0.016);
      const double edge = std::min({1.0, static_cast<double>(n) / 10, static_cast<double>(frames - n) / 400});
      part.add(frame + n, 0.55 * strength * wood * edge, 0.48 * strength * wood * edge);
    }
    add_burst(part, frame, {3200, 15000, 0.0002, 0.008, 0.05, 0.3 * strength}, Pan(-0.05), 0.1, random);
  });
  return part;
}

Stereo play_percussion() {
  Stereo part;
  Random random(103);
  play_pattern(&DrumBar::hat, random, 0.003,
               [&](std::size_t frame, double strength) { add_closed_hat(part, frame, strength, random); });
  play_pattern(&DrumBar::open_hat, random, 0.003, [&](std::size_t frame, double strength) {
    add_burst(part, frame, {6500, 19000, 0.0006, 0.16, 0.34, 0.3 * strength}, Pan(0.28), 0.35, random);
    add_metal(part, frame, 0.34, 0.2, 0.22 * strength, Pan(0.28), random);
  });
  play_pattern(&DrumBar::shaker, random, 0.004, [&](std::size_t frame, double strength) {
    add_burst(part, frame, {5200, 14000, 0.022, 0.03, 0.15, 0.27 * strength}, Pan(-0.45), 0.3, random);
  });
  play_pattern(&DrumBar::tambourine, random, 0.004, [&](std::size_t frame, double strength) {
    add_metal(part, frame, 0.22, 0.06, 0.42 * strength, Pan(-0.55), random);
    add_burst(part, frame, {7800, 20000, 0.001, 0.045, 0.2, 0.22 * strength}, Pan(-0.55), 0.3, random);
  });
  for (int bar = 0; bar < kBars; ++bar) {
    if (!drums_at(bar).crash) continue;
    const std::size_t frame = played(frame_of(bar), random, 0.001);
    add_burst(part, frame, {2600, 18000, 0.001, 0.85, 6.0, 0.42}, Pan(-0.15), 0.8, random);
    add_burst(part, frame, {6500, 20000, 0.0005, 0.12, 0.6, 0.35}, Pan(-0.15), 0.5, random);
    add_metal(part, frame, 6.0, 1.1, 0.16, Pan(-0.2), random);
  }
  return part;
}

}  // namespace demo
