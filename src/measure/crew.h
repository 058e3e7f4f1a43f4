// Threads that share the work of many files and, when files run out, of one file.
#pragma once

#include <condition_variable>
#include <cstdint>
#include <functional>
#include <mutex>
#include <vector>

namespace sendworthy::measure {

/// Work that several threads may push forward at once. `step` does one bounded piece and says what happened.
class Shared {
 public:
  enum class Step { did_work, nothing_to_do, finished };
  virtual ~Shared() = default;
  virtual Step step() noexcept = 0;
};

/// Runs jobs (one per file) on `size` threads. A thread without a job of its own helps with any running Shared.
/// The order in which jobs start is their index order; results do not depend on `size`.
class Crew {
 public:
  explicit Crew(int size) : size_(size < 1 ? 1 : size) {}
  Crew(const Crew&) = delete;
  Crew& operator=(const Crew&) = delete;

  /// Calls job(0) … job(count − 1), each once. The calling thread works too. Returns when all are done.
  /// A job must not throw.
  void run(std::size_t count, const std::function<void(std::size_t)>& job);

  /// From inside a job (or alone): pushes `work` until it is finished, together with every idle thread of the crew.
  void push(Shared& work);

  [[nodiscard]] int size() const { return size_; }

 private:
  struct Entry {
    Shared* work;
    int helpers;
    bool closed = false;  ///< finished: nobody joins any more
  };
  bool help(std::unique_lock<std::mutex>& lock);

  const int size_;
  std::mutex mutex_;
  std::condition_variable changed_;
  std::vector<Entry> active_;
  std::uint64_t ticket_ = 0;  ///< counts every piece of work done, so that a waiting thread does not miss one
};

}  // namespace sendworthy::measure
