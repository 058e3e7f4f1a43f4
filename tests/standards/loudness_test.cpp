// Loudness against the signals the standards publish, at every rate they are made at, and against libebur128 on the
// same signals. Tolerances of ±0.1 LU and ±1 LU: EBU Tech 3341 (2023) and Tech 3342 (2023), Table 1 each.
#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>

#include "check/test_signals.h"
#include "dsp/biquad.h"
#include "signals.h"
#include "standards/plain_loudness.h"
#include "standards/reading.h"
#include "standards/reference_meter.h"

using namespace sendworthy;
using sendworthy::test::measured;

namespace {

constexpr int kRates[] = {44100, 48000, 96000};

double k_gain_db(double frequency_hz, int sample_rate) {
  return test::to_db(dsp::magnitude(dsp::k_weighting(sample_rate), frequency_hz, sample_rate));
}

test::ReferenceReading reference(const signals::Signal& signal, int modes, double hop_s = 0.1) {
  const auto source = signals::play(signal);
  return test::reference_reading(*source, modes, std::llround(hop_s * signal.format.sample_rate));
}

}  // namespace

TEST_SUITE_BEGIN("standards/loudness");

TEST_CASE("K-weighting at 48 kHz is the two filters of BS.1770-5, digit by digit") {
  // ITU-R BS.1770-5, Annex 1, Tables 1 and 2.
  const auto k = dsp::k_weighting(48000);
  CHECK(k[0].b0 == doctest::Approx(1.53512485958697).epsilon(1e-12));
  CHECK(k[0].b1 == doctest::Approx(-2.69169618940638).epsilon(1e-12));
  CHECK(k[0].b2 == doctest::Approx(1.19839281085285).epsilon(1e-12));
  CHECK(k[0].a1 == doctest::Approx(-1.69065929318241).epsilon(1e-12));
  CHECK(k[0].a2 == doctest::Approx(0.73248077421585).epsilon(1e-12));
  CHECK(k[1].b0 == doctest::Approx(1.0).epsilon(1e-12));
  CHECK(k[1].b1 == doctest::Approx(-2.0).epsilon(1e-12));
  CHECK(k[1].b2 == doctest::Approx(1.0).epsilon(1e-12));
  CHECK(k[1].a1 == doctest::Approx(-1.99004745483398).epsilon(1e-12));
  CHECK(k[1].a2 == doctest::Approx(0.99007225036621).epsilon(1e-12));
}

TEST_CASE("K-weighting has the gains of its printed filters") {
  // Computed from Tables 1 and 2 by an independent program.
  CHECK(std::abs(k_gain_db(997, 48000) - 0.6910) < 0.001);
  CHECK(std::abs(k_gain_db(38, 48000) + 6.003) < 0.005);
  CHECK(std::abs(k_gain_db(100, 48000) + 1.134) < 0.005);
  CHECK(std::abs(k_gain_db(1000, 48000) - 0.698) < 0.005);
  CHECK(std::abs(k_gain_db(2000, 48000) - 3.071) < 0.005);
  CHECK(std::abs(k_gain_db(10000, 48000) - 4.042) < 0.005);
}

TEST_CASE("K-weighting has the same response at 44.1 and 96 kHz as at 48 kHz") {
  // ITU-R BS.1770-5, Annex 1: coefficients "should be chosen to provide the same frequency response".
  for (const int rate : {44100, 96000}) {
    for (double frequency_hz = 20; frequency_hz <= 20000; frequency_hz *= 1.1) {
      CAPTURE(rate);
      CAPTURE(frequency_hz);
      CHECK(std::abs(k_gain_db(frequency_hz, rate) - k_gain_db(frequency_hz, 48000)) < 0.03);
    }
  }
}

