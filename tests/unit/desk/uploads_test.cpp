#include "desk/uploads.h"

#include <doctest/doctest.h>
#include <sys/stat.h>
#include <unistd.h>

#include <filesystem>
#include <string>
#include <vector>

#include "base/files.h"
#include "base/scratch_folder.h"

using namespace sendworthy;
using namespace sendworthy::desk;
namespace fs = std::filesystem;

namespace {

constexpr UploadLimits kSmall{100, 250, 0, 4};

std::size_t entries_in(const std::string& path) {
  std::size_t count = 0;
  for ([[maybe_unused]] const auto& entry : fs::directory_iterator(path)) ++count;
  return count;
}

std::string put(Uploads& uploads, std::string_view name, std::string_view bytes) {
  auto incoming = uploads.begin(name, static_cast<std::int64_t>(bytes.size()));
  REQUIRE(incoming.has_value());
  REQUIRE((*incoming)->write(bytes).has_value());
  const auto id = (*incoming)->finish();
  REQUIRE(id.has_value());
  return *id;
}

int refused_with(Uploads& uploads, std::string_view name, std::int64_t bytes) {
  const auto incoming = uploads.begin(name, bytes);
  return incoming ? 0 : incoming.error().status;
}

}  // namespace

TEST_SUITE_BEGIN("desk/uploads");

TEST_CASE("what is there whole is listed in the order in which it came") {
  const auto scratch = base::ScratchFolder::make("test");
  REQUIRE(scratch.has_value());
  Uploads uploads(*scratch, {100, 2500, 0, 20});
  std::vector<std::string> ids;
  for (int i = 0; i < 12; ++i) ids.push_back(put(uploads, "take.wav", "abc"));
  const auto on_its_way = uploads.begin("half.wav", 3);
  CHECK(uploads.remove(ids[1]));
  ids.erase(ids.begin() + 1);
  const auto listed = uploads.list();
  REQUIRE(listed.size() == ids.size());
  for (std::size_t i = 0; i < ids.size(); ++i) CHECK(listed[i].id == ids[i]);
  CHECK(listed[0].name == "take.wav");
  CHECK(listed[0].bytes == 3);
}

TEST_CASE("a scratch folder is this user's alone and goes with all that is in it") {
  std::string path;
  {
    const auto scratch = base::ScratchFolder::make("test");
    REQUIRE(scratch.has_value());
    path = scratch->path();
    struct stat info {};
    REQUIRE(::stat(path.c_str(), &info) == 0);
    CHECK((info.st_mode & 0777) == 0700);
    CHECK(base::ScratchFolder::make("test")->path() != path);
    CHECK(fs::exists(path));
    fs::create_directories(path + "/a/b");
    CHECK(scratch->free_bytes() > 0);
  }
  CHECK(!fs::exists(path));
}

TEST_CASE("what a killed run left behind goes with the next one, and nothing else does") {
  const auto where = fs::temp_directory_path();
  const auto left = where / "sendworthy-sweep-aaaaaa", young = where / "sendworthy-sweep-bbbbbb", strange = where / "sendworthy-sweep-cccccc";
  for (const auto& folder : {left, young, strange}) fs::create_directories(folder / "x");
  for (const auto& folder : {left, young}) REQUIRE(base::write_then_rename((folder / "lock").string(), "").has_value());
  fs::last_write_time(left / "lock", fs::file_time_type::clock::now() - std::chrono::hours(1));
  { const auto scratch = base::ScratchFolder::make("sweep"); }
  CHECK(!fs::exists(left));
  CHECK(fs::exists(young));
  CHECK(fs::exists(strange));
  const auto living = base::ScratchFolder::make("sweep");
  fs::last_write_time(living->path() + "/lock", fs::file_time_type::clock::now() - std::chrono::hours(1));
  const auto other = base::ScratchFolder::make("sweep");
  CHECK(fs::exists(living->path()));
  fs::remove_all(young);
  fs::remove_all(strange);
}

TEST_CASE("what a run that was killed while it removed its folder left behind goes, too") {
  const auto where = fs::temp_directory_path();
  const auto left = where / "sendworthy-sweep-dddddd", young = where / "sendworthy-sweep-eeeeee";
  for (const auto& folder : {left, young}) fs::create_directories(folder / "x");
  fs::last_write_time(left, fs::file_time_type::clock::now() - std::chrono::hours(1));
  { const auto scratch = base::ScratchFolder::make("sweep"); }
  CHECK(!fs::exists(left));
  CHECK(fs::exists(young));
  fs::remove_all(young);
  if (::geteuid() == 0) return;
  // What cannot be removed keeps its lock as long as that is so.
  auto scratch = base::ScratchFolder::make("sweep");
  const fs::path folder = scratch->path();
  fs::create_directories(folder / "a/b");
  fs::permissions(folder / "a", fs::perms::owner_read | fs::perms::owner_exec);
  scratch->clear();
  CHECK(fs::exists(folder / "lock"));
  fs::permissions(folder / "a", fs::perms::owner_all);
}

