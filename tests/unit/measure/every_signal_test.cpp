// What must hold on any signal whatever, and closed forms at every rate and channel count.
#include <doctest/doctest.h>

#include <cmath>
#include <limits>
#include <set>
#include <string>
#include <utility>
#include <vector>

#include "signals.h"
#include "standards/reading.h"

using namespace sendworthy;
using namespace sendworthy::test;

namespace {

measure::PassResult pass(std::unique_ptr<audio::Source> source) {
  auto file = as_file(std::move(source));
  measure::Crew crew(1);
  auto result = measure::run_pass(file, {}, crew);
  REQUIRE(result.has_value());
  return *result;
}

/// Invariants of any result: every reading is a number, every missing one says why, places lie in the file, and figures
/// that are defined through each other agree.
void check_sound(const measure::PassResult& result, int channels) {
  for (const auto& m : result.measurements) {
    CAPTURE(m.key);
    if (const auto value = number(m.outcome)) {
      CHECK(std::isfinite(*value));
    } else if (const auto* missing = std::get_if<NotMeasured>(&m.outcome)) {
      CHECK(!missing->reason.empty());
    } else if (const auto* not_so = std::get_if<NotApplicable>(&m.outcome)) {
      CHECK(!not_so->reason.empty());
    }
    CHECK((m.channels.empty() || m.channels.size() == static_cast<std::size_t>(channels)));
    for (const auto& channel : m.channels) CHECK((!channel || std::isfinite(*channel)));
    for (const char* word : {"nan", "inf "}) CHECK(m.note.find(word) == std::string::npos);
    CHECK(static_cast<std::int64_t>(m.where.size()) <= m.where_total);
    for (const auto& where : m.where) {
      CHECK(where.start_frame >= 0);
      CHECK(where.end_frame >= where.start_frame);
      CHECK(where.end_frame <= result.frames);
      CHECK(where.channel >= 0);
      CHECK(where.channel <= channels);
    }
  }
  const Reading r(result);
  const auto both = [&](const char* a, const char* b) { return r.measured(a) && r.measured(b); };
  if (both("true_peak", "sample_peak")) CHECK(r("true_peak") >= r("sample_peak") - 1e-6);
  if (both("rms_level", "sample_peak")) CHECK(r("rms_level") <= r("sample_peak") + 1e-4);
  if (both("headroom", "sample_peak")) CHECK(r("headroom") == doctest::Approx(-r("sample_peak")));
  if (r.measured("crest_factor")) CHECK(r("crest_factor") >= -1e-4);
  if (both("max_momentary_loudness", "max_short_term_loudness"))
    CHECK(r("max_momentary_loudness") >= r("max_short_term_loudness") - 1e-3);
  if (both("max_momentary_loudness", "integrated_loudness"))
    CHECK(r("max_momentary_loudness") >= r("integrated_loudness") - 1e-3);
  if (r.measured("peak_to_loudness_ratio"))
    CHECK(r("peak_to_loudness_ratio") == doctest::Approx(r("true_peak") - r("integrated_loudness")));
  for (const char* id : {"phase_correlation", "min_phase_correlation", "low_phase_correlation"})
    if (r.measured(id)) CHECK(std::abs(r(id)) <= 1);
  for (const char* id : {"mono_fold_loss", "mono_fold_loss_low"}) {
    if (!r.measured(id)) continue;
    CHECK(r(id) >= 0);
    CHECK(r(id) <= 60);
  }
  if (r.measured("limited_peaks")) CHECK(r("limited_peaks") > 0);
  if (both("leading_silence", "trailing_silence")) CHECK(r("leading_silence") + r("trailing_silence") < r("duration"));
  CHECK(r("frames") == static_cast<double>(result.frames));
}

std::vector<std::pair<std::string, Samples>> odd_signals(std::int64_t frames) {
  const double nan = std::nan(""), infinity = std::numeric_limits<double>::infinity();
  std::vector<std::pair<std::string, Samples>> list{{"silence", silence(frames)},
                                                    {"noise", noise(1, 0.5, frames)},
                                                    {"constant", constant(0.25, frames)},
                                                    {"full scale", constant(1.0, frames)},
                                                    {"lowest code", constant(-1.0, frames)},
                                                    {"smallest step", constant(1.0 / 8388608, frames)},
                                                    {"NaN only", constant(nan, frames)},
                                                    {"infinite only", constant(-infinity, frames)},
                                                    {"denormal", constant(1e-310, frames)},
                                                    {"huge", constant(1e300, frames)},
                                                    {"very loud noise", noise(2, 1e6, frames)},
                                                    {"very soft noise", noise(3, 1e-9, frames)}};
  Samples alternating = silence(frames), mixed = noise(4, 0.5, frames);
  for (std::size_t n = 0; n < alternating.size(); ++n) alternating[n] = n % 2 == 0 ? 1.0 : -1.0;
  mixed.front() = nan, mixed.back() = infinity;
  list.emplace_back("half the rate", std::move(alternating));
  list.emplace_back("noise between NaN and infinity", std::move(mixed));
  list.emplace_back("one sample at the end", impulse(frames, frames - 1, 0.5));
  return list;
}

}  // namespace

