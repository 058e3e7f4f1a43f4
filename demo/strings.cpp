// Bass and guitar.
#include <algorithm>
#include <array>

#include "players.h"

namespace demo {
namespace {

/// A plucked string: a burst of noise circulating in a delay line that loses its highs (Karplus and Strong 1983), with
/// a comb for the place of the pick and a first-order all-pass that tunes the fraction of a sample (Jaffe and Smith
/// 1983).
class String {
 public:
  /// `brightness` 0…1 shapes the pick, `ring_s` is the time in which the fundamental falls by 60 dB.
  String(double hz, double brightness, double pick_place, double ring_s, Random& random) {
    constexpr double kLossDelay = 0.5;  // of the two-point average in the loop
    const double period = kRate / hz;
    const auto whole = static_cast<std::size_t>(period - kLossDelay - 0.2);
    const double fraction = period - kLossDelay - static_cast<double>(whole);
    tuning_ = (1 - fraction) / (1 + fraction);
    line_.resize(whole);
    loss_ = std::pow(10.0, -3.0 / (hz * ring_s));
    OnePole pick(600 + 9000 * brightness * brightness);
    std::vector<double> burst(whole);
    double mean = 0;
    for (double& x : burst) mean += x = pick(random.both());
    mean /= static_cast<double>(whole);
    const auto comb = std::max<std::size_t>(1, static_cast<std::size_t>(pick_place * static_cast<double>(whole)));
    for (std::size_t i = 0; i < whole; ++i) line_[i] = burst[i] - mean - (burst[(i + whole - comb) % whole] - mean);
    double power = 0;
    for (double x : line_) power += x * x;
    const double scale = 1 / std::sqrt(power / static_cast<double>(whole) + 1e-12);
    for (double& x : line_) x *= scale;
  }
  double operator()() {
    const double out = line_[at_];
    const double smooth = loss_ * 0.5 * (out + before_);
    before_ = out;
    tuned_ = tuning_ * (smooth - tuned_) + smooth_before_;
    smooth_before_ = smooth;
    line_[at_] = tuned_;
    if (++at_ == line_.size()) at_ = 0;
    return out;
  }
  void damp(double factor) { loss_ *= factor; }

