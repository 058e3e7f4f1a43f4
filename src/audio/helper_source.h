// AAC and ALAC, decoded by the program ffmpeg where there is one.
#pragma once

#include <memory>
#include <optional>
#include <string>

#include "audio/walk.h"

namespace sendworthy::audio {

/// Takes the bytes over. Without a decoder the source is empty and facts.not_decoded says why. facts.encoding follows what the
/// decoder finds where the header does not tell. Errors: unrecognised when the decoder refuses what the walk let through.
[[nodiscard]] Result<std::unique_ptr<Source>> open_with_helper(std::unique_ptr<Bytes> bytes, Walked walked, FileFacts& facts);

}  // namespace sendworthy::audio
