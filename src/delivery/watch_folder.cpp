#include "delivery/watch_folder.h"

#include <algorithm>
#include <atomic>
#include <chrono>
#include <condition_variable>
#include <deque>
#include <map>
#include <mutex>
#include <thread>
#include <utility>
#include <vector>

#include "audio/audio_names.h"
#include "base/fingerprint.h"
#include "base/folder_events.h"
#include "base/os.h"
#include "base/text.h"
#include "delivery/folder_scan.h"
#include "delivery/watch.h"

namespace sendworthy::delivery {
namespace {

using Outcome = Watch::Outcome;

constexpr double kLongestWait = 0.1;         // how soon a stop, and what the checkers have done, is seen
constexpr int kReadsPerTurn = 4;             // of some thousand events each, so that checking does not starve
constexpr std::size_t kLooksPerTurn = 4096;
constexpr std::size_t kMostHints = 200'000;  // beyond, one look through everything costs less
constexpr double kShortestRescanGap = 0.2;

double seconds_now() {
  return std::chrono::duration<double>(std::chrono::steady_clock::now().time_since_epoch()).count();
}

struct Done {
  std::string path;
  Outcome outcome = Outcome::judged;
  base::FileStamp stamp;
  std::string bytes;
};

/// The threads that check. Files wait in a short line here and in a long one in Watch.
class Checkers {
 public:
  /// `speaking` is held while a hook is told something.
  Checkers(const WatchOptions& options, const WatchHooks& hooks, std::mutex& speaking)
      : jobs_(std::max(options.jobs, 1)), hooks_(hooks), speaking_(speaking) {
    for (int i = 0; i < jobs_; ++i) threads_.emplace_back([this] { work(); });
  }
  Checkers(const Checkers&) = delete;
  Checkers& operator=(const Checkers&) = delete;
  ~Checkers() { end(); }

  /// Ends what is being checked, and checks and says no more.
  void end() {
    {
      const std::lock_guard lock(mutex_);
      over_ = true;
    }
    something_.notify_all();
    for (auto& thread : threads_) thread.join();
    threads_.clear();
  }
  [[nodiscard]] bool wants_more() {
    const std::lock_guard lock(mutex_);
    return line_.size() < std::max<std::size_t>(64, 16 * static_cast<std::size_t>(jobs_));
  }
  void hand(RestingFile file) {
    {
      const std::lock_guard lock(mutex_);
      line_.push_back(std::move(file));
    }
    something_.notify_one();
  }
  [[nodiscard]] std::vector<Done> take_done() {
    const std::lock_guard lock(mutex_);
    return std::exchange(done_, {});
  }
  [[nodiscard]] bool had_enough() const { return had_enough_; }
  [[nodiscard]] std::int64_t said() const { return said_; }

 private:
  void work() {
    for (;;) {
      RestingFile file;
      int threads = 1;
      {
        std::unique_lock lock(mutex_);
        something_.wait(lock, [this] { return over_ || !line_.empty(); });
        if (over_) return;
        file = std::move(line_.front());
        line_.pop_front();
        // A lone bounce gets everything there is; in a flood each file gets one thread.
        ++running_;
        threads = line_.empty() ? std::max(1, jobs_ / running_) : 1;
      }
      auto done = one(file, threads);
      const std::lock_guard lock(mutex_);
      --running_;
      done_.push_back(std::move(done));
    }
  }

  Done one(const RestingFile& file, int threads) {
    Done done{file.path, Outcome::changed, file.stamp, {}};
    const auto stamp = [&] { return base::stamp_of(file.path); };
    const auto begun = seconds_now();
    const auto before = stamp();
    if (!before) return gone(done, file, threads);
    done.stamp = *before;
    if (*before != file.stamp) return done;
    if (!file.judged_bytes.empty()) {
      const auto bytes = base::fingerprint_of(file.path, &over_);
      const auto after = stamp();
      if (!after) return gone(done, file, threads);
      done.stamp = *after;
      if (*after != *before) return done;
      if (bytes && *bytes == file.judged_bytes) {
        done.outcome = Outcome::same;
        done.bytes = *bytes;
        const std::lock_guard lock(speaking_);
        if (file.written && !had_enough_) hooks_.same(file.path);
        return done;
      }
    }
    const auto sheet = hooks_.check(file.path, threads, over_);
    const double seconds = seconds_now() - begun;
    if (over_) return done;
    const auto bytes = base::fingerprint_of(file.path, &over_);
    // What moved while it was read is not said: it comes to rest again, and then it is read as a whole.
    const auto after = stamp();
    if (!after) return gone(done, file, threads);
    done.stamp = *after;
    if (*after != *before || over_) return done;
    done.outcome = Outcome::judged;
    done.bytes = bytes.value_or("");
    say(sheet, seconds);
    return done;
  }

