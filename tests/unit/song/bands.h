// Sound of a test as a part's power in bands.
#pragma once

#include <algorithm>
#include <array>
#include <cmath>
#include <functional>
#include <vector>

#include "signals.h"
#include "song/band_frames.h"

namespace sendworthy::test {

inline song::BandFrames bands_of(const Channels& channels, int rate, int block = 4096) {
  std::vector<std::vector<float>> rows;
  for (const auto& channel : channels) rows.emplace_back(channel.begin(), channel.end());
  song::BandAnalyser analyser(rate, static_cast<int>(rows.size()));
  const auto frames = static_cast<int>(rows[0].size());
  for (int at = 0; at < frames; at += block) {
    std::vector<const float*> from;
    for (const auto& row : rows) from.push_back(row.data() + at);
    analyser.take(from, std::min(block, frames - at));
  }
  return analyser.finish();
}

/// Levels in dB written down, NaN for nothing.
inline song::BandFrames written_bands(int frames, const std::function<double(int t, int band)>& level_db) {
  song::BandFrames out;
  for (int t = 0; t < frames; ++t) {
    std::array<std::uint8_t, song::BandFrames::kBands> codes{};
    for (int band = 0; band < song::BandFrames::kBands; ++band) {
      const double db = level_db(t, band);
      codes[static_cast<std::size_t>(band)] = std::isnan(db) ? std::uint8_t{0} : song::BandFrames::code_of(std::pow(10, db / 10));
    }
    out.add_frame(codes);
  }
  return out;
}

}  // namespace sendworthy::test
