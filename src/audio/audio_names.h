// Which names stand for audio where a folder was named.
#pragma once

#include <string_view>

namespace sendworthy::audio {

/// Whether a file of this name (without its folder) is taken for audio. Kinds that cannot be read here are among them.
[[nodiscard]] bool named_like_audio(std::string_view name);

}  // namespace sendworthy::audio
