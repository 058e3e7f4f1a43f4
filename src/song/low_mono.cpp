#include "song/low_mono.h"

#include <algorithm>
#include <cmath>
#include <utility>

namespace sendworthy::song {
namespace {

constexpr std::size_t kTenths = 10;  // in the second that is judged
constexpr double kWithin = 0.01;     // 20 dB
constexpr std::size_t kWindow = 6, kRiseHops = 10, kPeakHops = 16, kSustainHops = 20, kLongestHops = 100, kFewestHops = 10;
constexpr double kRise = 2;

double loss_db(double power, double product) {
  const double mid = power / 2 + product;
  return mid > power * std::pow(10, -kMostLost / 10) ? -10 * std::log10(mid / power) : kMostLost;
}

}  // namespace

MonoSums::MonoSums(double rate_hz, double start_s)
    : rate_hz_(rate_hz), start_s_(start_s), tenth_(static_cast<std::size_t>(std::lround(rate_hz / kTenths))) {}

void MonoSums::add(std::span<const float> left, std::span<const float> right) {
  for (std::size_t n = 0; n < left.size(); ++n) {
    if (filled_ == 0) tenths_.emplace_back();
    filled_ = (filled_ + 1) % tenth_;
    const double l = static_cast<double>(left[n]), r = static_cast<double>(right[n]);
    tenths_.back().power += l * l + r * r;
    tenths_.back().product += l * r;
  }
}

std::optional<MonoLoss> MonoSums::finish() const {
  Tenth all;
  for (const auto& tenth : tenths_) all.power += tenth.power, all.product += tenth.product;
  if (decibels_of(all.power) <= -200) return std::nullopt;
  MonoLoss result;
  result.whole_db = loss_db(all.power, all.product);
  std::vector<double> powers;
  std::vector<Tenth> seconds;
  for (std::size_t i = 0; i + kTenths <= tenths_.size(); ++i) {
    Tenth second;
    for (std::size_t k = i; k < i + kTenths; ++k) second.power += tenths_[k].power, second.product += tenths_[k].product;
    seconds.push_back(second);
    powers.push_back(second.power);
  }
  const double least = kWithin * loudest(powers);
  result.seconds_db.assign(seconds.size(), 0);
  result.worst_db = seconds.empty() ? result.whole_db : 0;
  for (std::size_t i = 0; i < seconds.size(); ++i) {
    if (seconds[i].power < least || seconds[i].power <= 0) continue;
    const double db = loss_db(seconds[i].power, seconds[i].product);
    result.seconds_db[i] = static_cast<float>(db);
    if (db <= result.worst_db) continue;
    result.worst_db = db;
    result.worst_at_s = std::max(0.0, start_s_ + static_cast<double>(i * tenth_) / rate_hz_);
  }
  return result;
}

MonoLowMeter::MonoLowMeter(double sample_rate_hz, double below_hz) : rows_(sample_rate_hz, below_hz, 2), sums_(rows_.rate_hz(), rows_.low_start_s()) {}

void MonoLowMeter::take(std::span<const float* const> rows, int frames) {
  rows_.take(rows, frames);
  sums_.add(rows_.low[0], rows_.low[1]);
}

std::optional<MonoLoss> MonoLowMeter::finish() {
  rows_.finish();
  sums_.add(rows_.low[0], rows_.low[1]);
  return sums_.finish();
}

PunchMeter::PunchMeter(double rate_hz) : hop_(static_cast<std::size_t>(std::lround(0.005 * rate_hz))) {}

void PunchMeter::add(std::span<const std::vector<float>> rows) {
  const auto size = rows.empty() ? 0 : rows[0].size();
  for (std::size_t n = 0; n < size; ++n) {
    for (const auto& row : rows) sum_ += static_cast<double>(row[n]) * static_cast<double>(row[n]);
    if (++filled_ < hop_) continue;
    hops_.push_back(static_cast<float>(sum_ / static_cast<double>(hop_)));
    sum_ = 0;
    filled_ = 0;
  }
}

std::optional<Punch> PunchMeter::finish() const {
  std::vector<double> powers;
  for (std::size_t n = 0; n + kWindow <= hops_.size(); ++n) {
    double sum = 0;
    for (std::size_t k = n; k < n + kWindow; ++k) sum += static_cast<double>(hops_[k]);
    powers.push_back(sum / kWindow);
  }
  const double least = kWithin * loudest(powers);
  if (!(least > 0)) return std::nullopt;
  std::vector<std::size_t> attacks;
  for (std::size_t n = 0; n < powers.size(); ++n) {
    const double before = n < kRiseHops ? 0 : powers[n - kRiseHops];
    if (powers[n] >= least && powers[n] >= kRise * before && (attacks.empty() || n >= attacks.back() + kSustainHops)) attacks.push_back(n);
  }
  std::vector<double> ratios;
  for (std::size_t i = 0; i < attacks.size(); ++i) {
    const auto at = attacks[i], next = i + 1 < attacks.size() ? attacks[i + 1] : powers.size();
    const auto end = std::min({next, powers.size(), at + kLongestHops});
    if (end < at + kSustainHops + kFewestHops) continue;
    const auto iterator = [&](std::size_t n) { return powers.begin() + static_cast<std::ptrdiff_t>(n); };
    const double peak = *std::max_element(iterator(at), iterator(at + kPeakHops + 1));
    const double sustain = percentile({iterator(at + kSustainHops), iterator(end)}, 0.5);
    ratios.push_back(std::min(kMostLost, decibels_of(peak) - decibels_of(sustain)));
  }
  if (ratios.empty()) return std::nullopt;
  const auto count = ratios.size();
  return Punch{percentile(std::move(ratios), 0.5), count};
}

}  // namespace sendworthy::song
