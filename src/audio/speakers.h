// Which loudspeaker a channel belongs to, as each container says it.
#pragma once

#include <cstdint>
#include <optional>
#include <vector>

#include "audio/file.h"

namespace sendworthy::audio {

/// Sets speakers, layout and layout_known from a list (size = channels). Any `unknown` makes the layout unknown.
void set_speakers(StreamFormat& format, std::vector<Speaker> speakers);
/// One channel is mono, two are left and right; more are unknown unless the file says what they are.
void set_default_speakers(StreamFormat& format);
/// WAVEFORMATEXTENSIBLE mask (the same bits serve CAF and FLAC). False when it does not fit the channel count.
bool set_speakers_from_mask(StreamFormat& format, std::uint32_t mask);
/// Orders fixed by the FLAC format (RFC 9639, 9.1.3) and by Vorbis I, 4.3.9 (Opus mapping family 1 is the same).
void set_flac_speakers(StreamFormat& format);
void set_vorbis_speakers(StreamFormat& format);
/// A layout tag of CAF `chan` and AIFF `CHAN` chunks; false when it is not one we know.
bool set_speakers_from_caf_tag(StreamFormat& format, std::uint32_t tag);
/// A channel label of the same chunks.
[[nodiscard]] Speaker speaker_of_caf_label(std::uint32_t label);

/// The weight of a channel's power in programme loudness: ITU-R BS.1770-5 Annex 1 Table 3 and Annex 3 Table 4, 1.41 at azimuths of 60 to
/// 120 degrees; the LFE channel is left out.
[[nodiscard]] double loudness_weight(Speaker speaker);

}  // namespace sendworthy::audio
