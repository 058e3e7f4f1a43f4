// What an MP4 says about its codec: the elementary stream descriptor around an AudioSpecificConfig, and the ALAC cookie.
#pragma once

#include <cstdint>
#include <optional>
#include <span>
#include <string>

namespace sendworthy::audio {

struct AacConfig {
  std::string encoding;      ///< "AAC-LC", "HE-AAC", "HE-AACv2" …; of another codec its name
  bool is_aac = false;
  int sample_rate = 0;       ///< Hz, as decoded; 0: not said
  int core_rate = 0;         ///< Hz, before a spectral band replication doubles it
  int channels = 0;          ///< as decoded; 0: not said
  int packet_frames = 1024;  ///< frames decoded from one packet
  std::int64_t mean_bit_s = 0, highest_bit_s = 0;  ///< bits per second; 0: not said
};

/// An `esds` box from behind its version and flags (ISO/IEC 14496-1, 7.2.6, and 14496-3, 1.6.2.1). Nothing when it is broken.
[[nodiscard]] std::optional<AacConfig> read_aac_config(std::span<const std::uint8_t> esds);

struct AlacConfig {
  int bits = 0, channels = 0, sample_rate = 0;
  std::int64_t packet_frames = 0;
};

/// The cookie of an `alac` box from behind its version and flags. Nothing when it is broken.
[[nodiscard]] std::optional<AlacConfig> read_alac_config(std::span<const std::uint8_t> cookie);

}  // namespace sendworthy::audio
