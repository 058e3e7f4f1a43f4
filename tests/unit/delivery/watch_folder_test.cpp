// The loop around the watch, in a real folder, with sheets that need no sound.
#include "delivery/watch_folder.h"

#include <doctest/doctest.h>
#include <stdlib.h>

#include <algorithm>
#include <atomic>
#include <chrono>
#include <filesystem>
#include <fstream>
#include <map>
#include <mutex>
#include <string>
#include <thread>
#include <vector>

#include "base/fingerprint.h"
#include "delivery/errands.h"

using namespace sendworthy;
using namespace sendworthy::delivery;
namespace fs = std::filesystem;

namespace {

struct Folder {
  Folder() {
    std::string name = (fs::temp_directory_path() / "sendworthy-watch-XXXXXX").string();
    REQUIRE(::mkdtemp(name.data()) != nullptr);
    path = name;
  }
  ~Folder() {
    std::error_code ignored;
    fs::remove_all(path, ignored);
  }
  void write(const std::string& name, const std::string& bytes) const { std::ofstream(path + "/" + name, std::ios::binary) << bytes; }
  std::string path;
};

void sleep_ms(int milliseconds) { std::this_thread::sleep_for(std::chrono::milliseconds(milliseconds)); }

/// A watch in a thread of its own, and what it has said of which name.
struct Running {
  explicit Running(WatchOptions wanted) : options(std::move(wanted)) {
    hooks.check = [this](const std::string& path, int, const std::atomic<bool>& halt) {
      ++checks;
      for (int i = 0; i < check_ms && !halt; i += 10) sleep_ms(10);
      Sheet sheet;
      sheet.files.resize(1);
      sheet.files[0].path = path;
      if (!fs::exists(path)) sheet.files[0].error = Error{ErrorCode::missing, "none", {}};
      return sheet;
    };
    hooks.checked = [this](const Sheet& sheet, double) {
      const std::lock_guard lock(mutex);
      const auto& file = sheet.files[0];
      lines.push_back((file.error ? "gone " : "") + file.path.substr(options.folder.size() + 1));
      return true;
    };
    hooks.same = [](const std::string&) {};
    hooks.started = [this](std::size_t) { started = true; };
    hooks.said = [](std::string_view) {};
    hooks.busy = [] { return false; };
    hooks.stop = &stop;
  }
  void start() {
    thread = std::thread([this] { end = watch_folder(options, hooks); });
    while (!started) sleep_ms(5);
  }
  ~Running() {
    stop = true;
    if (thread.joinable()) thread.join();
  }
  std::vector<std::string> sorted() {
    thread.join();
    std::sort(lines.begin(), lines.end());
    return lines;
  }

  WatchOptions options;
  WatchHooks hooks;
  std::atomic<bool> stop{false}, started{false};
  std::atomic<int> checks{0};
  int check_ms = 0;
  std::mutex mutex;
  std::vector<std::string> lines;
  Result<WatchEnd> end = WatchEnd{};
  std::thread thread;
};

WatchOptions quick(const Folder& folder) {
  WatchOptions options;
  options.folder = folder.path;
  options.settle_s = 0.3;
  options.rescan_s = 0.2;
  options.idle_s = 1.0;
  options.jobs = 3;
  return options;
}

using Lines = std::vector<std::string>;

}  // namespace

