// Two bounces of one song: is it the same mix, and if not, where and by how much?
#pragma once

#include <sendworthy/check.h>

#include <string>
#include <vector>

namespace sendworthy {

/// Checks both files as check_files does and pairs their sound: offset, gain, polarity, order of channels, speed, and what is left
/// of the new one once the old one is taken out of it. The sheet holds both files and one pair; no pair where one of them gave
/// no sheet. Never throws, never prints.
[[nodiscard]] Sheet compare_files(const std::string& old_path, const std::string& new_path, const std::vector<RuleSet>& rule_sets,
                                  CheckOptions options, const CheckHooks& hooks = {});

/// For showing: where a comparison came to no pair, there is nothing to say of the file that has a sheet, and it is taken off.
void keep_only_failures(Sheet& sheet);

/// Whether the two are one and the same sound at one and the same place.
[[nodiscard]] bool is_identical(const Pair& pair);

}  // namespace sendworthy
