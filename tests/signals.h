// Signals as formulas, for every test. Mono unless said; levels are linear peak amplitudes, 1.0 = full scale.
#pragma once

#include <algorithm>
#include <cmath>
#include <cstdint>
#include <memory>
#include <numbers>
#include <utility>
#include <vector>

#include "audio/memory_source.h"

namespace sendworthy::test {

using Samples = std::vector<double>;
using Channels = std::vector<Samples>;  ///< planar: one vector per channel, all of one length

inline std::int64_t length(const Samples& samples) { return static_cast<std::int64_t>(samples.size()); }

inline double from_db(double db) { return std::pow(10.0, db / 20); }
inline double to_db(double amplitude) { return 20 * std::log10(amplitude); }

inline Samples silence(std::int64_t frames) { return Samples(static_cast<std::size_t>(frames), 0.0); }

inline Samples constant(double value, std::int64_t frames) { return Samples(static_cast<std::size_t>(frames), value); }

inline Samples sine(int sample_rate, double frequency_hz, double peak, std::int64_t frames, double phase_rad = 0) {
  Samples samples(static_cast<std::size_t>(frames));
  for (std::int64_t n = 0; n < frames; ++n) {
    // The whole turns are dropped before the sine, so that long signals stay exact.
    double turns = frequency_hz / sample_rate * static_cast<double>(n);
    turns -= std::floor(turns);
    samples[static_cast<std::size_t>(n)] = peak * std::sin(2 * std::numbers::pi * turns + phase_rad);
  }
  return samples;
}

/// +peak for the first half of each period, −peak for the second.
inline Samples square(int sample_rate, double frequency_hz, double peak, std::int64_t frames) {
  Samples samples(static_cast<std::size_t>(frames));
  for (std::int64_t n = 0; n < frames; ++n) {
    const double turns = frequency_hz / sample_rate * static_cast<double>(n);
    samples[static_cast<std::size_t>(n)] = turns - std::floor(turns) < 0.5 ? peak : -peak;
  }
  return samples;
}

/// Numbers that are the same on every machine, which std:: distributions are not. SplitMix64.
class Random {
 public:
  explicit Random(std::uint64_t seed) : state_(seed) {}
  std::uint64_t bits() {
    state_ += 0x9E3779B97F4A7C15U;
    auto z = state_;
    z = (z ^ (z >> 30)) * 0xBF58476D1CE4E5B9U;
    z = (z ^ (z >> 27)) * 0x94D049BB133111EBU;
    return z ^ (z >> 31);
  }
  double unit() { return static_cast<double>(bits() >> 11) * 0x1p-53; }  ///< 0 … 1, 1 excluded
  double between(double low, double high) { return low + (high - low) * unit(); }
  std::int64_t below(std::int64_t limit) {
    return static_cast<std::int64_t>(bits() % static_cast<std::uint64_t>(limit));
  }

 private:
  std::uint64_t state_;
};

/// White, evenly spread over −peak … +peak: RMS is peak/√3.
inline Samples noise(std::uint64_t seed, double peak, std::int64_t frames) {
  Random random(seed);
  Samples samples(static_cast<std::size_t>(frames));
  for (auto& sample : samples) sample = random.between(-peak, peak);
  return samples;
}

inline Samples impulse(std::int64_t frames, std::int64_t at, double peak) {
  auto samples = silence(frames);
  samples.at(static_cast<std::size_t>(at)) = peak;
  return samples;
}

inline Samples concatenated(const std::vector<Samples>& parts) {
  Samples samples;
  for (const auto& part : parts) samples.insert(samples.end(), part.begin(), part.end());
  return samples;
}

inline Samples scaled(Samples samples, double gain) {
  for (auto& sample : samples) sample *= gain;
  return samples;
}

inline Samples sum(Samples a, const Samples& b) {
  if (a.size() < b.size()) a.resize(b.size());
  for (std::size_t n = 0; n < b.size(); ++n) a[n] += b[n];
  return a;
}

/// Raised-cosine fade at both ends.
inline Samples faded(Samples samples, std::int64_t fade_frames) {
  const auto frames = length(samples);
  for (std::int64_t n = 0; n < std::min(fade_frames, frames); ++n) {
    const double gain =
        0.5 - 0.5 * std::cos(std::numbers::pi * static_cast<double>(n) / static_cast<double>(fade_frames));
    samples[static_cast<std::size_t>(n)] *= gain;
    samples[static_cast<std::size_t>(frames - 1 - n)] *= gain;
  }
  return samples;
}

/// Silence with a faded tone in it.
inline Samples burst(int sample_rate, double frequency_hz, double peak, std::int64_t frames, std::int64_t start,
                     std::int64_t tone_frames, std::int64_t fade_frames) {
  const auto tone = faded(sine(sample_rate, frequency_hz, peak, tone_frames), fade_frames);
  return concatenated({silence(start), tone, silence(std::max<std::int64_t>(0, frames - start - tone_frames))});
}

inline std::vector<double> interleaved(const Channels& channels) {
  const auto frames = channels.empty() ? 0 : channels.front().size();
  std::vector<double> mixed;
  mixed.reserve(frames * channels.size());
  for (std::size_t n = 0; n < frames; ++n) {
    for (const auto& channel : channels) mixed.push_back(channel[n]);
  }
  return mixed;
}

/// A left-justified code of `bits`, rounded to nearest, held within the range of the width.
inline std::int32_t code(double value, int bits) {
  const double scale = std::ldexp(1.0, bits - 1);
  const double rounded = std::clamp(std::nearbyint(value * scale), -scale, scale - 1);
  return static_cast<std::int32_t>(static_cast<std::int64_t>(rounded) * (std::int64_t{1} << (32 - bits)));
}

/// Channels as a float stream.
inline std::unique_ptr<audio::Source> real_source(int sample_rate, const Channels& channels, int container_bits = 64) {
  const auto count = static_cast<int>(channels.size());
  return std::make_unique<audio::RealSource>(
      audio::plain_format(sample_rate, count, audio::SampleKind::real, container_bits), length(channels.at(0)),
      [channels](std::int64_t first, std::int64_t frames, double* out) {
        for (auto n = first; n < first + frames; ++n) {
          for (const auto& channel : channels) *out++ = channel[static_cast<std::size_t>(n)];
        }
      });
}

/// Channels as an integer stream of `bits` (8 … 32), without dither.
inline std::unique_ptr<audio::Source> code_source(int sample_rate, int bits, const Channels& channels) {
  const auto count = static_cast<int>(channels.size());
  return std::make_unique<audio::CodeSource>(
      audio::plain_format(sample_rate, count, audio::SampleKind::integer, bits), length(channels.at(0)),
      [channels, bits](std::int64_t first, std::int64_t frames, std::int32_t* out) {
        for (auto n = first; n < first + frames; ++n) {
          for (const auto& channel : channels) *out++ = code(channel[static_cast<std::size_t>(n)], bits);
        }
      });
}

/// A stream as a file: the facts a measuring pass wants, without a container.
inline audio::OpenedFile as_file(std::unique_ptr<audio::Source> source) {
  audio::OpenedFile file;
  const auto& format = source->format();
  file.facts.path = "memory";
  file.facts.container = "memory";
  const bool real = format.kind == audio::SampleKind::real;
  file.facts.encoding = (real ? "float " : "PCM ") + std::to_string(format.container_bits) + "-bit";
  file.facts.bit_depth = format.container_bits;
  file.facts.declared_frames = source->expected_frames();
  file.facts.walked_frames = source->expected_frames();
  file.source = std::move(source);
  return file;
}

}  // namespace sendworthy::test
