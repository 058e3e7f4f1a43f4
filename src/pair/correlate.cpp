#include "pair/correlate.h"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <iterator>

#include "dsp/planar.h"

namespace sendworthy::pair {
namespace {

constexpr std::ptrdiff_t kLongest = 1 << 19;
constexpr std::size_t kMostThinned = 1 << 19;

std::vector<float> halved(const std::vector<float>& series) {
  std::vector<float> half(series.size() / 2);
  for (std::size_t i = 0; i < half.size(); ++i) half[i] = 0.5f * (series[2 * i] + series[2 * i + 1]);
  return half;
}

std::vector<float> paired(const std::vector<float>& sums) {
  std::vector<float> pairs(sums.size() / 2);
  for (std::size_t i = 0; i < pairs.size(); ++i) pairs[i] = sums[2 * i] + sums[2 * i + 1];
  return pairs;
}

// Of the lags two steps about, the best by the plain sum.
double finer(const std::vector<float>& a, const std::vector<float>& b, double about) {
  double best = about, most = -1;
  for (auto lag = static_cast<std::ptrdiff_t>(about) - 2; lag <= static_cast<std::ptrdiff_t>(about) + 2; ++lag) {
    double sum = 0;
    for (auto n = std::max<std::ptrdiff_t>(0, -lag); n < std::min(std::ssize(a), std::ssize(b) - lag); ++n)
      sum += static_cast<double>(a[static_cast<std::size_t>(n)]) * static_cast<double>(b[static_cast<std::size_t>(n + lag)]);
    if (sum > most) most = sum, best = static_cast<double>(lag);
  }
  return best;
}

int power_of_two(std::size_t least) {
  int size = 256;
  while (static_cast<std::size_t>(size) < least) size *= 2;
  return size;
}

}  // namespace

Correlator::Correlator(int size) : fourier_(size), real_(static_cast<std::size_t>(size)), imaginary_(static_cast<std::size_t>(size)) {}

void Correlator::correlate(std::span<const float> a, std::span<const float> b, bool half_white, std::vector<float>& values) {
  const auto size = static_cast<std::size_t>(fourier_.size());
  std::fill(real_.begin(), real_.end(), 0.0f), std::fill(imaginary_.begin(), imaginary_.end(), 0.0f);
  // Two real signals in one transform: a as the real part, b as the imaginary one.
  std::copy(a.begin(), a.end(), real_.begin());
  std::copy(b.begin(), b.end(), imaginary_.begin());
  fourier_.forward(real_, imaginary_);
  // The root of each, so that the product of two powers stays a number however loud a file claims to be.
  const auto weight = [&](float a_power, float b_power) {
    const float root = std::sqrt(a_power) * std::sqrt(b_power);
    return half_white && root > 0 ? 1 / std::sqrt(root) : 1.0f;
  };
  std::vector<float> product_real(size), product_imaginary(size);
  for (std::size_t k = 0; k < size; ++k) {
    const auto m = (size - k) % size;
    // A = (Z[k] + Z*[m]) / 2, B = (Z[k] − Z*[m]) / 2i.
    const float ar = 0.5f * (real_[k] + real_[m]), ai = 0.5f * (imaginary_[k] - imaginary_[m]);
    const float br = 0.5f * (imaginary_[k] + imaginary_[m]), bi = -0.5f * (real_[k] - real_[m]);
    const float w = weight(ar * ar + ai * ai, br * br + bi * bi);
    // A*·B; real and imaginary parts change places, which makes the transform its own inverse.
    product_imaginary[k] = w * (ar * br + ai * bi);
    product_real[k] = w * (ar * bi - ai * br);
  }
  fourier_.forward(product_real, product_imaginary);
  const auto before = std::ssize(a) - 1;
  values.resize(a.size() + b.size() - 1);
  for (std::ptrdiff_t k = 0; k < std::ssize(values); ++k) {
    const auto lag = k - before;
    values[static_cast<std::size_t>(k)] = product_imaginary[static_cast<std::size_t>(lag < 0 ? lag + std::ssize(real_) : lag)] / static_cast<float>(size);
  }
}

std::int64_t Onsets::border(std::int64_t hop) const { return std::llround(static_cast<double>(hop) * kStepS * sample_rate_); }

void Onsets::push(std::span<const float* const> rows, std::int64_t frames) {
  if (last_.size() != rows.size()) last_.assign(rows.size(), 0.0f), border_ = border(1);
  for (std::int64_t n = 0; n < frames;) {
    const auto end = std::min(frames, n + border_ - at_);
    for (std::size_t c = 0; c < rows.size(); ++c) {
      squares_.resize(static_cast<std::size_t>((end - n + dsp::kSubBlock - 1) / dsp::kSubBlock));
      dsp::sub_motion(rows[c] + n, static_cast<int>(end - n), last_[c], squares_.data());
      for (const float square : squares_) energy_ += static_cast<double>(square);
      last_[c] = rows[c][end - 1];
    }
    at_ += end - n, n = end;
    if (at_ == border_) {
      levels_.push_back(static_cast<float>(energy_ / static_cast<double>(border_ - border(hop_))));
      energy_ = 0, border_ = border(++hop_ + 1);
    }
  }
}

std::vector<float> Onsets::finish() {
  // Rises of the logarithm over a floor well under the loud parts, so that noise in pauses does not count like music.
  double mean = 0;
  for (const float level : levels_) mean += static_cast<double>(level) / static_cast<double>(std::max<std::size_t>(1, levels_.size()));
  const double floor = mean * 1e-3 + 1e-14;
  std::vector<float> rises(levels_.size(), 0.0f);
  double last = std::log(floor), sum = 0;
  for (std::size_t i = 0; i < levels_.size(); ++i) {
    const double here = std::log(static_cast<double>(levels_[i]) + floor);
    rises[i] = static_cast<float>(std::max(0.0, here - last));
    sum += static_cast<double>(rises[i]);
    last = here;
  }
  const auto usual = static_cast<float>(sum / static_cast<double>(std::max<std::size_t>(1, rises.size())));
  for (auto& rise : rises) rise -= usual;
  return rises;
}

std::vector<Candidate> likely_lags(const std::vector<float>& a, const std::vector<float>& b, double apart, std::size_t most) {
  std::vector<Candidate> found;
  if (a.empty() || b.empty()) return found;
  if (std::max(std::ssize(a), std::ssize(b)) > kLongest) {
    found = likely_lags(halved(a), halved(b), apart / 2, most);
    for (auto& one : found) one.lag = finer(a, b, 2 * one.lag);
    return found;
  }
  const auto energy = [](const std::vector<float>& x) {
    double sum = 0;
    for (const float v : x) sum += static_cast<double>(v) * static_cast<double>(v);
    return sum;
  };
  const double scale = std::sqrt(energy(a) * energy(b));
  if (scale <= 0) return found;
  Correlator correlator(power_of_two(a.size() + b.size()));
  std::vector<float> values;
  correlator.correlate(a, b, false, values);
  const auto before = std::ssize(a) - 1;
  // Peaks, the highest first.
  std::vector<std::ptrdiff_t> peaks;
  for (std::ptrdiff_t k = 0; k < std::ssize(values); ++k) {
    const float here = values[static_cast<std::size_t>(k)];
    if (here <= 0 || (k > 0 && values[static_cast<std::size_t>(k - 1)] > here)) continue;
    if (k + 1 < std::ssize(values) && values[static_cast<std::size_t>(k + 1)] > here) continue;
    peaks.push_back(k);
  }
  const auto higher = [&](std::ptrdiff_t x, std::ptrdiff_t y) {
    const float vx = values[static_cast<std::size_t>(x)], vy = values[static_cast<std::size_t>(y)];
    return vx != vy ? vx > vy : std::abs(x - before) < std::abs(y - before);
  };
  const auto kept = std::min<std::ptrdiff_t>(std::ssize(peaks), 16 * static_cast<std::ptrdiff_t>(most));
  std::partial_sort(peaks.begin(), peaks.begin() + kept, peaks.end(), higher);
  for (std::ptrdiff_t i = 0; i < kept && found.size() < most; ++i) {
    const double lag = static_cast<double>(peaks[static_cast<std::size_t>(i)] - before);
    if (std::ranges::any_of(found, [&](const Candidate& one) { return std::abs(one.lag - lag) <= apart; })) continue;
    found.push_back({lag, static_cast<double>(values[static_cast<std::size_t>(peaks[static_cast<std::size_t>(i)])]) / scale});
  }
  return found;
}

void Thinned::push(std::span<const float* const> rows, std::int64_t frames) {
  for (std::int64_t n = 0; n < frames; ++n) {
    for (const float* row : rows) sum_ += row[n];
    if (++taken_ < std::int64_t{kFrames} << doublings_) continue;
    sums_.push_back(sum_);
    sum_ = 0, taken_ = 0;
    if (sums_.size() < kMostThinned) continue;
    sums_ = paired(sums_);
    ++doublings_;
  }
}

std::vector<float> Thinned::differences(int doublings) const {
  auto sums = sums_;
  for (int i = doublings_; i < doublings; ++i) sums = paired(sums);
  for (std::size_t i = sums.size(); i-- > 1;) sums[i] -= sums[i - 1];
  if (!sums.empty()) sums.front() = 0;
  return sums;
}

std::vector<double> waveform_lags(const Thinned& a, const Thinned& b, std::size_t most) {
  const auto doublings = std::max(a.doublings(), b.doublings());
  const auto one = a.differences(doublings), other = b.differences(doublings);
  std::vector<double> lags;
  if (one.empty() || other.empty()) return lags;
  Correlator correlator(power_of_two(one.size() + other.size()));
  std::vector<float> values;
  correlator.correlate(one, other, false, values);
  const auto before = std::ssize(one) - 1;
  constexpr std::ptrdiff_t kApart = 64;
  while (lags.size() < most) {
    const auto best = std::max_element(values.begin(), values.end(), [](float x, float y) { return std::abs(x) < std::abs(y); });
    if (*best == 0) break;
    const auto at = best - values.begin();
    lags.push_back(static_cast<double>(at - before) * std::ldexp(static_cast<double>(Thinned::kFrames), doublings));
    std::fill(values.begin() + std::max<std::ptrdiff_t>(0, at - kApart), values.begin() + std::min(std::ssize(values), at + kApart + 1), 0.0f);
  }
  return lags;
}

std::vector<float> stretched(const std::vector<float>& series, double factor) {
  const auto count = static_cast<std::size_t>(static_cast<double>(series.size()) * factor);
  std::vector<float> out(count, 0.0f);
  for (std::size_t i = 0; i < count; ++i) {
    const double at = static_cast<double>(i) / factor;
    const auto k = static_cast<std::size_t>(at);
    const auto rest = static_cast<float>(at - static_cast<double>(k));
    const float here = k < series.size() ? series[k] : 0.0f, next = k + 1 < series.size() ? series[k + 1] : here;
    out[i] = here + rest * (next - here);
  }
  return out;
}

}  // namespace sendworthy::pair
