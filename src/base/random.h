// What nobody can guess.
#pragma once

#include <sendworthy/result.h>

#include <cstddef>
#include <string>
#include <string_view>

namespace sendworthy::base {

/// So many letters and digits from the system's random source, each of the 62 equally likely. Error: unreadable, where the system
/// has none to give.
[[nodiscard]] Result<std::string> random_word(std::size_t length);

/// Whether both are the same, in a time that tells nothing of where they differ; it does tell whether their lengths do.
[[nodiscard]] bool same_secret(std::string_view a, std::string_view b);

}  // namespace sendworthy::base
