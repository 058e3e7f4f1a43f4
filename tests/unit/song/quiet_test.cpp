// How parts move against one another when the mix is played quietly: what follows from the contours by arithmetic.
#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <vector>

#include "dsp/equal_loudness.h"
#include "signals.h"
#include "song/quiet.h"

using namespace sendworthy;
using namespace sendworthy::song;

namespace {

PartBands bands_of(int rate, const test::Channels& channels, std::size_t block = 4096) {
  std::vector<std::vector<float>> rows;
  for (const auto& channel : channels) rows.emplace_back(channel.begin(), channel.end());
  PartSpectrum spectrum(rate, static_cast<int>(rows.size()));
  for (std::size_t at = 0; at < rows[0].size(); at += block) {
    std::vector<const float*> pointers;
    for (const auto& row : rows) pointers.push_back(row.data() + at);
    spectrum.take(pointers, static_cast<int>(std::min(block, rows[0].size() - at)));
  }
  return spectrum.finish();
}

// A tone that plays at `spl` where the mix has 0 LUFS and plays at 78 dB.
PartBands tone_at(double hz, double spl) {
  PartBands part;
  for (int k = -16; k <= 13; ++k) part.centre_hz.push_back(1000 * std::pow(10, k / 10.0));
  part.power.assign(part.centre_hz.size(), 0);
  const auto band = static_cast<std::size_t>(std::lround(10 * std::log10(hz / 1000)) + 16);
  part.power[band] = std::pow(10, (spl - 78) / 10);
  part.active_s = 1;
  return part;
}

constexpr QuietSetting kSetting{0, 78, 45};

}  // namespace

