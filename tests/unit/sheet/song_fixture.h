// A song held against its plan, made by hand.
#pragma once

#include <sendworthy/sheet.h>
#include <sendworthy/song.h>

namespace sendworthy::fixture {

/// Three sections, three stems of which one disappears, a pair, a vocal, hits and references.
[[nodiscard]] SongSheet small_song();
/// With a finding of each kind.
[[nodiscard]] Sheet sheet_of(SongSheet song);

}  // namespace sendworthy::fixture
