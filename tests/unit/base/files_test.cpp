#include "base/files.h"

#include <doctest/doctest.h>
#include <fcntl.h>
#include <sys/file.h>
#include <sys/stat.h>
#include <unistd.h>

#include <cerrno>
#include <chrono>
#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <thread>
#include <vector>

#include "base/unfinished.h"

using namespace sendworthy;
using namespace sendworthy::base;
namespace fs = std::filesystem;

namespace {

struct Folder {
  Folder() {
    std::string name = (fs::temp_directory_path() / "sendworthy-files-XXXXXX").string();
    REQUIRE(::mkdtemp(name.data()) != nullptr);
    path = name;
  }
  ~Folder() { fs::remove_all(path); }
  [[nodiscard]] std::string operator/(const std::string& name) const { return (path / name).string(); }
  [[nodiscard]] std::size_t entries() const {
    std::size_t count = 0;
    for ([[maybe_unused]] const auto& entry : fs::directory_iterator(path)) ++count;
    return count;
  }
  fs::path path;
};

}  // namespace

TEST_SUITE("base/files") {
  TEST_CASE("what was written is read back, and nothing else is left behind") {
    const Folder folder;
    const std::string content = std::string("line\r\nnul:\0 end", 15);
    REQUIRE(write_then_rename(folder / "a.txt", content).has_value());
    CHECK(*read_text(folder / "a.txt") == content);
    REQUIRE(write_then_rename(folder / "a.txt", "second").has_value());
    CHECK(*read_text(folder / "a.txt") == "second");
    CHECK(folder.entries() == 1);
  }

  TEST_CASE("a name is taken by whatever has it") {
    const Folder folder;
    CHECK(!is_taken(folder / "x"));
    fs::create_symlink("nowhere", folder / "x");
    CHECK(is_taken(folder / "x"));
    CHECK(is_taken(folder.path.string()));
  }

  TEST_CASE("reading says what is wrong") {
    const Folder folder;
    const auto missing = read_text(folder / "none.toml");
    CHECK(missing.error().code == ErrorCode::missing);
    CHECK(missing.error().text == "cannot read \"" + (folder / "none.toml") + "\": No such file or directory; check the name and the folder");
    const auto directory = read_text(folder.path.string());
    CHECK(directory.error().code == ErrorCode::unreadable);
    CHECK(directory.error().text.find("it is a folder") != std::string::npos);
    CHECK(read_text("/dev/zero").error().text ==
          "cannot read \"/dev/zero\": it is a device or a pipe; a plain text file is needed");
    CHECK(!read_text("").has_value());
    REQUIRE(::mkfifo((folder / "pipe").c_str(), 0600) == 0);
    CHECK(read_text(folder / "pipe").error().text.find("pipe") != std::string::npos);  // and it does not wait
  }

  TEST_CASE("reading stops at the limit") {
    const Folder folder;
    std::ofstream(folder / "big") << std::string(5000, 'x');
    CHECK(read_text(folder / "big", 5000).has_value());
    CHECK(read_text(folder / "big", 4096).error().text ==
          "cannot read \"" + (folder / "big") + "\": it is larger than the 4 KiB a text file may have here");
  }

  TEST_CASE("a failed write leaves neither a half file nor the old one changed") {
    const Folder folder;
    CHECK(write_then_rename(folder / "no/such/folder.txt", "x").error().code == ErrorCode::output);
    CHECK(write_then_rename(folder.path.string(), "x").error().text.find("it is a folder; name a file") !=
          std::string::npos);
    CHECK(write_then_rename("", "x").error().code == ErrorCode::output);
    CHECK(folder.entries() == 0);
    if (fs::exists("/dev/full")) {
      const auto full = write_then_rename("/dev/full", "x");
      CHECK(full.error().text == "cannot write \"/dev/full\": No space left on device; make room there, or name another place");
      CHECK(fs::is_character_file("/dev/full"));
    }
    // What belongs beside something else can be written nowhere else.
    CHECK(reason(EROFS) == "Read-only file system; name another place");
    for (const int error : {EROFS, EACCES, EPERM, ENOSPC, EDQUOT}) {
      const auto words = reason(error, Destination::fixed);
      CHECK_MESSAGE(words.ends_with("copy the folder, with all that belongs to it, to where it can be written to, and go on with the copy"), words);
      CHECK(words.find("another place") == std::string::npos);
    }
    // Where nobody, not even root, makes a file.
    if (const auto kept = append_lines("/sys/sendworthy-test", "x\n", "\n", 100); fs::exists("/sys/kernel")) {
      REQUIRE(!kept);
      CHECK_MESSAGE(kept.error().text.ends_with("go on with the copy"), kept.error().text);
    }
    CHECK(write_then_rename("/dev/null", "x").has_value());
    CHECK(fs::is_character_file("/dev/null"));
  }

  TEST_CASE("a link stays a link and its target gets the text; rights stay") {
    const Folder folder;
    std::ofstream(folder / "real") << "old";
    REQUIRE(::chmod((folder / "real").c_str(), 0640) == 0);
    fs::create_symlink("real", folder / "link");
    REQUIRE(write_then_rename(folder / "link", "new").has_value());
    CHECK(fs::is_symlink(folder / "link"));
    CHECK(*read_text(folder / "real") == "new");
    CHECK((fs::status(folder / "real").permissions() & fs::perms::all) == fs::perms(0640));
  }

  TEST_CASE("a name as long as names can be is written") {
    const Folder folder;
    CHECK(write_then_rename(folder / std::string(255, 'n'), "x").has_value());
  }

  TEST_CASE("many threads writing into one folder do not disturb each other") {
    const Folder folder;
    std::vector<std::thread> threads;
    for (int t = 0; t < 20; ++t) {
      threads.emplace_back([&, t] {
        for (int i = 0; i < 5; ++i) (void)write_then_rename(folder / ("f" + std::to_string(t)), std::to_string(i));
      });
    }
    for (auto& thread : threads) thread.join();
    CHECK(folder.entries() == 20);
    CHECK(*read_text(folder / "f7") == "4");
    remove_unfinished_files();
    CHECK(folder.entries() == 20);
  }

  TEST_CASE("lines are appended whole, also by many at once, and behind a line that has no end") {
    const Folder folder;
    const std::size_t limit = 1u << 20;
    const std::string line(300, 'x');
    std::vector<std::thread> threads;
    for (int t = 0; t < 8; ++t) {
      threads.emplace_back([&] {
        for (int i = 0; i < 50; ++i) (void)append_lines(folder / "a", line + "\n", "\nmended\n", limit);
      });
    }
    for (auto& thread : threads) thread.join();
    std::string expected;
    for (int i = 0; i < 8 * 50; ++i) expected += line + "\n";
    const bool whole = *read_text(folder / "a") == expected;  // too long to be printed
    CHECK(whole);
    std::ofstream(folder / "a") << "half";
    REQUIRE(append_lines(folder / "a", "b\n", "\nmended\n", limit));
    REQUIRE(append_lines(folder / "a", "c\n", "\nmended\n", limit));
    CHECK(*read_text(folder / "a") == "half\nmended\nb\nc\n");
    CHECK(append_lines(folder / "a", "d\n", "", 18));
    CHECK(append_lines(folder / "a", "e\n", "", 19).error().text.find("it would become larger than") != std::string::npos);
    CHECK(*read_text(folder / "a") == "half\nmended\nb\nc\nd\n");
  }

  TEST_CASE("lines go into the file that somebody puts in the place of the one they were meant for") {
    const Folder folder;
    const std::string path = folder / "a";
    std::ofstream(path) << "old\n";
    const int held = ::open(path.c_str(), O_RDONLY | O_CLOEXEC);
    REQUIRE(held >= 0);
    REQUIRE(::flock(held, LOCK_EX) == 0);
    Result<void> done = fail(ErrorCode::output, "not run");
    std::thread waiting([&] { done = append_lines(path, "new\n", "", 100); });
    std::this_thread::sleep_for(std::chrono::milliseconds(100));
    REQUIRE(write_then_rename(path, "old, edited\n"));
    ::close(held);
    waiting.join();
    REQUIRE(done);
    CHECK(*read_text(path) == "old, edited\nnew\n");
  }

  TEST_CASE("nothing is appended through a link, nor to what is no file") {
    const Folder folder;
    std::ofstream(folder / "real") << "old\n";
    fs::create_symlink("real", folder / "link");
    REQUIRE(::mkfifo((folder / "pipe").c_str(), 0600) == 0);
    for (const auto& path : {folder / "link", folder / "pipe", folder.path.string(), std::string("/dev/full"), std::string(), folder / "none/a"}) {
      const auto done = append_lines(path, "new\n", "", 100);
      REQUIRE_FALSE_MESSAGE(done, path);
      CHECK(done.error().code == ErrorCode::output);
    }
    CHECK(append_lines(folder / "link", "new\n", "", 100).error().text.find("it is a link") != std::string::npos);
    CHECK(*read_text(folder / "real") == "old\n");
  }
}
