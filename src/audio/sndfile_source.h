// Everything that is not plain PCM, decoded by libsndfile. It sees only sample data behind a header of our own making.
#pragma once

#include <memory>
#include <string>

#include "audio/walk.h"

namespace sendworthy::audio {

/// Takes the bytes over. Errors: unrecognised when the library refuses what the walk let through.
[[nodiscard]] Result<std::unique_ptr<Source>> open_with_sndfile(std::unique_ptr<Bytes> bytes, Walked walked,
                                                                const std::string& path);

[[nodiscard]] std::string sndfile_version();

}  // namespace sendworthy::audio
