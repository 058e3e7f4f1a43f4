#include "song/features.h"

#include <algorithm>
#include <atomic>
#include <cmath>
#include <cstdint>
#include <utility>

#include "audio/file.h"
#include "base/text.h"
#include "dsp/biquad.h"
#include "dsp/spectrum.h"
#include "pair/correlate.h"
#include "pair/reader.h"

namespace sendworthy::song {
namespace {

constexpr std::size_t kMostFrames = 1 << 16;  // 93 minutes at 85 ms: some 10 MB
constexpr double kMostOnsetsS = 5400;
constexpr std::int64_t kBlock = 8192;
constexpr double kLowestHz = 40, kHighestHz = 15000;
constexpr double kLowestPitchHz = 110, kHighestPitchHz = 1760;
constexpr double kAbsoluteGate = -70, kRelativeGate = -10, kQuietest = -120;

// Glasberg and Moore, "Derivation of auditory filter shapes from notched-noise data", Hearing Research 47 (1990): ERB-rate = 21.4·log10(1 + 0.00437 f).
double erb_rate(double hz) { return 21.4 * std::log10(1 + 0.00437 * hz); }
double hz_of(double rate) { return (std::pow(10, rate / 21.4) - 1) / 0.00437; }

// Which lines of a spectrum count where.
class Lines {
 public:
  explicit Lines(const dsp::Spectra& spectra) : scale_(spectra.scale() * spectra.channels()), weights_(static_cast<std::size_t>(spectra.size() / 2 + 1)) {
    const double line_hz = static_cast<double>(spectra.sample_rate()) / spectra.size();
    const auto sections = dsp::k_weighting(spectra.sample_rate());
    for (std::size_t k = 0; k < weights_.size(); ++k) {
      const double gain = dsp::magnitude(sections, static_cast<double>(k) * line_hz, spectra.sample_rate());
      weights_[k] = static_cast<float>(gain * gain);
    }
    const auto line = [&](double hz) { return std::min(weights_.size(), static_cast<std::size_t>(std::ceil(hz / line_hz))); };
    const double low = erb_rate(kLowestHz), wide = (erb_rate(kHighestHz) - low) / kBands;
    for (std::size_t b = 0; b <= kBands; ++b) borders_[b] = line(hz_of(low + wide * static_cast<double>(b)));
    first_pitch_ = line(kLowestPitchHz);
    for (auto k = first_pitch_; k < line(kHighestPitchHz); ++k) {
      // 9 semitones from C to A.
      const auto semitone = std::llround(12 * std::log2(static_cast<double>(k) * line_hz / 440)) + 9 + 120;
      pitch_of_.push_back(static_cast<std::uint8_t>(semitone % 12));
    }
  }

  void add_to(std::span<const float> lines, std::array<float, kBands>& timbre, std::array<float, kPitches>& harmony, float& level) const {
    for (std::size_t b = 0; b < kBands; ++b)
      timbre[b] += static_cast<float>(scale_ * dsp::sum_of(lines.subspan(borders_[b], borders_[b + 1] - borders_[b])));
    for (std::size_t i = 1; i + 1 < pitch_of_.size(); ++i) {
      // What stands out from its neighbours is a tone; the skirts of the window are not.
      const auto k = first_pitch_ + i;
      if (lines[k] > lines[k - 1] && lines[k] >= lines[k + 1]) harmony[pitch_of_[i]] += static_cast<float>(std::sqrt(scale_ * static_cast<double>(lines[k])));
    }
    float sum = 0;
    for (std::size_t k = 0; k < weights_.size(); ++k) sum += weights_[k] * lines[k];
    level += static_cast<float>(scale_ * static_cast<double>(sum));
  }

 private:
  double scale_;
  std::vector<float> weights_;
  std::array<std::size_t, kBands + 1> borders_{};
  std::size_t first_pitch_ = 0;
  std::vector<std::uint8_t> pitch_of_;
};

// Puts spectra into frames, `per_` of them into each.
class Gathering {
 public:
  explicit Gathering(Features& features) : features_(features) {}

  void add(const Lines& lines, std::span<const float> spectrum) {
    lines.add_to(spectrum, timbre_, harmony_, level_);
    if (++taken_ < per_) return;
    push();
    if (features_.frames() >= kMostFrames) halve();
  }
  void finish() {
    if (taken_ > 0) push();
    features_.step_s *= per_;
  }

