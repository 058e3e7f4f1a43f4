// What changes, told as it happens: the text of one stream of server-sent events.
#pragma once

#include <chrono>
#include <cstdint>
#include <optional>
#include <string>

#include "desk/checks.h"
#include "desk/folder.h"

namespace sendworthy::desk {

/// Not thread-safe; one for each stream.
class Events {
 public:
  /// `watched`: the folder, relative to the opened one, whose listing is looked at each second; nothing: none. All must outlive it.
  Events(const Checks& checks, const Folder& folder, std::optional<std::string> watched);

  /// What is to be sent now; waits for it up to so many seconds, and may then be empty. Begins with every check that there is. A
  /// line that says nothing comes where nothing else did for 15 s.
  [[nodiscard]] std::string next(double wait_s);

 private:
  using Clock = std::chrono::steady_clock;

  const Checks& checks_;
  const Folder& folder_;
  const std::optional<std::string> watched_;
  std::optional<Folder::Listing> listing_;
  std::uint64_t since_ = 0;
  Clock::time_point looked_, spoke_;
};

}  // namespace sendworthy::desk
