#include <sendworthy/store.h>

#include <sys/time.h>
#include <sys/wait.h>
#include <unistd.h>

#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <string>
#include <thread>
#include <vector>

#include <doctest/doctest.h>

#include "base/files.h"
#include "base/hash.h"
#include "delivery/readings.h"
#include "unit/delivery/samples.h"

using namespace sendworthy;
namespace fs = std::filesystem;

namespace {

struct Folder {
  Folder() {
    std::string name = (fs::temp_directory_path() / "sendworthy-store-XXXXXX").string();
    REQUIRE(::mkdtemp(name.data()) != nullptr);
    path = name;
  }
  ~Folder() { fs::remove_all(path); }
  [[nodiscard]] std::string store() const { return (path / "readings").string(); }
  [[nodiscard]] std::string entry(const std::string& key) const { return store() + "/" + key; }
  [[nodiscard]] std::size_t entries() const {
    std::size_t count = 0;
    for ([[maybe_unused]] const auto& one : fs::directory_iterator(store())) ++count;
    return count;
  }
  [[nodiscard]] std::uintmax_t bytes() const {
    std::uintmax_t sum = 0;
    for (const auto& one : fs::directory_iterator(store())) sum += one.file_size();
    return sum;
  }
  fs::path path;
};

constexpr std::uint64_t kRoomy = 100'000'000;

std::string key(int number) {
  auto text = std::to_string(number);
  return std::string(64 - text.size(), '0') + text;
}

std::string whole(const std::string& path) { return *base::read_text(path, 64u << 20); }
void overwrite(const std::string& path, const std::string& content) { std::ofstream(path, std::ios::binary) << content; }

// What somebody makes who knows the format: the checksum fits.
std::string forged(const std::string& named, const std::string& body) {
  base::Hash128 hash;
  hash.add(named);
  hash.add(body);
  return "sendworthy readings 1\n" + named + "\n" + hash.hex() + "\n" + body;
}

void used_at(const std::string& path, long seconds) {
  const timeval times[2] = {{seconds, 0}, {seconds, 0}};
  REQUIRE(::utimes(path.c_str(), times) == 0);
}

}  // namespace

