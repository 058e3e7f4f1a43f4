// Files of which only copies are here.
#pragma once

#include <sendworthy/check.h>

#include <string>
#include <vector>

namespace sendworthy {

/// As check_files, where what lies in the folder `copies_in` (with a slash at its end) was given by the rest of its path: that is
/// what counts as the path's length, and its readings are neither looked for nor kept. The sheet still names the copies.
[[nodiscard]] Sheet check_copies(const std::vector<std::string>& paths, const std::string& copies_in, const std::vector<RuleSet>& rule_sets,
                                 const CheckOptions& options, const CheckHooks& hooks = {});

}  // namespace sendworthy
