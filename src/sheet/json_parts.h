// Parts of a sheet's JSON that stand in other documents in the same shape.
#pragma once

#include <sendworthy/sheet.h>

#include "sheet/json_text.h"

namespace sendworthy::sheet {

/// The member "facts".
void facts_as_json(JsonText& json, const FileSheet& file);
/// The object that stands under a measurement's key.
void measurement_as_json(JsonText& json, const Measurement& measurement, const Catalog& catalog);

/// Of a sheet of a song, the member "pairs": parts that matter more under parts that matter less.
void song_pairs_as_json(JsonText& json, const SongSheet& song);
/// Its members "sections", "song" and "stems".
void song_as_json(JsonText& json, const SongSheet& song);

}  // namespace sendworthy::sheet
