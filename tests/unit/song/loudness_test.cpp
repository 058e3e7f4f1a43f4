// Loudness over time against the published signals, and windows in which a part plays.
#include <doctest/doctest.h>

#include <cmath>
#include <numbers>
#include <vector>

#include "song/loudness.h"
#include "song/mix_meter.h"

using namespace sendworthy;
using namespace sendworthy::song;

namespace {

constexpr int kRate = 48000;

struct Tone {
  double seconds, peak_dbfs;
};

/// 1 kHz in both channels, level by level, through the meter in blocks of no round length.
Loudness measured(const std::vector<Tone>& tones, int rate = kRate, double hz = 1000) {
  std::vector<float> row;
  for (const auto& tone : tones) {
    const double peak = std::pow(10, tone.peak_dbfs / 20);
    const auto end = row.size() + static_cast<std::size_t>(tone.seconds * rate);
    while (row.size() < end) row.push_back(static_cast<float>(peak * std::sin(2 * std::numbers::pi * hz * static_cast<double>(row.size()) / rate)));
  }
  LoudnessMeter meter(rate, 2);
  for (std::size_t at = 0; at < row.size(); at += 7001) {
    const float* rows[2] = {row.data() + at, row.data() + at};
    meter.push(rows, static_cast<std::int64_t>(std::min<std::size_t>(7001, row.size() - at)));
  }
  return meter.take();
}

double integrated_of(const std::vector<Tone>& tones, int rate = kRate) {
  const auto loudness = measured(tones, rate);
  return integrated(loudness, {0, loudness.size()}).value_or(0);
}

}  // namespace

TEST_SUITE("song/loudness") {
  TEST_CASE("integrated loudness of the minimum-requirement signals (EBU Tech 3341 (2023), Table 1, cases 1 to 5), within 0.1 LU") {
    for (const int rate : {44100, 48000, 96000}) {
      CAPTURE(rate);
      CHECK(std::abs(integrated_of({{20, -23}}, rate) + 23) <= 0.1);
      CHECK(std::abs(integrated_of({{20, -33}}, rate) + 33) <= 0.1);
      CHECK(std::abs(integrated_of({{10, -36}, {60, -23}, {10, -36}}, rate) + 23) <= 0.1);
      CHECK(std::abs(integrated_of({{10, -72}, {10, -36}, {60, -23}, {10, -36}, {10, -72}}, rate) + 23) <= 0.1);
      CHECK(std::abs(integrated_of({{20, -26}, {20.1, -20}, {20, -26}}, rate) + 23) <= 0.1);
    }
  }

  TEST_CASE("a stretch stands for itself: its own gates, its own windows") {
    const auto loudness = measured({{10, -40}, {10, -20}, {10, -150}});
    CHECK(*integrated(loudness, steps_between(0, 10, loudness.size())) == doctest::Approx(-40).epsilon(0.002));
    CHECK(*integrated(loudness, steps_between(10, 20, loudness.size())) == doctest::Approx(-20).epsilon(0.002));
    CHECK_FALSE(integrated(loudness, steps_between(21, 30, loudness.size())).has_value());
    CHECK_FALSE(integrated(loudness, steps_between(10, 10.3, loudness.size())).has_value());
    CHECK_FALSE(integrated(loudness, steps_between(40, 50, loudness.size())).has_value());
    CHECK(*max_short_term(loudness, {0, loudness.size()}) == doctest::Approx(-20).epsilon(0.002));
    CHECK_FALSE(max_short_term(loudness, {0, 29}).has_value());
  }

  TEST_CASE("a part plays from 20 LU under its own loudness until 26 LU under it") {
    // −23, then 19, 22 and 27 LU softer, then 22 LU softer again: on, on, on (it was), off, off (it was not).
    const auto loudness = measured({{20, -20}, {3, -39}, {3, -42}, {3, -47}, {3, -42}});
    const auto active = active_windows(loudness);
    REQUIRE(active.size() == loudness.size() - 3);
    for (const std::size_t step : {100U, 210U, 245U}) CHECK(active[step]);
    for (const std::size_t step : {275U, 305U}) CHECK_FALSE(active[step]);
    CHECK(active_windows(measured({{5, -150}})).empty());
  }

  TEST_CASE("one part over another, over windows of the one: arithmetic on power means") {
    const auto part = measured({{4, -20}, {4, -150}, {4, -26}}), other = measured({{4, -30}, {4, -10}, {4, -30}});
    const auto active = active_windows(part);
    const auto all = against(part, other, active, {0, active.size()});
    REQUIRE(all.has_value());
    // Windows reach 0.3 s into the pause; what plays loudly in there counts there only.
    const auto first = against(part, other, active, windows_between(0, 3.5, active.size())), last = against(part, other, active, windows_between(8.5, 12, active.size()));
    CHECK(first->difference_lu == doctest::Approx(10).epsilon(0.001));
    CHECK(last->difference_lu == doctest::Approx(4).epsilon(0.001));
    CHECK(first->seconds == doctest::Approx(3.6).epsilon(0.06));
    CHECK_FALSE(against(part, other, active, windows_between(5, 7, active.size())).has_value());
    CHECK_FALSE(against(part, measured({{12, -160}}), active, {0, active.size()}).has_value());
  }

  TEST_CASE("what lies beyond a border counts for none of both sides, to the window") {
    const auto part = measured({{2, -32}, {2, -20}, {2, -32}}), other = measured({{6, -20}});
    const auto active = active_windows(part);
    for (const auto& [start_s, wanted] : {std::pair{0.0, -12.0}, {2.0, 0.0}, {4.0, -12.0}}) {
      const double from_s = start_s;
      CAPTURE(from_s);
      const auto here = against(part, other, active, windows_between(from_s, from_s + 2, active.size()));
      REQUIRE(here.has_value());
      CHECK(std::abs(here->difference_lu - wanted) < 0.05);
    }
    CHECK(windows_between(1, 1.4, 100).count() == 1);
    CHECK(windows_between(1, 1.39, 100).count() == 0);
    CHECK(windows_between(9.8, 20, 100).count() == 2);
  }

  TEST_CASE("of a mix: what lies below 120 Hz, side against mid, and the true peak, by known tones") {
    std::vector<float> left, right;
    for (int n = 0; n < 4 * kRate; ++n) {
      const double t = static_cast<double>(n) / kRate;
      const double low = 0.5 * std::sin(2 * std::numbers::pi * 60 * t), high = 0.25 * std::sin(2 * std::numbers::pi * 1000 * t);
      left.push_back(static_cast<float>(low + high)), right.push_back(static_cast<float>(low - high));
    }
    MixMeter meter(kRate, 2);
    for (std::size_t at = 0; at < left.size(); at += 10007) {
      const float* rows[2] = {left.data() + at, right.data() + at};
      meter.push(rows, static_cast<std::int64_t>(std::min<std::size_t>(10007, left.size() - at)));
    }
    const auto mix = meter.finish();
    const Steps steps{5, 35};
    // Powers of 60 Hz and 1 kHz stand 4 to 1: low share −0.97 dB, side (1 kHz) to mid (60 Hz) −6.02 dB.
    CHECK(*low_share(mix, steps) == doctest::Approx(10 * std::log10(0.8)).epsilon(0.01));
    CHECK(*side_to_mid(mix, steps) == doctest::Approx(-6.02).epsilon(0.002));
    CHECK(*true_peak(mix, steps) == doctest::Approx(20 * std::log10(0.75)).epsilon(0.05));
    CHECK(mix.true_peak.size() == mix.all.size());
    CHECK(mix.loudness.size() == 40);
  }
}