TEST_CASE("997 Hz at full scale reads -3.01 in one channel and 0.00 in two") {
  // ITU-R BS.1770-5, Annex 1: -3.01 LKFS in left, centre or right; two equal powers add 3.01.
  for (const int rate : kRates) {
    CAPTURE(rate);
    const double tolerance = rate == 48000 ? 0.005 : 0.02;  // the printed filter is one for 48 kHz
    CHECK(std::abs(measured(signals::calibration_tone(rate, 1, 0))("integrated_loudness") + 3.01) < tolerance);
    CHECK(std::abs(measured(signals::calibration_tone(rate, 2, 0))("integrated_loudness") + 3.01) < tolerance);
    CHECK(std::abs(measured(signals::calibration_tone(rate, 2, 1))("integrated_loudness") + 3.01) < tolerance);
    CHECK(std::abs(measured(signals::calibration_tone(rate, 6, 2))("integrated_loudness") + 3.01) < tolerance);
    CHECK(std::abs(measured(signals::calibration_tone(rate, 2, -1))("integrated_loudness")) < tolerance);
  }
}

TEST_CASE("surrounds count 1.49 dB more, the low-frequency channel not at all") {
  // ITU-R BS.1770-5, Annex 1, Table 3: weight 1.41 = 1.492 dB; LFE not included.
  CHECK(std::abs(measured(signals::calibration_tone(48000, 6, 4))("integrated_loudness") + 3.01 - 1.492) < 0.005);
  CHECK(std::abs(measured(signals::calibration_tone(48000, 6, 5))("integrated_loudness") + 3.01 - 1.492) < 0.005);
  CHECK_FALSE(measured(signals::calibration_tone(48000, 6, 3)).measured("integrated_loudness"));
}

TEST_CASE("the alignment tone of Tech 3341 reads -18") {
  // EBU Tech 3341 (2023), clause 2.9.
  for (const int rate : kRates)
    CHECK(std::abs(measured(signals::tech_3341_alignment_tone(rate))("integrated_loudness") + 18) <= 0.1);
}

TEST_CASE("Tech 3341 cases 1 and 2 read M, S and I") {
  for (const int rate : kRates) {
    for (const int number : {1, 2}) {
      CAPTURE(rate);
      CAPTURE(number);
      const double expected_lufs = number == 1 ? -23 : -33;
      const auto reading = measured(signals::tech_3341(number, rate), {.timelines = true});
      CHECK(std::abs(reading("integrated_loudness") - expected_lufs) <= 0.1);
      CHECK(std::abs(reading("max_momentary_loudness") - expected_lufs) <= 0.1);
      CHECK(std::abs(reading("max_short_term_loudness") - expected_lufs) <= 0.1);
      for (const auto* id : {"momentary", "short_term"}) {
        for (const float value : reading.timeline(id).values) {
          if (std::isfinite(value)) CHECK(std::abs(value - expected_lufs) <= 0.1);
        }
      }
    }
  }
}

TEST_CASE("Tech 3341 cases 3 to 6 read I, as libebur128 does") {
  for (const int rate : kRates) {
    for (const int number : {3, 4, 5, 6}) {
      CAPTURE(rate);
      CAPTURE(number);
      const auto signal = signals::tech_3341(number, rate);
      const double read_lufs = measured(signal)("integrated_loudness");
      CHECK(std::abs(read_lufs + 23) <= 0.1);
      if (rate == 48000) CHECK(std::abs(read_lufs - reference(signal, EBUR128_MODE_I).integrated_lufs) < 0.01);
    }
  }
}

TEST_CASE("the exact algorithm reads the values computed from the formulas") {
  // Computed from ITU-R BS.1770-5 in double precision at 48 kHz by an independent program.
  const std::pair<int, double> rows[] = {{1, -22.993}, {2, -32.993}, {3, -23.014},
                                         {4, -23.014}, {5, -22.979}, {6, -23.016}};
  for (const auto& [number, expected_lufs] : rows) {
    const auto& number_here = number;
    CAPTURE(number_here);
    CHECK(std::abs(measured(signals::tech_3341(number, 48000))("integrated_loudness") - expected_lufs) < 0.002);
  }
}

