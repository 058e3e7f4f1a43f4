#include "song/masking.h"

#include <doctest/doctest.h>

#include <cmath>
#include <string>
#include <vector>

#include "base/text.h"
#include "signals.h"
#include "song/masking_passages.h"
#include "unit/song/bands.h"

using namespace sendworthy;
using song::BandFrames;
using song::Masking;

namespace {

const double kNone = std::nan("");

// −30 dB in bands low … high, moved by `db`.
BandFrames in_bands(int frames, int low, int high, double db = 0) {
  return test::written_bands(frames, [=](int, int band) { return band >= low && band <= high ? -30 + db : kNone; });
}

Masking masking(const BandFrames& target, const std::vector<BandFrames>& maskers, const std::vector<song::TimeSpan>& spans = {},
                const song::MaskingOptions& options = {}) {
  std::vector<const BandFrames*> parts{&target};
  song::MaskingCase one{{0}, {}};
  for (const auto& masker : maskers) {
    one.maskers.push_back(parts.size());
    parts.push_back(&masker);
  }
  return song::measure_masking(parts, std::vector{one}, spans, options).front();
}

double share(const BandFrames& target, const BandFrames& masker) { return masking(target, {masker}).together.share; }

// Noise between two frequencies, as many sines in no order.
test::Samples band_noise(int rate, double low_hz, double high_hz, double seconds, std::uint64_t seed) {
  const auto frames = static_cast<std::int64_t>(seconds * rate);
  test::Random random(seed);
  auto out = test::silence(frames);
  for (double hz = low_hz; hz < high_hz; hz += (high_hz - low_hz) / 60)
    out = test::sum(std::move(out), test::sine(rate, hz + random.between(0, (high_hz - low_hz) / 60), 0.01, frames, random.between(0, 6.28)));
  return out;
}

}  // namespace