 private:
  std::vector<double> line_;
  std::size_t at_ = 0;
  double loss_ = 1, before_ = 0, tuning_ = 0, tuned_ = 0, smooth_before_ = 0;
};

/// Lays one plucked note into a mono buffer; it is damped over 30 ms at `end`.
void pluck(std::vector<float>& into, std::size_t start, std::size_t end, int note, double strength, double pick_place,
           Random& random) {
  String string(hz_of(note + random.around(0, 0.025)), 0.35 + 0.5 * strength, pick_place, 5.5 - 0.04 * (note - 40),
                random);
  const std::size_t release = static_cast<std::size_t>(0.03 * kRate);
  const double soft = 0.0012 * kRate;  // the pick takes a millisecond to let go
  double gain = 0.11 * strength;
  for (std::size_t n = start; n < end + release && n < into.size(); ++n) {
    double edge = std::min(1.0, static_cast<double>(n - start) / soft);
    if (n >= end) edge *= static_cast<double>(end + release - n) / static_cast<double>(release);
    into[n] += static_cast<float>(gain * edge * string());
  }
}

/// The air and top of a wooden body: three broad resonances beside the direct sound, and no rumble.
void add_body(std::vector<float>& mono, double shift) {
  StateVariable air(104 * shift, 2.5), top(203 * shift, 2.0), back(410 * shift, 1.6);
  OnePole rumble(70), rumble_2(70);
  OnePole sparkle(5200);
  for (float& sample : mono) {
    double x = sample;
    double y = 0.75 * x + 0.5 * air.band(x) + 0.55 * top.band(x) + 0.35 * back.band(x);
    y += 0.6 * (x - sparkle(x));
    y -= rumble(y);
    y -= rumble_2(y);
    sample = static_cast<float>(y);
  }
}

void lay_in(Stereo& part, const std::vector<float>& mono, Pan pan) {
  for (std::size_t n = 0; n < mono.size(); ++n) part.add(n, mono[n] * pan.left, mono[n] * pan.right);
}

/// Frames from a step to the next step that is not a hold, at most `most` bars on.
std::size_t hold_until(int bar, int step, std::string_view PlayerBar::*line, char hold) {
  int at = bar * 16 + step + 1;
  while (at < kBars * 16 && (players_at(at / 16).*line)[static_cast<std::size_t>(at % 16)] == hold) ++at;
  return frame_of(at / 16, at % 16);
}

}  // namespace

Stereo play_bass() {
  Stereo part;
  Random random(201);
  for (int bar = 0; bar < kBars; ++bar) {
    const std::string_view steps = players_at(bar).bass;
    for (int step = 0; step < 16; ++step) {
      const char what = steps[static_cast<std::size_t>(step)];
      if (what == '.' || what == '-') continue;
      const int root = chord_at(bar, step).bass;
      const int note = what == '5' ? (root + 7 > 43 ? root - 5 : root + 7) : what == '8' ? root + 12 : root;
      const bool last = bar >= 28;
      const std::size_t start = frame_of(bar, step) + static_cast<std::size_t>(random.unit() * 0.004 * kRate);
      const std::size_t end = last ? frame_of(kBars) : hold_until(bar, step, &PlayerBar::bass, '-') - kRate / 100;
      const double strength = (step % 4 == 0 ? 1.0 : 0.86) * random.around(1.0, 0.05);
      const double hz = hz_of(note), fall = decay_per_frame(last ? 0.9 : 0.75);
      Saw saw(0.5);
      StateVariable tone;
      double phase = 0, envelope = strength, release = 1;
      for (std::size_t n = start; n < kFrames && release > 1e-4; ++n) {
        const double t = static_cast<double>(n - start) / kRate;
        if ((n - start) % 32 == 0) tone.set(240 + 1500 * strength * std::exp(-t / 0.09) + 260 * envelope, 0.9);
        phase += hz / kRate;
        const double finger = std::min(1.0, t / 0.003);
        const double x = 0.6 * tone.low(saw(hz)) + 0.55 * sine(phase);
        const double y = 0.62 * std::tanh(1.5 * envelope * x) * finger * release;
        part.add(n, y, y);
        envelope *= fall;
        if (n >= end) release *= last ? 0.99992 : 0.9975;
      }
    }
  }
  return part;
}

Stereo play_guitar() {
  Stereo part;
  Random random(202);
  std::vector<float> picked(kFrames);
  for (int bar = 0; bar < kBars; ++bar) {
    const std::string_view steps = players_at(bar).picking;
    for (int step = 0; step < 16; ++step) {
      const char what = steps[static_cast<std::size_t>(step)];
      if (what < '0' || what > '5') continue;
      // "0" is the lowest string the chord has.
      auto string = static_cast<std::size_t>(what - '0');
      const Chord& chord = chord_at(bar, step);
      while (string < 5 && chord.strings[string] == 0) ++string;
      const auto start =
          static_cast<std::size_t>(static_cast<double>(frame_of(bar, step)) + random.both() * 0.004 * kRate);
      const double strength = (what == '0' ? 0.95 : step % 4 == 0 ? 0.85 : 0.7) * random.around(1.0, 0.1);
      // A string rings until it is plucked again: about five steps on the way through the pattern.
      const std::size_t ring = bar >= 28 ? kTail + 2 * kBar : (what == '0' ? 15 : 7) * kSixteenth;
      pluck(picked, start, start + ring, chord.strings[string], strength, 0.19, random);
    }
  }
  add_body(picked, 1.0);
  lay_in(part, picked, Pan(-0.12));

  for (const double side : {-0.8, 0.8}) {
    std::vector<float> strummed(kFrames);
    for (int bar = 0; bar < kBars; ++bar) {
      const std::string_view steps = players_at(bar).strum;
      for (int step = 0; step < 16; ++step) {
        const char what = steps[static_cast<std::size_t>(step)];
        if (what == '.') continue;
        const bool down = what == 'D' || what == 'd';
        const double strength = (what == 'D' || what == 'U' ? 0.9 : 0.62) * random.around(1.0, 0.08);
        const bool last = bar >= 28;
        const std::size_t end = last ? kFrames : hold_until(bar, step, &PlayerBar::strum, '.');
        double at = static_cast<double>(frame_of(bar, step)) + random.both() * 0.005 * kRate;
        const Chord& chord = chord_at(bar, step);
        for (int i = 0; i < 6; ++i) {
          const int string = down ? i : 5 - i;
          const int note = chord.strings[static_cast<std::size_t>(string)];
          if (note == 0 || (!down && string < 2)) continue;
          pluck(strummed, static_cast<std::size_t>(at), end, note, 0.72 * strength * random.around(1.0, 0.1), 0.13,
                random);
          at += random.around(last ? 0.016 : 0.0075, 0.002) * kRate;
        }
      }
    }
    add_body(strummed, side < 0 ? 0.97 : 1.04);
    lay_in(part, strummed, Pan(side));
  }
  return part;
}

}  // namespace demo
