// The files that a hand-off writes beside the set, and what stands in them.
#pragma once

#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "delivery/order.h"
#include "sheet/manifest.h"

namespace sendworthy::delivery {

inline constexpr std::string_view kManifestName = "manifest.json", kSha256Name = "SHA256SUMS", kMd5Name = "MD5SUMS", kNoteName = "hand-off.md", kPageName = "hand-off.html";

/// The order's path relative to its folder; nothing where it lies elsewhere.
[[nodiscard]] std::optional<std::string> order_below(const Order& order);

/// What in the order's folder belongs to the hand-off itself, relative to it: the order, where it lies there, and the files above.
[[nodiscard]] std::vector<std::string> own_files(const Order& order);

/// Which of a hand-off's own files this is; `other` where it is none of them. The manifest, which cannot list itself, is none.
[[nodiscard]] sheet::SentFile::Kind kind_of_own(std::string_view name);

}  // namespace sendworthy::delivery
