// Text that somebody wrote in several lines, to be shown.
#pragma once

#include <string>
#include <string_view>
#include <vector>

namespace sendworthy::base {

/// Its lines, each as for_terminal has it, without the blank ones.
[[nodiscard]] std::vector<std::string> lines_for_terminal(std::string_view bytes);

}  // namespace sendworthy::base
