// Size and colours of a picture from its header alone: no picture library, and no picture is ever decoded.
#pragma once

#include <cstdint>
#include <span>

#include "audio/bytes.h"
#include "audio/file.h"

namespace sendworthy::audio {

/// A picture that takes `length` bytes of the file from `offset`. Reads small pieces, a bounded number of them.
[[nodiscard]] PictureHead read_picture_head(Window& window, std::int64_t offset, std::int64_t length);
/// The same of a picture in memory.
[[nodiscard]] PictureHead read_picture_head(std::span<const std::uint8_t> bytes);

}  // namespace sendworthy::audio
