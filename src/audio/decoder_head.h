// Headers written by us for the decoding library, so that it never sees the one in the file: only values that the walk
// has checked reach it.
#pragma once

#include <cstdint>
#include <vector>

#include "audio/walk.h"

namespace sendworthy::audio {

/// RIFF/WAVE up to and with the data chunk's size, for A-law, mu-law, MS and IMA ADPCM, GSM 6.10.
[[nodiscard]] std::vector<std::uint8_t> wave_decoder_head(const SampleData& data, const StreamFormat& format);

/// AIFF-C up to and with the SSND header, for IMA ADPCM as QuickTime writes it.
[[nodiscard]] std::vector<std::uint8_t> aifc_decoder_head(const SampleData& data, const StreamFormat& format);

/// "fLaC" and one STREAMINFO, marked as the last block; `stream_info` has 34 bytes.
[[nodiscard]] std::vector<std::uint8_t> flac_decoder_head(const std::uint8_t* stream_info);

}  // namespace sendworthy::audio
