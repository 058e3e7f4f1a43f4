// A digest over everything in a rule set that decides or is said, so that two sheets can be known to be judged alike.
#pragma once

#include <sendworthy/rule_set.h>

#include <string>

namespace sendworthy::judge {

/// "xxh128:" and 32 hexadecimal digits. Neither places in files nor where a key came from are part of it.
[[nodiscard]] std::string digest_of(const RuleSet& set);

}  // namespace sendworthy::judge
