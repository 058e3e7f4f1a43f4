// Each reading against a closed form, and at its edges. Signals are formulas; see the standards tests for published ones.
#include <cmath>
#include <limits>
#include <optional>

#include <doctest/doctest.h>

#include "signals.h"
#include "standards/reading.h"

using namespace sendworthy;
using namespace sendworthy::test;

namespace {

constexpr int kRate = 48000;

Reading reals(const Channels& channels, const measure::PassOptions& options = {}, int rate = kRate) {
  return measured(real_source(rate, channels), options);
}
Reading codes(const Channels& channels, int bits = 24, int rate = kRate) { return measured(code_source(rate, bits, channels)); }

bool flag(const Reading& r, std::string_view key) {
  return std::get<bool>(std::get<Value>(r.measurement(key).outcome));
}
bool applicable(const Reading& r, std::string_view key) {
  return !std::holds_alternative<NotApplicable>(r.measurement(key).outcome);
}

// Low-passed noise in two channels that share `common` of their power: sound enough for every meter.
Channels music_like(std::int64_t frames, std::uint64_t seed = 1, double peak = 0.4) {
  Channels out{noise(seed, peak, frames), noise(seed + 1, peak, frames)};
  const auto shared = noise(seed + 2, peak, frames);
  double a = 0, b = 0;
  for (std::size_t n = 0; n < shared.size(); ++n) {
    a += 0.2 * (0.4 * out[0][n] + 0.6 * shared[n] - a);
    b += 0.2 * (0.4 * out[1][n] + 0.6 * shared[n] - b);
    out[0][n] = a, out[1][n] = b;
  }
  return out;
}

}  // namespace

