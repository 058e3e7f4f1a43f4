#include "base/waiting_room.h"

#include <doctest/doctest.h>
#include <poll.h>
#include <sys/resource.h>
#include <sys/socket.h>
#include <unistd.h>

#include <array>
#include <atomic>
#include <chrono>
#include <new>
#include <string>
#include <string_view>
#include <thread>

using namespace sendworthy::base;

namespace {

constexpr std::string_view kHead = "GET / HTTP/1.1\r\n\r\n";

/// Both ends of a connection; the room owns the one that it takes.
struct Pair {
  Pair() { REQUIRE(::socketpair(AF_UNIX, SOCK_STREAM | SOCK_CLOEXEC, 0, ends.data()) == 0); }
  Pair(const Pair&) = delete;
  Pair& operator=(const Pair&) = delete;
  ~Pair() { ::close(ends[0]); }
  void say(std::string_view text) const { REQUIRE(::write(ends[0], text.data(), text.size()) == static_cast<ssize_t>(text.size())); }
  /// Within two seconds.
  [[nodiscard]] bool is_closed() const {
    pollfd other{ends[0], POLLIN, 0};
    char one = 0;
    return ::poll(&other, 1, 2000) == 1 && ::read(ends[0], &one, 1) == 0;
  }
  std::array<int, 2> ends{};
};

bool comes_true(const std::atomic<int>& count, int wanted) {
  for (int i = 0; i < 200 && count != wanted; ++i) std::this_thread::sleep_for(std::chrono::milliseconds(10));
  return count == wanted;
}

}  // namespace

TEST_SUITE_BEGIN("base/waiting_room");

TEST_CASE("the thread of a room goes on after a wait that the system refused") {
  std::atomic<int> ready{0};
  WaitingRoom room({}, [&](int socket, const std::string& came) {
    ready += came == kHead ? 1 : 100;
    ::close(socket);
  }, [] { return true; });
  // Its thread works by now: what a sanitizer asks of a thread that begins takes open files, and there are none below.
  const Pair before;
  room.take(before.ends[1]);
  before.say(kHead);
  REQUIRE(comes_true(ready, 1));
  const std::array<Pair, 4> pairs;
  rlimit usual{};
  REQUIRE(::getrlimit(RLIMIT_NOFILE, &usual) == 0);
  // Nobody may wait for more files at once than may be open.
  const rlimit few{2, usual.rlim_max};
  const int lowered = ::setrlimit(RLIMIT_NOFILE, &few);
  for (const auto& one : pairs) room.take(one.ends[1]);
  std::this_thread::sleep_for(std::chrono::milliseconds(300));
  const int raised = ::setrlimit(RLIMIT_NOFILE, &usual);
  REQUIRE(lowered == 0);
  REQUIRE(raised == 0);
  for (const auto& one : pairs) one.say(kHead);
  CHECK(comes_true(ready, 5));
}

TEST_CASE("who cannot be taken over for want of memory is shown the door, and the next one is not") {
  std::atomic<int> asked{0};
  WaitingRoom room({}, [&](int socket, const std::string&) {
    if (asked++ == 0) throw std::bad_alloc();
    ::close(socket);
  }, [] { return true; });
  const Pair first, second;
  room.take(first.ends[1]);
  first.say(kHead);
  CHECK(first.is_closed());
  room.take(second.ends[1]);
  second.say(kHead);
  CHECK(comes_true(asked, 2));
  CHECK(second.is_closed());
}

TEST_SUITE_END();
