// A voice planted in a band at known levels, in sets that null and in sets that went through a bus compressor.
#include <doctest/doctest.h>

#include <algorithm>
#include <atomic>
#include <cmath>
#include <cstdint>
#include <numbers>
#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "faults/sample.h"
#include "pair/leak.h"
#include "signals.h"

using namespace sendworthy;
using test::Clip;

namespace {

constexpr int kRate = 48000;
constexpr double kSeconds = 30;

/// Syllables of a tone with harmonics, vibrato and a breath of noise; after every fourth second one of rest unless `rests` is false.
Clip voice(std::uint64_t seed, bool rests = true) {
  test::Random random(seed);
  std::vector<double> x(static_cast<std::size_t>(kSeconds * kRate), 0.0);
  std::size_t at = kRate / 2;
  while (at + kRate < x.size()) {
    const auto count = static_cast<std::size_t>(random.between(0.15, 0.5) * kRate);
    const double hz = 220 * std::pow(2, std::floor(random.between(0, 14)) / 12), start = random.unit(), speed = random.between(4.5, 6.5);
    if (!rests || (at / kRate) % 5 != 4) {
      double phase = start;
      for (std::size_t n = 0; n < count; ++n) {
        const double t = static_cast<double>(n) / kRate, along = static_cast<double>(n) / static_cast<double>(count);
        phase += hz * (1 + 0.01 * std::sin(2 * std::numbers::pi * speed * t)) / kRate;
        double sum = 0;
        for (int h = 1; h <= 12; ++h) sum += std::sin(2 * std::numbers::pi * phase * h) / (h + std::abs(h - 4));
        x[at + n] += 0.12 * std::sin(std::numbers::pi * along) * (sum + 0.05 * random.between(-1, 1));
      }
    }
    at += count;
  }
  return {kRate, {x, x}};
}

/// Packaged loops, begun elsewhere by `seed`.
Clip band(std::uint64_t seed = 0) {
  const auto& song = test::music();
  Clip out{song.rate, {{}, {}}};
  const auto frames = static_cast<std::int64_t>(kSeconds * kRate);
  const auto from = static_cast<std::int64_t>(seed * 77773) % song.frames();
  for (std::size_t c = 0; c < 2; ++c) {
    for (std::int64_t n = 0; n < frames; ++n) out.channels[c].push_back(0.7 * song.channels[c][static_cast<std::size_t>((n + from) % song.frames())]);
  }
  return out;
}

Clip sum(const Clip& a, const Clip& b, double b_db) {
  auto out = a;
  const double gain = test::from_db(b_db);
  for (std::size_t c = 0; c < out.channels.size(); ++c) {
    for (std::size_t n = 0; n < out.channels[c].size(); ++n) out.channels[c][n] += gain * b.channels[c][n];
  }
  return out;
}

/// Feed-forward, both channels by the louder: 3 : 1 above −18 dBFS, 5 ms and 120 ms.
Clip compressed(Clip clip) {
  const double attack = std::exp(-1 / (0.005 * kRate)), release = std::exp(-1 / (0.12 * kRate));
  double reduction = 0;
  for (std::size_t n = 0; n < clip.channels[0].size(); ++n) {
    const double peak = std::max(std::abs(clip.channels[0][n]), std::abs(clip.channels[1][n]));
    const double wanted = std::max(0.0, test::to_db(peak + 1e-9) + 18) * (1 - 1 / 3.0);
    const double keep = wanted > reduction ? attack : release;
    reduction = keep * reduction + (1 - keep) * wanted;
    for (auto& channel : clip.channels) channel[n] *= test::from_db(-reduction);
  }
  return clip;
}

struct Set {
  test::Folder folder;
  std::string write(const std::string& name, const Clip& clip, int bits = 24) const {
    test::Wrapping wrapping;
    wrapping.bits = bits;
    return test::write_sample(folder.path, name, clip, wrapping);
  }
};

pair::Signal signal(const std::string& path, const std::optional<std::string>& less = {}) {
  pair::Signal out{{path, {}}, {}};
  if (less) out.less = pair::Track{*less, {}};
  return out;
}

pair::Leak leak(const pair::Signal& source, const pair::Signal& suspect) {
  const auto result = pair::leak_of(source, suspect);
  REQUIRE(result.has_value());
  MESSAGE(std::string(result->found ? "found " : "none ") << result->leak_db << " dB, smallest " << result->smallest_db << " dB " << result->reason);
  return *result;
}

}  // namespace