TEST_CASE("a meter without the relative gate would fail Tech 3341 cases 3 and 4") {
  // Mutation check, formula of ITU-R BS.1770-5: -24.16 and -24.19 when the relative gate is left out.
  const std::pair<int, double> rows[] = {{3, -24.16}, {4, -24.19}};
  for (const auto& [number, ungated_lufs] : rows) {
    const auto& number_here = number;
    CAPTURE(number_here);
    const auto signal = signals::tech_3341(number, 48000);
    CHECK(std::abs(test::plain_integrated_lufs(signal, test::Gates::no_relative) - ungated_lufs) <= 0.05);
    const double gated_lufs = test::plain_integrated_lufs(signal, test::Gates::both);
    CHECK(std::abs(measured(signal)("integrated_loudness") - gated_lufs) < 0.002);
  }
}

TEST_CASE("a meter without the absolute gate would fail a signal of our own") {
  // Formula of ITU-R BS.1770-5: -23.03, and -25.85 when the gate at -70 LUFS is left out.
  const auto signal = signals::absolute_gate_tone(48000);
  CHECK(std::abs(test::plain_integrated_lufs(signal, test::Gates::no_absolute) + 25.85) <= 0.05);
  CHECK(std::abs(test::plain_integrated_lufs(signal, test::Gates::both) + 23.03) <= 0.05);
  for (const int rate : kRates)
    CHECK(std::abs(measured(signals::absolute_gate_tone(rate))("integrated_loudness") + 23.03) <= 0.1);
}

TEST_CASE("Tech 3341 case 9 holds short-term loudness constant after 3 s, case 12 momentary loudness after 1 s") {
  for (const int rate : kRates) {
    CAPTURE(rate);
    const auto check_line = [&](int number, const char* id, double from_s) {
      const auto reading = measured(signals::tech_3341(number, rate), {.timelines = true});
      const auto& line = reading.timeline(id);
      REQUIRE(line.step_s == doctest::Approx(0.1));
      std::size_t checked = 0;
      for (std::size_t i = 0; i < line.values.size(); ++i) {
        if (line.start_s + static_cast<double>(i + 1) * line.step_s < from_s - 1e-6) continue;
        CHECK(std::abs(line.values[i] + 23) <= 0.1);
        ++checked;
      }
      CHECK(checked > 80);
    };
    check_line(9, "short_term", 3);
    check_line(12, "momentary", 1);
    CHECK(std::abs(measured(signals::tech_3341(9, rate))("max_short_term_loudness") + 23) <= 0.1);
    CHECK(std::abs(measured(signals::tech_3341(12, rate))("max_momentary_loudness") + 23) <= 0.1);
  }
}

TEST_CASE("Tech 3341 cases 10 and 13 read the maximum of every segment") {
  for (const int rate : kRates) {
    for (int i = 0; i < 20; ++i) {
      CAPTURE(rate);
      CAPTURE(i);
      const auto at = static_cast<std::size_t>(i);
      CHECK(std::abs(measured(signals::tech_3341_segments(10, rate)[at])("max_short_term_loudness") + 23) <= 0.1);
      // A momentary window on a 100 ms grid would read down to -23.45 here.
      CHECK(std::abs(measured(signals::tech_3341_segments(13, rate)[at])("max_momentary_loudness") + 23) <= 0.1);
    }
  }
}

TEST_CASE("Tech 3341 cases 11 and 14 read the running maximum as every tone has ended") {
  for (const int number : {11, 14}) {
    for (int i = 0; i < 20; ++i) {
      CAPTURE(number);
      CAPTURE(i);
      auto signal = signals::tech_3341(number, 48000);  // from its start to the end of tone i
      signal.frames = std::llround(signals::tech_3341_segment_end_s(number, i) * 48000);
      const auto reading = measured(signal);
      CHECK(std::abs(reading(number == 11 ? "max_short_term_loudness" : "max_momentary_loudness") - (-38.0 + i)) <=
            0.1);
    }
  }
}

