// A command of the user's: what reaches it, and its end in any case.
#include "base/run_command.h"

#include <doctest/doctest.h>

#include <atomic>
#include <chrono>
#include <functional>
#include <string>
#include <thread>
#include <utility>
#include <vector>

using namespace sendworthy;
using namespace sendworthy::base;

namespace {

int code_of(const std::string& command, const std::string& argument = "x",
            const std::vector<std::pair<std::string, std::string>>& variables = {}) {
  const auto ended = run_command(command, argument, variables, 20);
  REQUIRE(ended.has_value());
  return *ended;
}

double seconds_of(const std::function<void()>& work) {
  const auto begun = std::chrono::steady_clock::now();
  work();
  return std::chrono::duration<double>(std::chrono::steady_clock::now() - begun).count();
}

}  // namespace

TEST_SUITE("base/run_command") {
  TEST_CASE("its exit code comes back") {
    CHECK(code_of("true") == 0);
    CHECK(code_of("exit 7") == 7);
    CHECK(code_of("no-such-program-anywhere 2>/dev/null") == 127);
  }

  TEST_CASE("argument and variables arrive as they are, and are read by nobody") {
    const std::string hostile = "$(exit 9); `exit 9` '\" \n\xff -n";
    CHECK(code_of("test \"$1\" = \"$V\" && test \"${#1}\" -gt 10", hostile, {{"V", hostile}}) == 0);
    CHECK(code_of("test \"$#\" = 1 && test \"$0\" = sh") == 0);
  }

  TEST_CASE("variables replace those of this process; the others stay") {
    CHECK(code_of("test \"$PATH\" = here", "x", {{"PATH", "here"}}) == 0);
    CHECK(code_of("test -n \"$PATH\" && test \"$PATHX\" = here", "x", {{"PATHX", "here"}}) == 0);
  }

  TEST_CASE("standard input is empty, and no other file is open") {
    CHECK(code_of("test -z \"$(cat)\"") == 0);
    CHECK(code_of("for n in 3 4 5 6 7 8 9; do test ! -e /proc/self/fd/$n || exit 1; done") == 0);
  }

  TEST_CASE("one that hangs is ended with all it started; so is one whose program is to stop") {
    CHECK(seconds_of([] {
            const auto ended = run_command("sleep 60 & sleep 60", "x", {}, 0.3);
            REQUIRE_FALSE(ended.has_value());
            CHECK(ended.error().code == ErrorCode::unreadable);
            CHECK(ended.error().text == "was not done after 0.3 s and was ended with all that had stayed in its process group; end by hand what left that, as setsid does");
          }) < 10);
    std::atomic<bool> stop{false};
    std::thread later([&] {
      std::this_thread::sleep_for(std::chrono::milliseconds(200));
      stop = true;
    });
    CHECK(seconds_of([&] {
            const auto ended = run_command("sleep 60", "x", {}, 50, &stop);
            REQUIRE_FALSE(ended.has_value());
            CHECK(ended.error().code == ErrorCode::interrupted);
          }) < 10);
    later.join();
  }

  TEST_CASE("a crash is no exit code") {
    const auto ended = run_command("kill -SEGV $$", "x", {}, 20);
    REQUIRE_FALSE(ended.has_value());
    CHECK(ended.error().text == "crashed or was killed (signal 11)");
  }
}