TEST_SUITE("pair/leak") {
  TEST_CASE("a planted vocal is found at its level, by the a cappella and by the difference from the main mix") {
    const Set set;
    const auto b = band(), v = voice(1);
    const auto main = set.write("main", sum(b, v, 0)), a_cappella = set.write("acappella", v);
    for (const double planted : {-20.0, -30.0, -40.0, -50.0}) {
      CAPTURE(planted);
      const auto instrumental = set.write("instrumental", sum(b, v, planted));
      for (const auto& source : {signal(a_cappella), signal(main, instrumental)}) {
        const auto found = leak(source, signal(instrumental));
        CHECK(found.measured);
        REQUIRE(found.found);
        CHECK(std::abs(found.leak_db - planted) < 2);
        CHECK(found.smallest_db < planted);
        CHECK(!found.inverted);
        CHECK(found.offset_frames == 0);
      }
    }
  }

  TEST_CASE("no vocal in the instrumental: none is found, and one of -40 dB would have been") {
    const Set set;
    for (std::uint64_t seed = 1; seed <= 6; ++seed) {
      const auto b = band(seed), v = voice(seed, seed % 2 == 0);
      const auto main = set.write("main", sum(b, v, 0)), a_cappella = set.write("acappella", v), instrumental = set.write("instrumental", b);
      for (const auto& source : {signal(a_cappella), signal(main, instrumental)}) {
        const auto none = leak(source, signal(instrumental));
        CHECK(none.measured);
        CHECK(!none.found);
        CHECK(none.smallest_db < -40);
        CHECK(none.where.empty());
      }
    }
  }

  TEST_CASE("a leak a little over the smallest is found") {
    const Set set;
    const auto b = band(3), v = voice(3);
    const auto a_cappella = set.write("acappella", v);
    const auto none = leak(signal(a_cappella), signal(set.write("instrumental", b)));
    const auto some = leak(signal(a_cappella), signal(set.write("leaky", sum(b, v, none.smallest_db + 2))));
    CHECK(some.found);
  }

  TEST_CASE("through a bus compressor on every version, a leak is told from what the compressor leaves") {
    const Set set;
    for (std::uint64_t seed = 1; seed <= 3; ++seed) {
      const auto b = band(seed), v = voice(seed);
      const auto main = set.write("main", compressed(sum(b, v, 0)));
      const auto clean = set.write("instrumental", compressed(b)), leaky = set.write("leaky", compressed(sum(b, v, -25)));
      const auto none = leak(signal(main, clean), signal(clean));
      CHECK(!none.found);
      const auto some = leak(signal(main, leaky), signal(leaky));
      CHECK(some.found);
      CHECK(std::abs(some.leak_db + 25) < 4);
    }
  }

  TEST_CASE("gain, polarity, an offset, and one file in mono") {
    const Set set;
    const auto b = band(), v = voice(5);
    const auto main = set.write("main", sum(b, v, 0));
    auto version = sum(b, v, -30);
    for (auto& channel : version.channels) {
      for (auto& x : channel) x *= -test::from_db(-3);
      channel.insert(channel.begin(), 1000, 0.0);
    }
    pair::Alignment alignment;
    alignment.rate = kRate;
    alignment.stretches = {{0, static_cast<std::int64_t>(kSeconds * kRate), 1000, 1}};
    const auto path = set.write("version", version);
    pair::Signal source = signal(main), suspect = signal(path);
    source.less = suspect.file = pair::Track{path, alignment};
    const auto found = leak(source, suspect);
    REQUIRE(found.found);
    CHECK(std::abs(found.leak_db + 30) < 2);
    CHECK(!found.inverted);  // against the rest of the version it stands as in the main mix
    const auto gain = pair::shared_gain(source.file, suspect.file);
    REQUIRE(gain.has_value());
    CHECK(gain->known);
    CHECK(gain->inverted);
    CHECK(std::abs(gain->gain_db + 3) < 0.05);
    for (const auto& octave : gain->octaves) CHECK(std::abs(octave.gain_db) < 0.2);

    Clip mono{kRate, {sum(b, v, -30).channels[0]}};
    for (std::size_t n = 0; n < mono.channels[0].size(); ++n) mono.channels[0][n] = 0.5 * (b.channels[0][n] + b.channels[1][n]) - test::from_db(-30) * v.channels[0][n];
    const auto turned = leak(signal(set.write("acappella", v)), signal(set.write("mono", mono)));
    REQUIRE(turned.found);
    CHECK(std::abs(turned.leak_db + 30) < 2);
    CHECK(turned.inverted);
  }

  TEST_CASE("one line of the vocal that was left in is found where it stands") {
    const Set set;
    const auto b = band(2), v = voice(7);
    auto line = v;
    for (auto& channel : line.channels) {
      for (std::size_t n = 0; n < channel.size(); ++n) channel[n] *= n >= 10 * kRate && n < 14 * kRate ? 1 : 0;
    }
    const auto found = leak(signal(set.write("acappella", v)), signal(set.write("instrumental", sum(b, line, -12))));
    REQUIRE(found.found);
    REQUIRE(!found.where.empty());
    CHECK(std::abs(found.worst_place_db + 12) < 3);
    for (const auto& place : found.where) {
      CHECK(place.from_s > 7.5);
      CHECK(place.to_s < 16.5);
    }
  }

  TEST_CASE("bleed of the band in the a cappella is found there, and is no vocal in the instrumental") {
    const Set set;
    const auto b = band(4), v = voice(8);
    const auto instrumental = set.write("instrumental", b), bleeding = set.write("bleeding", sum(v, b, -30)), dry = set.write("dry", v);
    CHECK(!leak(signal(bleeding), signal(instrumental)).found);
    const auto found = leak(signal(instrumental), signal(bleeding));
    REQUIRE(found.found);
    CHECK(std::abs(found.leak_db + 30) < 2.5);
    const auto none = leak(signal(instrumental), signal(dry));
    CHECK(!none.found);
    CHECK(none.measured);
  }

  TEST_CASE("the lead in a TV mix is told from the backing voices that belong there") {
    const Set set;
    const auto rest = sum(band(5), voice(9), -6), lead = voice(10);
    const auto main = set.write("main", sum(rest, lead, 0)), good = set.write("tv", rest), bad = set.write("bad", sum(rest, lead, -26));
    const auto none = leak(signal(main, good), signal(good));
    CHECK(none.measured);
    CHECK(!none.found);
    const auto some = leak(signal(main, bad), signal(bad));
    REQUIRE(some.found);
    CHECK(std::abs(some.leak_db + 26) < 2);
  }

  TEST_CASE("what cannot be measured says why") {
    const Set set;
    const auto b = band(), v = voice(1);
    auto brief = v;
    for (auto& channel : brief.channels) channel.resize(6 * kRate);
    Clip nothing{kRate, {std::vector<double>(20 * kRate, 0.0), std::vector<double>(20 * kRate, 0.0)}};
    const auto instrumental = set.write("instrumental", b), silent = set.write("silent", nothing);
    for (const auto& [source, suspect] : {std::pair{signal(set.write("brief", brief)), signal(instrumental)}, {signal(silent), signal(instrumental)},
                                          {signal(instrumental), signal(silent)}}) {
      const auto none = leak(source, suspect);
      CHECK(!none.measured);
      CHECK(!none.found);
      CHECK(!none.reason.empty());
    }
    auto apart = signal(instrumental);
    apart.file.alignment.emplace();
    CHECK(leak(signal(instrumental), apart).reason == "the files could not be aligned");
    // Nothing was taken out at all: what is left of the main mix is no source.
    const auto same = leak(signal(instrumental, instrumental), signal(instrumental));
    CHECK(!same.measured);
    CHECK(!same.found);
    std::atomic<bool> stop = true;
    pair::Hooks hooks;
    hooks.stop = &stop;
    const auto stopped = pair::leak_of(signal(set.write("acappella", v)), signal(instrumental), hooks);
    REQUIRE(!stopped.has_value());
    CHECK(stopped.error().code == ErrorCode::interrupted);
    CHECK(!pair::leak_of(signal(set.folder.path + "/none.wav"), signal(instrumental)).has_value());
  }
}
