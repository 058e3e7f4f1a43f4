#include "base/waiting_room.h"

#include <fcntl.h>
#include <poll.h>
#include <sys/socket.h>
#include <unistd.h>

#include <algorithm>
#include <array>
#include <cerrno>
#include <exception>
#include <new>
#include <string_view>
#include <utility>

namespace sendworthy::base {
namespace {

constexpr int kLookMs = 200;  ///< how often who waits too long is looked for
constexpr int kBusyMs = 10;   ///< how often it is asked whether one may be taken over
/// After the line of the request, which may not be empty.
constexpr std::string_view kEndOfHead = "\n\r\n";

}  // namespace

WaitingRoom::WaitingRoom(Limits limits, Ready ready, Free free) : limits_(limits), ready_(std::move(ready)), free_(std::move(free)) {
  if (::pipe2(wake_, O_CLOEXEC | O_NONBLOCK) != 0) wake_[0] = wake_[1] = -1;  // then it is only looked now and then
  thread_ = std::thread([this] { work(); });
}

void WaitingRoom::take(int socket) {
  const std::lock_guard lock(mutex_);
  bool taken = !ending_;
  try {
    if (taken) coming_.push_back({socket, Clock::now(), {}, false});
  } catch (const std::bad_alloc&) {
    taken = false;
  }
  if (!taken) {
    ::close(socket);
    return;
  }
  const char one = 0;
  if (wake_[1] >= 0 && ::write(wake_[1], &one, 1) < 0) return;  // full: it is awake
}

void WaitingRoom::end() {
  {
    const std::lock_guard lock(mutex_);
    if (ending_.exchange(true)) return;
    const char one = 0;
    if (wake_[1] >= 0 && ::write(wake_[1], &one, 1) < 0) errno = 0;
  }
  thread_.join();
  for (const auto* of : {&all_, &coming_}) {
    for (const auto& one : *of) ::close(one.socket);
  }
  for (const int end : wake_) {
    if (end >= 0) ::close(end);
  }
}

void WaitingRoom::take_in() {
  std::array<char, 256> ignored;
  while (wake_[0] >= 0 && ::read(wake_[0], ignored.data(), ignored.size()) > 0) {
  }
  const std::lock_guard lock(mutex_);
  all_.reserve(all_.size() + coming_.size());  // before any is moved
  for (auto& one : coming_) {
    if (all_.size() >= limits_.connections) {
      ::close(all_.front().socket);
      all_.erase(all_.begin());
    }
    all_.push_back(std::move(one));
  }
  coming_.clear();
}

bool WaitingRoom::read(One& one) const {
  std::array<char, 16384> piece;
  while (!one.whole) {
    const auto got = ::recv(one.socket, piece.data(), std::min(piece.size(), limits_.head_bytes - one.came.size()), MSG_DONTWAIT);
    if (got < 0 && errno == EINTR) continue;
    if (got < 0 && (errno == EAGAIN || errno == EWOULDBLOCK)) return true;
    if (got <= 0) return false;
    const auto from = one.came.size() - std::min(one.came.size(), kEndOfHead.size() - 1);
    one.came.append(piece.data(), static_cast<std::size_t>(got));
    one.whole = one.came.find(kEndOfHead, from) != std::string::npos;
    if (!one.whole && one.came.size() >= limits_.head_bytes) return false;
  }
  return true;
}

bool WaitingRoom::stays(One& one, bool has_news, Clock::time_point now, bool& kept_waiting) {
  if (!one.whole && has_news && !read(one)) return false;
  if (one.whole && free_()) {
    ready_(one.socket, std::move(one.came));
    one.socket = -1;
    return false;
  }
  kept_waiting = kept_waiting || one.whole;
  return one.whole || std::chrono::duration<double>(now - one.since).count() <= limits_.head_s;
}

void WaitingRoom::look(bool& kept_waiting) {
  std::vector<pollfd> watched;
  watched.reserve(all_.size() + 1);
  watched.push_back({wake_[0], POLLIN, 0});
  // Who said all is not asked again; of those that only wait to be taken over the end is not seen, which costs nothing.
  for (const auto& one : all_) watched.push_back({one.whole ? -1 : one.socket, POLLIN, 0});
  if (::poll(watched.data(), watched.size(), kept_waiting ? kBusyMs : kLookMs) < 0) {
    // The system may have no memory for it just now; who came is waited for all the same.
    if (errno != EINTR) std::this_thread::sleep_for(std::chrono::milliseconds(kLookMs));
    for (auto& one : watched) one.revents = 0;
  }
  kept_waiting = false;
  const auto now = Clock::now();
  for (std::size_t i = 0; i < all_.size(); ++i) {
    auto& one = all_[i];
    bool stay = false;
    try {
      stay = stays(one, watched[i + 1].revents != 0, now, kept_waiting);
    } catch (const std::exception&) {  // no memory for what it says: the others may still have some
    }
    if (stay) continue;
    if (one.socket >= 0) ::close(one.socket);
    one.socket = -1;
  }
  std::erase_if(all_, [](const One& one) { return one.socket < 0; });
  take_in();
}

void WaitingRoom::work() {
  bool kept_waiting = false;
  while (!ending_) {
    try {
      look(kept_waiting);
    } catch (const std::exception&) {  // no memory just now
      std::this_thread::sleep_for(std::chrono::milliseconds(kLookMs));
    }
  }
}

}  // namespace sendworthy::base
