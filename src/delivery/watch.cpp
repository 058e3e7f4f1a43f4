#include "delivery/watch.h"

#include <algorithm>
#include <string_view>

namespace sendworthy::delivery {
namespace {

constexpr std::size_t kMostGone = 100'000;
constexpr std::size_t kFewReady = 64;

// A hard link, a tag of the desktop or new rights are no new bounce: for what was never judged, only bytes count.
bool same_bytes_likely(const base::FileStamp& a, const base::FileStamp& b) {
  return a.size == b.size && a.modified_ns == b.modified_ns && a.inode == b.inode;
}

}  // namespace

Watch::Watch(WatchTimes times) : times_{times.settle_s, std::max(times.open_s, times.settle_s)} {}

void Watch::change_state(Entry& entry, State state) {
  const auto counts = [](State s) { return s == State::settling || s == State::ready || s == State::checking; };
  if (counts(entry.state)) --pending_;
  if (counts(state)) ++pending_;
  entry.state = state;
}

void Watch::arm(const std::string& path, Entry& entry) {
  if (entry.alarm) return;
  entry.alarm = entry.changed_at + rest_of(entry);
  alarms_.emplace(*entry.alarm, path);
}

void Watch::disarm(const std::string& path, Entry& entry) {
  if (entry.alarm) alarms_.erase({*entry.alarm, path});
  entry.alarm.reset();
}

/// What is written to again and again while nobody has time to check would stand in line once for each time.
void Watch::queue(const std::string& path) {
  ready_.push_back(path);
  if (ready_.size() <= 2 * names_.size() + kFewReady) return;
  std::set<std::string_view> once;
  std::deque<std::string> line;
  for (auto& name : ready_) {
    const auto found = names_.find(name);
    if (found != names_.end() && found->second.state == State::ready && once.insert(found->first).second) line.push_back(std::move(name));
  }
  ready_ = std::move(line);
}

void Watch::settle(const std::string& path, Entry& entry, const base::FileStamp& stamp, double now) {
  change_state(entry, State::settling);
  entry.stamp = stamp;
  entry.changed_at = now;
  arm(path, entry);
}

void Watch::adopt(const std::string& path, const base::FileStamp& stamp) {
  Entry entry;
  entry.state = State::kept;
  entry.stamp = entry.judged = stamp;
  entry.scan = scans_;
  names_.try_emplace(path, entry);
}

void Watch::hint(const std::string& path) { hinted_.try_emplace(path, false); }

void Watch::written(const std::string& path, double now) {
  const auto found = names_.find(path);
  if (found == names_.end() || found->second.state == State::gone) {
    hinted_[path] = true;
    return;
  }
  auto& entry = found->second;
  entry.open = entry.written = true;
  switch (entry.state) {
    case State::settling:
      entry.changed_at = now;
      break;
    case State::ready:
      settle(path, entry, entry.stamp, now);
      break;
    case State::checking:
      entry.touched = true;
      break;
    default:
      break;
  }
  hinted_[path] = true;
}

void Watch::closed(const std::string& path) {
  if (const auto hinted = hinted_.find(path); hinted != hinted_.end()) hinted->second = false;
  const auto found = names_.find(path);
  if (found == names_.end() || !found->second.open) return;
  auto& entry = found->second;
  entry.open = false;
  if (entry.state != State::settling) return;
  disarm(path, entry);
  arm(path, entry);
}

void Watch::events_lost() {
  for (auto& [path, open] : hinted_) open = false;
  for (auto& [path, entry] : names_) {
    // It may have been written to, so that the clock of a coarse file system is all that a look could go by.
    if (entry.state == State::checking) entry.touched = true;
    closed(path);
  }
}

void Watch::went(const std::string& path, Entry& entry) {
  switch (entry.state) {
    case State::ready:
    case State::checking:
      return;  // whoever takes it to check it will find that it went, and say so
    case State::gone:
      return;
    case State::settling:
    case State::kept:
    case State::judged:
      break;
  }
  disarm(path, entry);
  entry.open = entry.written = false;
  const bool remembered = entry.was_judged || entry.state == State::kept;
  change_state(entry, State::gone);
  if (!remembered) {
    names_.erase(path);
    return;
  }
  gone_.push_back(path);
  if (gone_.size() <= kMostGone) return;
  const auto oldest = names_.find(gone_.front());
  gone_.pop_front();
  if (oldest != names_.end() && oldest->second.state == State::gone) names_.erase(oldest);
}

void Watch::look(const std::string& path, const std::optional<base::FileStamp>& seen, double now) {
  const auto hint = hinted_.extract(path);
  const bool open = !hint.empty() && hint.mapped();
  auto found = names_.find(path);
  if (!seen) {
    if (found != names_.end()) went(path, found->second);
    return;
  }
  if (found == names_.end()) {
    found = names_.try_emplace(path).first;
    ++pending_;  // it begins as settling
    found->second.open = open;
    settle(path, found->second, *seen, now);
    return;
  }
  auto& entry = found->second;
  entry.open = entry.open || open;
  switch (entry.state) {
    case State::settling:
      if (*seen != entry.stamp) {
        settle(path, entry, *seen, now);
      } else if (now - entry.changed_at >= rest_of(entry)) {
        disarm(path, entry);
        change_state(entry, State::ready);
        queue(path);
      } else {
        arm(path, entry);
      }
      break;
    case State::ready:
      if (*seen != entry.stamp) settle(path, entry, *seen, now);
      break;
    case State::checking:
      if (*seen != entry.stamp) entry.touched = true;
      break;
    case State::kept:
      if (entry.written || !same_bytes_likely(*seen, entry.judged)) settle(path, entry, *seen, now);
      break;
    case State::judged:
      if (entry.written || *seen != entry.judged) settle(path, entry, *seen, now);
      break;
    case State::gone:
      if (!entry.was_judged && !open && same_bytes_likely(*seen, entry.judged)) {
        change_state(entry, State::kept);
      } else {
        settle(path, entry, *seen, now);
      }
      break;
  }
}

void Watch::scanned(const std::vector<std::pair<std::string, base::FileStamp>>& files, double now) {
  ++scans_;
  for (const auto& [path, stamp] : files) {
    look(path, stamp, now);
    if (const auto found = names_.find(path); found != names_.end()) found->second.scan = scans_;
  }
  // It may have appeared after its folder was listed, so that not being on the list proves nothing.
  for (const auto& [path, entry] : names_) {
    if (entry.scan != scans_ && entry.state != State::gone) hint(path);
  }
}

std::vector<std::string> Watch::to_look(double now, std::size_t most) {
  std::vector<std::string> paths;
  for (const auto& [path, open] : hinted_) {
    if (paths.size() >= most) return paths;
    paths.push_back(path);
  }
  while (!alarms_.empty() && alarms_.begin()->first <= now && paths.size() < most) {
    const auto path = alarms_.begin()->second;
    alarms_.erase(alarms_.begin());
    auto& entry = names_.at(path);
    entry.alarm.reset();
    if (entry.state != State::settling) continue;
    if (entry.changed_at + rest_of(entry) > now) {
      arm(path, entry);
    } else {
      paths.push_back(path);
      hint(path);
    }
  }
  return paths;
}

std::optional<double> Watch::next_due() const {
  if (alarms_.empty()) return std::nullopt;
  return alarms_.begin()->first;
}

std::optional<RestingFile> Watch::next() {
  while (!ready_.empty()) {
    const auto path = std::move(ready_.front());
    ready_.pop_front();
    const auto found = names_.find(path);
    if (found == names_.end() || found->second.state != State::ready) continue;
    auto& entry = found->second;
    change_state(entry, State::checking);
    const bool rewritten = entry.written || entry.stamp.modified_ns != entry.judged.modified_ns;
    entry.touched = entry.written = false;
    return RestingFile{path, entry.stamp, entry.was_judged ? entry.judged_bytes : std::string(), rewritten};
  }
  return std::nullopt;
}

void Watch::done(const std::string& path, Outcome outcome, const base::FileStamp& stamp, const std::string& bytes, double now) {
  const auto found = names_.find(path);
  if (found == names_.end() || found->second.state != State::checking) return;
  auto& entry = found->second;
  if (outcome == Outcome::gone) {
    change_state(entry, State::settling);
    went(path, entry);
    hint(path);  // it may have come back since
    return;
  }
  if (outcome != Outcome::changed) {
    entry.was_judged = true;
    entry.judged = stamp;
    entry.judged_bytes = bytes;
    change_state(entry, State::judged);
    if (!entry.touched) return;
    // The stamp may stay as it is where the clock behind it is coarse: the fingerprint decides.
    entry.written = true;
  }
  settle(path, entry, stamp, now);
  hint(path);
}

}  // namespace sendworthy::delivery