TEST_CASE("names that are more than a name are refused") {
  const auto scratch = base::ScratchFolder::make("test");
  Uploads uploads(*scratch, kSmall);
  for (const std::string_view bad : {"", ".", "..", "a/b.wav", "/etc/passwd", "../x.wav", "a\\b.wav"}) CHECK_MESSAGE(refused_with(uploads, bad, 1) == 400, bad);
  CHECK(refused_with(uploads, std::string_view("a\0b", 3), 1) == 400);
  CHECK(refused_with(uploads, std::string(256, 'a'), 1) == 400);
  CHECK(refused_with(uploads, std::string(255, 'a'), 1) == 0);
  CHECK(refused_with(uploads, "a.wav", -1) == 400);
  CHECK(entries_in(scratch->path()) == 1);  // its lock
}

TEST_CASE("a file, all of them, their number and the disk have bounds") {
  const auto scratch = base::ScratchFolder::make("test");
  Uploads uploads(*scratch, kSmall);
  CHECK(refused_with(uploads, "a.wav", 101) == 413);
  const auto a = put(uploads, "a.wav", std::string(100, 'a'));
  put(uploads, "b.wav", std::string(100, 'b'));
  CHECK(refused_with(uploads, "c.wav", 51) == 413);
  CHECK(uploads.remove(a));
  CHECK(!uploads.remove(a));
  CHECK(refused_with(uploads, "c.wav", 51) == 0);
  for (int i = 0; i < 3; ++i) put(uploads, "empty.wav", "");
  CHECK(refused_with(uploads, "c.wav", 1) == 413);
  auto limits = kSmall;
  limits.free_bytes = scratch->free_bytes() * 2;
  Uploads full(*scratch, limits);
  CHECK(refused_with(full, "a.wav", 1) == 507);
  const auto refused = full.begin("a.wav", 1);
  REQUIRE(!refused);
  CHECK(refused.error().text.find("this file of less than 0.1 GiB in the folder for temporary files: of its disk ") != std::string::npos);
  CHECK(refused.error().text.find("set TMPDIR") != std::string::npos);
}

TEST_CASE("an upload is whole or gone") {
  const auto scratch = base::ScratchFolder::make("test");
  Uploads uploads(*scratch, kSmall);
  {
    auto incoming = uploads.begin("a.wav", 10);
    REQUIRE((*incoming)->write("12345").has_value());
    CHECK((*incoming)->finish().error().status == 400);
    CHECK(entries_in(scratch->path()) == 2);
  }
  CHECK(entries_in(scratch->path()) == 1);
  {
    auto incoming = uploads.begin("a.wav", 3);
    CHECK((*incoming)->write("1234").error().status == 400);
  }
  {
    auto incoming = uploads.begin("a.wav", 3);
    REQUIRE((*incoming)->write("123").has_value());
    fs::create_directory(scratch->path() + "/c1");
    CHECK(uploads.lend("u3", scratch->path() + "/c1").error().status == 404);  // not whole yet
    CHECK(uploads.remove("u3"));
    CHECK((*incoming)->finish().error().status == 404);
  }
  CHECK(entries_in(scratch->path()) == 2);
}

TEST_CASE("a check gets the file under its name, twice the same name too, and the last check takes it along") {
  const auto scratch = base::ScratchFolder::make("test");
  Uploads uploads(*scratch, kSmall);
  const auto a = put(uploads, "mix.wav", "one"), b = put(uploads, "mix.wav", "two");
  const auto folder = scratch->path() + "/c1";
  fs::create_directory(folder);
  const auto first = uploads.lend(a, folder), second = uploads.lend(b, folder);
  REQUIRE(first.has_value());
  REQUIRE(second.has_value());
  CHECK(first->path == folder + "/mix.wav");
  CHECK(second->path == folder + "/2/mix.wav");
  CHECK(*base::read_text(first->path) == "one");
  CHECK(*base::read_text(second->path) == "two");
  fs::create_directory(scratch->path() + "/c2");
  REQUIRE(uploads.lend(a, scratch->path() + "/c2").has_value());
  uploads.give_back(a);
  CHECK(fs::exists(scratch->path() + "/" + a));
  uploads.give_back(a);
  CHECK(!fs::exists(scratch->path() + "/" + a));
  CHECK(*base::read_text(first->path) == "one");  // of a check that still has it
  uploads.take_back(b);
  CHECK(fs::exists(scratch->path() + "/" + b));
  CHECK(uploads.lend("u99", folder).error().status == 404);
}

TEST_CASE("a file that is called like a folder below keeps nobody from being laid ready") {
  const auto scratch = base::ScratchFolder::make("test");
  Uploads uploads(*scratch, {100, 2500, 0, 20});
  const auto folder = scratch->path() + "/c1";
  fs::create_directory(folder);
  std::vector<std::string> ids, paths;
  for (const char* name : {"2", "mix.wav", "mix.wav", "mix.wav", "3", "3", "4"}) ids.push_back(put(uploads, name, std::to_string(ids.size())));
  for (const auto& id : ids) {
    const auto lent = uploads.lend(id, folder);
    REQUIRE_MESSAGE(lent.has_value(), (lent ? "" : lent.error().text));
    paths.push_back(lent->path);
  }
  for (std::size_t i = 0; i < paths.size(); ++i) CHECK(*base::read_text(paths[i]) == std::to_string(i));
  CHECK(paths[2] == folder + "/3/mix.wav");
}

TEST_SUITE_END();
