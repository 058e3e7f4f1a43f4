// What the system tells of itself about folders: something became of a name in one of them. Hints, not the truth: they may
// be late, double, lost, or about a folder that has another path by now. Whoever gets one looks.
#pragma once

#include <sendworthy/result.h>

#include <map>
#include <set>
#include <string>
#include <vector>

namespace sendworthy::base {

struct FolderEvent {
  enum class Kind {
    name,     ///< something of this name appeared, went, or got other attributes
    written,  ///< bytes of this file were written: somebody has it open
    closed,   ///< somebody who had it open for writing has closed it
    folders,  ///< a folder appeared, went, moved, or was unmounted; no path
    lost,     ///< there were more events than the system keeps; no path
  };
  Kind kind = Kind::name;
  std::string path;
};

/// The folders of one watch. Not thread-safe. Linux only: elsewhere open() says that there are none.
class FolderEvents {
 public:
  /// Error: unreadable, with the system's reason.
  [[nodiscard]] static Result<FolderEvents> open();
  FolderEvents(FolderEvents&& other) noexcept;
  FolderEvents& operator=(FolderEvents&& other) noexcept;
  FolderEvents(const FolderEvents&) = delete;
  FolderEvents& operator=(const FolderEvents&) = delete;
  ~FolderEvents();

  enum class Links { followed, refused };
  /// Watches what stands at this path now, and calls it by this path from now on; harmless when it is watched already.
  /// Errors: missing; unreadable, such as the system's limit on watches.
  [[nodiscard]] Result<void> add(const std::string& folder, Links links);
  /// Ends the watch on every other folder.
  void keep_only(const std::set<std::string>& folders);

  /// What was told, at most some thousand events; waits for the first one up to so many seconds. A signal ends the wait.
  [[nodiscard]] std::vector<FolderEvent> wait(double seconds);

 private:
  explicit FolderEvents(int descriptor) : descriptor_(descriptor) {}
  void forget(int number);

  int descriptor_ = -1;
  std::map<int, std::string> folders_;  ///< the system's number → path
  std::map<std::string, int> numbers_;  ///< and back
};

/// Sleeps; a signal ends it.
void pause_for(double seconds);

}  // namespace sendworthy::base
