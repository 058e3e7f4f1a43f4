// MPEG audio, decoded by libmpg123 itself. libsndfile would do it through the same library, but leaves it free to write
// its remarks about damaged files to the terminal, which a library must not do.
#pragma once

#include <memory>
#include <string>

#include "audio/walk.h"

namespace sendworthy::audio {

/// Takes the bytes over. Errors: unrecognised when the library refuses what the walk let through.
[[nodiscard]] Result<std::unique_ptr<Source>> open_mpeg(std::unique_ptr<Bytes> bytes, Walked walked,
                                                        const std::string& path);

[[nodiscard]] std::string mpg123_version();

}  // namespace sendworthy::audio