 private:
  void push() {
    const float share = 1.0f / static_cast<float>(taken_);
    for (auto& power : timbre_) power *= share;
    for (auto& amplitude : harmony_) amplitude *= share;
    features_.timbre.push_back(timbre_), features_.harmony.push_back(harmony_), features_.level.push_back(level_ * share);
    timbre_ = {}, harmony_ = {}, level_ = 0, taken_ = 0;
  }
  void halve() {
    const auto half = features_.frames() / 2;
    for (std::size_t i = 0; i < half; ++i) {
      for (std::size_t b = 0; b < kBands; ++b) features_.timbre[i][b] = 0.5f * (features_.timbre[2 * i][b] + features_.timbre[2 * i + 1][b]);
      for (std::size_t p = 0; p < kPitches; ++p) features_.harmony[i][p] = 0.5f * (features_.harmony[2 * i][p] + features_.harmony[2 * i + 1][p]);
      features_.level[i] = 0.5f * (features_.level[2 * i] + features_.level[2 * i + 1]);
    }
    features_.timbre.resize(half), features_.harmony.resize(half), features_.level.resize(half);
    per_ *= 2;
  }

  Features& features_;
  std::array<float, kBands> timbre_{};
  std::array<float, kPitches> harmony_{};
  float level_ = 0;
  int taken_ = 0, per_ = 1;
};

}  // namespace

std::size_t Features::frame_at(double seconds) const {
  const auto frame = static_cast<std::size_t>(std::max(0.0, seconds / step_s + 0.5));
  return std::min(frame, frames());
}

double Features::loudness_lufs(double from_s, double to_s) const {
  const auto from = frame_at(from_s), to = frame_at(to_s);
  const auto lufs = [](double power) { return power > 0 ? std::max(kQuietest, -0.691 + 10 * std::log10(power)) : kQuietest; };
  const auto mean_above = [&](double gate) {
    double sum = 0;
    std::size_t count = 0;
    for (auto i = from; i < to; ++i) {
      if (lufs(static_cast<double>(level[i])) > gate) sum += static_cast<double>(level[i]), ++count;
    }
    return count == 0 ? kQuietest : lufs(sum / static_cast<double>(count));
  };
  const double ungated = mean_above(kAbsoluteGate);
  return ungated <= kAbsoluteGate ? kQuietest : mean_above(std::max(kAbsoluteGate, ungated + kRelativeGate));
}

Result<Features> features_of(const std::string& path, const pair::Hooks& hooks) {
  auto file = pair::Reader::open(path);
  if (!file) return tl::unexpected(file.error());
  const auto& format = file->format();
  // The LFE channel is no part of loudness, and would make every bass note a change of timbre.
  std::vector<std::size_t> heard;
  for (std::size_t c = 0; c < static_cast<std::size_t>(file->channels()); ++c) {
    if (c >= format.speakers.size() || format.speakers[c] != audio::Speaker::lfe) heard.push_back(c);
  }
  if (heard.empty()) heard.push_back(0);

  Features features;
  dsp::Spectra spectra(format.sample_rate, static_cast<int>(heard.size()));
  const Lines lines(spectra);
  features.step_s = static_cast<double>(spectra.step()) / format.sample_rate;
  Gathering gathering(features);
  pair::Onsets onsets(format.sample_rate);
  const bool with_onsets = format.sample_rate >= 8000;
  const auto most_onsets = static_cast<std::int64_t>(kMostOnsetsS * format.sample_rate);
  const auto guess = std::max<std::int64_t>(1, file->expected());
  std::vector<float> rows(heard.size() * static_cast<std::size_t>(kBlock));
  file->keep(1 << 16);
  std::int64_t length = 0;
  for (std::int64_t at = 0;; at += kBlock) {
    if (hooks.stop != nullptr && hooks.stop->load(std::memory_order_relaxed)) return fail(ErrorCode::interrupted, base::for_terminal(path) + ": interrupted");
    const auto seen = file->see(at, kBlock);
    const auto frames = std::min(kBlock, file->known_end() - at);
    if (frames <= 0) break;
    for (std::size_t c = 0; c < heard.size(); ++c) std::copy_n(seen[heard[c]], frames, rows.begin() + static_cast<std::ptrdiff_t>(c) * kBlock);
    if (with_onsets && at < most_onsets) onsets.push(seen, frames);
    spectra.push(rows.data(), kBlock, static_cast<int>(frames));
    while (spectra.ready()) gathering.add(lines, spectra.take());
    length = at + frames;
    if (hooks.progress) hooks.progress(std::min(1.0, static_cast<double>(length) / static_cast<double>(guess)));
    if (frames < kBlock) break;
  }
  if (file->error()) return tl::unexpected(*file->error());
  spectra.pad();
  if (spectra.ready()) gathering.add(lines, spectra.take());
  gathering.finish();
  features.duration_s = static_cast<double>(length) / format.sample_rate;
  if (with_onsets && length <= most_onsets) features.onsets = onsets.finish();
  return features;
}

}  // namespace sendworthy::song
