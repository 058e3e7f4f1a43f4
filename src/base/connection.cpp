#include "base/connection.h"

#include <poll.h>
#include <sys/socket.h>
#include <unistd.h>

#include <algorithm>
#include <cerrno>
#include <chrono>
#include <cstring>

namespace sendworthy::base {
namespace {

using Clock = std::chrono::steady_clock;
constexpr int kLookMs = 100;  ///< how often somebody who waits looks whether to stop

double seconds_since(Clock::time_point start) { return std::chrono::duration<double>(Clock::now() - start).count(); }

}  // namespace

bool Connection::wait_for(short event, double wait_s) const {
  const auto start = Clock::now();
  while (!stopped()) {
    const double left_s = wait_s - seconds_since(start);
    if (left_s <= 0) return false;
    pollfd one{socket_, event, 0};
    const int ready = ::poll(&one, 1, std::clamp(static_cast<int>(left_s * 1000) + 1, 1, kLookMs));
    if (ready > 0) return true;
    if (ready < 0 && errno != EINTR) return false;
  }
  return false;
}

std::int64_t Connection::read(void* to, std::size_t bytes, double wait_s) {
  if (came_read_ < came_.size()) {
    const auto take = std::min(bytes, came_.size() - came_read_);
    std::memcpy(to, came_.data() + came_read_, take);
    came_read_ += take;
    return static_cast<std::int64_t>(take);
  }
  if (begin_ == end_) {
    begin_ = end_ = 0;
    for (;;) {
      if (!wait_for(POLLIN, wait_s)) return stopped() ? -1 : kNothingYet;
      const auto got = ::recv(socket_, buffer_.data(), buffer_.size(), MSG_DONTWAIT);
      if (got == 0) return 0;
      if (got > 0) {
        end_ = static_cast<std::size_t>(got);
        break;
      }
      if (errno != EINTR && errno != EAGAIN && errno != EWOULDBLOCK) return -1;
    }
  }
  const auto take = std::min(bytes, end_ - begin_);
  std::memcpy(to, buffer_.data() + begin_, take);
  begin_ += take;
  return static_cast<std::int64_t>(take);
}

std::int64_t Connection::write(const void* from, std::size_t bytes, double wait_s) {
  while (wait_for(POLLOUT, wait_s)) {
    const auto wrote = ::send(socket_, from, bytes, MSG_DONTWAIT | MSG_NOSIGNAL);
    if (wrote >= 0) return static_cast<std::int64_t>(wrote);
    if (errno != EINTR && errno != EAGAIN && errno != EWOULDBLOCK) return -1;
  }
  return stopped() ? -1 : kNothingYet;
}

bool Connection::is_open() const {
  if (stopped()) return false;
  pollfd one{socket_, POLLIN | POLLRDHUP, 0};
  if (::poll(&one, 1, 0) < 0) return errno == EINTR;
  return (one.revents & (POLLHUP | POLLRDHUP | POLLERR | POLLNVAL)) == 0;
}

void Connection::close(double wait_s) {
  ::shutdown(socket_, SHUT_WR);
  came_.clear();
  const auto start = Clock::now();
  for (double left_s = wait_s; left_s > 0 && !stopped(); left_s = wait_s - seconds_since(start)) {
    if (read(buffer_.data(), 0, left_s) < 0) break;
    if (begin_ == end_) break;
    begin_ = end_;
  }
  ::close(socket_);
}

void allow_quick_restart(int socket) {
  const int yes = 1;
  (void)::setsockopt(socket, SOL_SOCKET, SO_REUSEADDR, &yes, sizeof yes);
}

}  // namespace sendworthy::base
