#include <doctest/doctest.h>

#include <cmath>
#include <chrono>
#include <filesystem>
#include <thread>
#include <fstream>
#include <string>
#include <vector>

#include "audio/file.h"
#include "audio/memory_source.h"
#include "base/files.h"
#include "base/os.h"
#include "base/scratch_folder.h"
#include "desk/sound_api.h"
#include "desk/sounds.h"
#include "desk/wave_head.h"
#include "desk/weighing.h"

using namespace sendworthy;
using namespace sendworthy::desk;
namespace fs = std::filesystem;

namespace {

audio::StreamFormat floats(int rate, int channels) { return audio::plain_format(rate, channels, audio::SampleKind::real, 32); }

/// Mono, 8 kHz, a tone.
std::string wav(int frames) {
  auto text = wave_head(floats(8000, 1), frames);
  for (int n = 0; n < frames; ++n) {
    const auto x = static_cast<float>(0.5 * std::sin(0.3 * n));
    text.append(reinterpret_cast<const char*>(&x), sizeof x);
  }
  return text;
}

struct Room {
  explicit Room(SoundLimits limits = {}) : scratch(*base::ScratchFolder::make("test")), sounds(scratch, limits) {}
  std::string put(const std::string& name, const std::string& content) {
    const auto path = scratch.path() + "/" + name;
    REQUIRE(base::write_then_rename(path, content).has_value());
    return path;
  }
  [[nodiscard]] int kept() const {
    int count = 0;
    for (const auto& entry : fs::directory_iterator(scratch.path())) count += entry.is_directory() ? 1 : 0;
    return count;
  }
  base::ScratchFolder scratch;
  Sounds sounds;
};

}  // namespace

TEST_CASE("sound: a range is a part, nothing that is there, or no range at all") {
  const auto is = [](std::string_view text, std::int64_t from, std::int64_t to) {
    const auto [answer, range] = range_of(text, 1000);
    return answer == RangeAnswer::part && range.from == from && range.to == to;
  };
  CHECK(is("bytes=0-0", 0, 1));
  CHECK(is("bytes=999-", 999, 1000));
  CHECK(is("bytes=10-5000", 10, 1000));
  CHECK(is("bytes=-1", 999, 1000));
  CHECK(is("bytes=-999999", 0, 1000));
  CHECK(is("Bytes=1-2", 1, 3));
  CHECK(is("bytes=0-18446744073709551616", 0, 1000));
  CHECK(is("bytes=-18446744073709551616", 0, 1000));
  CHECK(is("bytes=00000000000000000001-2", 1, 3));
  for (const auto* const text : {"bytes=-0", "bytes=1000-", "bytes=1000-2000", "bytes=9999999999999999-"})
    CHECK_MESSAGE(range_of(text, 1000).answer == RangeAnswer::none, text);
  for (const auto* const text : {"", "bytes", "bytes=", "bytes=-", "bytes=5-4", "bytes=1-2,3-4", "bytes=+1-2", "bytes=1-2 ", "bytes=1--2", "lines=1-2", "several"})
    CHECK_MESSAGE(range_of(text, 1000).answer == RangeAnswer::whole, text);
}

TEST_CASE("sound: the head is a WAVE that this program reads, also of more than 4 GiB") {
  for (const int channels : {1, 2, 6, 8}) {
    const auto format = floats(48000, channels);
    auto head = wave_head(format, 10);
    CHECK(static_cast<std::int64_t>(head.size()) == wave_head_bytes(channels, 10));
    head.append(static_cast<std::size_t>(10 * channels * 4), '\0');
    const auto opened = audio::open_bytes(head, "a.wav");
    REQUIRE(opened.has_value());
    CHECK(opened->facts.container == "WAV");
    CHECK(opened->facts.encoding == "float 32-bit");
    CHECK(opened->facts.contradictions.empty());
    CHECK(opened->facts.declared_frames == 10);
    CHECK(opened->source->format().speakers == format.speakers);
  }
  constexpr std::int64_t kMany = std::int64_t{3} << 30;
  const auto head = wave_head(floats(48000, 2), kMany);
  CHECK(static_cast<std::int64_t>(head.size()) == wave_head_bytes(2, kMany));
  CHECK(head.size() % 4 == 0);
  const auto opened = audio::open_bytes(head + std::string(80, '\0'), "a.wav");
  REQUIRE(opened.has_value());
  CHECK(opened->facts.container == "RF64");
  CHECK(opened->facts.declared_frames == kMany);
}

