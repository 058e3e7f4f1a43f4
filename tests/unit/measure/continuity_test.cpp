// Holes, stuck values, buffers written twice and breaks, planted into packaged music at known frames, and music as it is.
#include <doctest/doctest.h>

#include <cmath>

#include "faults/sample.h"
#include "signals.h"
#include "standards/reading.h"

using namespace sendworthy;
using namespace sendworthy::test;

namespace {

constexpr int kRate = 48000;

/// `shift` frames of silence in front move everything against the blocks.
Reading read(Channels channels, std::int64_t shift = 0) {
  for (auto& channel : channels) channel.insert(channel.begin(), static_cast<std::size_t>(shift), 0.0);
  return measured(code_source(kRate, 24, channels));
}

/// A loud frame of the music, at which both channels play.
std::int64_t loud_frame(const Channels& music, std::int64_t from) {
  for (auto n = from; n + 4800 < length(music[0]); ++n) {
    double least = 1;
    for (const auto at : {n - 480, n, n + 600, n + 3000}) {
      for (const auto& channel : music) {
        double power = 0;
        for (auto k = at; k < at + 480; ++k) power += channel[static_cast<std::size_t>(k)] * channel[static_cast<std::size_t>(k)];
        least = std::min(least, power / 480);
      }
    }
    if (least > 1e-3) return n;
  }
  FAIL("nothing loud");
  return 0;
}

void fill(Samples& x, std::int64_t from, std::int64_t count, double value) {
  std::fill_n(x.begin() + from, count, value);
}

void check_place(const Reading& reading, const char* id, std::int64_t start, std::int64_t end, int channel = 0) {
  CAPTURE(id);
  REQUIRE(reading(id) == 1);
  const auto& where = reading.measurement(id).where;
  REQUIRE(where.size() == 1);
  CHECK(std::abs(where[0].start_frame - start) <= 4);
  CHECK(std::abs(where[0].end_frame - end) <= 4);
  CHECK(where[0].channel == channel);
}

}  // namespace

