// Which files are checked and when, with a clock and a folder of the test's own.
#include "delivery/watch.h"

#include <doctest/doctest.h>

#include <cstdint>
#include <map>
#include <optional>
#include <random>
#include <set>
#include <string>
#include <utility>
#include <vector>

using namespace sendworthy;
using namespace sendworthy::delivery;
using Outcome = Watch::Outcome;

namespace {

struct File {
  std::string bytes;
  base::FileStamp stamp;
};

/// A folder in memory, somebody who tells of it, and checkers that need no time unless told so.
struct Room {
  explicit Room(WatchTimes times = {2, 30}) : watch(times) {}

  // What happens in the folder. Whether the watch hears of it is another matter.
  void write(const std::string& name, const std::string& bytes, bool told = true) {
    auto& file = files[name];
    if (file.stamp.inode == 0) file.stamp.inode = ++inodes;
    file.bytes += bytes;
    touch(name, false);
    if (told) watch.written(name, now);
  }
  void touch(const std::string& name, bool told = true) {
    auto& file = files.at(name);
    file.stamp.size = static_cast<std::int64_t>(file.bytes.size());
    file.stamp.modified_ns = file.stamp.changed_ns = ++ticks;
    if (told) watch.hint(name);
  }
  void close(const std::string& name) { watch.closed(name); }
  void whole(const std::string& name, const std::string& bytes) {
    files.erase(name);
    write(name, bytes);
    close(name);
  }
  void remove(const std::string& name, bool told = true) {
    files.erase(name);
    if (told) watch.hint(name);
  }
  void rename(const std::string& from, const std::string& to, bool told = true) {
    auto file = files.at(from);
    file.stamp.changed_ns = ++ticks;
    files.erase(from);
    files[to] = file;
    if (!told) return;
    watch.hint(from);
    watch.hint(to);
  }
  void scan() {
    std::vector<std::pair<std::string, base::FileStamp>> all;
    for (const auto& [name, file] : files) all.emplace_back(name, file.stamp);
    watch.scanned(all, now);
  }
  void adopt_all() {
    for (const auto& [name, file] : files) watch.adopt(name, file.stamp);
  }

  std::optional<base::FileStamp> stamp(const std::string& name) const {
    const auto found = files.find(name);
    if (found == files.end()) return std::nullopt;
    return found->second.stamp;
  }

  /// As the real loop does, every 100 ms.
  void pass(double seconds) {
    for (const double end = now + seconds; now < end; now += 0.1) {
      for (const auto& name : watch.to_look(now, 3)) watch.look(name, stamp(name), now);
      while (auto file = watch.next()) {
        if (hold) {
          held.push_back(*file);
        } else {
          finish(*file);
        }
      }
    }
  }
  void finish(const RestingFile& file) {
    const auto found = files.find(file.path);
    if (found == files.end()) {
      said.push_back("gone " + file.path);
      watch.done(file.path, Outcome::gone, file.stamp, "", now);
    } else if (found->second.stamp != file.stamp) {
      watch.done(file.path, Outcome::changed, found->second.stamp, "", now);
    } else if (!file.judged_bytes.empty() && file.judged_bytes == found->second.bytes) {
      ++same;
      watch.done(file.path, Outcome::same, file.stamp, file.judged_bytes, now);
    } else {
      said.push_back(file.path + "=" + found->second.bytes);
      watch.done(file.path, Outcome::judged, file.stamp, found->second.bytes, now);
    }
  }

  Watch watch;
  std::map<std::string, File> files;
  std::uint64_t inodes = 0;
  std::int64_t ticks = 0;
  double now = 1000;
  bool hold = false;
  std::vector<RestingFile> held;
  std::vector<std::string> said;
  int same = 0;
};

using Said = std::vector<std::string>;

}  // namespace

