// Readings as bytes and back, to the bit: what a rounded sheet would lose, the next run would judge otherwise.
#pragma once

#include <optional>
#include <string>
#include <string_view>

#include <sendworthy/store.h>

namespace sendworthy::delivery {

/// Numbers little-endian, texts and lists with their length before them. Not for other programs: it changes with the model, and
/// only the very build that wrote it reads it.
[[nodiscard]] std::string written(const Readings& readings);

/// Nothing where the bytes are not a whole of what `written` makes, or describe no file that can be. Takes any bytes.
[[nodiscard]] std::optional<Readings> read(std::string_view bytes);

}  // namespace sendworthy::delivery
