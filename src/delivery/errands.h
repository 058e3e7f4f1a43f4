// A command of the user's, run for one file after the other, beside everything else.
#pragma once

#include <atomic>
#include <condition_variable>
#include <cstddef>
#include <cstdint>
#include <deque>
#include <functional>
#include <mutex>
#include <string>
#include <string_view>
#include <thread>
#include <utility>
#include <vector>

namespace sendworthy::delivery {

struct Errand {
  std::string path;  ///< handed to the command as $1
  std::vector<std::pair<std::string, std::string>> variables;
};

/// One command at a time, in the order they were added. Safe to use from several threads.
class Errands {
 public:
  /// `failed` is told, from the thread that runs the commands, what did not go well: one sentence. A command that takes
  /// longer than `limit_s` is ended.
  Errands(std::string command, double limit_s, std::function<void(std::string_view)> failed);
  Errands(const Errands&) = delete;
  Errands& operator=(const Errands&) = delete;
  /// Ends the command that runs; those that wait are not run.
  ~Errands();

  /// With kMostWaiting in line already, it is not run, and that is a failure.
  void add(Errand errand);
  [[nodiscard]] bool busy() const;
  [[nodiscard]] std::int64_t failures() const { return failures_; }
  static constexpr std::size_t kMostWaiting = 10'000;

 private:
  void work();
  void fail(const std::string& path, std::string_view why);

  const std::string command_;
  const double limit_s_;
  const std::function<void(std::string_view)> failed_;
  mutable std::mutex mutex_;
  std::condition_variable something_;
  std::deque<Errand> line_;
  bool running_ = false;
  std::atomic<bool> over_{false};
  std::atomic<std::int64_t> failures_{0};
  std::thread thread_;
};

}  // namespace sendworthy::delivery
