// A quick fingerprint of a file's bytes: to know them again, not to prove anything against somebody who forges.
#pragma once

#include <sendworthy/result.h>

#include <atomic>
#include <string>

namespace sendworthy::base {

/// 32 hexadecimal digits (XXH3, 128 bits) over all bytes. Errors: missing, unreadable, and interrupted once `stop` is set
/// (it may be null).
[[nodiscard]] Result<std::string> fingerprint_of(const std::string& path, const std::atomic<bool>* stop = nullptr);

}  // namespace sendworthy::base
