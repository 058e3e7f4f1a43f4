// The pictures of a song against its plan, each a figure; empty where what it shows was not measured.
#pragma once

#include <sendworthy/song.h>

#include <string>
#include <vector>

#include "sheet/file_plots.h"

namespace sendworthy::sheet {

/// How big the sections are: a bar each, as wide as it lasts, as high as its integrated loudness. `length_s`: of the mix.
[[nodiscard]] std::string sizes_figure(const SongSheet& song, const std::vector<Numbered>& findings, double length_s);
/// The lead vocal over the bed while it sings, with each section's mean.
[[nodiscard]] std::string vocal_figure(const SongSheet& song, const std::vector<Numbered>& findings, double length_s);
/// Each hit's kick over the bass, with median and 10th percentile.
[[nodiscard]] std::string kick_figure(const SongSheet& song, const std::vector<Numbered>& findings, double length_s);

inline constexpr std::size_t kPairsDrawn = 24;
/// A row for each part and what may cover it, a cell for each band, filled to the share that is covered.
[[nodiscard]] std::string masking_figure(const SongSheet& song);
/// Where leads, kick and snare stand against one another at the reference level and at the quiet one.
[[nodiscard]] std::string quiet_figure(const SongSheet& song);

}  // namespace sendworthy::sheet
