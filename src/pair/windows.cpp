#include "pair/windows.h"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <utility>

#include "dsp/planar.h"

namespace sendworthy::pair {
namespace {

constexpr double kWindowS = 0.34, kReachS = 0.021;
constexpr double kSilent = 1e-9;   // −90 dBFS
constexpr float kAsHigh = 0.998f;  // of the highest correlation: as good
constexpr int kClimb = 8;

std::int64_t frames_of(double seconds, double rate) { return std::llround(seconds * rate); }

int room_for(std::int64_t frames) {
  int size = 256;
  while (size < frames) size *= 2;
  return size;
}

double mean_square(const Rows& rows) {
  double sum = 0;
  for (const auto& row : rows) sum += dsp::row_sums(row.data(), static_cast<int>(row.size())).square / static_cast<double>(std::max<std::size_t>(1, row.size()));
  return rows.empty() ? 0 : sum / static_cast<double>(rows.size());
}

// Channels one to one, and first and second changed about: the better mean, weighted by the old channels' energy.
template <class Of>
double pairing(const Rows& a, const Rows& b, Of of) {
  const auto channels = std::max(a.size(), b.size());
  const auto mean = [&](bool swapped) {
    double sum = 0, weight = 0;
    for (std::size_t c = 0; c < channels; ++c) {
      const auto ca = std::min(c, a.size() - 1);
      const auto cb = std::min(swapped && c < 2 ? 1 - c : c, b.size() - 1);
      const auto [value, energy] = of(a[ca], b[cb]);
      sum += value * energy, weight += energy;
    }
    return weight > 0 ? sum / weight : 0;
  };
  return channels < 2 ? mean(false) : std::max(mean(false), mean(true));
}

std::span<const float> differences(const std::vector<float>& x, std::vector<float>& out) {
  out.resize(x.size());
  dsp::first_differences(x.data(), static_cast<int>(x.size()), x.front(), out.data());
  return out;
}

}  // namespace

Windows::Windows(Reader old_file, Reader new_file, double rate)
    : old_(std::move(old_file)), new_(std::move(new_file)), length_(frames_of(kWindowS, rate)), reach_(frames_of(kReachS, rate)), correlator_(room_for(2 * (length_ + reach_))) {}

bool Windows::take(std::int64_t at) {
  old_.read(at, length_, a_);
  return mean_square(a_) > kSilent;
}

double Windows::likeness(std::int64_t at, std::int64_t lag) {
  new_.read(at + lag, length_, b_);
  if (!new_.met_sound()) return 0;
  return pairing(a_, b_, [&](const std::vector<float>& a, const std::vector<float>& b) {
    const auto sums = dsp::pair_sums(a.data(), b.data(), static_cast<int>(length_));
    const double scale = std::sqrt(sums.left_square * sums.right_square);
    return std::pair{scale > 0 ? std::abs(sums.product) / scale : 0.0, sums.left_square};
  });
}

WindowFit Windows::search(std::int64_t at, double lag) {
  const auto middle = std::llround(lag);
  new_.read(at + middle - reach_, length_ + 2 * reach_, around_);
  if (!new_.met_sound()) return {lag, 0};
  total_.assign(static_cast<std::size_t>(2 * length_ + 2 * reach_ - 1), 0.0f);
  const auto add = [&](std::size_t ca, std::size_t cb) {
    correlator_.correlate(differences(a_[ca], first_), differences(around_[cb], second_), true, values_);
    for (std::size_t k = 0; k < total_.size(); ++k) total_[k] += values_[k] * values_[k];
  };
  const auto channels = std::min(a_.size(), around_.size());
  for (std::size_t c = 0; c < channels; ++c) add(c, c);
  if (channels >= 2) add(0, 1), add(1, 0);
  // Lags at which the whole window lies in what was read: 0 … 2·reach_. Of equals the one nearest the middle.
  const auto from = total_.begin() + length_ - 1;
  const float most = *std::max_element(from, from + 2 * reach_ + 1);
  if (most <= 0) return {static_cast<double>(middle), likeness(at, middle)};
  std::int64_t best = -1;
  for (std::int64_t k = 0; k <= 2 * reach_; ++k) {
    if (from[k] >= kAsHigh * most && (best < 0 || std::abs(k - reach_) < std::abs(best - reach_))) best = k;
  }
  const auto found = middle - reach_ + best;
  return {static_cast<double>(found), likeness(at, found)};
}

WindowPoint Windows::placed(std::int64_t at, std::int64_t lag, double here) {
  double before = likeness(at, lag - 1), after = likeness(at, lag + 1);
  for (int i = 0; i < kClimb && std::max(before, after) > here; ++i) {
    if (after > before) {
      ++lag, before = here, here = after, after = likeness(at, lag + 1);
    } else {
      --lag, after = here, here = before, before = likeness(at, lag - 1);
    }
  }
  const double bend = before - 2 * here + after;
  return {at, static_cast<double>(lag) + (bend < 0 ? std::clamp(0.5 * (before - after) / bend, -0.5, 0.5) : 0.0), here};
}

}  // namespace sendworthy::pair