TEST_SUITE("measure/continuity") {
  TEST_CASE("music as it is has none of it") {
    const auto r = read(music().channels);
    for (const char* id : {"dropouts", "channel_dropouts", "stuck_samples", "repeated_blocks", "clicks", "render_grid_clicks"}) {
      CAPTURE(id);
      CHECK(r(id) == 0);
    }
  }

  TEST_CASE("a hole is found wherever it stands and however the blocks fall, of one millisecond and of two seconds") {
    for (const std::int64_t size : {48, 480, 2400, 24000, 90000}) {
      for (const std::int64_t from : {50000, 201234}) {
        auto x = music().channels;
        const auto at = loud_frame(x, from);
        // The hole is put in, so that what follows is as loud as before.
        for (auto& channel : x) channel.insert(channel.begin() + at, static_cast<std::size_t>(size), 0.0);
        CAPTURE(size);
        for (const std::int64_t shift : {0, 61, 5000}) check_place(read(x, shift), "dropouts", at + shift, at + shift + size);
        CHECK(read(x)("channel_dropouts") == 0);
        if (size >= 480)
          CHECK(read(x)("internal_silence") == doctest::Approx(static_cast<double>(size) / kRate).epsilon(0.01));
      }
    }
  }

  TEST_CASE("a stop that fades, a pause and the room at both ends are no holes") {
    auto x = music().channels;
    const auto at = loud_frame(x, 100000);
    for (auto& channel : x) {
      for (std::int64_t k = 0; k < 480; ++k) {
        channel[static_cast<std::size_t>(at - 1 - k)] *= static_cast<double>(k) / 480;
        channel[static_cast<std::size_t>(at + k)] *= static_cast<double>(k) / 480;
      }
      channel.insert(channel.begin() + at, 4800, 0.0);
      channel.insert(channel.begin(), 48000, 0.0);
      channel.insert(channel.end(), 48000, 0.0);
    }
    const auto r = read(x);
    CHECK(r("dropouts") == 0);
    CHECK(r("internal_silence") == doctest::Approx(0.1).epsilon(0.05));
  }

  TEST_CASE("a stutter of equal holes at equal distances is an effect, and said to be one") {
    auto x = music().channels;
    const auto at = loud_frame(x, 100000);
    for (int k = 0; k < 6; ++k) {
      for (auto& channel : x) fill(channel, at + k * 6000, 2000, 0);
    }
    const auto r = read(x);
    CHECK(r("dropouts") == 0);
    CHECK(r.measurement("dropouts").note.find("taken for an effect") != std::string::npos);
  }

  TEST_CASE("a hole in one channel is told from one in all") {
    for (const std::size_t c : {0, 1}) {
      auto x = music().channels;
      const auto at = loud_frame(x, 150000);
      fill(x[c], at, 960, 0);
      const auto r = read(x);
      check_place(r, "channel_dropouts", at, at + 960, static_cast<int>(c) + 1);
      CHECK(r("dropouts") == 0);
    }
    CHECK_FALSE(read({music().channels[0]}).measured("channel_dropouts"));
  }

  TEST_CASE("a value that stays is found; a pulse wave and a quiet tail are not it") {
    auto x = music().channels;
    const auto at = loud_frame(x, 150000);
    auto from = at;
    while (std::abs(x[0][static_cast<std::size_t>(from)]) < 0.02 || std::abs(x[0][static_cast<std::size_t>(from)]) > 0.3) ++from;
    fill(x[0], from, 240, x[0][static_cast<std::size_t>(from)]);
    check_place(read(x), "stuck_samples", from, from + 240, 1);
    CHECK(read({square(kRate, 110, 0.3, kRate * 2), square(kRate, 110, 0.3, kRate * 2)})("stuck_samples") == 0);
    // However many pulses came before: what follows them is still looked at.
    auto after = concatenated({square(kRate, 4000 / 9.0, 0.3, kRate * 40), x[0]});
    CHECK(read({after})("stuck_samples") == 1);
    auto quiet = scaled(sine(kRate, 30, 1, kRate * 2), 0.00002);
    CHECK(measured(code_source(kRate, 16, {quiet}))("stuck_samples") == 0);
  }

  TEST_CASE("a buffer written twice or three times is found; a tone and a loop are not it") {
    for (const std::int64_t size : {64, 441, 512, 1000, 4096}) {
      for (const int copies : {1, 2}) {
        auto x = music().channels;
        const auto at = loud_frame(x, 150000);
        for (auto& channel : x) {
          const Samples buffer(channel.begin() + at, channel.begin() + at + size);
          for (int k = 0; k < copies; ++k) channel.insert(channel.begin() + at + size, buffer.begin(), buffer.end());
        }
        CAPTURE(size);
        for (const std::int64_t shift : {0, 4099}) {
          const auto r = read(x, shift);
          REQUIRE(r("repeated_blocks") == 1);
          CHECK(std::abs(r.measurement("repeated_blocks").where[0].start_frame - (at + shift + size)) <= 8);
          CHECK(r.measurement("repeated_blocks").where[0].note == "buffer of " + std::to_string(size) + " frames");
        }
      }
    }
    // A roll of a drum machine: one and the same hit, four times, 62.5 ms apart.
    Samples hit = noise(3, 0.5, 3000);
    for (std::size_t n = 0; n < hit.size(); ++n) hit[n] *= std::exp(-static_cast<double>(n) / 900);
    CHECK(read({concatenated({music().channels[0], hit, hit, hit, hit, silence(4800)})})("repeated_blocks") == 0);
    // 480 frames a period, to the bit.
    CHECK(read({sine(kRate, 100, 0.5, kRate * 2)})("repeated_blocks") == 0);
    const auto bar = Samples(music().channels[0].begin() + 96000, music().channels[0].begin() + 96000 + 24000);
    CHECK(read({concatenated({bar, bar, bar})})("repeated_blocks") == 0);
  }

  TEST_CASE("a break is found at its frame; an onset and a hard stop are not it") {
    // A tone that jumps: 0.2 of full scale in one sample.
    auto x = sum(sine(kRate, 220, 0.3, kRate * 3), sine(kRate, 1510, 0.05, kRate * 3));
    auto jump = x;
    for (auto n = std::size_t{70000}; n < jump.size(); ++n) jump[n] = x[(n + 137) % x.size()];
    check_place(read({jump}), "clicks", 69999, 70000);
    auto tick = x;
    tick[80000] += 0.1;
    check_place(read({tick}), "clicks", 80000, 80001);
    CHECK(read({x})("clicks") == 0);
    CHECK(read({concatenated({silence(30000), sine(kRate, 220, 0.3, kRate, 1.0)})})("clicks") == 0);
    CHECK(read({concatenated({sine(kRate, 220, 0.3, kRate, 1.0), silence(30000)})})("clicks") == 0);
  }

  TEST_CASE("breaks at multiples of a buffer are told from breaks anywhere") {
    const auto x = sum(sine(kRate, 220, 0.3, kRate * 6), sine(kRate, 1510, 0.05, kRate * 6));
    Random random(4);
    auto grid = x, anywhere = x;
    for (int k = 1; k <= 20; ++k) {
      grid[static_cast<std::size_t>(512 * (20 * k + random.below(15)))] += 0.1;
      anywhere[static_cast<std::size_t>(9600 * k + random.below(7000))] += 0.1;
    }
    const auto r = read({grid});
    CHECK(r("render_grid_clicks") == 20);
    CHECK(r.measurement("render_grid_clicks").note == "at multiples of 512 frames");
    CHECK(read({anywhere})("render_grid_clicks") == 0);
    CHECK(read({anywhere})("clicks") == 20);
    // A beat of 24000 frames stands on the grid as well.
    auto beat = x;
    for (int k = 1; k <= 11; ++k) beat[static_cast<std::size_t>(24000 * k)] += 0.1;
    CHECK(read({beat})("render_grid_clicks") == 0);
  }
}
