// Plans and orders name files: all of them must lie in the opened folder, as everything does that the page reads.
#pragma once

#include <sendworthy/result.h>

#include <string>
#include <string_view>
#include <vector>

#include "delivery/order.h"
#include "desk/folder.h"
#include "song/plan.h"

namespace sendworthy::desk {

/// Whether a rule set is called by the path of its file, not by its name.
[[nodiscard]] bool is_rule_path(std::string_view rule_set);

/// Errors: those of read_plan; unreadable, for a file that it names and that lies outside, also by a link.
[[nodiscard]] Result<song::Plan> plan_within(const Folder& folder, const std::string& path);

struct OrderWithin {
  delivery::Order order;
  std::vector<std::string> files;  ///< paths of what is there for it, each once
};
/// Errors: those of read_order; unreadable, as above. Rule sets that it names by their paths are looked at, too.
[[nodiscard]] Result<OrderWithin> order_within(const Folder& folder, const std::string& path);

struct SoundsHere {
  std::vector<std::string> files, outside;  ///< those that lead out of the opened folder are in `outside` only
};
/// The audio files in a folder and those below. Errors: missing, unreadable.
[[nodiscard]] Result<SoundsHere> sounds_here(const Folder& folder, const std::string& path);

/// The same where none may lie outside. Errors: unreadable, where one of them does; missing, unreadable.
[[nodiscard]] Result<std::vector<std::string>> sounds_within(const Folder& folder, const std::string& path);

}  // namespace sendworthy::desk
