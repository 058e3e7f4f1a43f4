#include "song/bus_filter.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <vector>

#include "dsp/biquad.h"
#include "song/band_frames.h"

namespace sendworthy::song {
namespace {

constexpr int kBands = BandFrames::kBands;
constexpr double kDesignRate = 48000;  // at which K-weighting is exact
using Bands = std::array<double, kBands>;

double power_of(double db) { return std::pow(10, db / 10); }

bool is_filtered(const pair::Sum& sum) {
  constexpr auto kFilter = pair::SumCause::bus_filter;
  return sum.rest && (sum.cause == kFilter || std::ranges::find(sum.also, kFilter) != sum.also.end());
}

double filter_db(const std::vector<pair::SumBand>& octaves, double hz) {
  const auto above = std::ranges::find_if(octaves, [&](const auto& one) { return one.centre_hz >= hz; });
  if (above == octaves.begin()) return octaves.front().gain_db;
  if (above == octaves.end()) return octaves.back().gain_db;
  const auto& low = *(above - 1);
  const double share = std::log(hz / low.centre_hz) / std::log(above->centre_hz / low.centre_hz);
  return low.gain_db + share * (above->gain_db - low.gain_db);
}

/// Frames in which one of the parts stands within 20 dB of its loudest.
std::vector<bool> sounding(const Measured& song, const std::vector<std::size_t>& parts) {
  std::vector<double> power;
  for (const auto i : parts) {
    const auto& bands = song.reading->stems[i].bands;
    power.resize(std::max(power.size(), static_cast<std::size_t>(bands.frames())));
    for (std::int64_t t = 0; t < bands.frames(); ++t) {
      for (const auto code : bands.frame(t)) power[static_cast<std::size_t>(t)] += static_cast<double>(BandFrames::powers()[code]);
    }
  }
  const double least = power.empty() ? 0 : *std::ranges::max_element(power) / 100;
  std::vector<bool> sounds;
  for (const auto one : power) sounds.push_back(one > 0 && one >= least);
  return sounds;
}

void add(const BandFrames& frames, const std::vector<bool>& where, Bands& sum) {
  const auto until = std::min(frames.frames(), static_cast<std::int64_t>(where.size()));
  for (std::int64_t t = 0; t < until; ++t) {
    if (!where[static_cast<std::size_t>(t)]) continue;
    const auto codes = frames.frame(t);
    for (int b = 0; b < kBands; ++b) sum[static_cast<std::size_t>(b)] += static_cast<double>(BandFrames::powers()[codes[static_cast<std::size_t>(b)]]);
  }
}

}  // namespace

double lead_lifted_by_bus_filter_lu(const Measured& song) {
  if (!song.sum || song.sum->not_measured || !is_filtered(*song.sum) || song.sum->rest->octaves.empty()) return 0;
  const auto lead = song.with_role(Role::lead_vocal);
  const auto where = sounding(song, lead);
  Bands of_lead{}, of_bed{};
  for (std::size_t i = 0; i < song.reading->stems.size(); ++i) add(song.reading->stems[i].bands, where, std::ranges::find(lead, i) != lead.end() ? of_lead : of_bed);
  const auto weighting = dsp::k_weighting(kDesignRate);
  double lead_before = 0, lead_behind = 0, bed_before = 0, bed_behind = 0;
  for (int b = 0; b < kBands; ++b) {
    const double hz = BandFrames::centre_hz(b), weight = std::pow(dsp::magnitude(weighting, hz, kDesignRate), 2), filter = power_of(filter_db(song.sum->rest->octaves, hz));
    const auto band = static_cast<std::size_t>(b);
    lead_before += weight * of_lead[band], lead_behind += weight * filter * of_lead[band];
    bed_before += weight * of_bed[band], bed_behind += weight * filter * of_bed[band];
  }
  if (!(lead_before > 0) || !(bed_before > 0)) return 0;
  return 10 * std::log10(lead_behind / lead_before * bed_before / bed_behind);
}

}  // namespace sendworthy::song
