#include "measure/hum.h"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace sendworthy::measure {
namespace {

constexpr double kWindowS = 1.2;
constexpr std::array<int, 2> kMains{50, 60};
constexpr double kOffHz = 0.5;               // how far a line may lie off
constexpr double kNearHz = 3, kFarHz = 14;   // neighbourhood
constexpr double kEmpty = 1e-14;             // −140 dBFS: digital silence
constexpr double kQuietDb = 20;              // under the loud parts
constexpr std::size_t kFewestWindows = 3, kMostWindows = 8192;
constexpr double kMayBeQuiet = 0.1, kSoft = 1e-4;  // of the loudest so far; or −40 dBFS, since loud parts may come later
constexpr double kSteadyDb = 4;              // from quiet window to quiet window
constexpr double kOneLineDb = 10;

int power_of_two(double least) {
  int size = 1024;
  while (size < least) size *= 2;
  return size;
}

template <class T>
T middle(std::vector<T> values) {
  const auto at = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
  std::nth_element(values.begin(), at, values.end());
  return *at;
}

}  // namespace

HumFinder::HumFinder(double rate_hz) : rate_hz_(rate_hz), size_(power_of_two(kWindowS * rate_hz)), fourier_(size_) {
  const auto size = static_cast<std::size_t>(size_);
  window_.resize(size), real_.resize(size), imaginary_.resize(size), lines_.resize(size / 2 + 1);
  for (std::size_t n = 0; n < size; ++n)
    window_[n] = static_cast<float>(0.5 - 0.5 * std::cos(2 * std::numbers::pi * static_cast<double>(n) / static_cast<double>(size)));
}

void HumFinder::take(const std::vector<float>& first, const std::vector<float>& second) {
  first_.insert(first_.end(), first.begin(), first.end());
  second_.insert(second_.end(), second.begin(), second.end());
  const auto size = static_cast<std::size_t>(size_);
  while (std::min(first_.size(), second_.size()) >= size) {
    look();
    first_.erase(first_.begin(), first_.begin() + static_cast<std::ptrdiff_t>(size / 2));
    second_.erase(second_.begin(), second_.begin() + static_cast<std::ptrdiff_t>(size / 2));
  }
}

void HumFinder::look() {
  const auto size = static_cast<std::size_t>(size_);
  Window found;
  for (std::size_t n = 0; n < size; ++n) found.power += first_[n] * first_[n] + second_[n] * second_[n];
  found.power /= static_cast<float>(size);
  // Loud windows tell how loud the sound is; their lines are music.
  const auto power = static_cast<double>(found.power);
  if (power <= kEmpty) return;
  sum_ += power, ++count_, loudest_ = std::max(loudest_, power);
  if (windows_.size() < kMostWindows && power < loudest_ * kMayBeQuiet + kSoft) {
    dsp::multiply(window_, first_.data(), real_.data());
    dsp::multiply(window_, second_.data(), imaginary_.data());
    fourier_.forward(real_, imaginary_);
    std::fill(lines_.begin(), lines_.end(), 0.0f);
    dsp::add_pair_powers(real_, imaginary_, lines_);
    const double step = rate_hz_ / size_;
    const auto line = [&](double hz) { return static_cast<std::ptrdiff_t>(std::lround(hz / step)); };
    const auto last = static_cast<std::ptrdiff_t>(lines_.size()) - 1;
    for (std::size_t m = 0; m < kMains.size(); ++m) {
      for (int h = 1; h <= kHarmonics; ++h) {
        const double hz = static_cast<double>(kMains[m]) * h;
        if (line(hz + kFarHz) > last) continue;
        float peak = 0;
        std::ptrdiff_t at = line(hz);
        for (auto k = line(hz - kOffHz); k <= line(hz + kOffHz); ++k) {
          if (lines_[static_cast<std::size_t>(k)] > peak) peak = lines_[static_cast<std::size_t>(k)], at = k;
        }
        // A line that only leans over from beside is none.
        if (lines_[static_cast<std::size_t>(at - 1)] > peak || lines_[static_cast<std::size_t>(at + 1)] > peak) peak = 0;
        std::vector<float> near;
        for (auto k = line(hz - kFarHz); k <= line(hz + kFarHz); ++k) {
          if (k >= 1 && std::abs(static_cast<double>(k) * step - hz) > kNearHz) near.push_back(lines_[static_cast<std::size_t>(k)]);
        }
        const double around = static_cast<double>(middle(std::move(near)));
        const auto slot = m * kHarmonics + static_cast<std::size_t>(h - 1);
        found.over[slot] = static_cast<float>(10 * std::log10((static_cast<double>(peak) + 1e-20) / (around + 1e-20)));
        found.level[slot] = static_cast<float>(10 * std::log10(static_cast<double>(peak) + 1e-20));
      }
    }
    windows_.push_back(found);
  }
}

HumFinder::Found HumFinder::finish() const {
  Found found;
  std::vector<const Window*> quiet;
  for (const auto& window : windows_) {
    if (static_cast<double>(window.power) < sum_ / count_ * std::pow(10, -kQuietDb / 10)) quiet.push_back(&window);
  }
  if (quiet.size() < kFewestWindows) {
    found.reason = "no quiet part of 3 s that is 20 dB softer than the rest below 1 kHz";
    return found;
  }
  found.measured = true;
  for (std::size_t m = 0; m < kMains.size(); ++m) {
    std::vector<std::pair<double, int>> lines;
    for (int h = 1; h <= kHarmonics; ++h) {
      const auto slot = m * kHarmonics + static_cast<std::size_t>(h - 1);
      std::vector<float> over, level, away;
      for (const auto* window : quiet) over.push_back(window->over[slot]), level.push_back(window->level[slot]);
      const float usual = middle(level);
      for (const float one : level) away.push_back(std::abs(one - usual));
      // Hum is as loud in one pause as in the next; what decays is none.
      if (static_cast<double>(middle(away)) > kSteadyDb) continue;
      lines.emplace_back(static_cast<double>(middle(over)), h * kMains[m]);
    }
    std::sort(lines.rbegin(), lines.rend());
    if (lines.empty()) continue;
    // One line alone may be a note that is held.
    const double second = lines.size() > 1 ? lines[1].first : 0;
    const double over = std::max(0.0, (lines[0].first + std::max(0.0, second)) / 2);
    if (over <= found.over_db) continue;
    found.over_db = over, found.mains_hz = kMains[m];
    std::vector<int> named;
    for (const auto& [db, hz] : lines) {
      if (db >= kOneLineDb) named.push_back(hz);
    }
    std::sort(named.begin(), named.end());
    found.lines.clear();
    for (std::size_t i = 0; i < named.size(); ++i)
      found.lines += (i == 0 ? "" : i + 1 == named.size() ? " and " : ", ") + std::to_string(named[i]);
    if (!named.empty()) found.lines += " Hz";
  }
  return found;
}

}  // namespace sendworthy::measure
