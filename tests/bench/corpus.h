// Music-like stereo for benchmarks: never repeats, costs little to make, the same bytes on every run.
#pragma once

#include <cstdint>
#include <string>
#include <vector>

namespace bench {

enum class Style {
  dynamic,       ///< quiet and loud sections, peaks left alone
  hard_limited,  ///< driven into a brick wall: peak to loudness ratio of 8 dB or less
};

/// Writes 24-bit PCM, 48 kHz, stereo. Throws std::runtime_error when it cannot.
void write_song(const std::string& path, double seconds, std::uint32_t seed, Style style);

/// Adds files of one format up and writes 24-bit PCM, everything `gain` times; silence from `mute_s` on for half a second where that is
/// not negative. Throws std::runtime_error when it cannot.
void write_sum(const std::vector<std::string>& from, const std::string& to, double gain, double mute_s = -1);

/// Writes `hours` of 16-bit PCM, 8 kHz, mono as RF64; every byte is really written.
void write_long_rf64(const std::string& path, double hours);

}  // namespace bench