TEST_SUITE("song/masking") {
  TEST_CASE("the bands in Hz") {
    std::string edges;
    for (int band = 0; band < BandFrames::kBands; ++band) edges += base::fixed(BandFrames::low_edge_hz(band), 0) + " ";
    edges += base::fixed(BandFrames::high_edge_hz(BandFrames::kBands - 1), 0);
    MESSAGE(edges);
    CHECK(edges.starts_with("26 55 87 123 "));
    CHECK(edges.ends_with(" 14975 16702"));
  }

  TEST_CASE("a masker that is moved away in frequency frees the part") {
    const auto target = in_bands(200, 15, 18);
    CHECK(share(target, in_bands(200, 15, 18, 20)) == doctest::Approx(1));
    double before = 1;
    for (int up = 0; up <= 20; ++up) {
      const double now = share(target, in_bands(200, 15 + up, 18 + up, 20));
      CHECK(now <= before);
      before = now;
    }
    CHECK(before == 0);
    CHECK(share(target, in_bands(200, 8, 9, 20)) == 0);
  }

  TEST_CASE("a louder masker covers no less, and the threshold is where it is said to be") {
    const auto target = test::written_bands(200, [](int t, int band) { return band < 5 ? kNone : -40 - 10 * std::sin(0.1 * t + band); });
    double before = 0;
    for (double db = -30; db <= 30; db += 0.5) {
      const double now = share(target, in_bands(200, 10, 25, db));
      CHECK(now >= before);
      before = now;
    }
    CHECK(before > 0.5);
    // One band alone, nothing spread into it: covered from 6 dB on.
    const auto one = in_bands(200, 20, 20);
    CHECK(share(one, in_bands(200, 20, 20, 5.5)) == 0);
    CHECK(share(one, in_bands(200, 20, 20, 6.5)) == doctest::Approx(1));
    CHECK(masking(one, {in_bands(200, 20, 20, 6.5)}, {}, {.offset_db = 10}).together.share == 0);
  }

  TEST_CASE("spread is that of the formula") {
    // Masker at −10 dB, so 90 dB SPL, in band 15; two bands up 10.1 dB less arrive by the formula, two down 28.7 dB.
    const auto masker = test::written_bands(100, [](int, int band) { return band == 15 ? -10.0 : kNone; });
    const auto at = [](int where, double db) { return test::written_bands(100, [=](int, int band) { return band == where ? db : kNone; }); };
    CHECK(share(at(17, -10 - 10.1 - 6 - 1.5), masker) == doctest::Approx(1));
    CHECK(share(at(17, -10 - 10.1 - 6 + 1.5), masker) == 0);
    CHECK(share(at(13, -10 - 28.7 - 6 - 1), masker) == doctest::Approx(1));
    CHECK(share(at(13, -10 - 28.7 - 6 + 1), masker) == 0);
    // At 60 dB SPL 19.2 dB less two bands up.
    const auto soft = test::written_bands(100, [](int, int band) { return band == 15 ? -40.0 : kNone; });
    CHECK(share(at(17, -40 - 19.2 - 6 - 1.5), soft) == doctest::Approx(1));
    CHECK(share(at(17, -40 - 19.2 - 6 + 1.5), soft) == 0);
  }

  TEST_CASE("noise of one band over noise of the same band") {
    const auto target = band_noise(48000, 800, 3000, 4, 1), masker = band_noise(48000, 800, 3000, 4, 2);
    const auto bands = test::bands_of({target}, 48000);
    CHECK(share(bands, test::bands_of({test::scaled(masker, 10)}, 48000)) > 0.95);
    CHECK(share(bands, test::bands_of({test::scaled(masker, 0.1)}, 48000)) < 0.02);
  }

  TEST_CASE("leaving one out names the right one of three") {
    const auto target = in_bands(200, 14, 19);
    for (std::size_t right = 0; right < 3; ++right) {
      std::vector<BandFrames> maskers{in_bands(200, 2, 4, 10), in_bands(200, 30, 33, 10), in_bands(200, 8, 9, 10)};
      maskers[right] = in_bands(200, 14, 19, 10);
      const auto result = masking(target, maskers);
      REQUIRE(result.named.has_value());
      CHECK(*result.named == right);
      CHECK(result.each[right].uncovered > 0.9);
      CHECK(result.each[right].alone.share == doctest::Approx(1));
      for (std::size_t other = 0; other < 3; ++other) {
        if (other != right) CHECK(result.each[other].uncovered == 0);
      }
    }
    CHECK(!masking(target, {in_bands(200, 30, 33)}).named.has_value());
    // Two of a kind: without either, the other still covers; what covers alone decides.
    const auto twins = masking(target, {in_bands(200, 30, 33), in_bands(200, 14, 19, 10), in_bands(200, 14, 19, 20)});
    REQUIRE(twins.named.has_value());
    CHECK(*twins.named == 1);
    CHECK(twins.each[1].uncovered == 0);
    // Neither covers alone what both cover together: 5.5 dB twice are 8.5 dB.
    const auto both = masking(in_bands(200, 20, 20), {in_bands(200, 20, 20, 5.5), in_bands(200, 20, 20, 5.5)});
    CHECK(both.together.share == doctest::Approx(1));
    CHECK(both.each[0].alone.share == 0);
    CHECK(both.each[0].uncovered == doctest::Approx(1));
  }

  TEST_CASE("time in which the part rests does not count") {
    // Plays for 4 s, rests for 4 s, and is soft for 4 s by 30 dB.
    const auto target = test::written_bands(600, [](int t, int band) {
      return band < 14 || band > 19 || (t >= 200 && t < 400) ? kNone : t < 200 ? -30.0 : -60.0;
    });
    const auto in_rest = test::written_bands(600, [](int t, int band) { return band >= 14 && band <= 19 && t >= 203 ? -20.0 : kNone; });
    const auto result = masking(target, {in_rest}, {{0, 4}, {4, 8}, {8, 12}});
    CHECK(result.active_s == doctest::Approx(4).epsilon(0.02));
    CHECK(result.together.share == 0);
    CHECK(result.span_active_s[0] == doctest::Approx(4).epsilon(0.02));
    CHECK(result.span_active_s[2] == 0);
    CHECK(result.together.spans[2] == 0);
    const auto silent = masking(in_bands(100, 5, 4), {in_rest});
    CHECK(silent.active_s == 0);
    CHECK(silent.together.share == 0);
  }

  TEST_CASE("shares by time span and by band, and the passage where it happens") {
    const auto target = in_bands(1000, 10, 29);
    // From 8 to 12 s, bands 18 … 21, by 15 dB.
    const auto masker = test::written_bands(1000, [](int t, int band) { return t >= 400 && t < 600 && band >= 18 && band <= 21 ? -15.0 : kNone; });
    const auto result = masking(target, {masker}, {{0, 8}, {8, 12}, {12, 20}});
    CHECK(result.together.spans[0] < 0.01);
    CHECK(result.together.spans[1] == doctest::Approx(0.3).epsilon(0.35));  // 4 of 20 bands, and neighbours
    CHECK(result.together.spans[2] < 0.01);
    CHECK(result.together.bands[19] == doctest::Approx(0.2).epsilon(0.03));
    CHECK(result.together.bands[12] == 0);
    CHECK(result.weights[12] == doctest::Approx(0.05).epsilon(0.01));
    CHECK(result.weights[5] == 0);
    REQUIRE(result.together.passages.size() >= 1);
    const auto& worst = result.together.passages[0];
    CHECK(worst.start_s == doctest::Approx(8));
    CHECK(worst.end_s == doctest::Approx(12));
    CHECK(worst.low_hz <= BandFrames::low_edge_hz(18));
    CHECK(worst.low_hz >= BandFrames::low_edge_hz(16));
    CHECK(worst.high_hz >= BandFrames::high_edge_hz(21));
    CHECK(worst.high_hz <= BandFrames::high_edge_hz(23));
    CHECK(worst.share > 0.9);
    REQUIRE(result.each[0].alone.passages.size() >= 1);
    CHECK(result.each[0].alone.passages[0].start_s == worst.start_s);
  }

  TEST_CASE("where next to nothing is covered there is no place") {
    song::SlotWeights weights(20);
    song::SlotShares shares(20);
    for (auto& slot : weights) slot.fill(1);
    for (auto& slot : shares) slot.fill(1);  // 0.4 %: "0 %" as it is shown
    CHECK(song::covered_passages(weights, shares).empty());
    for (std::size_t k = 8; k < 12; ++k) shares[k].fill(3);
    const auto passages = song::covered_passages(weights, shares);
    REQUIRE(passages.size() == 1);
    CHECK(passages[0].start_s == doctest::Approx(4));
    CHECK(passages[0].end_s == doctest::Approx(6));
    CHECK(passages[0].share == doctest::Approx(3.0 / 255));
  }

  TEST_CASE("a low note that is shared is normal") {
    const auto target = in_bands(200, 0, 2);
    CHECK(share(target, in_bands(200, 0, 2, 5.5)) == 0);
    CHECK(share(target, in_bands(200, 0, 2, 6.5)) == doctest::Approx(1));
    // Nothing spreads within them, however loud.
    CHECK(share(in_bands(200, 2, 2), in_bands(200, 0, 1, 40)) == 0);
    CHECK(share(in_bands(200, 3, 3), in_bands(200, 0, 2, 40)) == doctest::Approx(1));
  }

  TEST_CASE("weak bands of a part do not count, and several parts count as one") {
    const auto target = test::written_bands(200, [](int, int band) { return band == 15 ? -20.0 : band == 30 ? -51.0 : kNone; });
    CHECK(share(target, in_bands(200, 30, 30, 20)) == 0);
    const auto one = in_bands(200, 15, 16), other = in_bands(200, 15, 16), masker = in_bands(200, 15, 16, 7);
    const BandFrames* parts[] = {&one, &other, &masker};
    const song::MaskingCase cases[] = {{{0}, {2}}, {{0, 1}, {2}}};
    const auto results = song::measure_masking(parts, cases, {});
    CHECK(results[0].together.share == doctest::Approx(1));
    CHECK(results[1].together.share == 0);
  }

  TEST_CASE("parts of unequal length, none, and no maskers") {
    const auto target = in_bands(200, 15, 18);
    CHECK(share(target, in_bands(100, 15, 18, 20)) == doctest::Approx(0.5).epsilon(0.02));
    CHECK(share(in_bands(100, 15, 18), in_bands(200, 15, 18, 20)) == doctest::Approx(1));
    CHECK(masking(target, {}).together.share == 0);
    CHECK(masking(target, {BandFrames()}).together.share == 0);
    CHECK(masking(BandFrames(), {}).active_s == 0);
  }

  TEST_CASE("more pairs than one walk may hold have the numbers that each has by itself") {
    constexpr int kFrames = 40'000;
    const auto target = test::written_bands(kFrames, [](int t, int band) { return band >= 10 && band <= 14 && t % 100 < 80 ? -30.0 : kNone; });
    const auto masker = test::written_bands(kFrames, [](int t, int band) { return band >= 12 && band <= 20 && t % 70 < 35 ? -28.0 : kNone; });
    std::vector<const BandFrames*> parts{&target, &masker};
    const song::MaskingCase one{{0}, std::vector<std::size_t>(9, 1)};
    const auto all = song::measure_masking(parts, std::vector(90, one), {});
    REQUIRE(all.size() == 90);
    const auto alone = song::measure_masking(parts, std::vector{one}, {}).front();
    CHECK(alone.together.share > 0);
    for (const auto* some : {&all[0], &all[75], &all[89]}) {
      CHECK(some->together.share == alone.together.share);
      REQUIRE(some->each.size() == 9);
      CHECK(some->each[8].alone.bands == alone.each[8].alone.bands);
      CHECK(some->active_s == alone.active_s);
    }
  }
}