TEST_SUITE("measure/levels") {
  TEST_CASE("peak, RMS, crest and DC of a sine with an offset") {
    const auto r = reals({sum(sine(kRate, 1000, 0.5, kRate * 2), constant(0.01, kRate * 2))});
    CHECK(r("sample_peak") == doctest::Approx(20 * std::log10(0.51)).epsilon(1e-4));
    CHECK(r("headroom") == doctest::Approx(-20 * std::log10(0.51)).epsilon(1e-4));
    CHECK(r("rms_level") == doctest::Approx(10 * std::log10(0.125 + 0.0001)).epsilon(1e-4));
    CHECK(r("crest_factor") == doctest::Approx(r("sample_peak") - r("rms_level")).epsilon(1e-6));
    CHECK(r("dc_offset") == doctest::Approx(1.0).epsilon(1e-3));
  }

  TEST_CASE("the worst second of DC stands in the note") {
    const auto r = reals({concatenated({silence(kRate * 3), constant(0.02, kRate), silence(kRate * 4)})});
    CHECK(r("dc_offset") == doctest::Approx(0.25).epsilon(1e-3));
    CHECK(r.measurement("dc_offset").note == "worst second: 2.000 %");
  }

  TEST_CASE("limited peaks are the share of 10 ms windows near the file's own peak") {
    auto x = silence(kRate);
    for (std::size_t w = 0; w < 100; ++w) x[w * 480 + 7] = w < 30 ? 0.5 : w < 50 ? 0.497 : 0.3;  // 0.497 is 0.05 dB down
    CHECK(reals({x})("limited_peaks") == doctest::Approx(50));
    CHECK(reals({scaled(x, 0.01)})("limited_peaks") == doctest::Approx(50));
  }

  TEST_CASE("the noise floor is that of the pause; dense sound, digital zero and fades have none") {
    const auto loud = noise(3, 0.5, kRate * 6), hiss = noise(4, 0.001 * std::sqrt(3.0), kRate * 4);
    const auto r = reals({concatenated({loud, hiss})});
    CHECK(r("noise_floor") == doctest::Approx(-60).epsilon(0.01));
    CHECK(!reals({loud}).measured("noise_floor"));
    CHECK(!reals({concatenated({loud, silence(kRate * 4)})}).measured("noise_floor"));
    auto fade = noise(5, 0.5, kRate * 8);
    for (std::size_t n = 0; n < fade.size() / 2; ++n)
      fade[fade.size() - 1 - n] *= std::pow(10.0, -80.0 * (1 - static_cast<double>(n) / (kRate * 4.0)) / 20);
    CHECK(!reals({fade}).measured("noise_floor"));
  }

  TEST_CASE("too short and silent are said, never read") {
    const auto nothing = reals({silence(kRate * 4), silence(kRate * 4)});
    for (const char* id : {"integrated_loudness", "max_momentary_loudness", "loudness_range", "true_peak", "sample_peak",
                           "rms_level", "crest_factor", "limited_peaks", "phase_correlation", "side_to_mid", "noise_floor",
                           "leading_silence", "a_weighted_level", "dual_mono"}) {
      CAPTURE(id);
      CHECK(!nothing.reason(id).empty());
    }
    CHECK(reals({sine(kRate, 1000, 0.5, 19199)}).reason("integrated_loudness").find("0.4 s") != std::string::npos);
    CHECK(reals({sine(kRate, 1000, 0.5, 19200)}).measured("integrated_loudness"));
    CHECK(!reals({sine(kRate, 1000, 0.5, kRate * 2)}).measured("max_short_term_loudness"));
    CHECK(reals({{0.5}})("sample_peak") == doctest::Approx(-6.0206).epsilon(1e-4));
  }

  TEST_CASE("mono says what two channels would read") {
    const auto tone = sine(kRate, 997, 0.1, kRate * 2);
    const auto mono = reals({tone}), stereo = reals({tone, tone});
    CHECK(stereo("integrated_loudness") - mono("integrated_loudness") == doctest::Approx(3.0103).epsilon(0.001));
    CHECK(mono.measurement("integrated_loudness").note.find("on two channels reads -20.") != std::string::npos);
  }

  TEST_CASE("surround weights: LFE does not count, side surrounds count 1.49 dB more, unknown layouts say so") {
    const auto tone = sine(kRate, 997, 0.1, kRate * 2), none = silence(kRate * 2);
    const auto at = [&](int channel, int channels) {
      Channels c(static_cast<std::size_t>(channels), none);
      c[static_cast<std::size_t>(channel)] = tone;
      return reals(c);
    };
    const double centre = at(2, 6)("integrated_loudness");
    CHECK(at(4, 6)("integrated_loudness") - centre == doctest::Approx(10 * std::log10(1.41)).epsilon(0.01));
    CHECK(!at(3, 6).measured("integrated_loudness"));
    CHECK(at(7, 8)("integrated_loudness") - centre == doctest::Approx(10 * std::log10(1.41)).epsilon(0.01));
    CHECK(at(5, 8)("integrated_loudness") - centre == doctest::Approx(0).scale(1).epsilon(0.01));
    CHECK(at(0, 3).measurement("integrated_loudness").note.find("layout unknown") != std::string::npos);
  }

  TEST_CASE("A-weighted level of 1 kHz is its plain level; of 100 Hz it is 19.1 dB less") {
    CHECK(reals({sine(kRate, 1000, 0.5, kRate * 4)})("a_weighted_level") == doctest::Approx(-9.03).epsilon(0.002));
    // IEC 61672-1 Table 3.
    CHECK(reals({sine(kRate, 100, 0.5, kRate * 4)})("a_weighted_level") == doctest::Approx(-9.03 - 19.1).epsilon(0.003));
  }
}