  /// A sheet that says so, made as every other is.
  Done gone(Done done, const RestingFile& file, int threads) {
    auto sheet = hooks_.check(file.path, threads, over_);
    if (over_ || sheet.files.size() != 1 || !sheet.files.front().error) return done;  // it came back meanwhile
    sheet.files.front().error = Error{
        ErrorCode::missing, "\"" + file.path + "\" was whole and went before it was checked; put it back to have it checked", {}};
    done.outcome = Outcome::gone;
    say(sheet, 0);
    return done;
  }

  void say(const Sheet& sheet, double seconds) {
    const std::lock_guard lock(speaking_);
    if (had_enough_) return;
    ++said_;
    if (!hooks_.checked(sheet, seconds)) had_enough_ = true;
  }

  const int jobs_;
  const WatchHooks& hooks_;
  std::mutex& speaking_;
  std::mutex mutex_;
  std::condition_variable something_;
  std::atomic<bool> over_{false};
  int running_ = 0;
  std::deque<RestingFile> line_;
  std::vector<Done> done_;
  std::atomic<bool> had_enough_{false};
  std::atomic<std::int64_t> said_{0};
  std::vector<std::thread> threads_;
};

class Watcher {
 public:
  Watcher(const WatchOptions& options, const WatchHooks& hooks)
      : options_(options), hooks_(hooks), watch_({options.settle_s}) {}

  Result<WatchEnd> run() {
    if (options_.events) {
      auto opened = base::FolderEvents::open();
      if (opened) {
        events_ = std::move(*opened);
      } else {
        without_events(opened.error().text);
      }
    }
    if (auto ok = begin(); !ok) return tl::unexpected(ok.error());
    Checkers checkers(options_, hooks_, speaking_);
    last_news_ = seconds_now();
    while (!stopped() && !checkers.had_enough()) {
      turn(checkers);
      if (!idle()) continue;
      rescan();  // something may have come of which no event told
      if (watch_.pending() == 0) break;
    }
    checkers.end();
    WatchEnd end;
    end.checked = checkers.said();
    end.interrupted = stopped();
    end.folder_missing = missing_;
    end.some_not_looked_at = !passed_over_.empty();
    return end;
  }

 private:
  Result<void> begin() {
    identity_ = base::folder_identity(options_.folder);
    auto scan = scan_folder(options_.folder, options_.recursive, events());
    if (scan.missing) {
      const bool is_there = identity_.has_value();
      return fail(is_there ? ErrorCode::unreadable : ErrorCode::missing, scan.why_missing);
    }
    if (!options_.existing) {
      for (const auto& [path, stamp] : scan.files) watch_.adopt(path, stamp);
    }
    const auto kept = options_.existing ? std::size_t{0} : scan.files.size();
    take_in(scan, seconds_now());
    hooks_.started(kept);
    return {};
  }

  void turn(Checkers& checkers) {
    auto now = seconds_now();
    hear(wait_for(now));
    now = seconds_now();
    for (auto& done : checkers.take_done()) {
      watch_.done(done.path, done.outcome, done.stamp, done.bytes, now);
      last_news_ = now;
    }
    if (watch_.hinted() > kMostHints) {
      watch_.drop_hints();
      rescan_wanted_ = true;
    }
    if (now >= next_rescan_ || (rescan_wanted_ && now >= rescan_allowed_)) rescan();
    for (const auto& path : watch_.to_look(now, kLooksPerTurn)) {
      // Looking may take long on a slow share; the time of rest counts from when it was seen.
      const auto seen = base::stamp_of(path);
      watch_.look(path, seen, seconds_now());
    }
    if (watch_.pending() > 0 || hooks_.busy()) last_news_ = now;
    while (checkers.wants_more()) {
      auto file = watch_.next();
      if (!file) break;
      checkers.hand(std::move(*file));
    }
  }

