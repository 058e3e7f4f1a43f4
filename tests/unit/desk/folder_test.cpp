#include "desk/folder.h"

#include <doctest/doctest.h>

#include <filesystem>
#include <fstream>
#include <string>

#include "base/scratch_folder.h"

using namespace sendworthy;
using namespace sendworthy::desk;
namespace fs = std::filesystem;

namespace {

struct Room {
  Room() : scratch(*base::ScratchFolder::make("test")), root(fs::path(scratch.path()) / "room") {
    fs::create_directories(root / "sub/deep");
    fs::create_directories(fs::path(scratch.path()) / "room-beside");
    put(root / "b.wav");
    put(root / "a.flac");
    put(root / "notes.txt");
    put(root / "sub/c.wav");
    put(fs::path(scratch.path()) / "outside.wav");
    put(fs::path(scratch.path()) / "room-beside/d.wav");
  }
  static void put(const fs::path& path) { std::ofstream(path) << "RIFF"; }
  [[nodiscard]] Folder open() const { return *Folder::open(root.string()); }

  base::ScratchFolder scratch;
  fs::path root;
};

std::vector<std::string> names(const std::vector<Folder::Entry>& entries) {
  std::vector<std::string> all;
  for (const auto& entry : entries) all.push_back(entry.name);
  return all;
}

}  // namespace

TEST_SUITE_BEGIN("desk/folder");

TEST_CASE("paths that are none of the page's are refused by their looks") {
  const Room room;
  const auto folder = room.open();
  CHECK(*folder.path_of("") == room.root.string());
  CHECK(*folder.path_of("sub/c.wav") == (room.root / "sub/c.wav").string());
  CHECK(*folder.path_of("not there.wav") == (room.root / "not there.wav").string());
  CHECK(*folder.path_of("%2e%2e/x") == (room.root / "%2e%2e/x").string());
  for (const std::string bad : {"..", ".", "../outside.wav", "sub/../../outside.wav", "sub/..", "/etc/passwd", "//etc", "sub//c.wav", "sub/", "/", "a\\b", "..\\outside.wav", "./b.wav"}) {
    const auto path = folder.path_of(bad);
    REQUIRE_MESSAGE(!path, bad);
    CHECK(path.error().code == ErrorCode::usage);
  }
  CHECK(!folder.path_of(std::string("a\0b", 3)));
  CHECK(!folder.list(".."));
}

TEST_CASE("links that lead out are refused, links that stay are followed") {
  const Room room;
  fs::create_symlink("../outside.wav", room.root / "out.wav");
  fs::create_symlink("..", room.root / "up");
  fs::create_symlink("/", room.root / "top");
  fs::create_symlink("../room-beside", room.root / "beside");
  fs::create_symlink("sub", room.root / "in");
  fs::create_symlink("sub/c.wav", room.root / "in.wav");
  fs::create_symlink("self.wav", room.root / "self.wav");
  const auto folder = room.open();
  for (const std::string bad : {"out.wav", "up", "up/outside.wav", "top/etc", "beside/d.wav", "beside", "self.wav"}) {
    const auto path = folder.path_of(bad);
    REQUIRE_MESSAGE(!path, bad);
    CHECK(path.error().code == ErrorCode::unreadable);
  }
  CHECK(folder.path_of("up/room/b.wav").has_value());
  CHECK(folder.path_of("in/c.wav").has_value());
  CHECK(folder.path_of("in.wav").has_value());
  const auto listing = folder.list("");
  REQUIRE(listing.has_value());
  CHECK(names(listing->folders) == std::vector<std::string>{"in", "sub"});
  CHECK(names(listing->files) == std::vector<std::string>{"a.flac", "b.wav", "in.wav"});
}

TEST_CASE("a listing is another one where a plan or an order came, went or was written again") {
  const Room room;
  const auto folder = room.open();
  const auto before = folder.list("");
  REQUIRE(before.has_value());
  Room::put(room.root / "order.toml");
  Room::put(room.root / ".order.toml");
  fs::create_symlink("/etc/hosts", room.root / "out.toml");
  const auto with = folder.list("");
  REQUIRE(with.has_value());
  CHECK(names(with->documents) == std::vector<std::string>{"order.toml"});
  CHECK(names(with->files) == names(before->files));
  CHECK(with->left_off == 0);
  CHECK(*with != *before);
  std::ofstream(room.root / "order.toml", std::ios::app) << "# again";
  CHECK(*folder.list("") != *with);
}

TEST_CASE("a folder that was itself opened by a link is whole") {
  const Room room;
  const auto link = fs::path(room.scratch.path()) / "link";
  fs::create_symlink("room", link);
  const auto folder = Folder::open(link.string());
  REQUIRE(folder.has_value());
  CHECK(folder->name() == "room");
  CHECK(folder->path_of("b.wav").has_value());
  CHECK(names(folder->list("sub")->files) == std::vector<std::string>{"c.wav"});
}

TEST_CASE("a listing holds folders and audio files, sorted, of any name, and no more than is said") {
  const Room room;
  fs::create_directory(room.root / ".hidden");
  Room::put(room.root / "caf\xE9.wav");
  Room::put(room.root / "<img src=x onerror=alert(1)>.wav");
  fs::create_directory(room.root / "folder.wav");
  const auto listing = room.open().list("");
  REQUIRE(listing.has_value());
  CHECK(names(listing->folders) == std::vector<std::string>{"folder.wav", "sub"});
  CHECK(names(listing->files) == std::vector<std::string>{"<img src=x onerror=alert(1)>.wav", "a.flac", "b.wav", "caf\xE9.wav"});
  CHECK(listing->files[1].bytes == 4);
  CHECK(listing->files[1].modified_ns > 0);
  CHECK(listing->left_off == 0);
  Room::put(room.root / "sub/back\\slash.wav");
  CHECK(room.open().list("sub")->left_off == 1);
  CHECK(room.open().list("sub")->files.size() == 1);
  CHECK(room.open().list("sub")->files[0].path == "sub/c.wav");
  CHECK(room.open().list("sub/deep")->files.empty());
  CHECK(room.open().list("gone").error().code == ErrorCode::missing);
  CHECK(!room.open().list("b.wav"));
  for (int i = 0; i < 2010; ++i) Room::put(room.root / "sub/deep" / (std::to_string(i) + ".wav"));
  const auto deep = room.open().list("sub/deep");
  CHECK(deep->files.size() == Folder::kMost);
  CHECK(deep->left_off == 10);
}

TEST_CASE("what is no folder is not opened") {
  const Room room;
  CHECK(Folder::open((room.root / "gone").string()).error().code == ErrorCode::missing);
  CHECK(Folder::open((room.root / "b.wav").string()).error().code == ErrorCode::unreadable);
}

TEST_SUITE_END();
