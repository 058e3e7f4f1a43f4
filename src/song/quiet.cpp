#include "song/quiet.h"

#include <algorithm>
#include <cmath>
#include <cstddef>

#include "dsp/equal_loudness.h"
#include "dsp/planar.h"

namespace sendworthy::song {
namespace {

constexpr int kLowestDb = -160, kHighestDb = 60;  // of a frame
constexpr double kFromHz = 20, kToHz = 24000;
constexpr double kLoudest = 0.05, kWithinDb = 20;

double decibels(double power) { return 10 * std::log10(power); }
double power_of(double db) { return std::pow(10, db / 10); }

// Power gain of Butterworth flanks of the fourth and the second order.
double small_speaker(double hz) {
  return 1 / (1 + std::pow(kSmallSpeakerLowHz / hz, 8)) / (1 + std::pow(hz / kSmallSpeakerHighHz, 4));
}

struct Hearing {
  double gain_db;  ///< from decibels of a band's power to dB SPL
  double phon;
  bool small = false;
};

std::optional<double> level_of(const PartBands& part, const Hearing& hearing) {
  double sum = 0;
  for (std::size_t b = 0; b < part.power.size(); ++b) {
    const double hz = part.centre_hz[b], power = part.power[b] * (hearing.small ? small_speaker(hz) : 1);
    if (!(power > 0)) continue;
    const double spl = decibels(power) + hearing.gain_db;
    if (spl >= dsp::hearing_threshold_spl(hz)) sum += power_of(spl + hearing.phon - dsp::equal_loudness_spl(hz, hearing.phon));
  }
  if (!(sum > 0)) return std::nullopt;
  return decibels(sum);
}

double median(std::vector<double> values) {
  std::sort(values.begin(), values.end());
  const auto half = values.size() / 2;
  return values.size() % 2 == 1 ? values[half] : (values[half - 1] + values[half]) / 2;
}

void rank(std::vector<QuietPart>& parts, HeardLoudness QuietPart::* heard) {
  for (auto& part : parts) {
    auto& own = part.*heard;
    if (!own.level) continue;
    own.rank = 1;
    for (const auto& other : parts) own.rank += (other.*heard).level > own.level ? 1 : 0;  // an empty level is below all
  }
}

void tell_moves(std::vector<QuietPart>& parts, HeardLoudness QuietPart::* heard) {
  std::vector<std::optional<double>> rises;
  for (const auto& part : parts) {
    const auto& now = part.*heard;
    rises.push_back(now.level && part.reference.level ? std::optional(*now.level - *part.reference.level) : std::nullopt);
  }
  for (std::size_t i = 0; i < parts.size(); ++i) {
    std::vector<double> others;
    for (std::size_t k = 0; k < rises.size(); ++k)
      if (k != i && rises[k]) others.push_back(*rises[k]);
    if (rises[i] && !others.empty()) (parts[i].*heard).moved_db = *rises[i] - median(others);
  }
}

}  // namespace

PartSpectrum::PartSpectrum(int sample_rate, int channels)
    : spectra_(sample_rate, channels),
      first_line_(static_cast<std::size_t>(std::ceil(kFromHz * spectra_.size() / sample_rate))),
      end_line_(std::min(static_cast<std::size_t>(spectra_.size() / 2), static_cast<std::size_t>(kToHz * spectra_.size() / sample_rate)) + 1),
      bins_(kHighestDb - kLowestDb + 1) {}

void PartSpectrum::take(std::span<const float* const> rows, int frames) {
  rows_.resize(rows.size() * static_cast<std::size_t>(frames));
  bool silent = true;
  for (std::size_t c = 0; c < rows.size(); ++c) {
    std::copy_n(rows[c], frames, rows_.begin() + static_cast<std::ptrdiff_t>(c) * frames);
    silent = silent && dsp::row_sums(rows[c], frames).peak == 0;
  }
  spectra_.push(rows_.data(), frames, frames);
  if (!silent) sound_end_ = spectra_.frames();
  while (spectra_.ready()) {
    // A part that pauses costs no transforms.
    if ((spectra_.index() - 1) * spectra_.step() >= sound_end_) {
      spectra_.skip_to(spectra_.index() + 1);
    } else {
      add(spectra_.take());
    }
  }
}

void PartSpectrum::add(std::span<const float> lines) {
  const auto heard = lines.subspan(first_line_, end_line_ - first_line_);
  const double power = dsp::sum_of(heard) * spectra_.scale() * spectra_.channels();
  if (!(power >= power_of(kLowestDb))) return;
  auto& bin = bins_[static_cast<std::size_t>(std::min(static_cast<int>(std::floor(decibels(power))), kHighestDb) - kLowestDb)];
  ++bin.frames;
  bin.power += power;
  bin.lines.resize(heard.size());
  for (std::size_t k = 0; k < heard.size(); ++k) bin.lines[k] += static_cast<double>(heard[k]);
}

PartBands PartSpectrum::finish() {
  for (spectra_.pad(); spectra_.ready(); spectra_.pad()) add(spectra_.take());

  PartBands result;
  dsp::BandSpectrum spectrum(spectra_);
  for (const double hz : spectrum.centre_hz())
    if (hz < kToHz) result.centre_hz.push_back(hz);
  const auto bands = result.centre_hz.size();
  result.power.assign(bands, 0);

  const double all = std::ceil(static_cast<double>(spectra_.frames()) / spectra_.step());
  double wanted = std::max(1.0, std::round(kLoudest * all)), loud = 0, counted = 0;
  for (auto bin = bins_.rbegin(); bin != bins_.rend() && counted < wanted; ++bin) {
    if (bin->frames == 0) continue;
    const double frames = std::min(static_cast<double>(bin->frames), wanted - counted);
    loud += frames * bin->power / static_cast<double>(bin->frames);
    counted += frames;
  }
  if (counted == 0) return result;
  const int lowest = std::max(0, static_cast<int>(std::floor(decibels(loud / counted) - kWithinDb)) - kLowestDb);

  std::vector<double> sums(end_line_ - first_line_, 0.0);
  double frames = 0;
  for (auto i = static_cast<std::size_t>(lowest); i < bins_.size(); ++i) {
    frames += static_cast<double>(bins_[i].frames);
    for (std::size_t k = 0; k < bins_[i].lines.size(); ++k) sums[k] += bins_[i].lines[k];
  }
  std::vector<float> mean(static_cast<std::size_t>(spectra_.size() / 2 + 1), 0.0f);
  for (std::size_t k = 0; k < sums.size(); ++k) mean[first_line_ + k] = static_cast<float>(sums[k] / frames);
  spectrum.add(mean);
  const auto power = spectrum.mean_power(spectra_.step());  // of the one frame that stands for all
  for (std::size_t b = 0; b < bands; ++b) result.power[b] = power[b] * spectra_.channels();
  result.active_s = frames * spectra_.step() / spectra_.sample_rate();
  return result;
}

std::vector<QuietPart> listen_quietly(std::span<const PartBands> parts, const QuietSetting& setting) {
  const Hearing reference{setting.reference_db_spl - setting.mix_lufs, setting.reference_db_spl};
  const Hearing quiet{setting.level_db_spl - setting.mix_lufs, setting.level_db_spl};
  const Hearing small{quiet.gain_db, quiet.phon, true};
  std::vector<QuietPart> result(parts.size());
  for (std::size_t i = 0; i < parts.size(); ++i) {
    result[i].reference.level = level_of(parts[i], reference);
    result[i].quiet.level = level_of(parts[i], quiet);
    result[i].small.level = level_of(parts[i], small);
  }
  for (const auto heard : {&QuietPart::reference, &QuietPart::quiet, &QuietPart::small}) rank(result, heard);
  tell_moves(result, &QuietPart::quiet);
  tell_moves(result, &QuietPart::small);
  return result;
}

}  // namespace sendworthy::song