TEST_SUITE("delivery/watch_folder") {
  TEST_CASE("nothing is told while something else is, and nothing after the end") {
    const Folder folder;
    WatchOptions options{.folder = folder.path, .existing = true, .settle_s = 0.1, .rescan_s = 0.1, .jobs = 4};
    Running running(options);
    std::atomic<int> speaking{0};
    std::atomic<bool> together{false}, ended{false}, late{false};
    std::atomic<int> told{0};
    const auto speak = [&](int milliseconds) {
      if (++speaking > 1) together = true;
      if (ended) late = true;
      sleep_ms(milliseconds);
      --speaking;
    };
    running.hooks.checked = [&](const Sheet&, double) {
      speak(20);
      return true;
    };
    running.hooks.said = [&](std::string_view) {
      ++told;
      speak(20);
    };
    running.start();
    for (int i = 0; i < 30; ++i) {
      folder.write(std::to_string(i) + ".wav", "x");
      fs::create_symlink("nowhere", folder.path + "/link" + std::to_string(i) + ".wav");
      sleep_ms(30);
    }
    running.stop = true;
    running.thread.join();
    ended = true;
    sleep_ms(100);
    CHECK(told > 0);
    CHECK_FALSE(together.load());
    CHECK_FALSE(late.load());
  }

  TEST_CASE("files that come, with and without events") {
    for (const bool events : {true, false}) {
      CAPTURE(events);
      const Folder folder;
      folder.write("old.wav", "old");
      auto options = quick(folder);
      options.events = events;
      Running running(options);
      running.start();
      for (int i = 10; i < 40; ++i) folder.write(std::to_string(i) + ".wav", std::to_string(i));
      folder.write("text.txt", "no audio");
      const auto lines = running.sorted();
      REQUIRE(lines.size() == 30);
      CHECK(lines.front() == "10.wav");
      CHECK(std::adjacent_find(lines.begin(), lines.end()) == lines.end());
      CHECK(running.checks == 30);
      REQUIRE(running.end.has_value());
      CHECK(running.end->checked == 30);
      CHECK_FALSE(running.end->interrupted);
    }
  }

  TEST_CASE("a file that changes or goes while it is checked") {
    const Folder folder;
    Running running(quick(folder));
    running.check_ms = 600;
    running.start();
    folder.write("changes.wav", "a");
    folder.write("goes.wav", "b");
    while (running.checks < 2) sleep_ms(10);
    folder.write("changes.wav", "other");
    fs::remove(folder.path + "/goes.wav");
    CHECK(running.sorted() == Lines{"changes.wav", "gone goes.wav"});
    CHECK(running.checks == 4);
  }

  TEST_CASE("a stop ends a long check") {
    const Folder folder;
    auto options = quick(folder);
    options.idle_s.reset();
    Running running(options);
    running.check_ms = 60'000;
    running.start();
    folder.write("a.wav", "a");
    while (running.checks < 1) sleep_ms(10);
    const auto begun = std::chrono::steady_clock::now();
    running.stop = true;
    CHECK(running.sorted().empty());
    CHECK(std::chrono::steady_clock::now() - begun < std::chrono::seconds(10));
    REQUIRE(running.end.has_value());
    CHECK(running.end->interrupted);
  }

  TEST_CASE("a folder that is not there") {
    const Folder folder;
    auto options = quick(folder);
    options.folder += "/none";
    Running running(options);
    const auto end = watch_folder(running.options, running.hooks);
    REQUIRE_FALSE(end.has_value());
    CHECK(end.error().code == ErrorCode::missing);
  }
}

TEST_SUITE("delivery/errands") {
  TEST_CASE("one after the other, in their order; failures are told; what waits at the end is dropped") {
    const Folder folder;
    const auto log = folder.path + "/log";
    std::vector<std::string> told;
    {
      Errands errands("echo begin $1 >> \"$LOG\"; sleep 0.05; echo end $1 >> \"$LOG\"; test \"$1\" != b", 20,
                      [&](std::string_view text) { told.emplace_back(text); });
      for (const char* name : {"a", "b", "c"}) errands.add({name, {{"LOG", log}}});
      CHECK(errands.busy());
      while (errands.busy()) sleep_ms(10);
      CHECK(errands.failures() == 1);
    }
    std::ifstream in(log);
    const std::string all((std::istreambuf_iterator<char>(in)), {});
    CHECK(all == "begin a\nend a\nbegin b\nend b\nbegin c\nend c\n");
    CHECK(told == std::vector<std::string>{"the command for \"b\" ended with exit code 1"});
    const auto begun = std::chrono::steady_clock::now();
    {
      Errands errands("sleep 60", 100, [](std::string_view) {});
      for (int i = 0; i < 5; ++i) errands.add({"x", {}});
    }
    CHECK(std::chrono::steady_clock::now() - begun < std::chrono::seconds(10));
  }
}

TEST_SUITE("base/fingerprint") {
  TEST_CASE("the same for the same bytes, another for others") {
    const Folder folder;
    const std::string much(600'000, 'x');
    folder.write("a", much);
    folder.write("b", much);
    folder.write("c", much.substr(1) + "y");
    folder.write("d", "");
    const auto of = [&](const char* name) { return base::fingerprint_of(folder.path + "/" + name).value(); };
    CHECK(of("a") == of("b"));
    CHECK(of("a") != of("c"));
    CHECK(of("d") == "99aa06d3014798d86001c324468d497f");  // XXH3-128 of nothing, from memory
    CHECK_FALSE(base::fingerprint_of(folder.path + "/none").has_value());
    const std::atomic<bool> stop{true};
    CHECK(base::fingerprint_of(folder.path + "/a", &stop).error().code == ErrorCode::interrupted);
  }
}
