// A helper program: bytes through pipes, and an end in any case.
#include "base/helper.h"

#include <doctest/doctest.h>
#include <fcntl.h>
#include <stdlib.h>
#include <unistd.h>

#include <algorithm>
#include <chrono>
#include <cstdio>
#include <functional>
#include <cstdlib>
#include <thread>

using namespace sendworthy;
using namespace sendworthy::base;

namespace {

Result<std::string> shell(const std::string& script, std::string_view input = {}, const HelperLimits& limits = {},
                          const std::atomic<bool>* stop = nullptr) {
  return run_helper("/bin/sh", {"-c", script}, input, limits, stop);
}

double seconds_of(const std::function<void()>& work) {
  const auto begun = std::chrono::steady_clock::now();
  work();
  return std::chrono::duration<double>(std::chrono::steady_clock::now() - begun).count();
}

bool has(const std::string& text, const char* part) { return text.find(part) != std::string::npos; }

}  // namespace

TEST_SUITE("base/helper") {
  TEST_CASE("what goes in comes out, however much more than a pipe holds") {
    std::string much;
    for (int i = 0; i < 3 << 20; ++i) much += static_cast<char>(i * 7 + (i >> 8));
    const auto back = run_helper("/bin/cat", {}, much, {.output_bytes = 4 << 20});
    REQUIRE(back.has_value());
    CHECK(*back == much);
    const auto nothing = run_helper("/bin/cat", {}, "", {});
    REQUIRE(nothing.has_value());
    CHECK(nothing->empty());
  }

  TEST_CASE("arguments arrive as they are: no shell reads them") {
    const auto said = run_helper("/bin/echo", {"$HOME; ls", "a  b"}, "", {});
    REQUIRE(said.has_value());
    CHECK(*said == "$HOME; ls a  b\n");
  }

  TEST_CASE("a helper that fails, crashes or does not exist is an error with its first words, cleaned") {
    const auto failed = shell("printf 'no \\033[31mluck\\nsecond line' >&2; exit 3");
    REQUIRE_FALSE(failed.has_value());
    CHECK(failed.error().code == ErrorCode::unreadable);
    CHECK(has(failed.error().text, "exit code 3"));
    CHECK(has(failed.error().text, "no \\x1b[31mluck") == false);
    CHECK(has(failed.error().text, "luck"));
    CHECK_FALSE(has(failed.error().text, "\033"));
    CHECK_FALSE(has(failed.error().text, "second line"));
    const auto crashed = shell("kill -SEGV $$");
    REQUIRE_FALSE(crashed.has_value());
    CHECK(has(crashed.error().text, "signal 11"));
    const auto absent = run_helper("/no/such/program", {}, "", {});
    REQUIRE_FALSE(absent.has_value());
    CHECK(has(absent.error().text, "/no/such/program"));
  }

  TEST_CASE("a helper that hangs is ended, also when it hangs with its output closed, or only complains") {
    for (const char* script : {"sleep 60", "exec >&- 2>&-; sleep 60", "while :; do echo still here >&2; sleep 0.05; done"}) {
      CAPTURE(script);
      CHECK(seconds_of([&] { CHECK_FALSE(shell(script, {}, {.quiet_s = 0.4}).has_value()); }) < 5);
    }
    CHECK(seconds_of([&] { CHECK_FALSE(shell("while :; do echo x; sleep 0.05; done", {}, {.total_s = 0.5}).has_value()); }) < 5);
  }

  TEST_CASE("a flood is cut off") {
    const auto flood = shell("yes", {}, {.output_bytes = 1 << 16});
    REQUIRE_FALSE(flood.has_value());
    CHECK(has(flood.error().text, "more than it may"));
    CHECK(shell("yes >&2", {}, {.quiet_s = 0.5}).has_value() == false);
    const auto exactly = shell("head -c 65536 /dev/zero", {}, {.output_bytes = 1 << 16});
    CHECK(exactly.has_value());
  }

  TEST_CASE("a helper that does not read its input neither blocks nor ends us") {
    const std::string much(4 << 20, 'x');
    const auto early = shell("exec <&-; echo done", much);
    REQUIRE(early.has_value());
    CHECK(*early == "done\n");
  }

  TEST_CASE("a stop ends it at once") {
    std::atomic<bool> stop{false};
    std::thread later([&] {
      std::this_thread::sleep_for(std::chrono::milliseconds(200));
      stop = true;
    });
    CHECK(seconds_of([&] {
            const auto ended = shell("sleep 60", {}, {}, &stop);
            REQUIRE_FALSE(ended.has_value());
            CHECK(ended.error().code == ErrorCode::interrupted);
          }) < 5);
    later.join();
  }

  TEST_CASE("it inherits no open file but its three pipes, and not FFREPORT") {
    const int open_here = ::open("/dev/null", O_RDONLY);  // without O_CLOEXEC
    REQUIRE(open_here > 2);
    ::setenv("FFREPORT", "file=x.log", 1);
    const auto said = shell("for n in 3 4 5 6 7 8 9; do [ -e /proc/self/fd/$n ] && echo fd $n; done; echo \"$FFREPORT\"; true");
    ::unsetenv("FFREPORT");
    ::close(open_here);
    REQUIRE(said.has_value());
    CHECK(*said == "\n");
  }

  TEST_CASE("a program is looked for in absolute folders of PATH only") {
    const char* const before = std::getenv("PATH");
    const std::string kept = before == nullptr ? "" : before;
    ::setenv("PATH", "", 1);
    CHECK_FALSE(find_program("sh").has_value());
    ::setenv("PATH", ".:bin::../bin", 1);
    CHECK_FALSE(find_program("sh").has_value());
    ::setenv("PATH", "/no/such/folder:/bin", 1);
    CHECK(find_program("sh") == "/bin/sh");
    ::unsetenv("PATH");
    CHECK_FALSE(find_program("sh").has_value());
    ::setenv("PATH", kept.c_str(), 1);
  }

  TEST_CASE("a stream reads a file, hands on piece by piece, and holds nothing back") {
    const std::string path = "/tmp/sendworthy-helper-test-" + std::to_string(::getpid());
    const auto write = [&](const std::string& text) {
      std::FILE* file = std::fopen(path.c_str(), "wb");
      REQUIRE(file != nullptr);
      REQUIRE(std::fwrite(text.data(), 1, text.size(), file) == text.size());
      std::fclose(file);
    };
    std::string much;
    for (int i = 0; i < 1 << 20; ++i) much += static_cast<char>(i * 7 + (i >> 8));
    write(much);
    const auto stream = [&](const std::string& script, const HelperLimits& limits) {
      auto file = InputFile::open(path);
      REQUIRE(file.has_value());
      auto started = HelperStream::start("/bin/sh", {"-c", script}, *file, limits);
      REQUIRE(started.has_value());
      return std::move(*started);  // the file is closed: the helper has its own
    };
    const auto all = [](HelperStream& from) {
      std::string out(3 << 20, '\0');
      std::size_t done = 0;
      for (;;) {
        const auto got = from.read(out.data() + done, std::min<std::size_t>(1000, out.size() - done));
        if (!got || *got == 0) break;
        done += *got;
      }
      out.resize(done);
      return out;
    };
    auto from_start = stream("cat /dev/stdin", {.output_bytes = 2 << 20});
    CHECK(all(from_start) == much);
    char byte = 0;
    CHECK(from_start.read(&byte, 1).value() == 0);
    auto moved = std::move(from_start);
    CHECK(moved.read(&byte, 1).value() == 0);

    auto failing = stream("printf abc; echo 'bad luck' >&2; exit 4", {});
    CHECK(all(failing) == "abc");
    for (int i = 0; i < 2; ++i) {
      const auto again = failing.read(&byte, 1);
      REQUIRE_FALSE(again.has_value());
      CHECK(has(again.error().text, "exit code 4"));
      CHECK(has(again.error().text, "bad luck"));
    }
    CHECK(failing.said() == "bad luck\n");

    auto endless = stream("cat /dev/zero", {.output_bytes = 100'000});
    CHECK(all(endless).size() <= 100'000);
    CHECK(has(endless.read(&byte, 1).error().text, "more than it may"));
    auto silent = stream("sleep 100", {.quiet_s = 0.3});
    CHECK(seconds_of([&] { CHECK(has(silent.read(&byte, 1).error().text, "no sign of life")); }) < 5);
    // The time that the reader takes is not the helper's.
    auto slow_reader = stream("printf a; sleep 0.05; printf b", {.quiet_s = 0.4, .total_s = 0.6});
    CHECK(slow_reader.read(&byte, 1).value() == 1);
    ::usleep(800'000);
    CHECK(slow_reader.read(&byte, 1).value() == 1);
    CHECK(slow_reader.read(&byte, 1).value() == 0);
    // It may write no file and take no more memory than it was given.
    auto writer = stream("echo x > " + path + ".out; test -s " + path + ".out && printf written; exit 0", {});
    CHECK_FALSE(has(all(writer), "written"));
    ::unlink((path + ".out").c_str());
    auto hungry = stream("head -c 200000000 /dev/zero | tail -c 150000000 | wc -c", {.memory_bytes = 64 << 20});
    CHECK_FALSE(has(all(hungry), "150000000"));
    // Thrown away while it still writes, it is gone.
    const auto thrown = seconds_of([&] { auto one = stream("cat /dev/zero", {.output_bytes = std::size_t{1} << 40}); CHECK(one.read(&byte, 1).value() == 1); });
    CHECK(thrown < 5);
    ::unlink(path.c_str());
  }
}