TEST_SUITE("measure/every signal") {
  TEST_CASE("whatever the samples are, every reading is a number or says why it is none") {
    for (const std::int64_t frames : {1, 2, 63, 64, 65, 480, 19199, 19200, 30000}) {
      for (const auto& [name, samples] : odd_signals(frames)) {
        for (const int channels : {1, 2, 3}) {
          if (channels == 3 && frames != 19200) continue;
          const auto& name_here = name;
          CAPTURE(name_here);
          CAPTURE(frames);
          CAPTURE(channels);
          check_sound(pass(real_source(48000, Channels(static_cast<std::size_t>(channels), samples))), channels);
          if (!std::isfinite(samples.front()) || !std::isfinite(samples.back())) continue;
          check_sound(pass(code_source(48000, frames % 2 == 0 ? 16 : 24,
                                       Channels(static_cast<std::size_t>(channels), samples))),
                      channels);
        }
      }
    }
  }

  TEST_CASE("two channels of different odd signals, each against each") {
    const auto list = odd_signals(24000);
    for (const auto& [left_name, left] : list) {
      for (const auto& [right_name, right] : list) {
        const auto& left_name_here = left_name;
        CAPTURE(left_name_here);
        const auto& right_name_here = right_name;
        CAPTURE(right_name_here);
        check_sound(pass(real_source(48000, {left, right})), 2);
      }
    }
  }

  TEST_CASE("a tone reads the same at every rate") {
    // 997 Hz at -20 dBFS in both channels: -20.00 LUFS (BS.1770-5 Annex 1), true peak -20 (definition), RMS -23.01,
    // A-weighted -23.01 + 3.01 + 0.0 (IEC 61672-1 Table 3). Half a second of digital zero ahead, a quarter behind.
    for (const int rate : {8000, 11025, 22050, 32000, 44100, 48000, 88200, 96000, 192000, 384000}) {
      CAPTURE(rate);
      const auto tone = faded(sine(rate, 997, 0.1, rate * 4), rate / 100);
      const auto x = concatenated({silence(rate / 2), tone, silence(rate / 4)});
      const auto result = pass(real_source(rate, {x, scaled(x, -1)}));
      check_sound(result, 2);
      const Reading r(result);
      CHECK(std::abs(r("max_short_term_loudness") + 20) < 0.01);
      CHECK(std::abs(r("max_momentary_loudness") + 20) < 0.01);
      CHECK(std::abs(r("true_peak") + 20) < 0.05);
      CHECK(std::abs(r("sample_peak") + 20) < (rate < 16000 ? 0.1 : 0.02));
      CHECK(std::abs(r("rms_level") - (-23.01 + 10 * std::log10(4.0 * 0.9975 / 4.75))) < 0.05);
      CHECK(std::abs(r("a_weighted_level") - (r("rms_level") + 3.01)) < 0.03);
      CHECK(r("phase_correlation") == doctest::Approx(-1));
      CHECK(r("channel_balance") == doctest::Approx(0).scale(1));
      CHECK(r("leading_silence") == doctest::Approx(static_cast<double>(rate / 2) / rate).epsilon(0.004));
      CHECK(r("trailing_silence") == doctest::Approx(static_cast<double>(rate / 4) / rate).epsilon(0.008));
      CHECK(std::get<bool>(std::get<Value>(r.measurement("inverted_channel").outcome)));
    }
  }

  TEST_CASE("every channel counts, wherever it stands among many") {
    for (const int channels : {1, 2, 3, 4, 5, 6, 7, 8, 11}) {
      for (int at = 0; at < channels; ++at) {
        CAPTURE(channels);
        CAPTURE(at);
        Channels x(static_cast<std::size_t>(channels), noise(5, 0.01, 24000));
        x[static_cast<std::size_t>(at)][12000] = -0.75;
        x[static_cast<std::size_t>(at)][20000] = 1.25;
        const auto result = pass(real_source(48000, x));
        check_sound(result, channels);
        const Reading r(result);
        CHECK(r("sample_peak") == doctest::Approx(to_db(1.25)).epsilon(1e-5));
        CHECK(r.measurement("sample_peak").where.at(0).start_frame == 20000);
        CHECK(r.measurement("sample_peak").where.at(0).channel == (channels == 1 ? 0 : at + 1));
        CHECK(r("over_full_scale_samples") == 1);
        CHECK(r.measurement("over_full_scale_samples").where.at(0).channel == (channels == 1 ? 0 : at + 1));
        if (channels > 1) CHECK(r("copied_channels") == channels - 2);
        if (channels > 1)
          CHECK(r.measurement("sample_peak").channels.at(static_cast<std::size_t>(at)) ==
                doctest::Approx(to_db(1.25)).epsilon(1e-5));
      }
    }
  }

  TEST_CASE("loudness begins at 400 ms and short-term loudness at 3 s, at every rate") {
    for (const int rate : {8000, 11025, 22050, 44100, 48000, 88200, 96000, 192000, 384000}) {
      CAPTURE(rate);
      const auto reads = [&](std::int64_t frames, const char* id) {
        return measured(real_source(rate, {sine(rate, 997, 0.5, frames)})).measured(id);
      };
      CHECK(!reads(rate * 399 / 1000, "integrated_loudness"));
      CHECK(reads((rate * 4 + 9) / 10, "integrated_loudness"));
      CHECK(!reads(rate * 3 - rate / 100, "max_short_term_loudness"));
      CHECK(reads(rate * 3, "max_short_term_loudness"));
      CHECK(reads(rate * 3, "loudness_range"));
    }
  }

  TEST_CASE("a delay is found at every rate, also where the slow copy is coarse") {
    for (const int rate : {8000, 11025, 22050, 32000, 88200, 192000, 384000}) {
      auto left = noise(6, 0.8, rate * 2);
      for (std::size_t n = 1; n < left.size(); ++n) left[n] = 0.7 * left[n - 1] + 0.3 * left[n];
      for (const int lag : {12, -100}) {
        Samples right(left.size(), 0);
        for (int n = 0; n < rate * 2; ++n) {
          if (n - lag >= 0 && n - lag < rate * 2)
            right[static_cast<std::size_t>(n)] = left[static_cast<std::size_t>(n - lag)];
        }
        CAPTURE(rate);
        CAPTURE(lag);
        CHECK(measured(code_source(rate, 24, {left, right}))("inter_channel_delay") == lag);
      }
    }
  }
}