TEST_SUITE("measure/stereo") {
  TEST_CASE("identical, opposite, unrelated and quadrature channels") {
    const auto tone = sine(kRate, 100, 0.3, kRate * 4);
    const auto same = reals({tone, tone});
    CHECK(same("phase_correlation") == doctest::Approx(1));
    CHECK(same("mono_fold_loss") == doctest::Approx(0).scale(1));
    CHECK(same("side_to_mid") == -144);
    CHECK(same("side_level_low") == -144);
    CHECK(same.measurement("side_to_mid").note.find("at or below") == 0);
    CHECK(flag(same, "dual_mono"));
    CHECK(same("copied_channels") == 1);
    CHECK(!flag(same, "inverted_channel"));
    const auto opposite = reals({tone, scaled(tone, -1)});
    CHECK(opposite("phase_correlation") == doctest::Approx(-1));
    CHECK(opposite("min_phase_correlation") == doctest::Approx(-1));
    CHECK(opposite("low_phase_correlation") == doctest::Approx(-1));
    CHECK(opposite("mono_fold_loss") == 60);
    CHECK(opposite("mono_fold_loss_low") == 60);
    CHECK(flag(opposite, "inverted_channel"));
    const auto quadrature = reals({tone, sine(kRate, 100, 0.3, kRate * 4, std::numbers::pi / 2)});
    CHECK(quadrature("phase_correlation") == doctest::Approx(0).scale(1).epsilon(1e-6));
    CHECK(quadrature("mono_fold_loss") == doctest::Approx(3.0103).epsilon(0.001));
    CHECK(quadrature("mono_fold_loss_low") == doctest::Approx(3.0103).epsilon(0.01));
    CHECK(quadrature("side_to_mid") == doctest::Approx(0).scale(1).epsilon(0.001));
    const auto unrelated = reals({noise(1, 0.5, kRate * 4), noise(2, 0.5, kRate * 4)});
    CHECK(unrelated("mono_fold_loss") == doctest::Approx(3.01).epsilon(0.02));
  }

  TEST_CASE("hard-panned sound loses 3 LU in mono and has a silent channel") {
    const auto r = reals({noise(1, 0.5, kRate * 4), silence(kRate * 4)});
    CHECK(r("mono_fold_loss") == doctest::Approx(3.0103).epsilon(1e-3));
    CHECK(r("silent_channels") == 1);
    CHECK(!r.measured("phase_correlation"));
    CHECK(r("channel_balance") == 144);
  }

  TEST_CASE("balance is the gain between channels") {
    const auto x = noise(1, 0.5, kRate * 4);
    CHECK(reals({x, scaled(x, from_db(-2.5))})("channel_balance") == doctest::Approx(2.5).epsilon(1e-4));
    CHECK(reals({scaled(x, from_db(-2.5)), x})("channel_balance") == doctest::Approx(-2.5).epsilon(1e-4));
  }

  TEST_CASE("the lowest correlation has a place, and quiet windows do not count") {
    const auto x = noise(1, 0.5, kRate * 12);
    auto y = x;
    for (std::size_t n = kRate * 5; n < kRate * 9; ++n) y[n] = -x[n];
    const auto r = reals({x, y});
    CHECK(r("min_phase_correlation") == doctest::Approx(-1).epsilon(1e-6));
    CHECK(r.measurement("min_phase_correlation").where.at(0).start_s == doctest::Approx(5.0).epsilon(0.02));
    const auto quiet = scaled(x, 0.0005);
    CHECK(!reals({quiet, scaled(quiet, -1)}).measured("min_phase_correlation"));
  }

  TEST_CASE("the low band is only what lies below its edge, which a rule may move") {
    // 60 Hz the same on both sides, 200 Hz opposite.
    // Faded, since the click of a hard start reaches into every band.
    const auto low = faded(sine(kRate, 60, 0.3, kRate * 4), kRate), high = faded(sine(kRate, 200, 0.3, kRate * 4), kRate);
    measure::PassOptions options;
    options.requests = {{"side_level_low", {{"below_hz", 400.0}}}};
    const auto r = reals({sum(low, high), sum(low, scaled(high, -1))}, options);
    CHECK(r("low_phase_correlation") > 0.99);
    // 200 Hz through an eighth-order Butterworth at 120 Hz: 10 log10(1 + (200/120)^16) = 35.5 dB down; the bilinear transform
    // at 3 kHz makes the skirt 0.7 dB steeper there.
    CHECK(r("side_level_low") == doctest::Approx(-35.9).epsilon(0.015));
    CHECK(r("side_level_low(below_hz=400)") == doctest::Approx(0).scale(1).epsilon(0.02));
    CHECK(!applicable(reals({faded(sine(kRate, 5000, 0.3, kRate * 4), kRate), faded(sine(kRate, 5000, 0.2, kRate * 4), kRate)}), "low_phase_correlation"));
  }

  TEST_CASE("stereo questions do not apply to one channel or three") {
    for (const std::size_t channels : {1u, 3u}) {
      const auto r = reals(Channels(channels, noise(1, 0.5, kRate)));
      for (const char* id : {"phase_correlation", "min_phase_correlation", "low_phase_correlation", "mono_fold_loss",
                             "mono_fold_loss_low", "side_level_low", "side_to_mid", "channel_balance", "dual_mono",
                             "inverted_channel", "inter_channel_delay"})
        CHECK(!applicable(r, id));
    }
  }

  TEST_CASE("nearly the same is dual mono at 60 dB, not at 50") {
    const auto x = noise(1, 0.5, kRate), y = noise(2, 0.5, kRate);
    CHECK(flag(reals({x, sum(x, scaled(y, from_db(-56)))}), "dual_mono"));  // the side is half the difference
    CHECK(!flag(reals({x, sum(x, scaled(y, from_db(-44)))}), "dual_mono"));
  }

  TEST_CASE("copies among many channels are counted, silent ones are not copies of each other") {
    const auto a = noise(1, 0.5, kRate), b = noise(2, 0.5, kRate), none = silence(kRate);
    const auto r = codes({a, b, a, none, b, none});
    CHECK(r("copied_channels") == 2);
    CHECK(r.measurement("copied_channels").note == "channels 3 = 1, 5 = 2");
    CHECK(r("silent_channels") == 2);
    // Equal at first, different later, and the other way round.
    auto late = a, early = a;
    late.back() += 0.25, early.front() += 0.25;
    CHECK(codes({a, late, early})("copied_channels") == 0);
  }

  TEST_CASE("a copy among many channels is one with dither of its own, too") {
    const double step = 1.0 / 8388608;
    const auto a = noise(1, 0.5, kRate), b = noise(2, 0.5, kRate), none = silence(kRate);
    const auto moved = [&](Samples x, double by) {
      x[777] += by;
      return x;
    };
    const auto r = codes({a, b, moved(a, 3 * step), moved(none, step), none});
    CHECK(r("copied_channels") == 1);
    CHECK(r.measurement("copied_channels").note == "channels 3 = 1 but for dither");
    CHECK(codes({a, b, moved(a, 4 * step)})("copied_channels") == 0);
    CHECK(codes({scaled(a, 20 * step), b, scaled(a, 21 * step)})("copied_channels") == 0);
    CHECK(reals({a, b, moved(a, step)})("copied_channels") == 0);
  }

  TEST_CASE("a flipped side of a wide mix is known by its low end") {
    const auto low = sine(kRate, 60, 0.3, kRate * 4), mid = sine(kRate, 900, 0.2, kRate * 4);
    const auto one = scaled(sine(kRate, 3000, 0.2, kRate * 4), 0.5), other = scaled(sine(kRate, 5000, 0.2, kRate * 4), 0.5);
    const auto left = sum(sum(low, mid), one), right = sum(sum(low, mid), other);
    const auto flipped = reals({left, scaled(right, -1)});
    CHECK(flipped("phase_correlation") > -0.95);
    CHECK(std::get<bool>(std::get<Value>(flipped.measurement("inverted_channel").outcome)));
    CHECK_FALSE(std::get<bool>(std::get<Value>(reals({left, right}).measurement("inverted_channel").outcome)));
  }

  TEST_CASE("a flipped side of an ordinary stereo mix is found, bass included, and leaning mixes too") {
    // Side 9 dB and more under the middle: correlation (1 − s²)/(1 + s²) of the mix, the negative of it once flipped.
    const auto middle = noise(1, 0.5, kRate * 4), side = noise(2, 0.5, kRate * 4);
    for (const double under_db : {-9.0, -12.0, -16.0}) {
      for (const double lean_db : {0.0, 3.0}) {
        CAPTURE(under_db);
        CAPTURE(lean_db);
        const double s = from_db(under_db);
        const auto left = sum(middle, scaled(side, s)), right = scaled(sum(middle, scaled(side, -s)), from_db(-lean_db));
        const auto flipped = reals({left, scaled(right, -1)});
        CHECK(flipped("phase_correlation") == doctest::Approx(-(1 - s * s) / (1 + s * s)).epsilon(0.03));
        CHECK(flag(flipped, "inverted_channel"));
        CHECK(!flag(reals({left, right}), "inverted_channel"));
      }
    }
  }

  TEST_CASE("wide on purpose is no flipped channel") {
    const auto one = noise(1, 0.5, kRate * 4), other = noise(2, 0.5, kRate * 4);
    const auto bass = sine(kRate, 60, 0.1, kRate * 4), pad = sine(kRate, 900, 0.4, kRate * 4);
    CHECK(!flag(reals({one, other}), "inverted_channel"));
    // A widener turned far up: side over middle by 2.7 dB.
    const auto widened = reals({sum(scaled(one, 0.733), other), sum(scaled(one, 0.733), scaled(other, -1))});
    CHECK(widened("phase_correlation") == doctest::Approx(-0.3).epsilon(0.05));
    CHECK(!flag(widened, "inverted_channel"));
    // One pad whose sides are each other's negative, over a bass in the middle.
    const auto padded = reals({sum(bass, pad), sum(bass, scaled(pad, -1))});
    CHECK(padded("phase_correlation") < -0.85);
    CHECK(padded("low_phase_correlation") > 0.9);
    CHECK(!flag(padded, "inverted_channel"));
  }

  TEST_CASE("a delay between the channels is found to the sample") {
    for (const int rate : {44100, 48000, 96000}) {
      const auto left = music_like(rate * 4)[0];
      for (const int lag : {1, 12, 300, -7}) {
        for (const double polarity : {1.0, -1.0}) {
          auto right = silence(rate * 4);
          for (int n = 0; n < rate * 4; ++n) {
            const int from = n - lag;
            if (from >= 0 && from < rate * 4) right[static_cast<std::size_t>(n)] = polarity * left[static_cast<std::size_t>(from)];
          }
          CAPTURE(rate);
          CAPTURE(lag);
          CAPTURE(polarity);
          CHECK(reals({left, right}, {}, rate)("inter_channel_delay") == lag);
        }
      }
    }
    CHECK(reals(music_like(kRate * 4))("inter_channel_delay") == 0);
    CHECK(!applicable(reals({noise(1, 0.5, kRate * 4), noise(2, 0.5, kRate * 4)}), "inter_channel_delay"));
  }

  TEST_CASE("a delay of narrow stereo is found, also half-way between slow samples and at another level") {
    const auto middle = noise(1, 0.4, kRate * 4), side = noise(2, 0.4, kRate * 4);
    const auto left = sum(middle, scaled(side, 0.15)), right = sum(middle, scaled(side, -0.15));
    for (const int lag : {1, 2, 150, 500}) {
      auto late = silence(kRate * 4);
      std::copy(right.begin(), right.end() - lag, late.begin() + lag);
      CAPTURE(lag);
      CHECK(reals({left, late})("inter_channel_delay") == lag);
      CHECK(reals({left, scaled(late, 0.4)})("inter_channel_delay") == lag);
      CHECK(reals({scaled(late, -1), left})("inter_channel_delay") == -lag);
    }
  }

  TEST_CASE("a lag that attacks and bodies do not share is no delay between the channels") {
    // The treble is late, and steep enough to decide over the differences; the far louder low end is not.
    auto treble = noise(1, 0.2, kRate * 4);
    for (std::size_t n = treble.size() - 1; n > 0; --n) treble[n] -= treble[n - 1];
    auto body = noise(2, 0.5, kRate * 4);
    for (std::size_t n = 1; n < body.size(); ++n) body[n] = 0.99 * body[n - 1] + 0.1 * body[n];
    for (const int lag : {5, 62}) {
      auto late = silence(kRate * 4);
      std::copy(treble.begin(), treble.end() - lag, late.begin() + lag);
      CAPTURE(lag);
      const auto r = reals({sum(body, treble), sum(body, late)});
      CHECK((!applicable(r, "inter_channel_delay") || r("inter_channel_delay") == 0));
    }
  }
}

