// The numbers of a song, as tables of its page; empty where there are none.
#pragma once

#include <sendworthy/song.h>

#include <string>

namespace sendworthy::sheet {

[[nodiscard]] std::string sections_table(const SongSheet& song);
[[nodiscard]] std::string stems_table(const SongSheet& song);
/// Pairs of parts with the passages in which the one covers the other most.
[[nodiscard]] std::string pairs_table(const SongSheet& song);
/// What was read of kick and bass, or without stems of the mix, beside the hits.
[[nodiscard]] std::string low_end_facts(const SongSheet& song);
/// The user's own files beside the mix.
[[nodiscard]] std::string references_table(const Sheet& sheet);

}  // namespace sendworthy::sheet