TEST_CASE("sound: what a page says was played is taken apart, or refused") {
  const auto good = read_played(R"({"source":{"check":"c1","part":2},"from_s":1.5,"to_s":3,"seconds":1.25,"gain_db":-20})");
  REQUIRE(good.has_value());
  CHECK(good->source.check == "c1");
  CHECK(good->source.part == 2);
  CHECK(good->seconds == 1.25);
  CHECK(good->gain_db == -20);
  CHECK(read_played(R"({"source":{"id":"caf%E9.wav"},"from_s":0,"to_s":0,"seconds":0,"gain_db":0})")->source.path == "caf\xe9.wav");
  for (const auto* const text :
       {"", "[]", "1", "null", R"({"from_s":0,"to_s":1,"seconds":1,"gain_db":0})", R"({"source":"a","from_s":0,"to_s":1,"seconds":1,"gain_db":0})",
        R"({"source":{},"from_s":0,"to_s":1,"seconds":1,"gain_db":0})", R"({"source":{"path":1},"from_s":0,"to_s":1,"seconds":1,"gain_db":0})",
        R"({"source":{"check":"c1"},"from_s":0,"to_s":1,"seconds":1,"gain_db":0})", R"({"source":{"check":"c1","part":-1},"from_s":0,"to_s":1,"seconds":1,"gain_db":0})",
        R"({"source":{"check":"c1","part":0.5},"from_s":0,"to_s":1,"seconds":1,"gain_db":0})", R"({"source":{"path":"a"},"from_s":2,"to_s":1,"seconds":1,"gain_db":0})",
        R"({"source":{"path":"a"},"from_s":-1,"to_s":1,"seconds":1,"gain_db":0})", R"({"source":{"path":"a"},"from_s":0,"to_s":1,"seconds":-1,"gain_db":0})",
        R"({"source":{"path":"a"},"from_s":0,"to_s":1,"seconds":1,"gain_db":0.1})", R"({"source":{"path":"a"},"from_s":0,"to_s":1,"seconds":1e300,"gain_db":0})",
        R"({"source":{"path":"a"},"from_s":0,"to_s":1,"seconds":"1","gain_db":0})", R"({"source":{"path":"a"},"from_s":0,"to_s":1,"seconds":null,"gain_db":0})"})
    CHECK_MESSAGE(!read_played(text).has_value(), text);
}

TEST_CASE("sound: loudness and the ear's power are those of a tone that is known") {
  // 0 dBFS, 997 Hz in one channel: −3.01 LUFS (BS.1770); at 1 kHz the A-weighting is 0 dB.
  Weighing weighing(floats(48000, 1));
  std::vector<float> block(4800);
  for (int n = 0; n < 48000 * 5 / 2; n += 4800) {
    for (int i = 0; i < 4800; ++i) block[static_cast<std::size_t>(i)] = static_cast<float>(std::sin(2 * std::acos(-1.0) * 997 * (n + i) / 48000));
    weighing.add(block.data(), 4800, 4800);
  }
  weighing.finish();
  REQUIRE(weighing.integrated_lufs().has_value());
  CHECK(*weighing.integrated_lufs() == doctest::Approx(-3.01).epsilon(0.01));
  const auto& powers = weighing.a_powers();
  REQUIRE(powers.size() == 3);
  CHECK(powers[1] == doctest::Approx(0.5).epsilon(0.01));
  CHECK(*mean_power(powers, 0.5, 1.75) == doctest::Approx(0.5).epsilon(0.02));
  CHECK(*mean_power({1, 3}, 0.5, 1.5) == doctest::Approx(2));
  CHECK(*mean_power({1, 3}, 0, 99) == doctest::Approx(2));
  CHECK(!mean_power({1, 3}, 2, 3));
  CHECK(!mean_power({1, 3}, 1, 1));
  CHECK(!mean_power({}, 0, 1));
  CHECK(Weighing(floats(4000, 1)).a_powers().empty());
}

TEST_CASE("sounds: one decode for whoever asks, and another one for another file") {
  Room room;
  const auto path = room.put("a.wav", wav(8000));
  const auto one = room.sounds.get(path, {});
  REQUIRE(one.has_value());
  CHECK(room.sounds.get(path, (*one)->mark())->get() == one->get());
  CHECK(room.sounds.find(path).get() == one->get());
  const auto head = (*one)->head(true);
  REQUIRE(head.has_value());
  CHECK(head->frames == 8000);
  CHECK(head->whole);
  CHECK((*one)->reach(8000).has_value());
  CHECK((*one)->a_power(0, 1).has_value());
  CHECK(room.sounds.get(path, "x").error().status == 409);
  CHECK(room.sounds.get(room.scratch.path() + "/gone.wav", {}).error().status == 404);
  CHECK(room.sounds.find(room.scratch.path() + "/gone.wav") == nullptr);
  CHECK(base::InputFile::open((*one)->samples_path())->size() == 8000 * 4);
  CHECK(room.kept() == 1);
}

