// A set of deliverables for the song, as a label may order it, with one small fault of each kind.
#pragma once

#include <string>

#include "wav.h"

namespace demo {

/// Sums of strips, which add up to the mix.
struct Parts {
  Audio drums, bass, instruments, lead, backing;
};

/// Writes `folder`/*.wav, `folder`/order.toml and `folder`/faults.txt, which says what is wrong. `words`: artist, title and label, as
/// descriptions begin.
void write_delivery(const std::string& folder, const Audio& mix, const Parts& parts, const std::string& words);

}  // namespace demo
