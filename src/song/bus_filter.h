// What a filter on the mix bus does to parts that were printed before it.
#pragma once

#include "song/song_findings.h"

namespace sendworthy::song {

/// How much farther the lead vocals lie over all other stems behind the filter of the mix bus than in their files, in LU, where the lead
/// sings; 0 where the sum of the stems wants no filter. An estimate: K-weighted power in bands of an ERB, parts added as powers, and the
/// filter's gain between the middles of octaves by a straight line over the logarithm of frequency.
[[nodiscard]] double lead_lifted_by_bus_filter_lu(const Measured& song);

}  // namespace sendworthy::song
