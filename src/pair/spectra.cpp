#include "pair/spectra.h"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <numbers>
#include <utility>

#include "base/text.h"
#include "dsp/planar.h"

namespace sendworthy::pair {
namespace {

constexpr std::int64_t kKept = 1 << 14;  // samples: frames come in order, and overlap

constexpr std::int64_t kHalfStepFrames = 2000;  // of a file of which frames overlap by half; in a longer one they stand side by side
constexpr double kHighestRate = 50000, kFrameS = 0.17, kHighestHz = 16000, kLastShare = 0.45;
constexpr double kWholeFrame = 0.05;  // what an alignment is off by: bounces of one session part by whole frames

}  // namespace

Result<Clock> common_clock(const std::vector<const Track*>& tracks) {
  Clock clock;
  clock.channels = 2;
  double longest_s = 0;
  for (const auto* track : tracks) {
    const auto file = Reader::open(track->path);
    if (!file) return tl::unexpected(file.error());
    const auto& format = file->format();
    if (format.channels > 2 && !format.layout_known)
      return fail(ErrorCode::unrecognised, base::for_terminal(track->path) + ": more than two channels and no word on where each belongs; export it in stereo");
    const double rate = format.sample_rate;
    longest_s = std::max(longest_s, static_cast<double>(file->expected()) / rate);
    clock.rate = clock.rate == 0 ? rate : std::min(clock.rate, rate);
    if (format.channels == 1) clock.channels = 1;
  }
  while (clock.rate > kHighestRate) clock.rate /= 2;
  clock.size = std::clamp(1 << static_cast<int>(std::lround(std::log2(kFrameS * clock.rate))), 256, 1 << 14);
  clock.hop = 2 * longest_s * clock.rate > static_cast<double>(kHalfStepFrames) * clock.size ? clock.size : clock.size / 2;
  clock.bins = static_cast<int>(std::min(kHighestHz, kLastShare * clock.rate) * clock.size / clock.rate) + 1;
  return clock;
}

Result<SpectrumReader> SpectrumReader::open(const Track& track, const Clock& clock) {
  auto file = Reader::open(track.path);
  if (!file) return tl::unexpected(file.error());
  const double step = file->format().sample_rate * (track.alignment ? track.alignment->speed : 1) / clock.rate;
  auto reader = Reader::open(track.path, step, clock.channels);
  if (!reader) return tl::unexpected(reader.error());
  return SpectrumReader(std::move(*reader), track, clock);
}

SpectrumReader::SpectrumReader(Reader reader, const Track& track, const Clock& clock)
    : reader_(std::move(reader)), clock_(clock), fourier_(clock.size), window_(static_cast<std::size_t>(clock.size)),
      real_(window_.size()), imaginary_(real_), mid_(real_), side_(real_) {
  reader_.keep(kKept);
  for (int n = 0; n < clock.size; ++n) window_[static_cast<std::size_t>(n)] = static_cast<float>(0.5 - 0.5 * std::cos(2 * std::numbers::pi * n / clock.size));
  constexpr std::int64_t kEnd = std::int64_t{1} << 52;
  if (!track.alignment) {
    stretches_ = {{-kEnd, kEnd, 0, 1}};
    return;
  }
  speed_ = track.alignment->speed;
  const double scale = clock.rate / track.alignment->rate;
  for (const auto& one : track.alignment->stretches) {
    double lag = one.lag * scale;
    if (std::abs(lag - std::round(lag)) < kWholeFrame && reader_.step() == 1) lag = std::round(lag);
    stretches_.push_back({std::llround(static_cast<double>(one.from) * scale), std::llround(static_cast<double>(one.to) * scale), lag, one.likeness});
  }
  if (stretches_.empty()) return;
  // What lies before the first window that was found alike, and behind the last, goes with it.
  stretches_.front().from = -kEnd, stretches_.back().to = kEnd;
}

std::optional<double> SpectrumReader::lag_of(std::int64_t from) const {
  for (const auto& one : stretches_) {
    if (from >= one.from && from + clock_.size <= one.to) return one.lag;
  }
  return std::nullopt;
}

double SpectrumReader::own_seconds(std::int64_t t) const {
  const auto at = t * clock_.hop;
  return std::max(0.0, static_cast<double>(at) + lag_of(at).value_or(0)) * speed_ / clock_.rate;
}

std::int64_t SpectrumReader::expected_frames() const { return std::max<std::int64_t>(1, reader_.expected() / clock_.hop); }

bool SpectrumReader::ended(std::int64_t t) {
  if (stretches_.empty()) return true;
  const auto at = t * clock_.hop + static_cast<std::int64_t>(std::ceil(stretches_.back().lag));
  if (reader_.known_end() > at) return false;
  (void)reader_.see(at, 1);
  return at >= 0 && !reader_.met_sound();
}

bool SpectrumReader::read(std::int64_t t, Spectrum& spectrum) {
  const auto at = t * clock_.hop;
  const auto lag = lag_of(at);
  if (!lag) return false;
  const auto whole = static_cast<std::int64_t>(std::floor(*lag));
  const double fraction = *lag - static_cast<double>(whole);
  const auto rows = reader_.see(at + whole, clock_.size);
  if (!reader_.met_sound()) return false;
  if (rows.size() == 2) {
    dsp::mid_side(rows[0], rows[1], clock_.size, mid_.data(), side_.data());
    dsp::multiply(window_, mid_.data(), real_.data());
    dsp::multiply(window_, side_.data(), imaginary_.data());
  } else {
    dsp::multiply(window_, rows[0], real_.data());
    std::fill(imaginary_.begin(), imaginary_.end(), 0.0f);
  }
  fourier_.forward(real_, imaginary_);
  spectrum.real.resize(rows.size()), spectrum.imaginary.resize(rows.size());
  const auto bins = static_cast<std::size_t>(clock_.bins), size = static_cast<std::size_t>(clock_.size);
  for (std::size_t c = 0; c < rows.size(); ++c) spectrum.real[c].resize(bins), spectrum.imaginary[c].resize(bins);
  for (std::size_t k = 0; k < bins; ++k) {
    // Middle and side went through one transform as real and imaginary part.
    const auto m = (size - k) % size;
    spectrum.real[0][k] = 0.5f * (real_[k] + real_[m]), spectrum.imaginary[0][k] = 0.5f * (imaginary_[k] - imaginary_[m]);
    if (rows.size() == 2) spectrum.real[1][k] = 0.5f * (imaginary_[k] + imaginary_[m]), spectrum.imaginary[1][k] = -0.5f * (real_[k] - real_[m]);
  }
  if (fraction == 0) return true;
  // x(n + fraction) by the turn of each line.
  for (std::size_t k = 0; k < bins; ++k) {
    const double turn = 2 * std::numbers::pi * static_cast<double>(k) * fraction / static_cast<double>(size);
    const auto cosine = static_cast<float>(std::cos(turn)), sine = static_cast<float>(std::sin(turn));
    for (std::size_t c = 0; c < rows.size(); ++c) {
      const float re = spectrum.real[c][k], im = spectrum.imaginary[c][k];
      spectrum.real[c][k] = re * cosine - im * sine, spectrum.imaginary[c][k] = re * sine + im * cosine;
    }
  }
  return true;
}

}  // namespace sendworthy::pair
