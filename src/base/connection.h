// Bytes of one stream socket, with bounds on how long anybody waits.
#pragma once

#include <array>
#include <atomic>
#include <cstddef>
#include <cstdint>
#include <string>
#include <utility>

namespace sendworthy::base {

/// Does not own the socket but for close(). Every wait ends soon after `stop` is set. Not thread-safe.
class Connection {
 public:
  /// `came`: what was read of it already.
  Connection(int socket, std::string came, const std::atomic<bool>& stop) : socket_(socket), came_(std::move(came)), stop_(stop) {}

  static constexpr std::int64_t kNothingYet = -2;  ///< after `wait_s` seconds in which nothing came or went
  /// Up to `bytes`, at least one; 0 at the end; −1 on an error or a stop; kNothingYet.
  [[nodiscard]] std::int64_t read(void* to, std::size_t bytes, double wait_s);
  /// How many of `bytes` went out, at least one; −1 on an error or a stop; kNothingYet.
  [[nodiscard]] std::int64_t write(const void* from, std::size_t bytes, double wait_s);
  /// False once the other side has closed, or on a stop. Does not wait.
  [[nodiscard]] bool is_open() const;
  [[nodiscard]] bool stopped() const { return stop_.load(std::memory_order_relaxed); }
  /// Says that nothing more comes, takes in what is still on its way (at most `wait_s` seconds of it), and closes: whoever is
  /// still sending could otherwise lose the answer.
  void close(double wait_s);

  [[nodiscard]] int socket() const { return socket_; }

 private:
  [[nodiscard]] bool wait_for(short event, double wait_s) const;

  int socket_;
  std::string came_;
  std::size_t came_read_ = 0;
  const std::atomic<bool>& stop_;
  std::array<char, 16384> buffer_;
  std::size_t begin_ = 0, end_ = 0;
};

/// Lets a server have its port again right after it ended; nobody else may have it at the same time.
void allow_quick_restart(int socket);

}  // namespace sendworthy::base