TEST_SUITE("measure/codes") {
  TEST_CASE("three equal codes at the ceiling with a step into them are a clip; two are not, a slow sine's top is not") {
    auto x = sine(kRate, 440, 0.5, kRate);
    x[1000] = x[1001] = 1.0;
    CHECK(codes({x})("clipped_runs") == 0);
    x[1002] = 1.0;
    x[5000] = x[5001] = x[5002] = x[5003] = -1.0;
    const auto r = codes({x, sine(kRate, 440, 0.5, kRate)});
    CHECK(r("clipped_runs") == 2);
    CHECK(r("clipped_samples") == 7);
    CHECK(r.measurement("clipped_runs").where.at(0).start_frame == 1000);
    CHECK(r.measurement("clipped_runs").where.at(0).end_frame == 1003);
    CHECK(r.measurement("clipped_runs").where.at(0).channel == 1);
    CHECK(codes({sine(kRate, 20, 1.0, kRate)}, 16)("clipped_runs") == 0);
    CHECK(codes({sine(kRate, 20, 0.9, kRate)}, 16)("flat_top_runs") == 0);
  }

  TEST_CASE("a step of 4 LSB into or out of a flat top is no clip, one of 5 is, wherever blocks and files begin and end") {
    const auto clips = [](int step_in, int step_out, std::size_t at, int lsb_bits) {
      auto x = scaled(noise(1, 0.1, 40000), 1.0);
      const double lsb = std::ldexp(1.0, 1 - lsb_bits), top = 1 - lsb;
      for (auto& v : x) v = std::nearbyint(v / lsb) * lsb;  // only the bits in use
      // Up to the ceiling and down again in steps of 4 LSB, so that only the steps named stand out.
      for (int k = 0; k < 100; ++k) {
        const auto down = [&](int first) { return top - (first + 4.0 * k) * lsb; };
        if (at >= 1 + static_cast<std::size_t>(k)) x[at - 1 - static_cast<std::size_t>(k)] = down(step_in);
        if (at + 3 + static_cast<std::size_t>(k) < x.size()) x[at + 3 + static_cast<std::size_t>(k)] = down(step_out);
      }
      for (std::size_t n = at; n < std::min(at + 3, x.size()); ++n) x[n] = top;
      return codes({x})("clipped_runs");
    };
    for (const int bits : {16, 20, 24}) {
      // 8192 frames are one block here; 64 one sub-block.
      for (const std::size_t at : {0u, 63u, 64u, 127u, 8190u, 8191u, 8192u, 8193u, 16384u, 39997u}) {
        CAPTURE(bits);
        CAPTURE(at);
        CHECK(clips(4, 4, at, bits) == 0);
        if (at > 0) CHECK(clips(5, 1, at, bits) == 1);
        if (at < 39997) CHECK(clips(1, 5, at, bits) == 1);
      }
      CHECK(clips(50, 50, 39998, bits) == 0);  // two samples are left of the file: too few
    }
  }

  TEST_CASE("a clip across the border of two blocks is one clip of its full length") {
    for (const std::size_t length : {3u, 64u, 200u, 9000u}) {
      for (const std::size_t at : {8192u - 2u, 8192u - 1u, 8192u, 64u - 2u}) {
        auto x = sine(kRate, 440, 0.5, kRate);
        for (std::size_t n = at; n < at + length; ++n) x[n] = -1.0;
        CAPTURE(length);
        CAPTURE(at);
        for (const auto& r : {codes({x, x}, 16), reals({x, x})}) {
          CHECK(r("clipped_runs") == 2);
          CHECK(r("clipped_samples") == 2.0 * static_cast<double>(length));
          CHECK(r.measurement("clipped_runs").where.at(1).start_frame == static_cast<std::int64_t>(at));
          CHECK(r.measurement("clipped_runs").where.at(1).end_frame == static_cast<std::int64_t>(at + length));
          CHECK(r.measurement("clipped_runs").where.at(1).channel == 2);
        }
      }
    }
  }

  TEST_CASE("clipped, then turned down is a flat top; padded 16-bit clips count as clips") {
    auto x = sine(kRate, 440, 1.0, kRate);
    for (auto& v : x) v = 0.7 * std::clamp(1.3 * v, -1.0, 1.0);
    const auto r = codes({x});
    CHECK(r("clipped_runs") == 0);
    CHECK(r("flat_top_runs") == doctest::Approx(880).epsilon(0.01));
    Samples padded = sine(kRate, 440, 0.5, kRate);
    for (auto& v : padded) v = std::nearbyint(v * 32768) / 32768;
    padded[100] = padded[101] = padded[102] = 32767.0 / 32768;
    CHECK(codes({padded})("clipped_runs") == 1);
  }

  TEST_CASE("float: equal values at or above full scale are clips, single overs are overs") {
    auto x = sine(kRate, 440, 0.5, kRate);
    x[10] = 1.5;
    x[20] = -1.2, x[21] = -1.3;
    x[30] = x[31] = x[32] = 1.0;
    const auto r = reals({x});
    CHECK(r("over_full_scale_samples") == 3);
    CHECK(r.measurement("over_full_scale_samples").where_total == 2);
    CHECK(r("clipped_runs") == 1);
    CHECK(codes({x})("over_full_scale_samples") == 0);
  }

  TEST_CASE("numbers that are none are counted, placed, and hide nothing") {
    const auto clean = music_like(kRate * 2);
    const double before = reals(clean)("integrated_loudness");
    for (const std::int64_t at : {std::int64_t{0}, std::int64_t{kRate}, std::int64_t{2 * kRate - 1}}) {
      auto broken = clean;
      broken[1][static_cast<std::size_t>(at)] = std::nan("");
      broken[0][static_cast<std::size_t>(at)] = std::numeric_limits<double>::infinity();
      const auto r = reals(broken);
      CHECK(r("non_finite_samples") == 2);
      CHECK(r.measurement("non_finite_samples").where.at(0).start_frame == at);
      CHECK(r("integrated_loudness") == doctest::Approx(before).epsilon(0.001));
      CHECK(std::isfinite(r("true_peak")));
    }
  }

  TEST_CASE("bits in use") {
    for (const int bits : {8, 12, 16, 20, 24}) {
      Samples x = noise(1, 0.9, kRate);
      const double steps = std::ldexp(1.0, bits - 1);
      for (auto& v : x) v = std::nearbyint(v * steps) / steps;
      CHECK(codes({x})("effective_bit_depth") == bits);
    }
    CHECK(!applicable(reals({noise(1, 0.9, kRate)}), "effective_bit_depth"));
  }

  TEST_CASE("integers in a float file and swapped bytes are seen") {
    const auto x = music_like(kRate * 2, 1, 0.9);
    CHECK(!flag(reals(x), "implausible_scale"));
    CHECK(flag(reals({scaled(x[0], 32768)}), "implausible_scale"));
    CHECK(flag(reals({scaled(x[0], 1e-42)}), "implausible_scale"));
    const auto sound = sum(sine(kRate, 440, 0.5, kRate * 2), noise(9, 0.05, kRate * 2));
    audio::OpenedFile file;
    file.source = std::make_unique<audio::CodeSource>(
        audio::plain_format(kRate, 1, audio::SampleKind::integer, 16), kRate * 2,
        [&](std::int64_t first, std::int64_t frames, std::int32_t* out) {
          for (auto n = first; n < first + frames; ++n) {
            const auto v = static_cast<std::uint32_t>(code(sound[static_cast<std::size_t>(n)], 16));
            *out++ = static_cast<std::int32_t>((v >> 24) << 16 | (v >> 16 & 0xFF) << 24);
          }
        });
    CHECK(flag(measured(std::move(file)), "byte_order_suspect"));
    CHECK(!flag(codes(x, 16), "byte_order_suspect"));
    // Honest noise at full scale stays noise when its bytes are swapped.
    CHECK(!flag(codes({noise(1, 1.0, kRate * 2)}, 16), "byte_order_suspect"));
  }

  TEST_CASE("swapped bytes and unsigned samples are seen in every word length, with room before and behind, soft or loud") {
    enum class Wrong { nothing, order, sign };
    const auto suspect = [](const Samples& x, int bits, Wrong wrong) {
      audio::OpenedFile file;
      file.source = std::make_unique<audio::CodeSource>(
          audio::plain_format(kRate, 1, audio::SampleKind::integer, bits), static_cast<std::int64_t>(x.size()),
          [=](std::int64_t first, std::int64_t frames, std::int32_t* out) {
            for (auto n = first; n < first + frames; ++n) {
              const auto v = static_cast<std::uint32_t>(code(x[static_cast<std::size_t>(n)], bits));
              std::uint32_t turned = 0;
              for (int byte = 0; byte < bits / 8; ++byte) turned |= (v >> (24 - 8 * byte) & 0xFF) << (32 - bits + 8 * byte);
              *out++ = static_cast<std::int32_t>(wrong == Wrong::order ? turned : wrong == Wrong::sign ? v ^ 0x80000000u : v);
            }
          });
      return flag(measured(std::move(file)), "byte_order_suspect");
    };
    for (const double peak : {0.03, 0.9}) {
      const auto song = music_like(kRate * 2, 1, peak)[0];
      const auto room = sum(concatenated({silence(kRate / 3), song, silence(kRate * 3 / 2)}), noise(8, 1e-4, kRate / 3 + kRate * 7 / 2));
      for (const int bits : {16, 24, 32}) {
        CAPTURE(peak);
        CAPTURE(bits);
        for (const auto& x : {song, room}) {
          CHECK(!suspect(x, bits, Wrong::nothing));
          CHECK(suspect(x, bits, Wrong::order));
          CHECK(suspect(x, bits, Wrong::sign));
        }
      }
    }
    // Noise, what has leaps only, eight bits in a longer word, and silence.
    const auto square_wave = [](double peak) { return square(kRate, 220, peak, kRate * 2); };
    auto crushed = music_like(kRate * 2, 1, 0.5)[0];
    for (auto& v : crushed) v = std::nearbyint(v * 128) / 128;
    for (const auto& x : {noise(1, 0.05, kRate * 2), square_wave(1), square_wave(0.9), square_wave(0.3),
                          sum(square_wave(0.9), noise(5, 1e-4, kRate * 2)), crushed, silence(kRate)}) {
      for (const int bits : {16, 24, 32}) CHECK(!suspect(x, bits, Wrong::nothing));
    }
  }
}