TEST_CASE("Tech 3342 cases 1 to 4 read the loudness range, and the exact algorithm to the hundredth") {
  const double expected_lu[] = {10, 5, 20, 15};
  for (const int rate : kRates) {
    for (int number = 1; number <= 4; ++number) {
      CAPTURE(rate);
      CAPTURE(number);
      const double read_lu = measured(signals::tech_3342(number, rate))("loudness_range");
      CHECK(std::abs(read_lu - expected_lu[number - 1]) <= 1);
      // Computed: the algorithm of clause 5 on exact signals gives whole numbers.
      CHECK(std::abs(read_lu - expected_lu[number - 1]) <= 0.05);
    }
  }
}

TEST_CASE("the loudness range does not change when the signal is played twice") {
  // EBU Tech 3342 (2023), clause 4: independent of the length of the signal.
  const auto part = [](double dbfs, int seconds) {
    return test::noise(static_cast<std::uint64_t>(seconds), test::from_db(dbfs), seconds * 48000);
  };
  const auto once = test::concatenated({part(-20, 12), part(-26, 8), part(-30, 9), part(-38, 14), part(-24, 11)});
  const auto twice = test::concatenated({once, once});
  const double once_lu = measured(test::real_source(48000, {once, once}))("loudness_range");
  const double twice_lu = measured(test::real_source(48000, {twice, twice}))("loudness_range");
  CHECK(once_lu > 10);
  CHECK(std::abs(once_lu - twice_lu) <= 0.1);
}

TEST_CASE("silence and files under 400 ms have no integrated loudness, and say why") {
  // ITU-R BS.1770-5, Annex 1: no block passes the gate; incomplete blocks are not used.
  const auto silence = test::silence(5 * 48000);
  auto reading = measured(test::real_source(48000, {silence, silence}));
  CHECK_FALSE(reading.measured("integrated_loudness"));
  CHECK(reading.reason("integrated_loudness").find("silent") != std::string::npos);
  for (const int rate : kRates) {
    CAPTURE(rate);
    const auto tone = test::sine(rate, 1000, 0.5, rate * 399 / 1000);
    reading = measured(test::real_source(rate, {tone, tone}));
    CHECK_FALSE(reading.measured("integrated_loudness"));
    CHECK(reading.reason("integrated_loudness").find("short") != std::string::npos);
    const auto longer = test::sine(rate, 1000, 0.5, rate * 400 / 1000);
    CHECK(measured(test::real_source(rate, {longer, longer})).measured("integrated_loudness"));
  }
}

TEST_CASE("seeded noise of changing level reads as on libebur128, mono to 5.1") {
  for (const int channels : {1, 2, 6}) {
    CAPTURE(channels);
    test::Channels signal;
    for (int c = 0; c < channels; ++c) {
      std::vector<test::Samples> parts;
      for (int i = 0; i < 12; ++i) {
        const auto seed = static_cast<std::uint64_t>(100 * c + i);
        parts.push_back(test::noise(seed, test::from_db(-12 - 5 * (i * 7 % 5)), 48000 * (i % 3 + 1)));
      }
      signal.push_back(test::concatenated(parts));
    }
    const auto source = test::real_source(48000, signal);
    const auto second = test::reference_reading(*source, EBUR128_MODE_I | EBUR128_MODE_M, 480);
    const auto reading = measured(test::real_source(48000, signal));
    CHECK(std::abs(reading("integrated_loudness") - second.integrated_lufs) < 0.02);
    CHECK(std::abs(reading("max_momentary_loudness") - second.max_momentary_lufs) < 0.02);
  }
}

TEST_SUITE_END();
