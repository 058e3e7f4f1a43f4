// AAC by the program ffmpeg, as a helper: piped in, piped out.
#pragma once

#include <memory>
#include <string>

#include "audio/lossy_trip.h"
#include "base/helper.h"

namespace sendworthy::audio {

/// First line of what `program -version` says.
[[nodiscard]] Result<std::string> ffmpeg_version(const std::string& program, const std::atomic<bool>* stop,
                                                 const base::HelperLimits& limits = {});

/// The same, asked once per program: its answer does not change while this process runs.
[[nodiscard]] Result<std::string> known_ffmpeg_version(const std::string& program, const std::atomic<bool>* stop);

[[nodiscard]] std::unique_ptr<LossyTrip> aac_trip(std::string program, std::string version, LossyFormat format, int kbit_s,
                                                  std::int64_t frames, const std::atomic<bool>* stop,
                                                  const base::HelperLimits& limits = {});

}  // namespace sendworthy::audio
