// By what a page says which text of a file it means.
#pragma once

#include <string>
#include <string_view>

#include "base/hash.h"

namespace sendworthy::desk {

/// "xxh128:…" of the bytes.
[[nodiscard]] inline std::string digest_of(std::string_view text) {
  base::Hash128 hash;
  hash.add(text);
  return "xxh128:" + hash.hex();
}

}  // namespace sendworthy::desk