TEST_SUITE("song/quiet") {
  TEST_CASE("a tone of 1 kHz comes down with the fader, one of 100 Hz by the difference of the contours") {
    // ISO 226:2023: at 100 Hz 78 phon lie at 91.07 dB and 45 phon at 67.86 dB, so that the step is 23.21 dB for one of 33.
    const double at_78 = dsp::equal_loudness_spl(100, 78), at_45 = dsp::equal_loudness_spl(100, 45);
    CHECK(at_78 - at_45 == doctest::Approx(23.21).epsilon(0.001));
    const std::vector<PartBands> parts{tone_at(1000, 70), tone_at(1000, 60), tone_at(100, 85)};
    const auto heard = listen_quietly(parts, kSetting);
    CHECK(*heard[0].reference.level == doctest::Approx(70));
    CHECK(*heard[0].quiet.level == doctest::Approx(37));
    CHECK(*heard[2].reference.level == doctest::Approx(85 + 78 - at_78));
    CHECK(*heard[2].quiet.level == doctest::Approx(85 - 33 + 45 - at_45));
    CHECK(*heard[2].quiet.moved_db == doctest::Approx((at_78 - at_45) - 33));
    // Against the median of the other two, of which one stood still and one fell.
    CHECK(*heard[0].quiet.moved_db == doctest::Approx(-*heard[2].quiet.moved_db / 2));
    CHECK_FALSE(heard[0].reference.moved_db);
  }

  TEST_CASE("between four tones of 1 kHz nothing moves, and ranks stay") {
    const std::vector<PartBands> parts{tone_at(1000, 60), tone_at(1000, 75), tone_at(1000, 70), tone_at(1000, 70)};
    const auto heard = listen_quietly(parts, kSetting);
    for (const auto& part : heard) {
      CHECK(std::abs(*part.quiet.moved_db) < 1e-9);
      CHECK(part.quiet.rank == part.reference.rank);
    }
    CHECK(heard[0].quiet.rank == 4);
    CHECK(heard[1].quiet.rank == 1);
    CHECK(heard[2].quiet.rank == 2);
    CHECK(heard[3].quiet.rank == 2);
  }

  TEST_CASE("a kick of 50 Hz alone falls below the threshold and disappears, a voice does not") {
    // Threshold at 50 Hz: 44.0 dB (ISO 226:2023, Table 1); at the reference it stands one decibel over it.
    const std::vector<PartBands> parts{tone_at(50, 45), tone_at(1000, 60), tone_at(2000, 60)};
    const auto heard = listen_quietly(parts, kSetting);
    REQUIRE(heard[0].reference.level);
    CHECK(heard[0].disappears());
    CHECK(heard[0].quiet.rank == 0);
    CHECK_FALSE(heard[0].quiet.moved_db);
    CHECK_FALSE(heard[1].disappears());
    // What has gone counts for nothing in the median of the others.
    const std::vector<PartBands> without{parts[1], parts[2]};
    CHECK(*heard[1].quiet.moved_db == doctest::Approx(*listen_quietly(without, kSetting)[0].quiet.moved_db));
    // Silence stands nowhere, which is something else.
    const std::vector<PartBands> silent{tone_at(1000, -400)};
    CHECK_FALSE(listen_quietly(silent, kSetting)[0].disappears());
    CHECK_FALSE(listen_quietly(silent, kSetting)[0].reference.level);
  }

  TEST_CASE("a bass and a voice that are equally loud change places") {
    const std::vector<PartBands> parts{tone_at(63, 97.1 + 1), tone_at(1000, 78)};
    const auto heard = listen_quietly(parts, kSetting);
    CHECK(heard[0].reference.rank == 1);
    CHECK(heard[0].quiet.rank == 2);
    // ISO 226:2023 at 63 Hz: 97.10 dB at 78 phon, 76.23 dB at 45 phon.
    CHECK(*heard[0].quiet.moved_db == doctest::Approx(97.10 - 76.23 - 33).epsilon(0.002));
    CHECK(*heard[1].quiet.moved_db == doctest::Approx(-*heard[0].quiet.moved_db));
  }

  TEST_CASE("a small loudspeaker takes the low tone away and leaves the middle") {
    const std::vector<PartBands> parts{tone_at(50, 100), tone_at(1000, 70), tone_at(2000, 70), tone_at(200, 80)};
    const auto heard = listen_quietly(parts, kSetting);
    CHECK(heard[0].quiet.level);
    CHECK(heard[0].disappears_small());
    CHECK(*heard[1].small.level == doctest::Approx(*heard[1].quiet.level).epsilon(0.001));
    CHECK(*heard[3].small.level - *heard[3].quiet.level == doctest::Approx(-3.01).epsilon(0.02));
  }

  TEST_CASE("the mix's loudness sets what is heard: 10 LU louder files play at the same level") {
    auto part = tone_at(315, 60);
    const auto before = listen_quietly(std::vector<PartBands>{part}, kSetting);
    for (auto& power : part.power) power *= 10;
    const auto after = listen_quietly(std::vector<PartBands>{part}, {10, 78, 45});
    CHECK(*after[0].quiet.level == doctest::Approx(*before[0].quiet.level));
    CHECK(*after[0].reference.level == doctest::Approx(*before[0].reference.level));
  }

  TEST_CASE("a tone's band holds its mean square, both channels added, at every rate") {
    for (const int rate : {8000, 44100, 48000, 96000, 192000}) {
      CAPTURE(rate);
      const auto tone = test::sine(rate, 1000, 0.1, rate * 2);
      const auto part = bands_of(rate, {tone, tone});
      const auto band = std::max_element(part.power.begin(), part.power.end()) - part.power.begin();
      CHECK(part.centre_hz[static_cast<std::size_t>(band)] == doctest::Approx(1000));
      // The frames at both ends are half silence, which shows in two seconds.
      CHECK(std::abs(10 * std::log10(part.power[static_cast<std::size_t>(band)]) + 20) < 0.15);
      CHECK(part.centre_hz.back() < 24000);
      CHECK(part.active_s == doctest::Approx(2).epsilon(0.1));
    }
  }

  TEST_CASE("only the time counts in which the part plays") {
    const int rate = 48000;
    const auto steady = bands_of(rate, {test::sine(rate, 400, 0.2, rate * 4)});
    // Four seconds of forty, over noise 50 dB below.
    auto rare = test::sum(test::noise(5, 0.0005, rate * 40), test::burst(rate, 400, 0.2, rate * 40, rate * 11, rate * 4, 48));
    const auto part = bands_of(rate, {rare});
    CHECK(part.active_s == doctest::Approx(4).epsilon(0.05));
    for (std::size_t b = 0; b < part.power.size(); ++b) {
      if (steady.power[b] > 1e-4) CHECK(10 * std::log10(part.power[b] / steady.power[b]) == doctest::Approx(0).epsilon(0.2));
    }
  }

  TEST_CASE("pauses of zeros change nothing but the time") {
    const int rate = 48000;
    const auto noise = test::noise(2, 0.1, rate * 2);
    const auto part = test::concatenated({noise, test::silence(rate * 20), noise});
    const auto a = bands_of(rate, {part}, 4096), b = bands_of(rate, {part}, part.size());
    CHECK(a.power == b.power);
    CHECK(a.active_s == b.active_s);
    CHECK(a.active_s == doctest::Approx(4).epsilon(0.1));
  }

  TEST_CASE("silence has no bands with power, and the split into blocks does not show") {
    const auto silent = bands_of(48000, {test::silence(48000)});
    CHECK(silent.active_s == 0);
    for (const double power : silent.power) CHECK(power == 0);
    CHECK(PartSpectrum(48000, 2).finish().active_s == 0);
    const auto noise = test::noise(9, 0.3, 100000);
    CHECK(bands_of(48000, {noise, noise}, 100000).power == bands_of(48000, {noise, noise}, 777).power);
  }
}
