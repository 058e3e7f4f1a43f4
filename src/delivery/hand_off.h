// The files that a hand-off writes beside the set, and what stands in them.
#pragma once

#include <string>
#include <string_view>
#include <vector>

#include "delivery/order.h"

namespace sendworthy::delivery {

inline constexpr std::string_view kManifestName = "manifest.json", kSha256Name = "SHA256SUMS", kMd5Name = "MD5SUMS", kNoteName = "hand-off.md", kPageName = "hand-off.html";

/// What in the order's folder belongs to the hand-off itself, relative to it: the order, where it lies there, and the files above.
[[nodiscard]] std::vector<std::string> own_files(const Order& order);

}  // namespace sendworthy::delivery