  /// How long nothing needs to be done unless something happens.
  double wait_for(double now) const {
    double until = std::min(now + kLongestWait, next_rescan_);
    if (const auto due = watch_.next_due()) until = std::min(until, *due);
    return watch_.hinted() > 0 ? 0.0 : std::max(until - now, 0.0) + 0.001;
  }

  void hear(double seconds) {
    if (!events_) {
      base::pause_for(seconds);
      return;
    }
    for (int i = 0; i < kReadsPerTurn; ++i) {
      const auto events = events_->wait(i == 0 ? seconds : 0);
      if (events.empty()) return;
      const auto now = seconds_now();
      for (const auto& event : events) hear(event, now);
    }
  }

  void hear(const base::FolderEvent& event, double now) {
    using Kind = base::FolderEvent::Kind;
    if (event.kind == Kind::lost) watch_.events_lost();
    if (event.kind == Kind::lost || event.kind == Kind::folders) {
      rescan_wanted_ = true;
      return;
    }
    if (!audio::named_like_audio(std::string_view(event.path).substr(event.path.rfind('/') + 1))) return;
    last_news_ = now;
    if (event.kind == Kind::written) watch_.written(event.path, now);
    if (event.kind == Kind::closed) watch_.closed(event.path);
    if (event.kind == Kind::name) watch_.hint(event.path);
  }

  void rescan() {
    rescan_wanted_ = false;
    const auto begun = seconds_now();
    auto scan = scan_folder(options_.folder, options_.recursive, events());
    const auto now = seconds_now();
    // Many folders made one after the other must not take all the time there is.
    rescan_allowed_ = now + std::max(kShortestRescanGap, 4 * (now - begun));
    take_in(scan, now);
  }

  void take_in(FolderScan& scan, double now) {
    next_rescan_ = now + options_.rescan_s;
    if (!scan.no_events.empty()) without_events(scan.no_events);
    if (events_) events_->keep_only(scan.folders);
    speak_of_folder(scan);
    std::map<std::string, std::string> passed_over;
    for (auto& [path, why] : scan.passed_over) {
      if (!passed_over_.contains(path)) tell(why);
      passed_over.emplace(path, why);
    }
    passed_over_ = std::move(passed_over);
    watch_.scanned(scan.files, now);
  }

  void speak_of_folder(const FolderScan& scan) {
    if (scan.missing && !missing_) tell(scan.why_missing + "; waiting for it to come back");
    if (!scan.missing) {
      const auto identity = base::folder_identity(options_.folder);
      if (missing_) {
        tell("\"" + options_.folder + "\" is back");
      } else if (identity != identity_) {
        tell("\"" + options_.folder + "\" is another folder than before (mounted, unmounted or replaced); watching that");
      }
      identity_ = identity;
    }
    missing_ = scan.missing;
  }

  void tell(std::string_view text) {
    const std::lock_guard lock(speaking_);
    hooks_.said(text);
  }

  void without_events(const std::string& why) {
    if (std::exchange(told_without_events_, true)) return;
    tell("the system does not tell of every change (" + why + "); all is looked through every " +
                base::shortest(options_.rescan_s) + " s instead");
  }

  [[nodiscard]] bool idle() const { return options_.idle_s && seconds_now() - last_news_ >= *options_.idle_s; }
  [[nodiscard]] bool stopped() const { return hooks_.stop != nullptr && hooks_.stop->load(std::memory_order_relaxed); }
  base::FolderEvents* events() { return events_ ? &*events_ : nullptr; }

  const WatchOptions& options_;
  const WatchHooks& hooks_;
  Watch watch_;
  std::mutex speaking_;
  std::optional<base::FolderEvents> events_;
  std::optional<base::FolderIdentity> identity_;
  std::map<std::string, std::string> passed_over_;
  double next_rescan_ = 0, rescan_allowed_ = 0, last_news_ = 0;
  bool rescan_wanted_ = false, missing_ = false, told_without_events_ = false;
};

}  // namespace

Result<WatchEnd> watch_folder(const WatchOptions& options, const WatchHooks& hooks) { return Watcher(options, hooks).run(); }

}  // namespace sendworthy::delivery