TEST_SUITE("delivery/watch") {
  TEST_CASE("what comes to rest again and again while nobody has time to check takes no more memory each time") {
    Watch watch({2, 30});
    double now = 0;
    const std::vector<std::string> names{"a.wav", "b.wav", "c.wav"};
    std::int64_t ticks = 0;
    const auto write_and_rest = [&] {
      std::vector<base::FileStamp> stamps;
      for (const auto& name : names) {
        watch.written(name, now);
        watch.closed(name);
        stamps.push_back({100, ++ticks, ticks, 1});
        watch.look(name, stamps.back(), now);
      }
      now += 3;
      for (std::size_t i = 0; i < names.size(); ++i) watch.look(names[i], stamps[i], now);
    };
    for (int i = 0; i < 5000; ++i) write_and_rest();
    CHECK(watch.pending() == 3);
    CHECK(watch.held() < 200);
    std::set<std::string> taken;
    while (const auto file = watch.next()) CHECK(taken.insert(file->path).second);
    CHECK(taken == std::set<std::string>(names.begin(), names.end()));
  }

  TEST_CASE("a file is checked once it has rested, and once only") {
    Room room;
    room.whole("a.wav", "aa");
    room.pass(1.8);
    CHECK(room.said.empty());
    room.pass(1);
    CHECK(room.said == Said{"a.wav=aa"});
    for (int i = 0; i < 20; ++i) {
      room.scan();
      room.pass(1);
    }
    CHECK(room.said.size() == 1);
    CHECK(room.watch.pending() == 0);
    CHECK_FALSE(room.watch.next_due().has_value());
  }

  TEST_CASE("a growing file is checked when it is whole, with and without events") {
    for (const bool told : {true, false}) {
      CAPTURE(told);
      Room room;
      for (int i = 0; i < 10; ++i) {
        room.write("a.wav", "x", told);
        if (!told) room.scan();
        room.pass(1.5);
      }
      CHECK(room.said.empty());
      room.close("a.wav");
      room.pass(3);
      CHECK(room.said == Said{"a.wav=xxxxxxxxxx"});
    }
  }

  TEST_CASE("an export that pauses with the file open is not over; one that forgets to close is in the end") {
    Room room;
    room.write("a.wav", "head");
    room.pass(20);
    CHECK(room.said.empty());
    room.write("a.wav", "tail");
    room.close("a.wav");
    room.pass(1.8);
    CHECK(room.said.empty());
    room.pass(1);
    CHECK(room.said == Said{"a.wav=headtail"});
    room.write("b.wav", "never closed");
    room.pass(29);
    CHECK(room.said.size() == 1);
    room.pass(3);
    CHECK(room.said.size() == 2);
  }

  TEST_CASE("closing does not shorten the time of rest") {
    Room room;
    room.write("a.wav", "a");
    room.pass(1);
    room.close("a.wav");
    room.pass(0.8);
    CHECK(room.said.empty());
    room.write("a.wav", "b");
    room.close("a.wav");
    room.pass(1.8);
    CHECK(room.said.empty());
    room.pass(0.5);
    CHECK(room.said == Said{"a.wav=ab"});
  }

  TEST_CASE("a temporary name and its renaming give one check, of the final name") {
    Room room;
    room.write("tmp.wav", "abc");
    room.close("tmp.wav");
    room.pass(1);
    room.rename("tmp.wav", "final.wav");
    room.pass(10);
    CHECK(room.said == Said{"final.wav=abc"});
  }

  TEST_CASE("a renamed file is another name; renamed back it is known") {
    Room room;
    room.whole("a.wav", "abc");
    room.pass(5);
    room.rename("a.wav", "b.wav");
    room.pass(5);
    CHECK(room.said == Said{"a.wav=abc", "b.wav=abc"});
    room.rename("b.wav", "a.wav");
    room.pass(5);
    room.scan();
    room.pass(5);
    CHECK(room.said.size() == 2);
  }

  TEST_CASE("touched, copied over itself, or written anew with the same bytes: not checked again") {
    Room room;
    room.whole("a.wav", "abc");
    room.pass(5);
    room.touch("a.wav");
    room.pass(5);
    CHECK(room.same == 1);
    room.whole("a.wav", "abc");
    room.pass(5);
    CHECK(room.same == 2);
    CHECK(room.said.size() == 1);
    room.whole("a.wav", "abd");
    room.pass(5);
    CHECK(room.said == Said{"a.wav=abc", "a.wav=abd"});
  }

  TEST_CASE("replaced by a rename over it, also by a file of the same size and time") {
    Room room;
    room.whole("a.wav", "abc");
    room.pass(5);
    room.whole("b.tmp", "xyz");
    room.files["b.tmp"].stamp.modified_ns = room.files["a.wav"].stamp.modified_ns;
    room.rename("b.tmp", "a.wav");
    room.pass(5);
    CHECK(room.said == Said{"a.wav=abc", "a.wav=xyz"});
  }

  TEST_CASE("bytes written under the same size and time are seen by the event") {
    Room room;
    room.whole("a.wav", "abc");
    room.pass(5);
    room.files["a.wav"].bytes = "abX";
    room.watch.written("a.wav", room.now);
    room.close("a.wav");
    room.pass(5);
    CHECK(room.said == Said{"a.wav=abc", "a.wav=abX"});
  }

  TEST_CASE("what is there at the start is left until it changes") {
    Room room;
    room.write("old.wav", "old", false);
    room.write("kept.wav", "kept", false);
    room.adopt_all();
    room.scan();
    room.pass(60);
    // New rights or a hard link are no new bounce.
    room.files["kept.wav"].stamp.changed_ns = ++room.ticks;
    room.scan();
    room.pass(60);
    CHECK(room.said.empty());
    room.write("old.wav", "er");
    room.close("old.wav");
    room.pass(5);
    CHECK(room.said == Said{"old.wav=older"});
  }

  TEST_CASE("kept, moved away and back: still kept") {
    Room room;
    room.write("kept.wav", "kept", false);
    room.adopt_all();
    const auto file = room.files["kept.wav"];
    room.remove("kept.wav");
    room.pass(5);
    room.files["kept.wav"] = file;
    room.watch.hint("kept.wav");
    room.pass(5);
    CHECK(room.said.empty());
  }

  TEST_CASE("deleted before it rested: nothing is said; rested and then gone: that is said") {
    Room room;
    room.whole("a.wav", "a");
    room.pass(1);
    room.remove("a.wav");
    room.pass(5);
    CHECK(room.said.empty());
    CHECK(room.watch.pending() == 0);
    room.hold = true;
    room.whole("b.wav", "b");
    room.pass(5);
    REQUIRE(room.held.size() == 1);
    room.remove("b.wav");
    room.pass(1);
    room.finish(room.held[0]);
    room.pass(5);
    CHECK(room.said == Said{"gone b.wav"});
    CHECK(room.watch.pending() == 0);
  }

  TEST_CASE("changed while it was checked: nothing is said of that, and it is checked again") {
    Room room;
    room.hold = true;
    room.whole("a.wav", "a");
    room.pass(5);
    REQUIRE(room.held.size() == 1);
    room.write("a.wav", "b");
    room.finish(room.held[0]);
    CHECK(room.said.empty());
    room.hold = false;
    room.close("a.wav");
    room.pass(5);
    CHECK(room.said == Said{"a.wav=ab"});
  }

  TEST_CASE("an event that comes while it is checked, with a stamp that does not show it, has the bytes looked at") {
    Room room;
    room.hold = true;
    room.whole("a.wav", "a");
    room.pass(5);
    REQUIRE(room.held.size() == 1);
    const auto resting = room.held[0];
    room.finish(resting);  // the sheet of "a" is out
    room.hold = false;
    room.files["a.wav"].bytes = "z";
    room.watch.written("a.wav", room.now);
    room.close("a.wav");
    room.pass(5);
    CHECK(room.said == Said{"a.wav=a", "a.wav=z"});
  }

  TEST_CASE("lost events: a scan finds what no event told of") {
    Room room;
    room.write("open.wav", "o");
    room.watch.events_lost();  // who has it open is not known any more
    room.write("silent.wav", "s", false);
    room.scan();
    room.pass(5);
    CHECK(room.said == Said{"open.wav=o", "silent.wav=s"});
    room.remove("silent.wav", false);
    room.write("silent2.wav", "t", false);
    room.scan();
    room.pass(5);
    CHECK(room.said.back() == "silent2.wav=t");
    CHECK(room.said.size() == 3);
  }

  TEST_CASE("a name that a scan has missed is not taken for gone") {
    Room room;
    room.whole("a.wav", "a");
    room.watch.scanned({}, room.now);
    room.pass(5);
    CHECK(room.said == Said{"a.wav=a"});
  }

  TEST_CASE("a file that could not be read has no fingerprint, and is tried again when it changes") {
    Room room;
    room.whole("a.wav", "");
    room.pass(5);
    CHECK(room.said.size() == 1);
    room.touch("a.wav");
    room.pass(5);
    CHECK(room.said.size() == 2);
  }

  TEST_CASE("thousands at once: each once, in few looks at a time") {
    Room room;
    constexpr int kFiles = 5000;
    for (int i = 0; i < kFiles; ++i) room.whole(std::to_string(i) + ".wav", std::to_string(i));
    CHECK(room.watch.to_look(room.now, 100).size() == 100);
    for (int turn = 0; turn < 50; ++turn) {
      for (const auto& name : room.watch.to_look(room.now, 1000)) room.watch.look(name, room.stamp(name), room.now);
      while (auto file = room.watch.next()) room.finish(*file);
      room.now += 0.1;
    }
    CHECK(room.said.size() == kFiles);
    CHECK(std::set<std::string>(room.said.begin(), room.said.end()).size() == kFiles);
  }

  TEST_CASE("whatever happens: in the end everything that stands was said as it stands, and nothing twice") {
    for (unsigned seed = 0; seed < 300; ++seed) {
      CAPTURE(seed);
      std::mt19937 random(seed);
      const auto pick = [&](unsigned n) { return random() % n; };
      Room room;
      const std::vector<std::string> names{"a.wav", "b.wav", "c.wav", "d.wav"};
      for (int step = 0; step < 60; ++step) {
        const auto& name = names[pick(4)];
        const auto& other = names[pick(4)];
        const bool told = pick(3) != 0;
        const bool is_there = room.files.contains(name);
        switch (pick(7)) {
          case 0:
            room.write(name, std::to_string(pick(3)), told);
            if (pick(2) == 0) room.close(name);
            break;
          case 1:
            if (is_there) room.remove(name, told);
            break;
          case 2:
            if (is_there && name != other) room.rename(name, other, told);
            break;
          case 3:
            if (is_there) room.touch(name, told);
            break;
          case 4:
            room.hold = pick(2) == 0;
            break;
          case 5:
            for (const auto& file : std::exchange(room.held, {})) room.finish(file);
            break;
          default:
            if (pick(4) == 0) room.watch.events_lost();
            room.scan();
        }
        room.pass(0.3 * pick(12));
      }
      room.hold = false;
      for (const auto& file : std::exchange(room.held, {})) room.finish(file);
      room.scan();
      room.pass(70);
      CHECK(room.watch.pending() == 0);
      std::map<std::string, std::string> last;
      for (const auto& line : room.said) {
        if (line.starts_with("gone ")) continue;
        const auto name = line.substr(0, line.find('='));
        CHECK_MESSAGE(last[name] != line, line);
        last[name] = line;
      }
      for (const auto& [name, file] : room.files) CHECK(last[name] == name + "=" + file.bytes);
    }
  }
}
