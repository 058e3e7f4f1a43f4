#include "base/replace.h"

#include <doctest/doctest.h>
#include <fcntl.h>
#include <sys/stat.h>
#include <unistd.h>

#include <array>
#include <atomic>
#include <filesystem>
#include <fstream>
#include <iterator>
#include <string>
#include <thread>
#include <vector>

#include "base/files.h"
#include "base/scratch_folder.h"

using namespace sendworthy;
using namespace sendworthy::base;
namespace fs = std::filesystem;

namespace {

struct Home {
  Home() : scratch(*ScratchFolder::make("test")) { fs::create_directory(scratch.path() + "/d"); }
  [[nodiscard]] std::string operator/(const std::string& name) const { return scratch.path() + "/d/" + name; }
  [[nodiscard]] auto entries() const { return std::distance(fs::directory_iterator(scratch.path() + "/d"), fs::directory_iterator()); }
  ScratchFolder scratch;
};

}  // namespace

TEST_SUITE_BEGIN("base/replace");

TEST_CASE("a text is replaced only where it is the expected one") {
  const Home home;
  const auto path = home / "a";
  std::ofstream(path) << "old";
  REQUIRE(::chmod(path.c_str(), 0640) == 0);
  CHECK(*replace_text(path, "older", "new") == Replaced::changed);
  CHECK(*replace_text(path, "ol", "new") == Replaced::changed);
  CHECK(*replace_text(path, "", "new") == Replaced::changed);
  CHECK(*read_text(path) == "old");
  CHECK(*replace_text(path, "old", "new") == Replaced::yes);
  CHECK(*read_text(path) == "new");
  struct stat info {};
  REQUIRE(::stat(path.c_str(), &info) == 0);
  CHECK((info.st_mode & 0777) == 0640);
  CHECK(*replace_text(home / "none", "", "new") == Replaced::changed);
  fs::create_symlink("a", home / "link");
  CHECK(!replace_text(home / "link", "new", "x"));
  CHECK(home.entries() == 2);
}

TEST_CASE("what is write-protected stays, for root as well, and what is replaced belongs to whom it did") {
  const Home home;
  const auto path = home / "a";
  std::ofstream(path) << "old";
  REQUIRE(::chmod(path.c_str(), 0444) == 0);
  CHECK(*replace_text(path, "old", "new") == Replaced::write_protected);
  CHECK(*read_text(path) == "old");
  CHECK(home.entries() == 1);
  REQUIRE(::chmod(path.c_str(), 0464) == 0);
  if (::geteuid() != 0) {
    CHECK(*replace_text(path, "old", "new") == Replaced::write_protected);
    return;
  }
  // Where that can be given at all.
  if (::chown(path.c_str(), 4242, 4343) != 0) return;
  REQUIRE(::chmod(path.c_str(), 02664) == 0);
  CHECK(*replace_text(path, "old", "new") == Replaced::yes);
  struct stat info {};
  REQUIRE(::stat(path.c_str(), &info) == 0);
  CHECK(info.st_uid == 4242);
  CHECK(info.st_gid == 4343);
  CHECK((info.st_mode & 07777) == 02664);
}

TEST_CASE("what another program has open to write into is left to it") {
  const Home home;
  const auto path = home / "a";
  std::ofstream(path) << "old";
  {
    std::ofstream open(path, std::ios::app);
    CHECK(*replace_text(path, "old", "new") == Replaced::being_written);
    open << " and more";
  }
  CHECK(*read_text(path) == "old and more");
  CHECK(*replace_text(path, "old and more", "new") == Replaced::yes);
  CHECK(home.entries() == 1);
}

TEST_CASE("of many that add to one text none loses what another wrote") {
  // Each adds a line of its own to what it read, until that is kept.
  const Home home;
  const auto path = home / "a";
  REQUIRE(write_then_rename(path, ""));
  constexpr int kThreads = 4, kLines = 25;
  std::atomic<int> trouble{0};
  std::vector<std::thread> threads;
  for (int t = 0; t < kThreads; ++t) {
    threads.emplace_back([&, t] {
      for (int i = 0; i < kLines;) {
        const auto text = read_text(path);
        const auto line = std::to_string(t) + ":" + std::to_string(i) + "\n";
        if (!text) {
          ++trouble;
          return;
        }
        // What was seen of ours for a moment may have been taken up by another.
        if (("\n" + *text).find("\n" + line) != std::string::npos) {
          ++i;
          continue;
        }
        const auto done = replace_text(path, *text, *text + line);
        if (!done) {
          ++trouble;
          return;
        }
        if (*done == Replaced::yes) ++i;
      }
    });
  }
  for (auto& thread : threads) thread.join();
  CHECK(trouble == 0);
  const auto text = *read_text(path);
  std::vector<int> counts(kThreads);
  for (std::size_t at = 0; at < text.size(); at = text.find('\n', at) + 1) ++counts[static_cast<std::size_t>(text[at] - '0')];
  for (const int count : counts) CHECK(count == kLines);
  CHECK(home.entries() == 1);
}

TEST_CASE("a new file is made only where nothing has the name") {
  const Home home;
  CHECK(*write_new(home / "a", "one"));
  CHECK(!*write_new(home / "a", "two"));
  CHECK(*read_text(home / "a") == "one");
  fs::create_symlink("nowhere", home / "link");
  CHECK(!*write_new(home / "link", "two"));
  CHECK(!write_new(home / "none/a", "two"));
  CHECK(home.entries() == 2);
  std::array<std::thread, 8> threads;
  std::atomic<int> made{0};
  for (auto& thread : threads) thread = std::thread([&] { made += *write_new(home / "b", "x") ? 1 : 0; });
  for (auto& thread : threads) thread.join();
  CHECK(made == 1);
}
