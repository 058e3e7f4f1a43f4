// Texts in RIFF chunks: bext, LIST/INFO, LIST/adtl, iXML and other XML.
#pragma once

#include "audio/walk.h"

namespace sendworthy::audio {

/// `bext` (EBU Tech 3285 v2): text fields, version, time reference, loudness words × 0.01 (7FFFh = unused).
void read_bext(Walk& walk, std::int64_t offset, std::int64_t length, bool big_endian);
/// The inside of a LIST chunk, from its list type on.
void read_list(Walk& walk, std::int64_t offset, std::int64_t length, bool big_endian);
/// A chunk whose body is one XML document: kept whole up to the limit; its leaf elements become fields as well.
void read_xml(Walk& walk, const std::string& origin, std::int64_t offset, std::int64_t length);
/// Text of a fixed field: up to the first NUL, trailing blanks removed.
[[nodiscard]] std::string_view until_nul(std::string_view field);

}  // namespace sendworthy::audio
