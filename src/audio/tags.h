// ID3v2 and Vorbis comments. Our own walk bounds and rebuilds them first; TagLib then only turns text frames that are
// known to be small and well formed into text.
#pragma once

#include <span>
#include <string>
#include <string_view>

#include "audio/walk.h"

namespace sendworthy::audio {

/// An ID3v2 tag at `offset`, not reaching beyond `end`: texts, tags and artwork go into the walk. Returns its length
/// with header and footer, 0 when none begins there.
std::int64_t read_id3v2(Walk& walk, std::int64_t offset, std::int64_t end, const std::string& origin);

/// ID3v1 and APEv2 tags at the end of MPEG audio. Returns where the audio ends.
[[nodiscard]] std::int64_t read_end_tags(Walk& walk, std::int64_t start, std::int64_t end);

/// A Vorbis comment block from the vendor's length on (no framing bit). `offset` is its place in the file.
void read_vorbis_comments(Walk& walk, std::span<const std::uint8_t> block, std::int64_t offset,
                          const std::string& origin);

/// A FLAC picture block.
void read_flac_picture(Walk& walk, std::int64_t offset, std::int64_t length);

/// The form of ISO 3901 codes, with or without hyphens.
[[nodiscard]] bool looks_like_isrc(std::string_view text);

}  // namespace sendworthy::audio