TEST_CASE("sounds: what is written anew is another sound, also where its time is put back; another name of an upload's bytes is not") {
  const base::ScratchFolder users = *base::ScratchFolder::make("test");
  const Room room;
  const auto path = users.path() + "/a.wav";
  REQUIRE(base::write_then_rename(path, wav(800)).has_value());
  const auto mark = room.sounds.mark_of(path);
  REQUIRE(mark);
  CHECK(room.sounds.mark_of(path) == mark);
  const auto written = fs::last_write_time(path);
  std::this_thread::sleep_for(std::chrono::milliseconds(20));  // file systems count in steps
  std::fstream(path, std::ios::binary | std::ios::in | std::ios::out).seekp(100).put('x');
  fs::last_write_time(path, written);
  CHECK(fs::last_write_time(path) == written);
  CHECK(room.sounds.mark_of(path) != mark);
  const auto upload = room.scratch.path() + "/u1";
  REQUIRE(base::write_then_rename(upload, wav(800)).has_value());
  const auto before = room.sounds.mark_of(upload);
  std::this_thread::sleep_for(std::chrono::milliseconds(20));
  fs::create_hard_link(upload, room.scratch.path() + "/b.wav");
  CHECK(room.sounds.mark_of(upload) == before);
  CHECK(room.sounds.mark_of(room.scratch.path() + "/b.wav") == before);
}

TEST_CASE("sounds: what was asked for longest ago gives way, and what is in hand stays") {
  SoundLimits limits;
  limits.kept = 3;
  Room room(limits);
  std::vector<std::string> paths;
  for (int i = 0; i < 6; ++i) paths.push_back(room.put(std::to_string(i) + ".wav", wav(800 + i)));
  auto held = room.sounds.get(paths[0], {});
  REQUIRE(held.has_value());
  REQUIRE((*held)->head(true).has_value());
  for (const auto& path : paths) REQUIRE((*room.sounds.get(path, {}))->head(true).has_value());
  CHECK(room.kept() == 3);
  CHECK(room.sounds.find(paths[0]) != nullptr);
  CHECK(room.sounds.find(paths[1]) == nullptr);
  CHECK(room.sounds.find(paths[5]) != nullptr);
}

TEST_CASE("sounds: where it does not fit it is said, nothing stays, and softer demands still work") {
  SoundLimits limits;
  limits.total_bytes = 40 << 20;
  Room room(limits);
  const auto small = room.put("small.wav", wav(8000)), large = room.put("large.wav", wav(11 << 20));
  REQUIRE((*room.sounds.get(small, {}))->head(true).has_value());
  const auto sound = room.sounds.get(large, {});
  REQUIRE(sound.has_value());
  const auto head = (*sound)->head(false);
  REQUIRE(!head.has_value());
  CHECK(head.error().status == 507);
  CHECK(head.error().body.find("\"too_large\"") != std::string::npos);
  CHECK((*sound)->reach(1).error().status == 507);
  CHECK((*sound)->outline(0, 1, 1).error().status == 507);
  CHECK((*sound)->bytes() == 0);
  REQUIRE((*room.sounds.get(small, {}))->head(true).has_value());
  limits.total_bytes = std::int64_t{1} << 40;
  limits.free_bytes = std::int64_t{1} << 60;
  Room full(limits);
  const auto path = full.put("a.wav", wav(8000));
  CHECK((*full.sounds.get(path, {}))->head(false).error().status == 507);
  CHECK((*full.sounds.get(path, {}))->head(false).error().body.find("\"no_room\"") != std::string::npos);
  CHECK(full.kept() == 0);
}

TEST_CASE("sounds: the end ends every wait") {
  Room room;
  const auto path = room.put("a.wav", wav(8000));
  const auto sound = room.sounds.get(path, {});
  REQUIRE(sound.has_value());
  room.sounds.end();
  CHECK(room.sounds.get(path, {}).error().status == 503);
  CHECK((*sound)->ended());
  const auto head = (*sound)->head(true);
  CHECK((head.has_value() || head.error().status == 503));
}

TEST_CASE("sounds: many more than may be decoded at once are asked for, and none waits for ever") {
  SoundLimits limits;
  limits.at_once = 2;
  Room room(limits);
  std::vector<std::shared_ptr<Sound>> held;
  int refused = 0;
  for (int i = 0; i < 20; ++i) {
    const auto path = room.put(std::to_string(i) + ".wav", wav(2000000 + i));
    auto sound = room.sounds.get(path, {});
    if (sound && i % 2 == 0) held.push_back(*sound);
    if (!sound) {
      CHECK(sound.error().status == 503);
      ++refused;
    }
  }
  CHECK(!held.empty());
  for (const auto& sound : held) CHECK(sound->head(true).has_value());
}
