// One line for one file: what a watch says of it.
#pragma once

#include <sendworthy/render.h>
#include <sendworthy/sheet.h>

#include <string>

namespace sendworthy::cli {

/// "FAIL  mix.wav: 2 fail, 1 warn, 77 pass: Clipped places: 1, at most 0; ... (1.2 s)" with a line end; only verdict and name
/// with `quiet`. The file names the reason where it has no sheet.
[[nodiscard]] std::string watch_line(const FileSheet& file, const Catalog& catalog, double seconds, Colour colour, bool quiet);

/// What a file fails by and is warned of, the worst first, at most three: empty where there is nothing.
[[nodiscard]] std::string worst_of(const FileSheet& file, const Catalog& catalog);

}  // namespace sendworthy::cli
