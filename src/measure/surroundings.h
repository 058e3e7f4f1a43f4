// What a reading rests on beside the bytes of the file.
#pragma once

#include <atomic>
#include <string>
#include <vector>

#include <sendworthy/rule_set.h>

namespace sendworthy::measure {

/// All that a pass takes from outside of the file and that does not differ from file to file: the code that runs (every
/// library), the class of processor, the program behind a codec that is asked for. Empty when that cannot be told.
[[nodiscard]] std::string common_surroundings(const std::vector<MeasureRequest>& requests, const std::atomic<bool>* stop);

/// The same of one file: its path as given, and whether the other half of a stereo pair stands beside it. A meter that looks
/// at anything else outside of the bytes must say so here: readings are kept under this name.
[[nodiscard]] std::string surroundings_of(const std::string& path);

}  // namespace sendworthy::measure
