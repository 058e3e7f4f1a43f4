// A folder watched: each file in it is checked once it is whole.
#pragma once

#include <sendworthy/result.h>
#include <sendworthy/sheet.h>

#include <atomic>
#include <cstdint>
#include <functional>
#include <optional>
#include <string>
#include <string_view>

namespace sendworthy::delivery {

struct WatchOptions {
  std::string folder;
  bool recursive = false;  ///< folders inside folders too; links are never followed
  bool existing = false;   ///< check what is there at the start; otherwise it is only known
  bool events = true;      ///< false: only look through the folder every rescan_s
  double settle_s = 2;
  double rescan_s = 10;
  std::optional<double> idle_s;  ///< end once nothing has happened for so long
  int jobs = 1;                  ///< files checked at once
};

/// All but `check` and `busy` are called one at a time, from whatever thread.
struct WatchHooks {
  /// Makes the sheet of one file by so many threads, and gives up when the flag is set. Called from several threads at once;
  /// must not throw.
  std::function<Sheet(const std::string& path, int jobs, const std::atomic<bool>& stop)> check;
  /// Once for each file that came to rest. A file that went before it could be checked has the error `missing`. False ends
  /// the watch.
  std::function<bool(const Sheet& sheet, double seconds)> checked;
  /// Written again with the bytes that were judged before.
  std::function<void(const std::string& path)> same;
  /// The watch is on; so many audio files were there before and are not checked.
  std::function<void(std::size_t kept)> started;
  /// What the user must know beside sheets: one sentence, of any bytes.
  std::function<void(std::string_view text)> said;
  /// Whether something that a sheet set going still runs; the watch is not idle then.
  std::function<bool()> busy;
  const std::atomic<bool>* stop = nullptr;
};

struct WatchEnd {
  std::int64_t checked = 0;       ///< files that were said something of
  bool interrupted = false;       ///< `stop` was set, or `checked` had enough
  bool folder_missing = false;    ///< at the end
  bool some_not_looked_at = false;  ///< a folder or a link in it was never looked into
};

/// Returns when it is idle, or stopped. Error: missing, unreadable: the folder, at the start. When it goes later, that is
/// said, and its return waited for.
[[nodiscard]] Result<WatchEnd> watch_folder(const WatchOptions& options, const WatchHooks& hooks);

}  // namespace sendworthy::delivery
