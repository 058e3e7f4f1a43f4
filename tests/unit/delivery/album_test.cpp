// Songs of an album: loudness of all together against libebur128, and joins with a known answer.
#include <doctest/doctest.h>
#include <ebur128.h>

#include <cmath>
#include <memory>
#include <numbers>

#include <sendworthy/check.h>

#include "delivery/album.h"
#include "faults/sample.h"
#include "signals.h"

using namespace sendworthy;
using delivery::join_of;
using delivery::loudness_of_all;
using test::Clip;
using test::Folder;

namespace {

std::vector<float> momentary_of(const std::string& path) {
  CheckOptions options;
  options.judge = false;
  options.timelines = true;
  const auto sheet = check_files({path}, {}, options);
  for (const auto& line : sheet.files.front().timelines) {
    if (line.id == "momentary") return line.values;
  }
  return {};
}

Clip tone(std::int64_t frames, double phase_frames, double hz = 220) {
  Clip clip;
  clip.rate = 44100;
  clip.channels.assign(2, {});
  for (auto& channel : clip.channels) {
    for (std::int64_t n = 0; n < frames; ++n) channel.push_back(0.4 * std::sin(2 * std::numbers::pi * hz * (static_cast<double>(n) + phase_frames) / clip.rate));
  }
  return clip;
}

}  // namespace

TEST_CASE("all songs together read what libebur128 reads of several programmes") {
  const Folder folder;
  auto loud = test::music(), soft = test::music();
  soft.gain_db(-13);
  std::vector<std::vector<float>> lines;
  std::vector<std::unique_ptr<ebur128_state, void (*)(ebur128_state*)>> states;
  int number = 0;
  for (const auto* clip : {&loud, &soft}) {
    const auto path = test::write_sample(folder.path, "song" + std::to_string(++number), *clip, {.bits = 24});
    lines.push_back(momentary_of(path));
    states.emplace_back(ebur128_init(2, static_cast<unsigned long>(clip->rate), EBUR128_MODE_I), [](ebur128_state* state) { ebur128_destroy(&state); });
    std::vector<double> interleaved;
    for (std::int64_t n = 0; n < clip->frames(); ++n) {
      for (const auto& channel : clip->channels) interleaved.push_back(channel[static_cast<std::size_t>(n)]);
    }
    REQUIRE(ebur128_add_frames_double(states.back().get(), interleaved.data(), static_cast<std::size_t>(clip->frames())) == EBUR128_SUCCESS);
  }
  ebur128_state* raw[] = {states[0].get(), states[1].get()};
  double expected = 0;
  REQUIRE(ebur128_loudness_global_multiple(raw, 2, &expected) == EBUR128_SUCCESS);
  const auto read = loudness_of_all(lines);
  REQUIRE(read);
  CHECK(*read == doctest::Approx(expected).epsilon(0.002));
  // The soft song lies under the gate of both: the two together are as loud as the loud one.
  double alone = 0;
  REQUIRE(ebur128_loudness_global(raw[0], &alone) == EBUR128_SUCCESS);
  CHECK(*read <= alone + 0.05);
  CHECK_FALSE(loudness_of_all({{}}));
}

TEST_CASE("songs cut from one tone join without a step; one frame lost, silence put in or another phase is told") {
  const Folder folder;
  const auto write = [&](const std::string& name, const Clip& clip) { return test::write_sample(folder.path, name, clip, {.bits = 16}); };
  constexpr std::int64_t kFrames = 588 * 100;
  const auto first = write("first", tone(kFrames, 0));
  const auto smooth = join_of(first, write("second", tone(kFrames, kFrames)));
  REQUIRE(smooth);
  CHECK(smooth->silent_frames == 0);
  CHECK(smooth->step <= 1.2 * smooth->usual_step);
  const auto jump = join_of(first, write("other", tone(kFrames, kFrames + 70)));
  REQUIRE(jump);
  CHECK(jump->step > 8 * jump->usual_step);
  auto padded = tone(kFrames, kFrames);
  for (auto& channel : padded.channels) channel.insert(channel.begin(), 441, 0.0);
  const auto hole = join_of(first, write("padded", padded));
  REQUIRE(hole);
  CHECK(hole->silent_frames >= 441);
  CHECK_FALSE(join_of(first, folder.path + "/missing.wav"));
}

TEST_CASE("a fade, a faint gap, a click and a repeat at a join are told from music that runs on") {
  const Folder folder;
  const auto write = [&](const std::string& name, const Clip& clip) { return test::write_sample(folder.path, name, clip, {.bits = 24}); };
  const auto part = [](std::int64_t from, std::int64_t frames) {
    Clip clip;
    clip.rate = test::music().rate;
    for (const auto& channel : test::music().channels) clip.channels.emplace_back(channel.begin() + from, channel.begin() + from + frames);
    return clip;
  };
  constexpr std::int64_t kFrom = 48000, kFrames = 3 * 48000;
  const auto whole = part(kFrom, kFrames), rest = part(kFrom + kFrames, kFrames);
  const auto first = write("first", whole);
  const auto smooth = join_of(first, write("second", rest));
  REQUIRE(smooth);
  CHECK(smooth->dip_db > -14);
  CHECK(smooth->quiet_frames < 240);
  CHECK(smooth->repeated_frames == 0);
  CHECK(smooth->step < 4 * smooth->usual_step);

  for (const double seconds : {0.02, 0.1, 0.5}) {
    auto out = whole, in = rest;
    const auto length = static_cast<std::int64_t>(seconds * 48000);
    for (std::int64_t n = 0; n < length; ++n) {
      const double factor = (static_cast<double>(n) + 0.5) / static_cast<double>(length);
      for (auto& channel : out.channels) channel[static_cast<std::size_t>(kFrames - 1 - n)] *= factor;
      for (auto& channel : in.channels) channel[static_cast<std::size_t>(n)] *= factor;
    }
    const auto faded = join_of(write("out", out), write("in", in));
    REQUIRE(faded);
    CHECK_MESSAGE(faded->dip_db <= -14, seconds << " s: " << faded->dip_db);
    // On one side alone the cut may lie in front of a beat.
    const auto half = join_of(first, write("in", in));
    REQUIRE(half);
    CHECK(half->dip_db > -14);
  }

  auto gap = rest;
  for (auto& channel : gap.channels) channel.insert(channel.begin(), 4800, 2e-5);  // -94 dBFS
  const auto faint = join_of(first, write("gap", gap));
  REQUIRE(faint);
  CHECK(faint->silent_frames == 0);
  CHECK(faint->quiet_frames >= 4800);

  auto click = whole;
  for (auto& channel : click.channels) channel.back() += channel.back() > 0 ? -0.5 : 0.5;
  const auto clicked = join_of(write("click", click), write("second", rest));
  REQUIRE(clicked);
  CHECK(clicked->step > 0.4);
  CHECK(clicked->usual_step == doctest::Approx(smooth->usual_step));

  for (const std::int64_t frames : {588, 5880, 40000}) {
    const auto again = join_of(first, write("again", part(kFrom + kFrames - frames, kFrames)));
    REQUIRE(again);
    CHECK(again->repeated_frames == frames);
  }
  // A steady tone stands in itself anywhere, and nothing of it is heard twice.
  const auto steady = join_of(write("tone", tone(88200, 0, 441)), write("goes on", tone(88200, 88200, 441)));
  REQUIRE(steady);
  CHECK(steady->repeated_frames == 0);
}
