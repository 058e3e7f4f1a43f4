// A small WAV writer of our own, because the demo also has to write headers that lie.
#pragma once

#include <cstdint>
#include <optional>
#include <span>
#include <string>
#include <vector>

namespace demo {

/// Samples of one file, interleaved, as 24-bit codes (−2²³ … 2²³ − 1).
struct Audio {
  std::vector<std::int32_t> codes;
  int channels = 2;
  [[nodiscard]] std::size_t frames() const { return codes.size() / static_cast<std::size_t>(channels); }
};

struct WavFormat {
  int sample_rate = 48000;
  int bits = 24;                 ///< 16 keeps the upper 16 bits of each code
  std::string description = {};  ///< not empty: a bext chunk (EBU Tech 3285) and names in LIST/INFO
  std::optional<std::uint32_t> claimed_data_bytes = {};  ///< what the header says instead of the truth
  std::optional<std::size_t> bytes_kept = {};            ///< the file ends here, as after a broken upload
};

/// Throws std::runtime_error naming the file when it cannot be written.
void write_wav(const std::string& path, const Audio& audio, const WavFormat& format = {});

/// The same samples as FLAC, whatever the name says.
void write_flac(const std::string& path, const Audio& audio, int sample_rate);

}  // namespace demo
