// The gain between two bounces of which parts were moved, and edits that must not move it.
#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>

#include <sendworthy/compare.h>

#include "faults/sample.h"
#include "signals.h"
#include "unit/pair/sum_sets.h"

using namespace sendworthy;
using namespace sendworthy::test;
using Kind = Pair::Kind;

namespace {

constexpr double kLength = 12, kAlone = 2;  // seconds

Clip by_db(const Clip& clip, double db) { return times(clip, from_db(db)); }

Pair pair_of(const Clip& before, const Clip& after) {
  const Folder folder;
  CheckOptions options;
  options.judge = false;
  const auto sheet = compare_files(write_sample(folder.path, "old", before, {}), write_sample(folder.path, "new", after, {}), {}, options);
  REQUIRE(sheet.pairs.size() == 1);
  return sheet.pairs.front();
}

/// A soft bass and others; the bass is alone at the beginning.
struct Band {
  Clip bass = by_db(part(1, kLength, 0.5), -12), others = added({part(2, kLength, 0.4), part(3, kLength, 0.6)});
  Band() {
    for (auto& channel : others.channels) std::fill_n(channel.begin(), static_cast<std::ptrdiff_t>(kAlone * kRate), 0.0);
  }
  [[nodiscard]] Clip mix(double bass_db = 0, double others_db = 0) const { return added({by_db(bass, bass_db), by_db(others, others_db)}); }
};

/// What is left of `after` without any gain, over `before`, dB.
double left_db(const Clip& before, const Clip& after) {
  double sound = 0, left = 0;
  for (std::size_t c = 0; c < 2; ++c) {
    for (std::size_t n = 0; n < before.channels[c].size(); ++n) {
      const double rest = after.channels[c][n] - before.channels[c][n];
      sound += before.channels[c][n] * before.channels[c][n], left += rest * rest;
    }
  }
  return 10 * std::log10(left / sound);
}

}  // namespace

TEST_SUITE("pair/compare") {
  TEST_CASE("a part that was moved is no level of the mix, though it plays by itself for a while") {
    const Band band;
    const auto before = band.mix();
    for (const double bass_db : {-1.01, 1.01}) {
      for (const double others_db : {0.0, bass_db < 0 ? 0.67 : -0.67}) {
        CAPTURE(bass_db);
        CAPTURE(others_db);
        const auto after = band.mix(bass_db, others_db);
        const auto pair = pair_of(before, after);
        CHECK(pair.kind == Kind::different_mix);
        CHECK(pair.null_db <= left_db(before, after) + 0.05);
        // As what sounds for the most part went, or not at all.
        CHECK(pair.gain_db * others_db >= 0);
        CHECK(std::abs(pair.gain_db) <= std::abs(others_db));
      }
    }
    // Most of the sound tells the level, also where the part alone went the same way, but less.
    CHECK(pair_of(before, band.mix(-1, -4)).gain_db == doctest::Approx(-4).epsilon(0.15));
    CHECK(pair_of(before, band.mix(-1.01, -1.01)).gain_db == doctest::Approx(-1.01).epsilon(0.0005));
  }

  TEST_CASE("a gain stands beside edits that no gain fits, inverted, louder and other sound") {
    const auto& song = music();
    for (const bool inverted : {true, false}) {
      CAPTURE(inverted);
      auto edited = by_db(song, 1.5);
      for (auto& channel : edited.channels) {
        const auto source = channel;
        for (std::size_t n = 2 * 48000; n < 6 * 48000; ++n) channel[n] = inverted ? -1.2 * source[n] : 1.2 * source[source.size() - 1 - n];
      }
      const auto pair = pair_of(song, edited);
      CHECK(pair.kind == Kind::edited);
      CHECK(pair.gain_db == doctest::Approx(1.5).epsilon(0.0005));
    }
  }
}
