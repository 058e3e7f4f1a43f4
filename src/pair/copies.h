// Two files of which only copies are here.
#pragma once

#include <sendworthy/compare.h>

#include <string>
#include <vector>

namespace sendworthy {

/// As compare_files, where what lies in the folder `copies_in` was given by the rest of its path: see check_copies.
[[nodiscard]] Sheet compare_copies(const std::string& old_path, const std::string& new_path, const std::string& copies_in,
                                   const std::vector<RuleSet>& rule_sets, CheckOptions options, const CheckHooks& hooks = {});

}  // namespace sendworthy
