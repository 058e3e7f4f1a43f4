// Correlation and reading, against plain sums and against the samples themselves.
#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <vector>

#include "faults/sample.h"
#include "pair/correlate.h"
#include "pair/reader.h"
#include "signals.h"

using namespace sendworthy;

namespace {

std::vector<float> floats(const test::Samples& samples) { return {samples.begin(), samples.end()}; }

}  // namespace

TEST_SUITE("pair/align") {
  TEST_CASE("the correlator equals the plain sums at every lag") {
    const auto a = floats(test::noise(1, 0.5, 300)), b = floats(test::noise(2, 0.5, 500));
    pair::Correlator correlator(1024);
    std::vector<float> values;
    correlator.correlate(a, b, false, values);
    REQUIRE(values.size() == 799);
    for (int lag = -299; lag < 500; ++lag) {
      double sum = 0;
      for (int n = 0; n < 300; ++n) {
        if (n + lag >= 0 && n + lag < 500) sum += static_cast<double>(a[static_cast<std::size_t>(n)]) * static_cast<double>(b[static_cast<std::size_t>(n + lag)]);
      }
      REQUIRE(std::abs(static_cast<double>(values[static_cast<std::size_t>(lag + 299)]) - sum) < 1e-4);
    }
  }

  TEST_CASE("half whitened, a lag stands out that a strong low tone hides") {
    auto a = test::noise(3, 0.01, 4096);
    auto b = test::noise(4, 0.002, 8192);
    const auto tone = test::sine(48000, 50, 0.05, 8192);
    for (std::size_t n = 0; n < 8192; ++n) {
      if (n >= 1234 && n < 1234 + 4096) b[n] += a[n - 1234];
      b[n] += tone[n];
    }
    for (std::size_t n = 0; n < 4096; ++n) a[n] += tone[n];
    pair::Correlator correlator(16384);
    std::vector<float> values;
    correlator.correlate(floats(a), floats(b), true, values);
    const auto best = [&] { return std::max_element(values.begin(), values.end()) - values.begin() - 4095; };
    CHECK(best() == 1234);
    correlator.correlate(floats(a), floats(b), false, values);
    CHECK(best() != 1234);
  }

  TEST_CASE("likely lags of onsets: the best first, as far as they lie apart") {
    std::vector<float> a(3000, 0.0f), b(3000, 0.0f);
    test::Random random(5);
    for (int i = 0; i < 120; ++i) a[static_cast<std::size_t>(random.below(2700))] += static_cast<float>(random.unit());
    for (std::size_t n = 0; n + 250 < 3000; ++n) b[n + 250] = 0.7f * a[n];
    const auto found = pair::likely_lags(a, b, 5, 4);
    REQUIRE(!found.empty());
    CHECK(found.front().lag == 250);
    CHECK(found.front().likeness > 0.99);
    for (std::size_t i = 1; i < found.size(); ++i) {
      CHECK(found[i].likeness <= found[i - 1].likeness);
      CHECK(std::abs(found[i].lag - found.front().lag) > 5);
    }
    CHECK(pair::likely_lags({}, b, 5, 4).empty());
    CHECK(pair::likely_lags(std::vector<float>(10, 0.0f), b, 5, 4).empty());
  }

  TEST_CASE("the reader gives the same frames forwards, backwards, and silence outside") {
    const test::Folder folder;
    const auto& song = test::music();
    const auto path = test::write_sample(folder.path, "song", song, {});
    auto reader = pair::Reader::open(path);
    REQUIRE(reader.has_value());
    CHECK(reader->length() == song.frames());
    pair::Rows rows;
    for (const std::int64_t from : {std::int64_t{100000}, std::int64_t{400000}, std::int64_t{-50}, std::int64_t{5000}, song.frames() - 30, std::int64_t{0}, song.frames() + 10}) {
      reader->read(from, 100, rows);
      REQUIRE(rows.size() == 2);
      CHECK(reader->met_sound() == (from < song.frames()));
      for (std::size_t c = 0; c < 2; ++c) {
        for (std::int64_t n = 0; n < 100; ++n) {
          const bool inside = from + n >= 0 && from + n < song.frames();
          const double expected = inside ? song.channels[c][static_cast<std::size_t>(from + n)] : 0;
          REQUIRE(std::abs(static_cast<double>(rows[c][static_cast<std::size_t>(n)]) - expected) < 1.0 / (1 << 23));
        }
      }
    }
    CHECK(!pair::Reader::open(folder.path + "/none.wav").has_value());
  }

  TEST_CASE("at another step, frame n stands where n times the step stood") {
    const test::Folder folder;
    test::Clip clip;
    clip.channels = {test::sine(48000, 1000, 0.5, 96000)};
    const auto path = test::write_sample(folder.path, "tone", clip, {});
    const double step = 48000.0 / 44100;
    auto reader = pair::Reader::open(path, step);
    REQUIRE(reader.has_value());
    pair::Rows rows;
    for (const std::int64_t from : {50000, 30000, 70000}) {
      reader->read(from, 1000, rows);
      for (std::int64_t n = 0; n < 1000; ++n) {
        const double turns = std::fmod(1000.0 * static_cast<double>(from + n) / 44100, 1.0);
        REQUIRE(std::abs(static_cast<double>(rows[0][static_cast<std::size_t>(n)]) - 0.5 * std::sin(2 * std::numbers::pi * turns)) < 2e-6);
      }
    }
    CHECK(std::abs(reader->length() - 88200) <= 1);
  }
}
