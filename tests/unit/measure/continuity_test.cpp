// Holes, stuck values, buffers written twice and breaks, planted into packaged music at known frames, and music as it is.
#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>

#include "faults/sample.h"
#include "measure/clicks.h"
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

  TEST_CASE("jumps in time stand on the grid of the buffers that were lost") {
    // Dark noise, which prediction knows only in part.
    auto source = noise(71, 0.02, kRate * 12);
    for (int pass = 0; pass < 2; ++pass) {
      for (std::size_t n = 1; n < source.size(); ++n) source[n] += 0.9 * source[n - 1];
    }
    const auto jumping = [&](bool on_grid) {
      Samples y;
      Random random(5);
      std::size_t taken = 0;
      for (int k = 1; k <= 24; ++k) {
        const auto at = static_cast<std::size_t>(on_grid ? 1024 * (12 * k + random.below(8)) : 12288 * k + random.below(8000));
        while (y.size() < at) y.push_back(source[taken++]);
        taken += 1024;
      }
      y.resize(y.size() + 9600, 0.0);
      return read({y});
    };
    const auto grid = jumping(true);
    CHECK(grid("render_grid_clicks") >= 6);
    CHECK(grid.measurement("render_grid_clicks").note == "at multiples of 1024 frames");
    for (const auto& place : grid.measurement("render_grid_clicks").where) CHECK(place.start_frame % 1024 == 0);
    CHECK(jumping(false)("render_grid_clicks") == 0);
  }

  TEST_CASE("what breaks over and over, clips, or grows loud is no click") {
    const auto x = sum(sine(kRate, 220, 0.3, kRate * 3), sine(kRate, 1510, 0.05, kRate * 3));
    // Pulses 20 ms apart are a sound.
    auto pulses = x;
    for (int k = 0; k < 100; ++k) pulses[static_cast<std::size_t>(20000 + 960 * k)] += 0.1;
    CHECK(read({pulses})("clicks") == 0);
    // A wave that was cut flat for a moment has two corners.
    auto flat = sine(kRate, 110, 0.9, kRate * 3);
    for (auto n = std::size_t{60000}; n < 60400; ++n) flat[n] = std::clamp(flat[n], -0.8, 0.8);
    CHECK(read({flat})("clicks") == 0);
    // A stroke begins at once.
    auto stroke = sine(kRate, 220, 0.02, kRate * 3);
    for (auto n = std::size_t{70000}; n < stroke.size(); ++n)
      stroke[n] += 0.5 * std::exp(-static_cast<double>(n - 70000) / 5000) * std::cos(0.05 * static_cast<double>(n - 70000));
    CHECK(read({stroke})("clicks") == 0);
  }

  TEST_CASE("clicks do not depend on where the blocks fall, and an end close by is no trouble") {
    auto x = sum(sine(kRate, 220, 0.3, kRate * 3), sine(kRate, 1510, 0.05, kRate * 3));
    const auto whole = x.size();
    for (const std::size_t at : {std::size_t{700}, std::size_t{16384}, std::size_t{60001}, whole - 500}) x[at] += 0.1;
    for (const std::int64_t shift : {0, 1, 63, 4096, 16383, 20001}) {
      CAPTURE(shift);
      const auto r = read({x}, shift);
      REQUIRE(r("clicks") == 4);
      CHECK(std::abs(r.measurement("clicks").where[2].start_frame - 60001 - shift) <= 1);
    }
    for (const std::int64_t frames : {1, 63, 64, 65, 300, 2000}) {
      CAPTURE(frames);
      CHECK(read({noise(9, 0.5, frames)})("clicks") == 0);
    }
  }

  TEST_CASE("a grid is known by chance alone: four of few on a wide one, more on a narrow one, and no beat") {
    using measure::buffer_grid;
    CHECK(buffer_grid({}).step == 0);
    CHECK(buffer_grid({1024 * 7, 1024 * 20, 1024 * 33, 1024 * 57}).step == 1024);
    CHECK(buffer_grid({5 + 1024 * 7, 5 + 1024 * 20, 5 + 1024 * 33, 5 + 1024 * 57}).frames.size() == 4);
    CHECK(buffer_grid({1024 * 7, 1024 * 20, 1024 * 33}).step == 0);
    // Four of twelve on multiples of 64 are chance.
    std::vector<std::int64_t> mixed{64 * 11, 64 * 40, 64 * 93, 64 * 122};
    for (int k = 0; k < 8; ++k) mixed.push_back(10007 + 1301 * k);
    std::sort(mixed.begin(), mixed.end());
    CHECK(buffer_grid(mixed).step == 0);
    // Quarters and eighths of a song of 120 a minute at 48 kHz stand on multiples of 64, and on a beat.
    CHECK(buffer_grid({0, 12000 * 2, 12000 * 4, 12000 * 8, 12000 * 10, 12000 * 16}).step == 0);
    // Placed in blocks of 64 by a sequencer that has no finer time.
    CHECK(buffer_grid({0, 5504, 11008, 22016, 27520, 33088, 44096}).step == 0);
  }
}
