#include "dsp/spectrum.h"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <span>

namespace sendworthy::dsp {
namespace {

constexpr int kLowestDb = -160, kHighestDb = 40;

// A power of two near 0.17 s: 8192 at 44.1 and 48 kHz, where the lowest band is 5.8 Hz wide.
int frame_size(int sample_rate) {
  int size = 512;
  while (size < sample_rate * 0.125) size *= 2;
  return size;
}

}  // namespace

Spectra::Spectra(int sample_rate, int channels)
    : sample_rate_(sample_rate),
      channels_(channels),
      size_(frame_size(sample_rate)),
      step_(size_ / 2),
      fourier_(size_),
      real_(static_cast<std::size_t>(size_)),
      imaginary_(static_cast<std::size_t>(size_)),
      lines_(static_cast<std::size_t>(size_ / 2 + 1)),
      pending_(static_cast<std::size_t>(channels)) {
  double square = 0;
  for (int n = 0; n < size_; ++n) {
    const double w = 0.5 - 0.5 * std::cos(2 * std::numbers::pi * n / size_);
    window_.push_back(static_cast<float>(w));
    square += w * w;
  }
  scale_ = 2 / (square * size_) / channels;
  // The first frame's rising half lies before the start, where there is silence.
  for (auto& channel : pending_) channel.assign(static_cast<std::size_t>(step_), 0.0f);
}

void Spectra::push(const float* rows, std::int64_t stride, int frames) {
  frames_ += frames;
  const auto skipped = std::min<std::int64_t>(to_skip_, frames);
  to_skip_ -= skipped;
  for (int c = 0; c < channels_; ++c) {
    auto& channel = pending_[static_cast<std::size_t>(c)];
    const float* row = rows + c * stride;
    channel.insert(channel.end(), row + skipped, row + frames);
  }
}

bool Spectra::ready() const { return pending_.front().size() >= static_cast<std::size_t>(size_); }

std::span<const float> Spectra::take() {
  std::fill(lines_.begin(), lines_.end(), 0.0f);
  // Two real channels go through one complex transform; the sum of both powers falls out without taking them apart.
  for (int c = 0; c < channels_; c += 2) {
    multiply(window_, pending_[static_cast<std::size_t>(c)].data(), real_.data());
    if (c + 1 < channels_) {
      multiply(window_, pending_[static_cast<std::size_t>(c + 1)].data(), imaginary_.data());
    } else {
      std::fill(imaginary_.begin(), imaginary_.end(), 0.0f);
    }
    fourier_.forward(real_, imaginary_);
    add_pair_powers(real_, imaginary_, lines_);
  }
  skip_to(index_ + 1);
  return lines_;
}

void Spectra::mean(std::vector<float>& out) const {
  out.assign(static_cast<std::size_t>(size_), 0.0f);
  const float share = 1.0f / static_cast<float>(channels_);
  for (const auto& channel : pending_) {
    for (std::size_t n = 0; n < out.size(); ++n) out[n] += share * channel[n];
  }
}

void Spectra::skip_to(std::int64_t index) {
  const auto ahead = (index - index_) * step_;
  index_ = index;
  const auto held = std::min(ahead, static_cast<std::int64_t>(pending_.front().size()));
  for (auto& channel : pending_) channel.erase(channel.begin(), channel.begin() + held);
  to_skip_ += ahead - held;
}

void Spectra::pad() {
  if (pending_.front().size() <= static_cast<std::size_t>(step_)) return;
  for (auto& channel : pending_) channel.resize(std::max(channel.size(), static_cast<std::size_t>(size_)), 0.0f);
}

BandSpectrum::BandSpectrum(const Spectra& spectra)
    : step_(spectra.step()),
      line_hz_(static_cast<double>(spectra.sample_rate()) / spectra.size()),
      scale_(spectra.scale()) {
  const int lines = spectra.size() / 2 + 1;
  for (int k = -16; k <= 20; ++k) {
    const double low = 1000 * std::pow(10, (k - 0.5) / 10), high = 1000 * std::pow(10, (k + 0.5) / 10);
    centres_.push_back(1000 * std::pow(10, k / 10.0));
    if (centres_.back() > 0.92 * spectra.sample_rate() / 2) {
      centres_.pop_back();
      break;
    }
    auto& band = bands_.emplace_back();
    for (int line = std::max(1, static_cast<int>(low / line_hz_)); line < lines; ++line) {
      const double from = (line - 0.5) * line_hz_, to = (line + 0.5) * line_hz_;
      const double share = (std::min(to, high) - std::max(from, low)) / line_hz_;
      if (from > high) break;
      if (share <= 0) continue;
      if (share < 1 - 1e-9) {
        band.edges.push_back({line, share});
      } else {
        if (band.count == 0) band.first = line;
        ++band.count;
      }
    }
  }
  line_power_.assign(static_cast<std::size_t>(lines), 0.0f);
  power_.assign(centres_.size(), 0);
  counts_.assign(centres_.size(), std::vector<std::int64_t>(kHighestDb - kLowestDb + 1, 0));
}

void BandSpectrum::add(std::span<const float> lines) {
  for (std::size_t k = 0; k < lines.size(); ++k) line_power_[k] += lines[k];
  for (std::size_t b = 0; b < bands_.size(); ++b) {
    const auto& band = bands_[b];
    double sum = sum_of(lines.subspan(static_cast<std::size_t>(band.first), static_cast<std::size_t>(band.count)));
    for (const auto& edge : band.edges) sum += edge.share * static_cast<double>(lines[static_cast<std::size_t>(edge.line)]);
    const double power = sum * scale_;
    power_[b] += power;
    const double db = power > 0 ? 10 * std::log10(power) : kLowestDb;
    ++counts_[b][static_cast<std::size_t>(std::clamp(static_cast<int>(std::floor(db)), kLowestDb, kHighestDb) -
                                          kLowestDb)];
  }
  ++transforms_;
}

std::vector<double> BandSpectrum::mean_power(std::int64_t frames) const {
  std::vector<double> mean;
  // Each frame stands for `step_` samples: so what the frames at both ends hold of silence does not count.
  for (const double power : power_) mean.push_back(frames > 0 ? power * step_ / static_cast<double>(frames) : 0);
  return mean;
}

double BandSpectrum::end_of(double from_hz, double to_hz, double drop_db) const {
  const auto last = static_cast<std::int64_t>(line_power_.size()) - 1;
  const auto first_line = std::clamp<std::int64_t>(std::llround(from_hz / line_hz_), 1, last);
  const auto last_line = std::clamp<std::int64_t>(std::llround(to_hz / line_hz_), first_line, last);
  constexpr std::int64_t kAround = 4;  // lines a side that are averaged
  const auto smooth = [&](std::int64_t line) {
    double sum = 0;
    std::int64_t count = 0;
    for (auto k = std::max<std::int64_t>(1, line - kAround); k <= std::min(last, line + kAround); ++k, ++count)
      sum += static_cast<double>(line_power_[static_cast<std::size_t>(k)]);
    return sum / static_cast<double>(count);
  };
  double most = 0;
  for (auto k = first_line; k <= last_line; ++k) most = std::max(most, smooth(k));
  const double least = most * std::pow(10, -drop_db / 10);
  auto line = last_line;
  while (line > first_line && smooth(line) < least) --line;
  // Averaging carries the edge on by half its width, less what the drop asks for.
  return static_cast<double>(std::max(first_line, line - kAround + 1)) * line_hz_;
}

double BandSpectrum::line_power(double from_hz, double to_hz) const {
  const auto last = static_cast<std::int64_t>(line_power_.size()) - 1;
  const auto from = std::clamp<std::int64_t>(std::llround(from_hz / line_hz_), 1, last);
  const auto to = std::clamp<std::int64_t>(std::llround(to_hz / line_hz_), from, last);
  double sum = 0;
  for (auto k = from; k <= to; ++k) sum += static_cast<double>(line_power_[static_cast<std::size_t>(k)]);
  return sum / static_cast<double>(to - from + 1);
}

std::vector<double> BandSpectrum::percentile_db(double share) const {
  std::vector<double> levels;
  for (const auto& counts : counts_) {
    const auto rank = static_cast<std::int64_t>(std::llround(static_cast<double>(transforms_ - 1) * share));
    std::int64_t seen = 0;
    int db = kLowestDb;
    for (std::size_t i = 0; i < counts.size(); ++i) {
      seen += counts[i];
      if (seen > rank) {
        db = kLowestDb + static_cast<int>(i);
        break;
      }
    }
    levels.push_back(db);
  }
  return levels;
}

}  // namespace sendworthy::dsp
