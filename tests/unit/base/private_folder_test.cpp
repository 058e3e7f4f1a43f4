#include "base/private_folder.h"

#include <doctest/doctest.h>
#include <sys/stat.h>
#include <sys/time.h>
#include <unistd.h>

#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <thread>
#include <vector>

#include "base/code_identity.h"
#include "base/files.h"
#include "base/hash.h"
#include "base/os.h"

using namespace sendworthy::base;
namespace fs = std::filesystem;

namespace {

struct Folder {
  Folder() {
    std::string name = (fs::temp_directory_path() / "sendworthy-private-XXXXXX").string();
    REQUIRE(::mkdtemp(name.data()) != nullptr);
    path = name;
  }
  ~Folder() { fs::remove_all(path); }
  [[nodiscard]] std::string operator/(const std::string& name) const { return (path / name).string(); }
  fs::path path;
};

mode_t rights_of(const std::string& path) {
  struct stat info {};
  REQUIRE(::lstat(path.c_str(), &info) == 0);
  return info.st_mode & 07777;
}

}  // namespace

TEST_SUITE("base/private_folder") {
  TEST_CASE("it is made with those above it, for this user alone, and so are the files in it") {
    const Folder folder;
    const auto opened = PrivateFolder::open(folder / "a/b/c");
    REQUIRE(opened.has_value());
    CHECK(rights_of(folder / "a") == 0700);
    CHECK(rights_of(folder / "a/b/c") == 0700);
    CHECK(opened->write("x", "content"));
    CHECK(rights_of(folder / "a/b/c/x") == 0600);
    CHECK(*opened->read("x", 100) == "content");
    CHECK(*opened->read("x", 7) == "content");
    CHECK(!opened->read("y", 100).has_value());
    REQUIRE(opened->items().size() == 1);
    CHECK(opened->items()[0].name == "x");
    CHECK(opened->items()[0].bytes == 7);
    opened->remove("x");
    opened->remove("x");
    CHECK(opened->items().empty());
  }

  TEST_CASE("a folder that others may write to, a link, a file and a relative path are no private folder") {
    const Folder folder;
    fs::create_directory(folder / "open");
    fs::permissions(folder / "open", fs::perms::all);
    CHECK(!PrivateFolder::open(folder / "open").has_value());
    fs::permissions(folder / "open", fs::perms::owner_all | fs::perms::group_read);
    CHECK(PrivateFolder::open(folder / "open").has_value());
    fs::permissions(folder / "open", fs::perms::owner_all | fs::perms::group_all);
    CHECK(!PrivateFolder::open(folder / "open").has_value());
    fs::create_directory(folder / "real");
    fs::create_directory_symlink(folder / "real", folder / "link");
    CHECK(!PrivateFolder::open(folder / "link").has_value());
    CHECK(PrivateFolder::open(folder / "link/below").has_value());  // a home may lie behind a link
    std::ofstream(folder / "file") << "x";
    CHECK(!PrivateFolder::open(folder / "file").has_value());
    CHECK(!PrivateFolder::open(folder / "file/below").has_value());
    CHECK(!PrivateFolder::open("").has_value());
    CHECK(!PrivateFolder::open("relative").has_value());
    CHECK(!PrivateFolder::open(folder / "").has_value());
    if (::geteuid() == 0) {
      REQUIRE(::chown((folder / "real").c_str(), 65534, 65534) == 0);
      CHECK(!PrivateFolder::open(folder / "real").has_value());
    }
  }

  TEST_CASE("what is no file of one's own is removed and not read; a folder stays") {
    const Folder folder;
    const auto opened = PrivateFolder::open(folder / "p");
    REQUIRE(opened.has_value());
    std::ofstream(folder / "secret") << "secret";
    fs::create_symlink(folder / "secret", folder / "p/link");
    CHECK(!opened->read("link", 100).has_value());
    CHECK(!fs::is_symlink(folder / "p/link"));
    CHECK(fs::exists(folder / "secret"));
    REQUIRE(::mkfifo((folder / "p/pipe").c_str(), 0600) == 0);
    CHECK(!opened->read("pipe", 100).has_value());  // and it does not wait
    CHECK(!fs::exists(folder / "p/pipe"));
    CHECK(opened->write("large", std::string(101, 'x')));
    CHECK(!opened->read("large", 100).has_value());
    CHECK(!fs::exists(folder / "p/large"));
    fs::create_directory(folder / "p/folder");
    CHECK(!opened->read("folder", 100).has_value());
    CHECK(!opened->write("folder", "x"));
    CHECK(fs::is_directory(folder / "p/folder"));
    CHECK(opened->items().empty());  // no temporary file is left either
    // A link is replaced, not followed.
    fs::create_symlink(folder / "secret", folder / "p/again");
    CHECK(opened->write("again", "mine"));
    CHECK(*opened->read("again", 100) == "mine");
    CHECK(*read_text(folder / "secret") == "secret");
  }

  TEST_CASE("reading counts as use") {
    const Folder folder;
    const auto opened = PrivateFolder::open(folder / "p");
    REQUIRE(opened.has_value());
    CHECK(opened->write("x", "content"));
    const timeval old[2] = {{1000, 0}, {1000, 0}};
    REQUIRE(::utimes((folder / "p/x").c_str(), old) == 0);
    CHECK(opened->items()[0].used_ns == 1000'000'000'000);
    CHECK(opened->read("x", 100).has_value());
    CHECK(opened->items()[0].used_ns > 1'000'000'000'000'000'000);
  }

  TEST_CASE("what a killed run left half written goes, once it is old; what another run is writing stays") {
    const Folder folder;
    const auto opened = PrivateFolder::open(folder / "p");
    REQUIRE(opened.has_value());
    std::ofstream(folder / "p/.sendworthy-1-2.tmp") << "half";
    CHECK(opened->items().size() == 1);
    CHECK(fs::exists(folder / "p/.sendworthy-1-2.tmp"));
    const timeval old[2] = {{1000, 0}, {1000, 0}};
    REQUIRE(::utimes((folder / "p/.sendworthy-1-2.tmp").c_str(), old) == 0);
    CHECK(opened->items().empty());
    CHECK(!fs::exists(folder / "p/.sendworthy-1-2.tmp"));
  }

  TEST_CASE("a folder that vanishes is no reason to fail") {
    const Folder folder;
    const auto opened = PrivateFolder::open(folder / "p");
    REQUIRE(opened.has_value());
    fs::remove_all(folder / "p");
    CHECK(!opened->write("x", "y"));
    CHECK(!opened->read("x", 100).has_value());
    CHECK(opened->items().empty());
    opened->remove("x");
  }
}

TEST_SUITE("base/hash") {
  TEST_CASE("XXH3 of 128 bits, in pieces or at once") {
    // The first from the specification of XXH3; the second is the same function called at once by its own library.
    CHECK(Hash128().hex() == "99aa06d3014798d86001c324468d497f");
    Hash128 pieces, whole;
    std::string text(100'000, 'x');
    for (std::size_t i = 0; i < text.size(); ++i) text[i] = static_cast<char>(i * 7 % 251);
    whole.add(text);
    for (std::size_t at = 0; at < text.size(); at += 333) pieces.add(std::string_view(text).substr(at, 333));
    CHECK(pieces.hex() == whole.hex());
    text[50'000] ^= 1;
    Hash128 other;
    other.add(text);
    CHECK(other.hex() != whole.hex());
  }
}

TEST_SUITE("base/state") {
  TEST_CASE("a state tells that a file was written to, replaced, or touched") {
    const Folder folder;
    const auto path = folder / "a";
    std::ofstream(path) << "content";
    const auto first = state_of(path);
    REQUIRE(first.has_value());
    CHECK(first->bytes == 7);
    CHECK(state_of(path) == first);
    CHECK(InputFile::open(path)->state() == *first);
    CHECK(!is_settled(*first));  // just written: the next write may carry the same times
    auto old = *first;
    old.written_ns = old.changed_ns = first->written_ns - 61'000'000'000;
    CHECK(is_settled(old));
    old.changed_ns = first->changed_ns;  // the time of writing can be set by anybody
    CHECK(!is_settled(old));
    fs::copy_file(path, folder / "b");
    fs::rename(folder / "b", path);
    CHECK(state_of(path) != first);
    CHECK(!state_of(folder / "none").has_value());
    CHECK(!state_of(std::string("a\0b", 3)).has_value());
  }

  TEST_CASE("the running code has a name, and the same one each time") {
    CHECK(code_identity().size() == 32);
    CHECK(&code_identity() == &code_identity());
  }
}
