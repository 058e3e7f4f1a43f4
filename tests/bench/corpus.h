// Music-like stereo for benchmarks: never repeats, costs little to make, the same bytes on every run.
#pragma once

#include <cstdint>
#include <string>

namespace bench {

enum class Style {
  dynamic,       ///< quiet and loud sections, peaks left alone
  hard_limited,  ///< driven into a brick wall: peak to loudness ratio of 8 dB or less
};

/// Writes 24-bit PCM, 48 kHz, stereo. Throws std::runtime_error when it cannot.
void write_song(const std::string& path, double seconds, std::uint32_t seed, Style style);

/// Writes `hours` of 16-bit PCM, 8 kHz, mono as RF64; every byte is really written.
void write_long_rf64(const std::string& path, double hours);

}  // namespace bench
