// The `fmt ` chunk of RIFF, RF64 and W64.
#pragma once

#include <optional>
#include <span>
#include <string_view>

#include "audio/walk.h"

namespace sendworthy::audio {

struct WaveFormat {
  std::uint16_t tag = 0;  ///< of the codec itself: EXTENSIBLE is looked through
  bool extensible = false;
  int valid_bits = 0;
};

/// Reads a format chunk of `length` bytes at `offset` into walk.result.data and .format; contradictions are noted.
/// Errors: unrecognised, when nothing can be decoded by it.
[[nodiscard]] Result<WaveFormat> read_wave_format(Walk& walk, std::int64_t offset, std::int64_t length,
                                                  bool big_endian);

/// After the data chunk is known: facts, and what the decoder gets. `fact_frames` from the `fact` chunk.
[[nodiscard]] Result<void> finish_wave(Walk& walk, const WaveFormat& wave, std::optional<std::int64_t> fact_frames);

}  // namespace sendworthy::audio
