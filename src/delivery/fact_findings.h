// What names, formats, lengths and digests of a set say; no sound is read.
#pragma once

#include <vector>

#include "delivery/members.h"
#include "delivery/name_pattern.h"

namespace sendworthy::delivery {

/// Names against the pattern, names that cannot stand beside each other, numbers of files. `all`: every file of the folder, ordered
/// or not, since all of them travel.
[[nodiscard]] std::vector<Finding> name_findings(const Members& members, const std::optional<NamePattern>& pattern, const std::vector<std::string>& all);

/// Rate and depth, lengths, exact lengths, and one sound under two names.
[[nodiscard]] std::vector<Finding> format_findings(const Members& members);

/// Tags, recording codes, the album's code.
[[nodiscard]] std::vector<Finding> tag_findings(const Members& members);

}  // namespace sendworthy::delivery
