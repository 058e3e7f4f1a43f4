// Which version a file's name tells of.
#pragma once

#include <string>
#include <string_view>

#include "delivery/order.h"

namespace sendworthy::delivery {

/// By words of the trade in the name; Version::main where none is there. A guess, for a starting order and for likely candidates.
[[nodiscard]] Version guessed_version(std::string_view name);

}  // namespace sendworthy::delivery
