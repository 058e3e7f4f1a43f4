// Which files of a watched folder are to be checked, and when. No system calls, no threads, no clock of its own: it is told
// what was seen and what time it is, in seconds of any clock that never goes back.
#pragma once

#include <cstddef>
#include <cstdint>
#include <deque>
#include <map>
#include <optional>
#include <set>
#include <string>
#include <utility>
#include <vector>

#include "base/os.h"

namespace sendworthy::delivery {

struct WatchTimes {
  double settle_s = 2;  ///< a file is whole once neither its size nor its times have changed for so long
  /// The same while somebody is known to have it open for writing: an export that pauses is not over. Never below settle_s.
  double open_s = 30;
};

/// A file that has come to rest.
struct RestingFile {
  std::string path;
  base::FileStamp stamp;
  std::string judged_bytes;  ///< fingerprint of what was judged under this name before; empty: nothing was
  bool written = false;      ///< since then its bytes were written, or at least the time of that has changed
};

/// Events are hints, and any of them may be missing, late or double. What counts are the looks: every name is looked at
/// once more when its time of rest is over, and whatever a scan of the whole folder shows counts as looks too.
class Watch {
 public:
  explicit Watch(WatchTimes times);

  /// There before the watch began, and not to be checked until it changes.
  void adopt(const std::string& path, const base::FileStamp& stamp);

  // What is told.
  void hint(const std::string& path);                 ///< something became of this name
  void written(const std::string& path, double now);  ///< its bytes were written, by somebody who has it open
  void closed(const std::string& path);               ///< whoever wrote to it has closed it
  void events_lost();                                 ///< nobody knows any more who has what open
  /// What stands under this name now; nothing: no file, or none any more.
  void look(const std::string& path, const std::optional<base::FileStamp>& seen, double now);
  /// Everything that stands in the folders. What was known and is missing shall be looked at by itself.
  void scanned(const std::vector<std::pair<std::string, base::FileStamp>>& files, double now);

  // What is to be done.
  /// Names to look at now, at most so many. Each stays in it until it was looked at.
  [[nodiscard]] std::vector<std::string> to_look(double now, std::size_t most);
  /// When the next file may have come to rest.
  [[nodiscard]] std::optional<double> next_due() const;
  /// The next file to be checked, in the order in which they came to rest; it is then being checked until done().
  [[nodiscard]] std::optional<RestingFile> next();

  enum class Outcome {
    judged,   ///< its sheet was made from these very bytes
    same,     ///< the bytes are those that were judged before
    changed,  ///< it changed meanwhile; nothing was said of it
    gone,     ///< it went meanwhile, and that was said
  };
  /// `stamp`: of the bytes that were looked at; `bytes`: their fingerprint, empty where they could not be read.
  void done(const std::string& path, Outcome outcome, const base::FileStamp& stamp, const std::string& bytes, double now);

  /// Names that nothing was decided about yet.
  [[nodiscard]] std::size_t pending() const { return pending_ + hinted_.size(); }
  [[nodiscard]] std::size_t hinted() const { return hinted_.size(); }
  /// How many names it holds in all its lists: what its memory grows with.
  [[nodiscard]] std::size_t held() const { return names_.size() + hinted_.size() + alarms_.size() + ready_.size() + gone_.size(); }
  /// Drops all hints: for when there are more than memory shall hold. The whole folder must be scanned then.
  void drop_hints() { hinted_.clear(); }

 private:
  enum class State {
    kept,      // there before, never judged
    settling,  // its time of rest runs
    ready,
    checking,
    judged,
    gone,  // remembered, so that the same bytes under the same name are not judged again
  };
  struct Entry {
    State state = State::settling;
    base::FileStamp stamp;
    double changed_at = 0;
    std::optional<double> alarm;
    bool open = false;     // somebody writes to it
    bool touched = false;  // something came up while it was checked
    bool written = false;  // an event told of bytes written since it was judged or adopted
    bool was_judged = false;
    base::FileStamp judged;  // or adopted
    std::string judged_bytes;
    std::uint64_t scan = 0;
  };

  void settle(const std::string& path, Entry& entry, const base::FileStamp& stamp, double now);
  void change_state(Entry& entry, State state);
  void went(const std::string& path, Entry& entry);
  void arm(const std::string& path, Entry& entry);
  void disarm(const std::string& path, Entry& entry);
  void queue(const std::string& path);
  [[nodiscard]] double rest_of(const Entry& entry) const { return entry.open ? times_.open_s : times_.settle_s; }

  WatchTimes times_;
  std::map<std::string, Entry> names_;
  std::map<std::string, bool> hinted_;              // name → whether somebody writes to it
  std::set<std::pair<double, std::string>> alarms_;  // one for each settling name
  std::deque<std::string> ready_;                   // those whose state has changed since are passed over
  std::deque<std::string> gone_;
  std::size_t pending_ = 0;
  std::uint64_t scans_ = 0;
};

}  // namespace sendworthy::delivery