TEST_SUITE("delivery/reading_store") {
  TEST_CASE("what was kept is found, by this run and the next, and nothing else is") {
    const Folder folder;
    const auto readings = test::odd_readings();
    {
      const auto store = open_reading_store(folder.store(), kRoomy);
      REQUIRE(store != nullptr);
      CHECK(!store->find(key(1)).has_value());
      store->keep(key(1), readings);
      const auto found = store->find(key(1));
      REQUIRE(found.has_value());
      CHECK(delivery::written(*found) == delivery::written(readings));
    }
    const auto next = open_reading_store(folder.store(), kRoomy);
    CHECK(next->find(key(1)).has_value());
    CHECK(!next->find(key(2)).has_value());
    CHECK(folder.entries() == 1);
  }

  TEST_CASE("what is no key is no way out of the folder") {
    const Folder folder;
    const auto store = open_reading_store(folder.store(), kRoomy);
    for (const std::string& wrong : {std::string("../") + std::string(61, 'a'), std::string(), std::string(64, 'A'), key(1) + "0",
                                     std::string(64, '.'), std::string(64, '\0')}) {
      store->keep(wrong, test::odd_readings());
      CHECK(!store->find(wrong).has_value());
    }
    CHECK(folder.entries() == 0);
  }

  TEST_CASE("a damaged entry is not taken and goes") {
    const Folder folder;
    const auto store = open_reading_store(folder.store(), kRoomy);
    const auto path = folder.entry(key(1));
    store->keep(key(1), test::odd_readings());
    const auto good = whole(path);
    const auto gone_after = [&](const std::string& content) {
      overwrite(path, content);
      return !store->find(key(1)).has_value() && !fs::exists(path);
    };
    for (std::size_t n = 0; n < good.size(); n += n < 200 ? 1 : 37) {
      auto turned = good;
      turned[n] ^= 4;
      CHECK(gone_after(turned));
      CHECK(gone_after(good.substr(0, n)));
    }
    CHECK(gone_after(good + "x"));
    CHECK(gone_after(""));
    CHECK(gone_after(std::string(100'000, '\0')));
    const auto body = delivery::written(test::odd_readings());
    // A good entry of something else, under this name.
    CHECK(gone_after(forged(key(2), body)));
    // The checksum fits, and still it is nothing that can be.
    CHECK(gone_after(forged(key(1), body + "x")));
    CHECK(gone_after(forged(key(1), std::string("\xff\xff\xff\xff\xff\xff\xff\x7f", 8))));
    CHECK(gone_after(forged(key(1), "")));
    CHECK(!gone_after(forged(key(1), body)));
  }

  TEST_CASE("links, folders and giants under the name of an entry") {
    const Folder folder;
    const auto store = open_reading_store(folder.store(), kRoomy);
    const auto path = folder.entry(key(1));
    store->keep(key(2), test::odd_readings());
    fs::create_symlink(folder.entry(key(2)), path);
    CHECK(!store->find(key(1)).has_value());
    CHECK(!fs::is_symlink(path));
    fs::create_directory(path);
    CHECK(!store->find(key(1)).has_value());
    store->keep(key(1), test::odd_readings());
    CHECK(fs::is_directory(path));
    fs::remove(path);
    overwrite(path, "");
    fs::resize_file(path, std::uintmax_t{1} << 40);  // takes no room on disk
    CHECK(!store->find(key(1)).has_value());
    CHECK(!fs::exists(path));
    store->keep(key(1), test::odd_readings());
    CHECK(store->find(key(1)).has_value());
  }

  TEST_CASE("the folder stays within its bound, and what was used longest ago goes first") {
    const Folder folder;
    const auto one = open_reading_store(folder.store(), kRoomy);
    one->keep(key(0), test::odd_readings());
    const auto size = folder.bytes();
    const auto bound = 10 * size + size / 2;
    const auto store = open_reading_store(folder.store(), bound);
    for (int i = 1; i < 10; ++i) store->keep(key(i), test::odd_readings());
    CHECK(folder.entries() == 10);
    for (int i = 0; i < 10; ++i) used_at(folder.entry(key(i)), 1000 + i);
    CHECK(store->find(key(0)).has_value());  // used just now
    overwrite(folder.store() + "/foreign", std::string(100'000, 'x'));
    store->keep(key(10), test::odd_readings());
    CHECK(folder.bytes() - 100'000 <= bound);
    CHECK(fs::exists(folder.store() + "/foreign"));
    CHECK(store->find(key(0)).has_value());
    CHECK(store->find(key(10)).has_value());
    CHECK(!store->find(key(1)).has_value());
    CHECK(!store->find(key(2)).has_value());
    CHECK(store->find(key(9)).has_value());
  }

  TEST_CASE("one that would push out much of the rest is not kept") {
    const Folder folder;
    auto large = test::odd_readings();
    large.timelines[0].values.resize(300'000);
    const auto store = open_reading_store(folder.store(), 1'000'000);
    store->keep(key(1), large);
    CHECK(folder.entries() == 0);
    large.timelines[0].values.resize(20'000'000);
    const auto roomy = open_reading_store(folder.store(), std::uint64_t{1} << 40);
    roomy->keep(key(1), large);
    CHECK(folder.entries() == 0);
  }

  TEST_CASE("no folder, no store; a folder that vanishes, no harm") {
    const Folder folder;
    overwrite((folder.path / "file").string(), "x");
    CHECK(open_reading_store((folder.path / "file").string(), kRoomy) == nullptr);
    CHECK(open_reading_store("relative", kRoomy) == nullptr);
    const auto store = open_reading_store(folder.store(), kRoomy);
    fs::remove_all(folder.store());
    store->keep(key(1), test::odd_readings());
    CHECK(!store->find(key(1)).has_value());
  }

  TEST_CASE("programs and threads share one folder, each finds either nothing or the whole, and the bound holds in the end") {
    const Folder folder;
    const auto right = [](int number) {
      auto readings = test::odd_readings();
      readings.audio_digest = key(number);
      return readings;
    };
    std::uint64_t bound = 0;
    {
      const auto store = open_reading_store(folder.store(), kRoomy);
      store->keep(key(0), right(0));
      bound = 12 * folder.bytes();
    }
    // Forked before any thread starts. Twenty keys and room for twelve: each pushes out what the other one wants.
    const auto work = [&](int seed) {
      const auto store = open_reading_store(folder.store(), bound);
      int wrong = store == nullptr ? 1 : 0;
      for (int i = 0; i < 300 && wrong == 0; ++i) {
        const int number = (i * 7 + seed * 3) % 20;
        const auto found = store->find(key(number));
        if (found && found->audio_digest != key(number)) ++wrong;
        if (!found) store->keep(key(number), right(number));
      }
      return wrong;
    };
    std::vector<pid_t> children;
    for (int child = 0; child < 3; ++child) {
      const pid_t pid = ::fork();
      REQUIRE(pid >= 0);
      if (pid == 0) ::_exit(work(child));
      children.push_back(pid);
    }
    std::vector<int> wrong(2, -1);
    std::vector<std::thread> threads;
    for (std::size_t t = 0; t < wrong.size(); ++t) threads.emplace_back([&wrong, &work, t] { wrong[t] = work(10 + static_cast<int>(t)); });
    for (auto& thread : threads) thread.join();
    for (const pid_t pid : children) {
      int status = 0;
      REQUIRE(::waitpid(pid, &status, 0) == pid);
      CHECK(WIFEXITED(status));
      CHECK(WEXITSTATUS(status) == 0);
    }
    CHECK(wrong == std::vector<int>{0, 0});
    // The last to end may have looked before another one's last entry: each run leaves the folder within the bound as it saw it.
    open_reading_store(folder.store(), bound)->keep(key(1), right(1));
    CHECK(folder.bytes() <= bound);
    for (const auto& one : fs::directory_iterator(folder.store())) CHECK(one.path().filename().string().size() == 64);
  }
}