TEST_SUITE("measure/edges") {
  TEST_CASE("silence at head and tail, to the sample, with digital zero in the note") {
    const auto hiss = scaled(noise(1, 1, 24000), 0.0005);  // −66 dBFS: not yet sound
    const auto x = concatenated({silence(4800), hiss, noise(2, 0.5, kRate * 2), hiss, silence(9600)});
    const auto r = reals({x});
    CHECK(r("leading_silence") == doctest::Approx(0.6).epsilon(1e-3));
    CHECK(r("trailing_silence") == doctest::Approx(0.7).epsilon(1e-3));
    CHECK(r.measurement("leading_silence").note.find("digital zero for 0.100 s") != std::string::npos);
    CHECK(r.measurement("trailing_silence").note.find("digital zero for 0.200 s") != std::string::npos);
    measure::PassOptions options;
    options.requests = {{"leading_silence", {{"threshold_dbfs", -80.0}}}};
    CHECK(reals({x}, options)("leading_silence(threshold_dbfs=-80)") == doctest::Approx(0.1).epsilon(1e-3));
  }

  TEST_CASE("a first or last sample that stands out is a click, one in the wave's own movement is none") {
    // A tone that starts at its crest: 0.5, with steps of 0.014 at most behind it.
    const auto crest = sine(kRate, 220, 0.5, kRate, std::numbers::pi / 2), rising = sine(kRate, 220, 0.5, kRate);
    const auto backwards = Samples(crest.rbegin(), crest.rend());
    CHECK(reals({concatenated({crest, silence(100)})})("start_step") == doctest::Approx(to_db(0.5)).epsilon(1e-3));
    CHECK(reals({concatenated({silence(100), backwards})})("end_step") == doctest::Approx(to_db(0.5)).epsilon(1e-3));
    CHECK(reals({concatenated({crest, silence(100)})})("end_step") == -144);
    CHECK(reals({rising})("start_step") == -144);
    CHECK(reals({noise(1, 0.5, kRate)})("start_step") == -144);
    CHECK(reals({concatenated({silence(1), crest})})("start_step") == -144);
    const auto second = reals({rising, crest});
    CHECK(second("start_step") == doctest::Approx(to_db(0.5)).epsilon(1e-3));
    CHECK(second.measurement("start_step").where.at(0).channel == 2);
    // One frame alone has no movement beside it.
    CHECK(reals({{0.25}})("start_step") == doctest::Approx(to_db(0.25)).epsilon(1e-3));
  }

  TEST_CASE("above a noisy floor the threshold follows it") {
    const auto hiss = noise(1, 0.003, kRate * 3);  // about −55 dBFS RMS, peaks at −50
    const auto r = reals({concatenated({hiss, noise(2, 0.5, kRate * 6), hiss})});
    CHECK(r("noise_floor") > -66);
    CHECK(r("leading_silence") == doctest::Approx(3).epsilon(0.002));
    CHECK(r("trailing_silence") == doctest::Approx(3).epsilon(0.002));
    CHECK(r.measurement("leading_silence").note.find("above the noise floor") != std::string::npos);
  }
}
