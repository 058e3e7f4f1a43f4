#include "measure/crew.h"

#include <algorithm>
#include <system_error>
#include <thread>

namespace sendworthy::measure {

bool Crew::help(std::unique_lock<std::mutex>& lock) {
  for (std::size_t i = 0; i < active_.size(); ++i) {
    if (active_[i].closed) continue;
    Shared* work = active_[i].work;
    ++active_[i].helpers;
    lock.unlock();
    const auto step = work->step();
    lock.lock();
    // The list may have changed meanwhile; the entry is still there, since its owner waits for its helpers.
    for (auto& entry : active_) {
      if (entry.work == work) --entry.helpers;
    }
    if (step == Shared::Step::did_work) {
      ++ticket_;
      changed_.notify_all();
      return true;
    }
    changed_.notify_all();  // the owner may be waiting for its last helper
  }
  return false;
}

void Crew::run(std::size_t count, const std::function<void(std::size_t)>& job) {
  std::size_t next = 0, ended = 0;
  const auto work = [&] {
    std::unique_lock lock(mutex_);
    while (ended < count) {
      if (next < count) {
        const auto index = next++;
        lock.unlock();
        job(index);
        lock.lock();
        ++ended;
        ++ticket_;
        changed_.notify_all();
        continue;
      }
      const auto seen = ticket_;
      if (help(lock)) continue;
      changed_.wait(lock, [&] { return ticket_ != seen || ended == count; });
    }
  };
  std::vector<std::thread> threads;
  const auto wanted = static_cast<std::size_t>(size_ - 1);
  threads.reserve(wanted);
  for (std::size_t i = 0; i < wanted; ++i) {
    // A machine that gives no more threads still gives the result, only later.
    try {
      threads.emplace_back(work);
    } catch (const std::system_error&) {
      break;
    }
  }
  work();
  for (auto& thread : threads) thread.join();
}

void Crew::push(Shared& work) {
  std::unique_lock lock(mutex_);
  active_.push_back({&work, 0});
  ++ticket_;
  changed_.notify_all();
  for (;;) {
    const auto seen = ticket_;
    lock.unlock();
    const auto step = work.step();
    lock.lock();
    if (step == Shared::Step::finished) break;
    if (step == Shared::Step::did_work) {
      if (size_ > 1) {
        ++ticket_;
        changed_.notify_all();
      }
      continue;
    }
    changed_.wait(lock, [&] { return ticket_ != seen; });
  }
  const auto mine = [&] {
    return std::find_if(active_.begin(), active_.end(), [&](const Entry& entry) { return entry.work == &work; });
  };
  mine()->closed = true;
  changed_.wait(lock, [&] { return mine()->helpers == 0; });
  active_.erase(mine());
}

}  // namespace sendworthy::measure
