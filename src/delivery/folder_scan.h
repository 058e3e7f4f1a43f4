// Everything in a watched folder, as it stands now.
#pragma once

#include <functional>
#include <set>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "base/folder_events.h"
#include "base/os.h"

namespace sendworthy::delivery {

struct FolderScan {
  bool missing = false;           ///< the folder itself is not there, or cannot be looked into
  std::string why_missing;
  std::vector<std::pair<std::string, base::FileStamp>> files;  ///< named like audio; a path starts with the folder's
  std::set<std::string> folders;  ///< looked into
  std::vector<std::pair<std::string, std::string>> passed_over;  ///< path and why: unreadable folders, links
  std::string no_events;          ///< why some folder gives no events; empty: all do, or none were asked for
};

/// Looks through the folder and, with `recursive`, those in it. With `events`, each is watched before it is listed, so that
/// nothing falls between the two.
[[nodiscard]] FolderScan scan_folder(const std::string& folder, bool recursive, base::FolderEvents* events);

}  // namespace sendworthy::delivery
