#include "faults/defects.h"

#include <algorithm>
#include <cmath>
#include <stdexcept>

#include "dsp/fourier.h"

namespace sendworthy::test {

// Left stays; right turns from a copy of left (0) over unrelated music (0.5) to left upside down (1).
void turn_right(Clip& clip, double x) {
  auto& left = clip.channels[0];
  auto& right = clip.channels[1];
  const std::size_t n = left.size();
  const double angle = x * 3.14159265358979;
  for (std::size_t i = 0; i < n; ++i) right[i] = std::cos(angle) * left[i] + std::sin(angle) * left[(i + n / 3) % n];
}

void lengthen(Clip& clip, double seconds) {
  const auto frames = static_cast<std::size_t>(std::llround(seconds * clip.rate));
  for (auto& channel : clip.channels) {
    const auto had = channel.size();
    channel.resize(frames);
    for (std::size_t n = had; n < frames; ++n) channel[n] = channel[n % had];
  }
}

void limit(Clip& clip, double x) {
  clip.gain_db(40 * x);
  clip.each([](double v) { return 0.7 * std::tanh(v / 0.7); });
}

double mean_square(const std::vector<double>& x, std::int64_t from, std::int64_t count) {
  double sum = 0;
  for (auto n = from; n < from + count; ++n) sum += x[static_cast<std::size_t>(n)] * x[static_cast<std::size_t>(n)];
  return sum / static_cast<double>(count);
}

// Where every channel is loud for a tenth of a second.
std::int64_t loud_frame(const Clip& clip) {
  for (std::int64_t n = 480; n + 5000 < clip.frames(); n += 48) {
    double least = 1;
    for (const auto& channel : clip.channels) {
      for (const std::int64_t at : {n - 480, n, n + 480, n + 1440, n + 4320}) least = std::min(least, mean_square(channel, at, 480));
    }
    if (least > 2e-3) return n;
  }
  throw std::runtime_error("nothing loud");
}

// The last sound dies away in a second and a half: a copy of the music, softer and softer, down to nothing.
void ring_out(Clip& clip) {
  const auto frames = static_cast<std::size_t>(kRingS * clip.rate);
  const auto at = static_cast<std::size_t>(loud_frame(clip));
  for (auto& channel : clip.channels) {
    const auto size = channel.size();
    for (std::size_t n = 0; n < 480; ++n) channel[size - 1 - n] *= static_cast<double>(n) / 480;
    for (std::size_t n = 0; n < frames; ++n) {
      const double in = std::min(1.0, static_cast<double>(n) / 480);
      channel.push_back(in * channel[(at + n) % size] * std::pow(10.0, -6 * static_cast<double>(n) / static_cast<double>(frames)));
    }
  }
}

// Six seconds of it, in a straight line, over the first loop played twice.
void fade(Clip& clip, const std::function<std::size_t(std::size_t, std::size_t)>& place) {
  const auto loop = static_cast<std::size_t>(clip.rate) * 8, length = static_cast<std::size_t>(clip.rate) * 6;
  for (auto& channel : clip.channels) {
    channel.resize(loop);
    channel.resize(2 * loop);
    std::copy_n(channel.begin(), loop, channel.begin() + static_cast<std::ptrdiff_t>(loop));
    for (std::size_t n = 0; n < length; ++n) channel[place(n, channel.size())] *= static_cast<double>(n) / static_cast<double>(length);
  }
}

double largest_bend(const std::vector<double>& x, std::int64_t middle, std::int64_t around) {
  double bend = 0;
  for (auto n = middle - around; n < middle + around; ++n) {
    const auto at = static_cast<std::size_t>(n);
    bend = std::max(bend, std::abs(x[at - 1] - 2 * x[at] + x[at + 1]));
  }
  return bend;
}

// Where the first channel bends least, with music above -40 dBFS round it.
std::int64_t calm_frame(const Clip& clip) {
  const auto& x = clip.channels[0];
  double least = 1e9;
  std::int64_t best = 0;
  for (std::int64_t n = 4800; n + 4800 < clip.frames(); n += 480) {
    if (mean_square(x, n - 480, 480) < 1e-4 || mean_square(x, n, 480) < 1e-4) continue;
    const double bend = largest_bend(x, n, 2400);
    if (bend < least) least = bend, best = n;
  }
  return best;
}

// Nothing above the frequency is left: a windowed sinc, on a few seconds so that it does not take long.
std::vector<double> low_passed(const std::vector<double>& x, double hz, int rate, int half) {
  const double cut = 2 * hz / rate;
  std::vector<double> taps(2 * half + 1);
  for (int k = -half; k <= half; ++k) {
    const double t = 3.14159265358979 * k;
    const double window = 0.42 + 0.5 * std::cos(t / half) + 0.08 * std::cos(2 * t / half);
    taps[static_cast<std::size_t>(k + half)] = window * (k == 0 ? cut : std::sin(cut * t) / t);
  }
  std::vector<double> out(x.size(), 0.0);
  for (std::size_t n = half; n + half < x.size(); ++n) {
    double sum = 0;
    for (std::size_t k = 0; k < taps.size(); ++k) sum += taps[k] * x[n + k - half];
    out[n] = sum;
  }
  return out;
}

void only_bass(Clip& clip, std::size_t channel, double hz) {
  for (auto& one : clip.channels) one.resize(std::min<std::size_t>(one.size(), static_cast<std::size_t>(clip.rate) * 3));
  clip.channels.at(channel) = low_passed(clip.channels.at(channel), hz, clip.rate);
}

// The first bytes of a PNG in true colour (8.2 and 11.2.1 of its specification).
std::string png(unsigned width, unsigned height) {
  std::string out("\x89PNG\r\n\x1a\n\0\0\0\x0dIHDR", 16);
  for (const unsigned v : {width, height})
    for (int shift : {24, 16, 8, 0}) out += static_cast<char>(v >> shift & 0xFF);
  return out + std::string("\x08\x02\0\0\0....\0\0\0\0IDAT", 17);
}

double uniform(std::uint32_t& state) {
  state = state * 1664525u + 1013904223u;
  return state / 4294967296.0;
}

// A gentle low-pass and noise of a step of 24 bits: all bits move, and nothing is left of the loops' own 16 bits.
void fill_low_bits(Clip& clip) {
  std::uint32_t state = 5;
  for (auto& channel : clip.channels) {
    double before = 0;
    for (auto& x : channel) {
      before = 0.7 * x + 0.3 * before;
      x = before + (uniform(state) - uniform(state)) / 8388608;
    }
  }
}

// To 16 bits, after a tail of a low tone that dies away through the last step.
void shorten_with_tail(Clip& clip, bool dithered) {
  std::uint32_t state = 9;
  for (auto& channel : clip.channels) {
    for (int n = 0; n < 3 * clip.rate; ++n)
      channel.push_back(std::pow(10.0, (-60 - 15.0 * n / clip.rate) / 20) * std::sin(0.0131 * n));
  }
  clip.each([&](double x) { return std::round(x * 32768 + (dithered ? uniform(state) - uniform(state) : 0)) / 32768; });
}

// The first seconds, with nothing left above the frequency.
void end_at(Clip& clip, double hz) {
  for (auto& channel : clip.channels) {
    channel.resize(static_cast<std::size_t>(clip.rate) * 6);
    channel = low_passed(channel, hz, clip.rate);
  }
}

// Blocks of some 20 ms under a sine window before and after the transform, which add up to one; a hole is four blocks long.
std::vector<double> with_holes(const std::vector<double>& x, int rate) {
  const auto size = static_cast<std::size_t>(rate > 50000 ? 2048 : 1024), step = size / 2;
  dsp::Fourier fourier(static_cast<int>(size));
  std::vector<float> real(size), imaginary(size);
  std::vector<double> window(size), out(x.size(), 0.0);
  for (std::size_t n = 0; n < size; ++n) window[n] = std::sin(3.14159265358979 * (static_cast<double>(n) + 0.5) / static_cast<double>(size));
  const auto lowest = static_cast<std::size_t>(6500 * static_cast<double>(size) / rate);
  std::uint32_t state = 5;
  std::size_t hole = lowest;
  for (std::size_t block = 0; block * step + size <= x.size(); ++block) {
    const auto from = block * step;
    for (std::size_t n = 0; n < size; ++n) real[n] = static_cast<float>(window[n] * x[from + n]), imaginary[n] = 0;
    fourier.forward(real, imaginary);
    if (block % 12 == 0) hole = 4 * ((lowest + static_cast<std::size_t>(140 * uniform(state))) / 4) - 2;
    for (auto k = hole; block % 12 < 4 && k < hole + 8; ++k) real[k] = imaginary[k] = real[size - k] = imaginary[size - k] = 0;
    // Back by the same transform: its complex conjugate, turned round.
    for (auto& v : imaginary) v = -v;
    fourier.forward(real, imaginary);
    for (std::size_t n = 0; n < size; ++n) out[from + n] += window[n] * static_cast<double>(real[n]) / static_cast<double>(size);
  }
  return out;
}

void punch_holes(Clip& clip) {
  for (auto& channel : clip.channels) channel = with_holes(channel, clip.rate);
}

// Five seconds of faint noise behind the music; first frame and end.
std::pair<std::size_t, std::size_t> pause(Clip& clip, double rms_dbfs) {
  std::uint32_t state = 3;
  const double peak = std::sqrt(3.0) * std::pow(10.0, rms_dbfs / 20);
  const auto from = clip.channels[0].size(), count = static_cast<std::size_t>(clip.rate) * 5;
  for (auto& channel : clip.channels) {
    for (std::size_t n = 0; n < count; ++n) channel.push_back(peak * (2 * uniform(state) - 1));
  }
  return {from, from + count};
}

}  // namespace sendworthy::test
