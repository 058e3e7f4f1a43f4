#include "measure/pictures.h"

#include <algorithm>
#include <cmath>

#include "measure/timelines.h"

namespace sendworthy::measure {
namespace {

constexpr std::size_t kOutlinePoints = 4096;
constexpr int kLevelBins = 62;  // below −60, −60 … −1 by 1 dB, above 0 dBFS
constexpr double kLowestLevelDb = -61;
constexpr int kGrid = 257;          // cells a side over mid and side from −1 to 1
constexpr int kShown = 41;          // at most, a side
constexpr double kCovered = 0.995;  // of all frames that the density shows
constexpr double kEdgeDb = 6, kEndDb = 12, kUnderMusicDb = 40, kNextToNothingDb = -70;
constexpr double kSharpEnd = 0.93, kWallDb = 20;  // converters end at 0.93 of half the rate and above

}  // namespace

Pictures::Spectrum picture_of(const dsp::BandSpectrum& spectrum, std::int64_t frames, int sample_rate) {
  Pictures::Spectrum found;
  found.centre_hz = spectrum.centre_hz();
  for (const double power : spectrum.mean_power(frames)) found.level_db.push_back(static_cast<float>(power_db(power)));
  // An end is a step of 6 dB from one band to the next behind which nothing comes back, which falls by 12 dB within two
  // bands, and behind which lies a floor far below the music: music itself steps down in its middle, and a loud bass
  // stands over everything. Where in the band it lies is read from the Fourier lines.
  const auto loud = spectrum.percentile_db(0.95);
  const double loudest = loud.empty() ? 0 : *std::max_element(loud.begin(), loud.end());
  double above = -1e9;  // the loudest of the bands behind
  for (std::size_t b = loud.size(); b-- > 1;) {
    above = std::max(above, loud[b]);
    if (above > std::min(loudest - kUnderMusicDb, kNextToNothingDb)) break;
    const double lowest = b + 1 < loud.size() ? std::min(loud[b], loud[b + 1]) : loud[b];
    if (loud[b - 1] >= above + kEdgeDb && loud[b - 1] >= lowest + kEndDb) {
      const double half_band = std::pow(10, 0.05);
      found.bandwidth_hz = spectrum.end_of(found.centre_hz[b - 1] / half_band / half_band / half_band,
                                           found.centre_hz[b] * half_band, kEndDb);
      break;
    }
  }
  // The last band has none behind it: there the lines alone tell.
  if (!found.bandwidth_hz && !loud.empty()) {
    const double half_rate = sample_rate / 2.0;
    const double end = spectrum.end_of(found.centre_hz.back() / std::pow(10, 0.15), 0.99 * half_rate, kEndDb);
    if (end < kSharpEnd * half_rate && spectrum.line_power(1.04 * end, 0.99 * half_rate) <
                                           std::pow(10, -kWallDb / 10) * spectrum.line_power(0.9 * end, 0.98 * end))
      found.bandwidth_hz = end;
  }
  return found;
}

PictureMeter::PictureMeter(const audio::StreamFormat& format)
    : format_(format),
      ticks_(format.sample_rate),
      outlines_(static_cast<std::size_t>(format.channels)),
      windows_(kLevelBins, 0) {
  if (format.channels == 2) grid_.assign(static_cast<std::size_t>(kGrid) * kGrid, 0);
}

void PictureMeter::process(const Block& block) {
  outline(block);
  levels(block);
  if (!grid_.empty()) density(block);
}

void PictureMeter::outline(const Block& block) {
  for (int s = 0; s < block.subs(); ++s) {
    for (int c = 0; c < block.channels; ++c) {
      auto& line = outlines_[static_cast<std::size_t>(c)];
      if (in_point_ == 0) {
        line.highest.push_back(block.high(c)[s]), line.lowest.push_back(block.low(c)[s]);
      } else {
        line.highest.back() = std::max(line.highest.back(), block.high(c)[s]);
        line.lowest.back() = std::min(line.lowest.back(), block.low(c)[s]);
      }
    }
    if (++in_point_ < per_point_) continue;
    in_point_ = 0;
    if (outlines_.front().highest.size() < kOutlinePoints) continue;
    for (auto& line : outlines_) {
      for (std::size_t i = 0; i < kOutlinePoints / 2; ++i) {
        line.highest[i] = std::max(line.highest[2 * i], line.highest[2 * i + 1]);
        line.lowest[i] = std::min(line.lowest[2 * i], line.lowest[2 * i + 1]);
      }
      line.highest.resize(kOutlinePoints / 2), line.lowest.resize(kOutlinePoints / 2);
    }
    per_point_ *= 2;
  }
}

void PictureMeter::levels(const Block& block) {
  ticks_.cut(
      block.first_frame, block.frames,
      [&](int offset, int count) {
        for (int c = 0; c < block.channels; ++c)
          window_peak_ = std::max(window_peak_, static_cast<float>(dsp::row_sums(block.row(c) + offset, count).peak));
      },
      [&] { close_window(); });
}

void PictureMeter::close_window() {
  const double db = window_peak_ > 0 ? 20 * std::log10(static_cast<double>(window_peak_)) : kLowestLevelDb;
  // A peak of exactly 0 dBFS is not above it.
  const int bin = db > 0 ? kLevelBins - 1 : std::min(kLevelBins - 2, static_cast<int>(std::floor(db - kLowestLevelDb)));
  ++windows_[static_cast<std::size_t>(std::max(0, bin))];
  window_peak_ = 0;
}

void PictureMeter::density(const Block& block) {
  cells_.resize(static_cast<std::size_t>(block.frames));
  const auto sides = dsp::plane_cells(block.row(0), block.row(1), block.frames, kGrid, cells_.data());
  more_mid_ += sides.more_mid, more_side_ += sides.more_side;
  for (const auto cell : cells_) ++grid_[static_cast<std::size_t>(cell)];
}

Pictures::Density PictureMeter::density_found(std::int64_t frames) const {
  Pictures::Density found;
  constexpr int kMiddle = kGrid / 2;
  // The smallest square round the middle that holds nearly everything.
  std::vector<std::int64_t> by_distance(kMiddle + 1, 0);
  for (int row = 0; row < kGrid; ++row) {
    for (int column = 0; column < kGrid; ++column)
      by_distance[static_cast<std::size_t>(std::max(std::abs(row - kMiddle), std::abs(column - kMiddle)))] +=
          grid_[static_cast<std::size_t>(row * kGrid + column)];
  }
  int half = 0;
  for (double held = 0; half < kMiddle; ++half) {
    held += static_cast<double>(by_distance[static_cast<std::size_t>(half)]);
    if (held >= kCovered * static_cast<double>(frames)) break;
  }
  half = std::max(half, 4);
  const int side = 2 * half + 1, merge = (side + kShown - 1) / kShown;
  found.cells = (side + merge - 1) / merge;
  const int width = found.cells * merge, from = kMiddle - width / 2;
  found.reach = width / static_cast<double>(kGrid - 1);
  found.more_mid = static_cast<double>(more_mid_) / static_cast<double>(std::max<std::int64_t>(1, frames));
  found.more_side = static_cast<double>(more_side_) / static_cast<double>(std::max<std::int64_t>(1, frames));
  found.share.assign(static_cast<std::size_t>(found.cells) * static_cast<std::size_t>(found.cells), 0);
  for (int row = 0; row < width; ++row) {
    for (int column = 0; column < width; ++column) {
      const int r = std::clamp(from + row, 0, kGrid - 1), c = std::clamp(from + column, 0, kGrid - 1);
      if (r != from + row || c != from + column) continue;  // beyond the grid's rim there is nothing
      found.share[static_cast<std::size_t>(row / merge * found.cells + column / merge)] += static_cast<float>(
          static_cast<double>(grid_[static_cast<std::size_t>(r * kGrid + c)]) / static_cast<double>(frames));
    }
  }
  return found;
}

void PictureMeter::publish(Bus& bus) {
  if (window_peak_ > 0) close_window();
  // The meter of the spectrum has put its own picture there already.
  Pictures pictures = std::move(bus.pictures).value_or(Pictures());
  std::int64_t windows = 0;
  for (const auto count : windows_) windows += count;
  pictures.levels.low_db = kLowestLevelDb;
  for (const auto count : windows_)
    pictures.levels.share.push_back(
        static_cast<float>(static_cast<double>(count) / static_cast<double>(std::max<std::int64_t>(1, windows))));
  if (!grid_.empty()) pictures.density = density_found(bus.frames);
  bus.pictures = std::move(pictures);

  const double step = static_cast<double>(per_point_ * dsp::kSubBlock) / format_.sample_rate;
  for (std::size_t c = 0; c < outlines_.size(); ++c) {
    const auto channel = static_cast<int>(c) + 1;
    bus.timelines.push_back({"highest", "", channel, 0, step, 4, std::move(outlines_[c].highest)});
    bus.timelines.push_back({"lowest", "", channel, 0, step, 4, std::move(outlines_[c].lowest)});
  }
  std::vector<float> peaks;
  for (const float peak : bus.true_peak_hops)
    peaks.push_back(static_cast<float>(amplitude_db(static_cast<double>(peak))));
  bus.timelines.push_back(bounded_timeline("true_peak", "dBTP", 0, 0, 0.1, std::move(peaks), Merge::highest, 2));
}

}  // namespace sendworthy::measure
