// The head of the WAVE file as which a decoded sound is served.
#pragma once

#include <cstdint>
#include <string>

#include "audio/file.h"

namespace sendworthy::desk {

/// Up to the first sample of a file of 32-bit floats, interleaved: RIFF with WAVE_FORMAT_EXTENSIBLE, and RF64 (EBU Tech 3306) beyond
/// 4 GiB. As many bytes as wave_head_bytes(), a multiple of 4.
[[nodiscard]] std::string wave_head(const audio::StreamFormat& format, std::int64_t frames);
[[nodiscard]] std::int64_t wave_head_bytes(int channels, std::int64_t frames);

}  // namespace sendworthy::desk
