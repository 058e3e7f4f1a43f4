// A starting order that leaves some files out.
#pragma once

#include <sendworthy/result.h>

#include <string>
#include <vector>

namespace sendworthy::delivery {

/// As sendworthy::new_order. `left_out`: paths in the folder of files that are not to be opened; a comment of the order names them.
/// Error besides: no_audio, where no other is left.
[[nodiscard]] Result<std::string> new_order_without(const std::vector<std::string>& left_out, const std::string& folder, const std::string& order_path);

}  // namespace sendworthy::delivery
