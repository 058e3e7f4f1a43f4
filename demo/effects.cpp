#include "effects.h"

#include <algorithm>
#include <array>

namespace demo {
namespace {

class DelayLine {
 public:
  explicit DelayLine(std::size_t frames) : buffer_(std::max<std::size_t>(frames, 1)) {}
  float oldest() const { return buffer_[at_]; }
  void push(float x) {
    buffer_[at_] = x;
    if (++at_ == buffer_.size()) at_ = 0;
  }

 private:
  std::vector<float> buffer_;
  std::size_t at_ = 0;
};

/// Schroeder's all-pass: smears a click into a burst without colouring its long-term spectrum.
class AllPass {
 public:
  explicit AllPass(std::size_t frames) : line_(frames) {}
  float operator()(float x) {
    const float delayed = line_.oldest();
    const float fed = x - 0.6f * delayed;
    line_.push(fed);
    return delayed + 0.6f * fed;
  }

 private:
  DelayLine line_;
};

}  // namespace

void add_room(Stereo& part, const Room& room) {
  constexpr std::size_t kLines = 8;
  // Mutually prime lengths between 25 and 75 ms, moved a little per room so that no two stems ring alike.
  constexpr std::array<std::size_t, kLines> kLengths = {1213, 1471, 1721, 2011, 2393, 2801, 3187, 3571};
  Random random(room.seed);
  std::vector<DelayLine> lines;
  std::array<float, kLines> loss{}, damped{};
  for (std::size_t i = 0; i < kLines; ++i) {
    const std::size_t length = kLengths[i] + random.bits() % 41;
    lines.emplace_back(length);
    loss[i] = static_cast<float>(std::pow(10.0, -3.0 * static_cast<double>(length) / (room.decay_s * kRate)) /
                                 std::sqrt(static_cast<double>(kLines)));
  }
  std::array<AllPass, 4> diffuse = {AllPass(149 + random.bits() % 17), AllPass(227 + random.bits() % 17),
                                    AllPass(379 + random.bits() % 17), AllPass(521 + random.bits() % 17)};
  DelayLine ahead_left(static_cast<std::size_t>(room.pre_delay_s * kRate));
  DelayLine ahead_right(static_cast<std::size_t>(room.pre_delay_s * kRate));
  OnePole low_left(room.low_cut_hz), low_right(room.low_cut_hz), low_left_2(room.low_cut_hz),
      low_right_2(room.low_cut_hz);
  const auto damping = static_cast<float>(1.0 - std::exp(-2.0 * std::numbers::pi * room.damping_hz / kRate));
  const auto level = static_cast<float>(from_db(room.level_db));

  for (std::size_t n = 0; n < part.left.size(); ++n) {
    double l = part.left[n], r = part.right[n];
    l -= low_left(l);
    r -= low_right(r);
    l -= low_left_2(l);
    r -= low_right_2(r);
    const float early_left = ahead_left.oldest(), early_right = ahead_right.oldest();
    ahead_left.push(static_cast<float>(l));
    ahead_right.push(static_cast<float>(r));
    const float in_left = diffuse[1](diffuse[0](early_left));
    const float in_right = diffuse[3](diffuse[2](early_right));

    std::array<float, kLines> x{};
    for (std::size_t i = 0; i < kLines; ++i) {
      damped[i] += damping * (lines[i].oldest() - damped[i]);
      x[i] = damped[i];
    }
    part.left[n] += level * (x[0] - x[2] + x[4] - x[6]);
    part.right[n] += level * (x[1] - x[3] + x[5] - x[7]);
    for (std::size_t half = 1; half < kLines; half *= 2) {  // fast Hadamard transform
      for (std::size_t i = 0; i < kLines; i += 2 * half) {
        for (std::size_t j = i; j < i + half; ++j) {
          const float a = x[j], b = x[j + half];
          x[j] = a + b;
          x[j + half] = a - b;
        }
      }
    }
    for (std::size_t i = 0; i < kLines; ++i) lines[i].push(x[i] * loss[i] + (i % 2 == 0 ? in_left : in_right));
  }
}

void add_echo(Stereo& part, std::span<const Throw> throws, double level_db, double feedback) {
  constexpr std::size_t kDottedEighth = 3 * kSixteenth;
  constexpr double kRampFrames = 480;  // a send that opens at once would click
  DelayLine left(kDottedEighth), right(kDottedEighth);
  OnePole dull(3500), thin(300);
  const double level = from_db(level_db);
  for (std::size_t n = 0; n < part.left.size(); ++n) {
    double send = 0;
    for (const Throw& window : throws) {
      if (n < window.start_frame || n >= window.end_frame) continue;
      const double edge = static_cast<double>(std::min(n - window.start_frame, window.end_frame - n));
      send = std::min(1.0, edge / kRampFrames);
    }
    const double from_left = left.oldest(), from_right = right.oldest();
    double in = send * 0.5 * (part.left[n] + part.right[n]) + feedback * from_right;
    in = dull(in);
    in -= thin(in);
    left.push(static_cast<float>(in));
    right.push(static_cast<float>(from_left));
    part.left[n] += static_cast<float>(level * from_left);
    part.right[n] += static_cast<float>(level * from_right);
  }
}

void narrow_low_end(Stereo& part, double hz) {
  OnePole low(hz);
  for (std::size_t n = 0; n < part.left.size(); ++n) {
    const double mid = 0.5 * (part.left[n] + part.right[n]);
    double side = 0.5 * (part.left[n] - part.right[n]);
    side -= low(side);
    part.left[n] = static_cast<float>(mid + side);
    part.right[n] = static_cast<float>(mid - side);
  }
}

void ride_fader(Stereo& part, std::span<const FaderPoint> points) {
  if (points.empty()) return;
  std::size_t next = 0;
  double level_db = points.front().level_db, from = level_db;
  double gain = from_db(level_db);
  for (std::size_t n = 0; n < part.left.size(); ++n) {
    if (n % 64 == 0) {
      while (next < points.size() && n >= frame_of(points[next].bar)) {
        from = level_db;
        ++next;
      }
      if (next > 0) {
        const double along = static_cast<double>(n - frame_of(points[next - 1].bar)) / static_cast<double>(kBar);
        level_db = from + (points[next - 1].level_db - from) * std::min(along, 1.0);
        gain = from_db(level_db);
      }
    }
    part.left[n] *= static_cast<float>(gain);
    part.right[n] *= static_cast<float>(gain);
  }
}

}  // namespace demo
