#include "check/test_signals.h"

#include <algorithm>
#include <cassert>
#include <cmath>
#include <numbers>
#include <numeric>
#include <utility>

namespace sendworthy::signals {
namespace {

constexpr double kTwoPi = 2 * std::numbers::pi;

double amplitude(double dbfs) { return std::pow(10, dbfs / 20); }  // −inf gives 0

audio::StreamFormat real_format(int sample_rate, int channels) {
  return audio::plain_format(sample_rate, channels, audio::SampleKind::real, 64);
}

// A sine of whole frequency repeats after rate/gcd(rate, frequency) frames; one period is all there is to compute.
std::shared_ptr<const std::vector<double>> one_period(int sample_rate, int frequency_hz) {
  const int frames = sample_rate / std::gcd(sample_rate, frequency_hz);
  auto period = std::make_shared<std::vector<double>>(static_cast<std::size_t>(frames));
  for (int n = 0; n < frames; ++n) {
    const auto turns = static_cast<std::int64_t>(n) * frequency_hz % sample_rate;
    (*period)[static_cast<std::size_t>(n)] = std::sin(kTwoPi * static_cast<double>(turns) / sample_rate);
  }
  return period;
}

// Gain of a fade in and out of `fade` frames, raised cosine.
double faded(std::int64_t frame, std::int64_t frames, std::int64_t fade) {
  const auto from_edge = std::min(frame, frames - 1 - frame);
  if (from_edge >= fade) return 1;
  return 0.5 - 0.5 * std::cos(std::numbers::pi * static_cast<double>(from_edge) / static_cast<double>(fade));
}

Signal from_table(std::string name, int sample_rate, std::vector<double> mono) {
  Signal signal;
  signal.name = std::move(name);
  signal.format = real_format(sample_rate, 2);
  signal.frames = static_cast<std::int64_t>(mono.size());
  signal.fill = [table = std::make_shared<const std::vector<double>>(std::move(mono))](
                    std::int64_t first, std::int64_t frames, double* out) {
    for (std::int64_t n = 0; n < frames; ++n) {
      out[2 * n] = out[2 * n + 1] = (*table)[static_cast<std::size_t>(first + n)];
    }
  };
  return signal;
}

std::string case_name(const char* document, int number) {
  return std::string(document) + " case " + std::to_string(number);
}

double bessel_i0(double x) {
  double sum = 1, term = 1;
  for (int k = 1; term > 1e-17 * sum; ++k) {
    term *= (x / 2 / k) * (x / 2 / k);
    sum += term;
  }
  return sum;
}

constexpr int kLowPassHalf = 256;

// Kaiser-windowed sinc for four times the rate; the header gives its figures.
std::vector<double> low_pass() {
  constexpr double kCutoff = 0.47 / 4;
  constexpr double kBeta = 8;
  std::vector<double> taps;
  double sum = 0;
  for (int n = -kLowPassHalf; n <= kLowPassHalf; ++n) {
    const double x = 2 * kCutoff * n;
    const double sinc = n == 0 ? 1 : std::sin(std::numbers::pi * x) / (std::numbers::pi * x);
    const double edge = static_cast<double>(n) / kLowPassHalf;
    taps.push_back(sinc * bessel_i0(kBeta * std::sqrt(1 - edge * edge)) / bessel_i0(kBeta));
    sum += taps.back();
  }
  for (auto& tap : taps) tap /= sum;
  return taps;
}

std::vector<double> burst_case(int sample_rate, int offset) {
  // Everything up to the low-pass is at four times the rate: 24 samples a period at rate/6, 16 at rate/4.
  const std::int64_t frames = sample_rate / 4;
  const std::int64_t fine_frames = 4 * frames;
  const std::int64_t burst = fine_frames / 2 / 24 * 24;  // where a period of the carrier begins
  const std::int64_t fade = sample_rate / 100 * 4;
  std::vector<double> fine(static_cast<std::size_t>(fine_frames));
  for (std::int64_t n = 0; n < fine_frames; ++n) {
    double value = 0;
    if (n < burst) {
      value = 0.5 * std::sin(kTwoPi * static_cast<double>(n % 24) / 24);
    } else if (n < burst + 16) {
      value = std::sin(kTwoPi * static_cast<double>(n - burst) / 16);
    } else {
      value = 0.5 * std::sin(kTwoPi * static_cast<double>((n - burst - 16) % 24) / 24);
    }
    fine[static_cast<std::size_t>(n)] = value * faded(n, fine_frames, fade);
  }
  const auto taps = low_pass();
  std::vector<double> coarse(static_cast<std::size_t>(frames));
  for (std::int64_t n = 0; n < frames; ++n) {
    const std::int64_t centre = 4 * n + offset;
    const auto from = std::max<std::int64_t>(0, centre - kLowPassHalf);
    const auto to = std::min<std::int64_t>(fine_frames - 1, centre + kLowPassHalf);
    double sum = 0;
    for (auto k = from; k <= to; ++k) {
      sum += taps[static_cast<std::size_t>(k - centre + kLowPassHalf)] * fine[static_cast<std::size_t>(k)];
    }
    coarse[static_cast<std::size_t>(n)] = sum;
  }
  return coarse;
}

}  // namespace

std::unique_ptr<audio::RealSource> play(const Signal& signal) {
  return std::make_unique<audio::RealSource>(signal.format, signal.frames, signal.fill);
}

audio::OpenedFile as_file(const Signal& signal) {
  audio::OpenedFile file;
  file.facts.path = signal.name;
  file.facts.container = "memory";
  file.facts.encoding = "float 64-bit";
  file.facts.bit_depth = 64;
  file.facts.declared_frames = signal.frames;
  file.facts.walked_frames = signal.frames;
  file.source = play(signal);
  return file;
}

Signal tone(std::string name, int sample_rate, int channels, int frequency_hz, const std::vector<Stretch>& stretches) {
  struct Piece {
    std::int64_t end;
    std::vector<double> amplitudes;
  };
  std::vector<Piece> pieces;
  double seconds = 0;
  for (const auto& stretch : stretches) {
    seconds += stretch.seconds;
    Piece piece{std::llround(seconds * sample_rate), {}};
    for (int channel = 0; channel < channels; ++channel) {
      const auto at = stretch.peak_dbfs.size() == 1 ? std::size_t{0} : static_cast<std::size_t>(channel);
      piece.amplitudes.push_back(amplitude(stretch.peak_dbfs.at(at)));
    }
    pieces.push_back(std::move(piece));
  }
  Signal signal;
  signal.name = std::move(name);
  signal.format = real_format(sample_rate, channels);
  signal.frames = pieces.empty() ? 0 : pieces.back().end;
  signal.fill = [pieces = std::move(pieces), period = one_period(sample_rate, frequency_hz), channels](
                    std::int64_t first, std::int64_t frames, double* out) {
    auto piece = std::find_if(pieces.begin(), pieces.end(), [&](const Piece& p) { return p.end > first; });
    const auto length = static_cast<std::int64_t>(period->size());
    auto at = first % length;
    for (auto n = first; n < first + frames; ++n) {
      while (n >= piece->end) ++piece;
      const double value = (*period)[static_cast<std::size_t>(at)];
      if (++at == length) at = 0;
      for (int channel = 0; channel < channels; ++channel) {
        *out++ = value * piece->amplitudes[static_cast<std::size_t>(channel)];
      }
    }
  };
  return signal;
}

Signal tech_3341(int number, int sample_rate) {
  const auto name = case_name("Tech 3341", number);
  const auto stereo = [&](const std::vector<Stretch>& stretches) {
    return tone(name, sample_rate, 2, 1000, stretches);
  };
  std::vector<Stretch> stretches;
  switch (number) {
    case 1:
      return stereo({{20, {-23}}});
    case 2:
      return stereo({{20, {-33}}});
    case 3:
      return stereo({{10, {-36}}, {60, {-23}}, {10, {-36}}});
    case 4:
      return stereo({{10, {-72}}, {10, {-36}}, {60, {-23}}, {10, {-36}}, {10, {-72}}});
    case 5:
      return stereo({{20, {-26}}, {20.1, {-20}}, {20, {-26}}});
    case 6:
      return tone(name, sample_rate, 5, 1000, {{20, {-28, -28, -24, -30, -30}}});
    case 9:
      for (int i = 0; i < 5; ++i) stretches.insert(stretches.end(), {{1.34, {-20}}, {1.66, {-30}}});
      return stereo(stretches);
    case 11:
      for (int i = 0; i < 20; ++i) {
        stretches.insert(stretches.end(),
                         {{i * 0.15, {kSilenceDbfs}}, {3, {-38.0 + i}}, {3 - i * 0.15, {kSilenceDbfs}}});
      }
      return stereo(stretches);
    case 12:
      for (int i = 0; i < 25; ++i) stretches.insert(stretches.end(), {{0.18, {-20}}, {0.22, {-30}}});
      return stereo(stretches);
    case 14:
      for (int i = 0; i < 20; ++i) {
        stretches.insert(stretches.end(),
                         {{i * 0.02, {kSilenceDbfs}}, {0.4, {-38.0 + i}}, {0.4 - i * 0.02, {kSilenceDbfs}}});
      }
      return stereo(stretches);
    default:
      assert(false && "not one signal, a true-peak case or a recording");
      return {};
  }
}

std::vector<Signal> tech_3341_segments(int number, int sample_rate) {
  assert(number == 10 || number == 13);
  const double step_s = number == 10 ? 0.15 : 0.02;
  const double tone_s = number == 10 ? 3 : 0.4;
  std::vector<Signal> segments;
  for (int i = 0; i < 20; ++i) {
    segments.push_back(tone(case_name("Tech 3341", number) + " segment " + std::to_string(i), sample_rate, 2, 1000,
                            {{i * step_s, {kSilenceDbfs}}, {tone_s, {-23}}, {1, {kSilenceDbfs}}}));
  }
  return segments;
}

double tech_3341_segment_end_s(int number, int i) {
  assert(number == 11 || number == 14);
  return (number == 11 ? 6.0 : 0.8) * (i + 1);
}

Signal tech_3341_true_peak(int number, int sample_rate) {
  struct Row {
    int divisor;
    double amplitude, phase_degrees;
  };
  const Row rows[] = {{4, 0.50, 0}, {4, 0.50, 45}, {6, 0.50, 60}, {8, 0.50, 67.5}, {4, 1.41, 45}};
  assert(number >= 15 && number <= 23);
  const auto name = case_name("Tech 3341", number);
  if (number >= 20) return from_table(name, sample_rate, burst_case(sample_rate, number - 20));
  const auto& row = rows[number - 15];
  const std::int64_t frames = sample_rate / 2;
  std::vector<double> mono(static_cast<std::size_t>(frames));
  for (std::int64_t n = 0; n < frames; ++n) {
    const double turns = static_cast<double>(n % row.divisor) / row.divisor + row.phase_degrees / 360;
    mono[static_cast<std::size_t>(n)] = row.amplitude * std::sin(kTwoPi * turns) * faded(n, frames, sample_rate / 100);
  }
  return from_table(name, sample_rate, std::move(mono));
}

Signal tech_3342(int number, int sample_rate) {
  std::vector<Stretch> stretches;
  switch (number) {
    case 1:
      stretches = {{20, {-20}}, {20, {-30}}};
      break;
    case 2:
      stretches = {{20, {-20}}, {20, {-15}}};
      break;
    case 3:
      stretches = {{20, {-40}}, {20, {-20}}};
      break;
    case 4:
      stretches = {{20, {-50}}, {20, {-35}}, {20, {-20}}, {20, {-35}}, {20, {-50}}};
      break;
    default:
      assert(false && "a recording");
      break;
  }
  return tone(case_name("Tech 3342", number), sample_rate, 2, 1000, stretches);
}

Signal tech_3341_alignment_tone(int sample_rate) {
  return tone("Tech 3341 alignment tone", sample_rate, 2, 1000, {{5, {-18}}});
}

Signal calibration_tone(int sample_rate, int channels, int channel) {
  std::vector<double> peak_dbfs(static_cast<std::size_t>(channels), channel < 0 ? 0 : kSilenceDbfs);
  if (channel >= 0) peak_dbfs.at(static_cast<std::size_t>(channel)) = 0;
  auto name = "BS.1770 tone, " + real_format(sample_rate, channels).layout;
  if (channels > 1) name += channel < 0 ? ", all channels" : ", channel " + std::to_string(channel + 1);
  return tone(std::move(name), sample_rate, channels, 997, {{5, std::move(peak_dbfs)}});
}

Signal absolute_gate_tone(int sample_rate) {
  return tone("absolute gate tone", sample_rate, 2, 1000, {{20, {-23}}, {20, {-37}}, {60, {-75}}});
}

}  // namespace sendworthy::signals
