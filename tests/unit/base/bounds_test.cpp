#include "base/bounds.h"

#include <doctest/doctest.h>

#include <filesystem>
#include <fstream>
#include <string>

#include "base/files.h"
#include "base/os.h"
#include "base/replace.h"
#include "base/scratch_folder.h"

using namespace sendworthy;
using namespace sendworthy::base;
namespace fs = std::filesystem;

namespace {

/// A folder "in" that is opened, one "out" that is not, and a link "in/turn".
struct Home {
  Home() : scratch(*ScratchFolder::make("test")), room(fs::canonical(scratch.path())) {
    fs::create_directories(room / "in/real");
    fs::create_directory(room / "out");
    for (const char* one : {"in/real/a", "out/a"}) std::ofstream(room / one) << one;
    turn("real");
  }
  void turn(const std::string& target) const {
    fs::remove(room / "in/turn");
    fs::create_symlink(target, room / "in/turn");
  }
  [[nodiscard]] std::string operator/(const std::string& name) const { return (room / name).string(); }
  ScratchFolder scratch;
  fs::path room;
};

}  // namespace

TEST_SUITE_BEGIN("base/bounds");

TEST_CASE("what is opened is asked where it lies, whatever its name said before") {
  const Home home;
  const Bounds bounds({home / "in"});
  CHECK(InputFile::open(home / "in/turn/a").has_value());
  CHECK(read_text_in_bounds(home / "in/turn/a", 100) == "in/real/a");
  CHECK(list_folder(home / "in/turn").has_value());
  home.turn("../out");
  CHECK(InputFile::open(home / "in/turn/a").error().code == ErrorCode::unreadable);
  CHECK(InputFile::open(home / "in/turn/a").error().text.find("outside of the opened folder") != std::string::npos);
  CHECK(read_text_in_bounds(home / "in/turn/a", 100).error().code == ErrorCode::unreadable);
  CHECK(list_folder(home / "in/turn").error().code == ErrorCode::unreadable);
  CHECK(read_text_in_bounds(home / "out/a", 100).error().code == ErrorCode::unreadable);
  // A folder whose name only begins alike.
  fs::create_directory(home / "in-not");
  std::ofstream(home / "in-not/a") << "x";
  CHECK(!InputFile::open(home / "in-not/a"));
  // What the program itself needs is read wherever it lies.
  CHECK(read_text(home / "out/a") == "out/a");
}

TEST_CASE("nothing is written outside, and a folder that is held stays the same") {
  const Home home;
  const Bounds bounds({home / "in"});
  const auto held = HeldFolder::of(home / "in/turn/b");
  REQUIRE(held);
  home.turn("../out");
  CHECK(*write_new(held->file(), "new"));
  CHECK(read_text(home / "in/real/b") == "new");
  CHECK(!write_new(home / "in/turn/c", "new"));
  CHECK(!replace_text(home / "in/turn/a", "out/a", "new"));
  CHECK(!append_lines(home / "in/turn/a", "new\n", "\n", 100));
  CHECK(!append_lines(home / "in/turn/d", "new\n", "\n", 100));
  CHECK(!HeldFolder::of(home / "in/turn/b"));
  CHECK(read_text(home / "out/a") == "out/a");
  CHECK(std::distance(fs::directory_iterator(home / "out"), fs::directory_iterator()) == 1);
  CHECK(replace_text(home / "in/real/a", "in/real/a", "new") == Replaced::yes);
}

TEST_CASE("without bounds everything may be opened; with the root all of it") {
  const Home home;
  CHECK(InputFile::open(home / "out/a").has_value());
  const Bounds bounds({"/"});
  CHECK(InputFile::open(home / "out/a").has_value());
}

TEST_CASE("whether a file can be made is told before it is tried") {
  const Home home;
  CHECK(may_be_made(home / "in/x").has_value());
  CHECK(may_be_made(home / "none/x").error().code == ErrorCode::missing);
  CHECK(may_be_made(home / "in/real/a/x").error().code == ErrorCode::missing);
}
