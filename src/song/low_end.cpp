#include "song/low_end.h"

#include <algorithm>
#include <cmath>
#include <utility>

#include "dsp/kaiser.h"
#include "song/low_spectrum.h"

namespace sendworthy::song {
namespace {

constexpr double kHourS = 3600;
constexpr double kHopS = 0.005, kHalfWindowS = 0.015, kHitS = 0.080;
constexpr int kHitHops = 16;
constexpr double kFreeDb = 30, kWithinDb = 20;
constexpr double kShiftS = 0.005;
constexpr int kFractions = 4, kReach = 8;  // of a sample; samples to each side
constexpr double kKickSpectrumS = 0.2, kBassSpectrumS = 0.4, kBassSpectrumStepS = 0.2;
constexpr double kSteadyS = 0.4, kSteadyStepS = 0.1, kPlaying = 0.5;
constexpr std::size_t kFewestWindows = 10, kMostLoud = 5;
constexpr double kLoudApartS = 1;
constexpr double kStandsOut = 0.25;  // of how far the loudest lies over the median

double share_of(double db) { return std::pow(10, -db / 10); }

// Level over 30 ms every 5 ms of all of it.
std::vector<double> levels_of(const RunningPower& power, double seconds) {
  std::vector<double> levels;
  for (std::size_t n = 0; static_cast<double>(n) * kHopS < seconds; ++n) {
    const double at = static_cast<double>(n) * kHopS;
    levels.push_back(power.mean(at - kHalfWindowS, at + kHalfWindowS));
  }
  return levels;
}

double highest_at(const RunningPower& power, double hit_s) {
  double highest = 0;
  for (int k = 0; k <= kHitHops; ++k) {
    const double at = hit_s + k * kHopS;
    highest = std::max(highest, power.mean(at - kHalfWindowS, at + kHalfWindowS));
  }
  return highest;
}

// How far the power of a sum lies over the sum of the powers, dB.
double together_db(double sum, double apart) { return std::max(-kMostLost, decibels_of(sum) - decibels_of(apart)); }

}  // namespace

void LowEndMeter::Part::keep() {
  for (std::size_t c = 0; c < wide.size(); ++c) {
    wide[c].insert(wide[c].end(), stream.wide[c].begin(), stream.wide[c].end());
    low[c].insert(low[c].end(), stream.low[c].begin(), stream.low[c].end());
  }
}

std::optional<MonoLoss> LowEndMeter::Part::mono() const {
  if (low.size() != 2) return std::nullopt;
  MonoSums sums(stream.rate_hz(), stream.low_start_s());
  sums.add(low[0], low[1]);
  return sums.finish();
}

LowEndMeter::LowEndMeter(double sample_rate_hz, double below_hz, const Channels& channels)
    : sample_rate_hz_(sample_rate_hz),
      widest_(static_cast<std::size_t>(std::max({channels.mix, channels.kick, channels.bass}))),
      mix_(sample_rate_hz, below_hz, channels.mix),
      mix_mono_(mix_.rate_hz(), mix_.low_start_s()),
      punch_(mix_.rate_hz()),
      kick_hits_(sample_rate_hz, channels.kick),
      kick_{LowRows(sample_rate_hz, below_hz, channels.kick), {}, {}},
      bass_{LowRows(sample_rate_hz, below_hz, channels.bass), {}, {}} {
  for (auto* part : {&kick_, &bass_}) {
    part->wide.resize(part->stream.wide.size());
    part->low.resize(part->stream.low.size());
  }
}

void LowEndMeter::take_mix() {
  if (mix_.low.size() == 2) mix_mono_.add(mix_.low[0], mix_.low[1]);
  punch_.add(mix_.low);
}

void LowEndMeter::take(std::span<const float* const> mix, std::span<const float* const> kick, std::span<const float* const> bass, int frames) {
  frames = static_cast<int>(std::min<std::int64_t>(frames, static_cast<std::int64_t>(kHourS * sample_rate_hz_) - frames_));
  if (frames <= 0) return;
  frames_ += frames;
  mix_.take(mix, frames);
  take_mix();
  if (!kick_.wide.empty()) kick_hits_.take(kick, frames);
  kick_.stream.take(kick, frames);
  kick_.keep();
  bass_.stream.take(bass, frames);
  bass_.keep();
}

LowEndReading LowEndMeter::finish() {
  LowEndReading result;
  result.measured_s = static_cast<double>(frames_) / sample_rate_hz_;
  mix_.finish();
  take_mix();
  for (auto* part : {&kick_, &bass_}) {
    part->stream.finish();
    part->keep();
  }
  result.mix_mono = mix_mono_.finish();
  result.mix_punch = punch_.finish();
  result.kick_mono = kick_.mono();
  result.bass_mono = bass_.mono();
  tell_hits(result, kick_.wide.empty() ? std::vector<double>() : kick_hits_.finish());
  tell_together(result);
  tell_centres(result);
  tell_steadiness(result);
  return result;
}

double LowEndMeter::times(const Part& part) const { return part.low.size() == 1 ? static_cast<double>(widest_) : 1; }

const std::vector<float>* LowEndMeter::row(const Part& part, std::size_t channel) const {
  if (part.low.size() == 1) return &part.low[0];
  return channel < part.low.size() ? &part.low[channel] : nullptr;
}

std::ptrdiff_t LowEndMeter::wide_sample(double at_s) const { return std::lround((at_s - kick_.stream.wide_start_s()) * kick_.stream.rate_hz()); }

void LowEndMeter::tell_hits(LowEndReading& result, const std::vector<double>& onsets) const {
  if (onsets.empty()) return;
  const RunningPower kick(kick_.low, times(kick_), kick_.stream.rate_hz(), kick_.stream.low_start_s());
  const RunningPower bass(bass_.low, times(bass_), bass_.stream.rate_hz(), bass_.stream.low_start_s());
  const double silent = share_of(kFreeDb) * loudest(levels_of(bass, result.measured_s));
  std::vector<double> kicks;
  for (const double at : onsets) kicks.push_back(highest_at(kick, at));
  const double least = share_of(-KickHits::kFaintestDb) * loudest(kicks);
  LowEndReading::KickOverBass over;
  std::vector<double> differences;
  for (std::size_t i = 0; i < onsets.size(); ++i) {
    if (kicks[i] < least || !(kicks[i] > 0)) continue;
    const double level = highest_at(bass, onsets[i]);
    const auto& hit = result.hits.emplace_back(LowEndReading::Hit{onsets[i], decibels_of(kicks[i]), decibels_of(level), level <= silent});
    if (hit.free) {
      ++over.free;
    } else {
      differences.push_back(hit.over_db());
    }
  }
  if (differences.empty()) return;
  over.hits = differences.size();
  const auto below = std::count_if(differences.begin(), differences.end(), [](double db) { return db < 0; });
  over.below_zero = static_cast<double>(below) / static_cast<double>(over.hits);
  over.low_db = percentile(differences, 0.1);
  over.median_db = percentile(std::move(differences), 0.5);
  result.kick_over_bass = over;
}

void LowEndMeter::tell_together(LowEndReading& result) const {
  if (!result.kick_over_bass) return;
  const double rate = kick_.stream.rate_hz(), start = kick_.stream.low_start_s();
  const int most = static_cast<int>(std::floor(kShiftS * rate * kFractions));
  const auto count = static_cast<std::size_t>(std::lround(kHitS * rate));
  const auto shifts = static_cast<std::size_t>(2 * most + 1);

  // Filter f delays the bass by f fourths of a sample.
  std::vector<std::vector<double>> filters(kFractions);
  for (int f = 0; f < kFractions; ++f) {
    for (int t = -kReach; t <= kReach; ++t)
      filters[static_cast<std::size_t>(f)].push_back(dsp::kaiser_sinc(t - static_cast<double>(f) / kFractions, kReach + 1, 1, 6));
  }

  std::vector<std::vector<double>> by_shift(shifts);
  std::vector<double> flipped;
  std::vector<double> kick(count), products(shifts), powers(shifts);
  std::vector<std::vector<double>> moved(kFractions);
  const int room = most / kFractions + 1;  // whole samples a shift may take
  for (auto& hit : result.hits) {
    if (hit.free) continue;
    const auto from = std::lround((hit.at_s - start) * rate);
    double kick_power = 0;
    std::fill(products.begin(), products.end(), 0.0);
    std::fill(powers.begin(), powers.end(), 0.0);
    for (std::size_t c = 0; c < widest_; ++c) {
      const auto *kick_row = row(kick_, c), *bass_row = row(bass_, c);
      const auto sample = [](const std::vector<float>* values, std::ptrdiff_t at) {
        const bool there = values != nullptr && at >= 0 && at < static_cast<std::ptrdiff_t>(values->size());
        return there ? static_cast<double>((*values)[static_cast<std::size_t>(at)]) : 0.0;
      };
      for (std::size_t n = 0; n < count; ++n) {
        kick[n] = sample(kick_row, from + static_cast<std::ptrdiff_t>(n));
        kick_power += kick[n] * kick[n];
      }
      for (std::size_t f = 0; f < filters.size(); ++f) {
        moved[f].assign(count + 2 * static_cast<std::size_t>(room), 0.0);
        for (std::size_t n = 0; n < moved[f].size(); ++n)
          for (int t = -kReach; t <= kReach; ++t)
            moved[f][n] += filters[f][static_cast<std::size_t>(t + kReach)] * sample(bass_row, from - room + static_cast<std::ptrdiff_t>(n) - t);
      }
      for (int s = -most; s <= most; ++s) {
        const int whole = static_cast<int>(std::floor(static_cast<double>(s) / kFractions));
        const auto& bass = moved[static_cast<std::size_t>(s - kFractions * whole)];
        double product = 0, power = 0;
        for (std::size_t n = 0; n < count; ++n) {
          const double value = bass[n + static_cast<std::size_t>(room - whole)];
          product += kick[n] * value;
          power += value * value;
        }
        products[static_cast<std::size_t>(s + most)] += product;
        powers[static_cast<std::size_t>(s + most)] += power;
      }
    }
    const auto level = [&](std::size_t s, double sign) {
      const double apart = kick_power + powers[s];
      return together_db(std::max(0.0, apart + 2 * sign * products[s]), apart);
    };
    const auto here = static_cast<std::size_t>(most);
    hit.together_db = level(here, 1);
    flipped.push_back(level(here, -1));
    for (std::size_t s = 0; s < shifts; ++s) by_shift[s].push_back(level(s, 1));
  }
  LowEndReading::Together together;
  together.now_db = together.shifted_db = percentile(by_shift[static_cast<std::size_t>(most)], 0.5);
  together.flipped_db = percentile(std::move(flipped), 0.5);
  for (std::size_t s = 0; s < shifts; ++s) {
    const double db = percentile(std::move(by_shift[s]), 0.5);
    if (db <= together.shifted_db) continue;
    together.shifted_db = db;
    together.best_shift_ms = 1000 * (static_cast<double>(s) - most) / (kFractions * rate);
  }
  result.together = together;
}

void LowEndMeter::tell_centres(LowEndReading& result) const {
  const double rate = kick_.stream.rate_hz();
  if (!result.hits.empty()) {
    LowSpectrum spectrum(rate);
    for (std::size_t i = 0; i < result.hits.size(); ++i) {
      const double at = result.hits[i].at_s;
      const double length = i + 1 < result.hits.size() ? std::min(kKickSpectrumS, result.hits[i + 1].at_s - at) : kKickSpectrumS;
      spectrum.add(kick_.wide, wide_sample(at), static_cast<std::size_t>(std::lround(length * rate)), LowSpectrum::Window::even);
    }
    if (spectrum.centre_hz() > 0) result.kick_centre_hz = spectrum.centre_hz();
  }
  const RunningPower bass(bass_.wide, 1, rate, bass_.stream.wide_start_s());
  std::vector<double> powers;
  for (std::size_t n = 0; static_cast<double>(n) * kBassSpectrumStepS < result.measured_s; ++n)
    powers.push_back(bass.mean(static_cast<double>(n) * kBassSpectrumStepS, static_cast<double>(n) * kBassSpectrumStepS + kBassSpectrumS));
  const double least = share_of(kWithinDb) * loudest(powers);
  if (!(least > 0)) return;
  const auto length = static_cast<std::size_t>(std::lround(kBassSpectrumS * rate));
  LowSpectrum spectrum(rate);
  for (std::size_t n = 0; n < powers.size(); ++n) {
    if (powers[n] >= least) spectrum.add(bass_.wide, wide_sample(static_cast<double>(n) * kBassSpectrumStepS), length, LowSpectrum::Window::hann);
  }
  if (spectrum.centre_hz() > 0) result.bass_centre_hz = spectrum.centre_hz();
}

void LowEndMeter::tell_steadiness(LowEndReading& result) const {
  const double rate = bass_.stream.rate_hz();
  const auto levels = levels_of(RunningPower(bass_.low, 1, rate, bass_.stream.low_start_s()), result.measured_s);
  const double least = share_of(kWithinDb) * loudest(levels);
  if (!(least > 0)) return;
  const auto width = static_cast<std::size_t>(std::lround(kSteadyS / kHopS)), step = static_cast<std::size_t>(std::lround(kSteadyStepS / kHopS));
  std::vector<LowEndReading::Loud> windows;  // with the level itself, at first
  std::vector<double> all;
  for (std::size_t from = 0; from + width <= levels.size(); from += step) {
    double sum = 0, playing = 0;
    for (std::size_t n = from; n < from + width; ++n) {
      if (levels[n] < least) continue;
      sum += levels[n];
      ++playing;
    }
    if (playing < kPlaying * static_cast<double>(width)) continue;
    all.push_back(decibels_of(sum / playing));
    windows.push_back({static_cast<double>(from) * kHopS + kSteadyS / 2, all.back(), 0});
  }
  if (all.size() < kFewestWindows) return;
  const auto length = static_cast<std::size_t>(std::lround(kSteadyS * rate));
  LowEndReading::Steadiness steady;
  steady.windows = all.size();
  steady.spread_db = percentile(all, 0.95) - percentile(all, 0.1);
  const double median = percentile(std::move(all), 0.5);
  std::stable_sort(windows.begin(), windows.end(),
                   [](const LowEndReading::Loud& a, const LowEndReading::Loud& b) { return a.over_median_db > b.over_median_db; });
  for (const auto& window : windows) {
    if (steady.loudest.size() == kMostLoud) break;
    const bool near = std::any_of(steady.loudest.begin(), steady.loudest.end(),
                                  [&](const LowEndReading::Loud& other) { return std::abs(other.at_s - window.at_s) < kLoudApartS; });
    if (near) continue;
    // What lies far less over the median than the loudest does is as the rest of them.
    if (window.over_median_db - median < kStandsOut * (windows.front().over_median_db - median) || !(window.over_median_db > median)) break;
    LowSpectrum spectrum(rate);
    spectrum.add(bass_.wide, wide_sample(window.at_s - kSteadyS / 2), length, LowSpectrum::Window::hann);
    steady.loudest.push_back({window.at_s, window.over_median_db - median, spectrum.highest_hz()});
  }
  result.bass_steadiness = std::move(steady);
}

}  // namespace sendworthy::song