TEST_SUITE("measure/stereo edges") {
  TEST_CASE("a channel that holds nothing but an offset is unrelated to anything") {
    // Its variance is zero, or what rounding leaves of it, which must not pass for sound.
    const auto sound = noise(7, 0.5, 150000);
    measure::PassOptions only;
    only.only = {"phase_correlation", "sample_peak", "integrated_loudness", "silent_channels"};
    for (int step = 1; step <= 40; ++step) {
      const double offset = step == 40 ? -1.0 / 32768 : 0.0237 * step;
      CAPTURE(offset);
      const auto r = measured(real_source(48000, {sound, constant(offset, 150000)}), only);
      REQUIRE(r.reason("phase_correlation") == "a channel holds nothing but a constant offset");
      REQUIRE(!r.measured("min_phase_correlation"));
      REQUIRE(!std::get<bool>(std::get<Value>(r.measurement("inverted_channel").outcome)));
    }
    // An offset under sound, however far, is another matter.
    const auto r = measured(real_source(48000, {sum(scaled(sound, 0.001), constant(0.5, 150000)), sound}));
    CHECK(r("phase_correlation") == doctest::Approx(1).epsilon(1e-4));
  }

  TEST_CASE("channels that are the same but for broken numbers at the same places are copies") {
    // Every other meter sees 0 in place of NaN and infinities.
    auto x = noise(8, 0.5, 48000);
    x[100] = std::nan(""), x[200] = std::numeric_limits<double>::infinity();
    const Reading same(pass(real_source(48000, {x, x})));
    CHECK(same("copied_channels") == 1);
    CHECK(same.measurement("dual_mono").note == "identical to the bit");
    const Reading flipped(pass(real_source(48000, {x, scaled(x, -1)})));
    CHECK(flipped.measurement("inverted_channel").note == "to the bit");
  }

  TEST_CASE("channels that differ by less than a 32-bit float can tell are nearly the same") {
    const auto x = noise(8, 0.5, 48000);
    const Reading r(pass(real_source(48000, {x, sum(x, constant(1e-12, 48000))})));
    CHECK(r.measurement("dual_mono").note == "nearly: the difference lies more than 144 dB under the sum");
  }

  TEST_CASE("a flip at export turns the lowest code into the highest: still inverted to the bit, at any depth") {
    for (const int bits : {8, 16, 24, 32}) {
      auto x = sine(48000, 440, 0.7, 48000);
      x[500] = -1.0;
      const auto r = measured(code_source(48000, bits, {x, scaled(x, -1)}));
      CAPTURE(bits);
      CHECK(std::get<bool>(std::get<Value>(r.measurement("inverted_channel").outcome)));
      CHECK(r.measurement("inverted_channel").note == "to the bit");
    }
  }

  TEST_CASE("a silent channel's threshold is the rule's") {
    measure::PassOptions options;
    options.requests = {{"silent_channels", {{"threshold_dbfs", -50.0}}}};
    const auto r = measured(real_source(48000, {noise(9, 0.5, 48000), noise(10, 0.001, 48000)}), options);
    CHECK(r("silent_channels") == 0);
    CHECK(r("silent_channels(threshold_dbfs=-50)") == 1);
  }
}
