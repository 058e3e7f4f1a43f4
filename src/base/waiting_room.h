// Connections that have not said the whole head of their request yet: one thread for all, however many say nothing.
#pragma once

#include <atomic>
#include <chrono>
#include <cstddef>
#include <functional>
#include <mutex>
#include <string>
#include <thread>
#include <vector>

namespace sendworthy::base {

/// Safe to use from several threads.
class WaitingRoom {
 public:
  struct Limits {
    std::size_t connections = 256;  ///< where more come, the one that waits longest is shown the door
    std::size_t head_bytes = 64u << 10;
    double head_s = 10;  ///< for a whole head, however it trickles in
  };
  /// Takes over a connection and what came of it: a head with its empty line, and perhaps more. Called from the room's thread, and
  /// to return soon. Where it throws it has not taken over, and the room closes the connection.
  using Ready = std::function<void(int socket, std::string came)>;
  /// Whether a connection may be taken over just now; those that may not stay in the room.
  using Free = std::function<bool()>;

  WaitingRoom(Limits limits, Ready ready, Free free);
  WaitingRoom(const WaitingRoom&) = delete;
  WaitingRoom& operator=(const WaitingRoom&) = delete;
  ~WaitingRoom() { end(); }

  /// Owns the socket from now on; closes it where no head comes of it.
  void take(int socket);
  /// Closes all that are still here. Nobody is taken in afterwards.
  void end();

 private:
  using Clock = std::chrono::steady_clock;
  struct One {
    int socket = -1;
    Clock::time_point since;
    std::string came;
    bool whole = false;
  };
  void work();
  /// Once: waits until something comes, and lets go who is done. Whatever it throws, every socket still has its one owner.
  void look(bool& kept_waiting);
  void take_in();
  /// False where it is over with this one.
  [[nodiscard]] bool stays(One& one, bool has_news, Clock::time_point now, bool& kept_waiting);
  /// False where it is over with this one.
  [[nodiscard]] bool read(One& one) const;

  const Limits limits_;
  const Ready ready_;
  const Free free_;
  std::atomic<bool> ending_{false};
  std::mutex mutex_;
  std::vector<One> coming_;  ///< guarded by the mutex
  std::vector<One> all_;     ///< of the thread alone; who came first stands first
  int wake_[2] = {-1, -1};
  std::thread thread_;
};

}  // namespace sendworthy::base
