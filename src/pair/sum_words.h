// What keeps the parts of a mix from adding up, in words.
#pragma once

#include <sendworthy/sheet.h>

#include <functional>
#include <string>
#include <string_view>
#include <vector>

#include "pair/sum.h"

namespace sendworthy::pair {

/// What the parts are called: stems, or the two versions that make up a main mix.
struct SumNames {
  std::string_view all = "all stems", one = "a stem";
  std::string_view missing = "a stem is missing: what is left of the mix is in none of them";
  std::string_view levels = "faders: ";
  std::function<std::string(const SumPart&)> name;  ///< of one part
};
/// The cause and what else is off, with the parts at fault and what each step of the ladder leaves.
[[nodiscard]] std::string words_of(const Sum& sum, const SumNames& names);
/// Where most is left, the gaps, and the ends that files do not reach, in the mix of this path and rate.
[[nodiscard]] std::vector<Where> places_of(const Sum& sum, const SumNames& names, const std::string& mix_path, int sample_rate);

/// Of a part that is upside down in some of its channels only: "left channel", "channels 1 and 4"; else nothing.
[[nodiscard]] std::string inverted_channels(const SumPart& part);

/// "3 frames late", "0.5 frames early"; early where negative.
[[nodiscard]] std::string late_or_early(double frames);

}  // namespace sendworthy::pair
