// Where the spectrum ends, images, whistles, hum, steps of the floor and a metronome: made by formula, read back.
#include <cmath>
#include <numbers>

#include <doctest/doctest.h>

#include "faults/defects.h"
#include "signals.h"
#include "standards/reading.h"

using namespace sendworthy;
using namespace sendworthy::test;

namespace {

constexpr int kRate = 48000, kTaps = 600;

Reading reals(const Channels& channels, int rate = kRate) { return measured(real_source(rate, channels)); }
std::string text(const Reading& r, std::string_view key) { return std::get<std::string>(std::get<Value>(r.measurement(key).outcome)); }

// Faint noise of a converter under everything.
Samples with_floor(const Samples& x) { return sum(x, noise(77, 2e-6, length(x))); }

}  // namespace

TEST_SUITE("measure/spectral") {
  TEST_CASE("bandwidth reads where noise was cut, at any rate") {
    for (const int rate : {44100, 48000, 96000}) {
      const auto full = noise(1, 0.3, rate * 3);
      CAPTURE(rate);
      CHECK(reals({full}, rate)("bandwidth") == doctest::Approx(rate / 2.0));
      for (const double hz : {8000.0, 12000.0, 16000.0, 20000.0}) {
        CAPTURE(hz);
        CHECK(std::abs(reals({with_floor(low_passed(full, hz, rate, kTaps))}, rate)("bandwidth") - hz) <= 520);
      }
    }
  }

  TEST_CASE("a wall is evidence of a lossy codec or of a lower rate, by where it stands") {
    const auto full = noise(2, 0.3, kRate * 4);
    CHECK(text(reals({full}), "lossy_source") == "none");
    CHECK(text(reals({full}), "upsampled_source") == "none");
    const auto coded = reals({with_floor(low_passed(full, 16000, kRate, kTaps))});
    // However steep and constant, an end alone may be a low-pass that was meant.
    CHECK(text(coded, "lossy_source") == "some");
    CHECK(text(coded, "upsampled_source") == "none");
    CHECK(std::stod(coded.measurement("lossy_source").note.substr(8)) == doctest::Approx(16).epsilon(0.02));
    const auto up = reals({with_floor(low_passed(full, 21800, kRate, kTaps))});
    CHECK(text(up, "lossy_source") == "none");
    CHECK(text(up, "upsampled_source") == "strong");
    CHECK(up.measurement("upsampled_source").note.find("44.1 kHz") != std::string::npos);
    CHECK(up.measurement("upsampled_source").note.find("or") == std::string::npos);
    const auto wide = noise(3, 0.3, 96000 * 4);
    // Converters that begin at 0.92 of half the old rate, and those that let through what lies just above it.
    for (const double hz : {20300.0, 22100.0, 22600.0, 24900.0}) {
      CAPTURE(hz);
      const auto r = reals({with_floor(low_passed(wide, hz, 96000, kTaps))}, 96000);
      CHECK(text(r, "upsampled_source") == "strong");
    }
    for (const double hz : {19000.0, 26800.0, 41000.0}) {
      CAPTURE(hz);
      CHECK(text(reals({with_floor(low_passed(wide, hz, 96000, kTaps))}, 96000), "upsampled_source") != "strong");
    }
    // At 48 kHz, an end at 20.3 kHz may be a codec's.
    CHECK(text(reals({with_floor(low_passed(full, 20300, kRate, kTaps))}), "upsampled_source") == "none");
    CHECK(text(reals({with_floor(low_passed(wide, 23800, 96000, kTaps))}, 96000), "upsampled_source") == "strong");
    CHECK(text(reals({wide}, 96000), "upsampled_source") == "none");
    // Dark: a gentle slope has no wall, and no highs have nothing to show.
    Samples dark = full;
    double a = 0;
    for (auto& v : dark) a += 0.3 * (v - a), v = a;
    CHECK(text(reals({dark}), "lossy_source") == "none");
    CHECK(!reals({sine(kRate, 300, 0.3, kRate * 4)}).measured("lossy_source"));
    CHECK(!reals({silence(kRate * 4)}).measured("lossy_source"));
    CHECK(!reals({noise(1, 0.3, 4000)}).measured("lossy_source"));
  }

  TEST_CASE("an end with holes below it is strong evidence of a codec, holes or an end alone are some") {
    const auto full = noise(2, 0.3, kRate * 4);
    for (const double hz : {12000.0, 16000.0, 19000.0}) {
      CAPTURE(hz);
      const auto low = low_passed(full, hz, kRate, kTaps);
      CHECK(text(reals({with_floor(low)}), "lossy_source") == "some");
      const auto coded = reals({with_floor(with_holes(low, kRate))});
      CHECK(text(coded, "lossy_source") == "strong");
      CHECK(coded.measurement("lossy_source").note.find(" holes in the highs below") != std::string::npos);
      // One sound in both channels or in one, and at another rate.
      const auto sound = with_floor(with_holes(low, kRate));
      CHECK(text(reals({sound, sound}), "lossy_source") == "strong");
      CHECK(text(reals({sound, silence(length(sound))}), "lossy_source") == "strong");
    }
    const auto wide = low_passed(noise(3, 0.3, 96000 * 4), 16000, 96000, kTaps);
    CHECK(text(reals({with_floor(with_holes(wide, 96000))}, 96000), "lossy_source") == "strong");
    // Holes without an end in the place of a codec's are no strong evidence.
    CHECK(text(reals({with_floor(with_holes(full, kRate))}), "lossy_source") == "none");
    CHECK(text(reals({with_floor(with_holes(low_passed(full, 21800, kRate, kTaps), kRate))}), "lossy_source") == "some");
  }

  TEST_CASE("gaps in time, gaps in frequency and strokes are no holes") {
    const auto low = low_passed(noise(2, 0.3, kRate * 4), 16000, kRate, kTaps);
    const auto grade = [](const Samples& x) { return text(reals({with_floor(x)}), "lossy_source"); };
    // All of it is away for 30 ms again and again; only thin overtones; strokes that die away.
    Samples gated = low, strokes = low, tones = silence(kRate * 4);
    for (std::size_t n = 0; n < low.size(); ++n) {
      gated[n] *= n % 9600 < 1500 ? 0 : 1;
      strokes[n] *= std::exp(-static_cast<double>(n % 4800) / 600);
    }
    for (int k = 1; k * 880 < 16000; ++k) tones = sum(tones, sine(kRate, k * 880.0, 0.1 / k, kRate * 4));
    CHECK(grade(gated) == "some");
    CHECK(grade(strokes) == "some");
    CHECK(grade(tones) != "strong");
    // A notch that stays.
    const auto upper = low_passed(low, 9300, kRate, kTaps), lower = low_passed(low, 8700, kRate, kTaps);
    Samples notched = low;
    for (std::size_t n = 0; n < low.size(); ++n) notched[n] -= upper[n] - lower[n];
    CHECK(grade(notched) == "some");
  }

  TEST_CASE("packaged music is native and lossless, as it is; between its frames a straight line leaves images") {
    const Reading r(measured(code_source(kRate, 24, music().channels)));
    CHECK(text(r, "lossy_source") == "none");
    CHECK(text(r, "upsampled_source") == "none");
    CHECK(text(r, "imaging") == "none");
    CHECK(r("steady_tones") == 0);
    Channels doubled = music().channels;
    for (auto& channel : doubled) {
      for (std::size_t n = 1; n + 1 < channel.size(); n += 2) channel[n] = (channel[n - 1] + channel[n + 1]) / 2;
    }
    const Reading poor(measured(code_source(kRate, 24, doubled)));
    CHECK(text(poor, "imaging") == "strong");
    CHECK(text(poor, "upsampled_source") == "strong");
    CHECK(poor.measurement("imaging").note.find("12.000 kHz") != std::string::npos);
  }

  TEST_CASE("a whistle through the whole file is one tone, with its frequency and level; a passing one is none") {
    const auto base = scaled(low_passed(noise(4, 1, kRate * 8), 6000, kRate, kTaps), 0.3);
    CHECK(reals({base})("steady_tones") == 0);
    const auto r = reals({sum(base, sine(kRate, 15625, from_db(-70), kRate * 8))});
    CHECK(r("steady_tones") == 1);
    CHECK(r.measurement("steady_tones").note == "15627 Hz at -73 dBFS");
    CHECK(reals({sum(base, concatenated({sine(kRate, 15625, from_db(-70), kRate * 4), silence(kRate * 4)}))})("steady_tones") == 0);
  }

  TEST_CASE("a whistle that bright music covers most of the time is found where it is heard") {
    const auto loud = scaled(noise(14, 1, kRate * 7), 0.3), soft = noise(15, 1e-4, kRate * 2);
    const auto base = concatenated({loud, soft});
    CHECK(reals({base})("steady_tones") == 0);
    const auto whistle = sine(kRate, 12000, from_db(-60), kRate * 9);
    CHECK(reals({sum(base, whistle)})("steady_tones") == 1);
    // Never heard: the music lies over it throughout.
    CHECK(reals({sum(concatenated({loud, loud}), sine(kRate, 12000, from_db(-60), kRate * 14))})("steady_tones") == 0);
    // A tone that is away where it would be heard is none.
    const auto gaps = concatenated({soft, soft, soft});
    CHECK(reals({sum(gaps, concatenated({sine(kRate, 12000, from_db(-60), kRate * 3), silence(kRate * 3)}))})("steady_tones") == 0);
    CHECK(!reals({sum(loud, silence(kRate * 7))}, kRate * 2).measured("steady_tones"));
  }

  TEST_CASE("overtones of a held note are not told from whistles; over changing notes a whistle is") {
    const auto note = [](double hz, std::int64_t frames) {
      Samples x = silence(frames);
      for (int k = 1; k * hz < 12000; ++k) x = sum(x, sine(kRate, k * hz, 0.2 / k, frames));
      return x;
    };
    const auto held = reals({with_floor(note(440, kRate * 8))});
    CHECK(!held.measured("steady_tones"));
    Samples tune;
    for (const double hz : {440.0, 493.88, 523.25, 392.0, 349.23, 329.63, 293.66, 261.63}) tune = concatenated({tune, note(hz, kRate)});
    CHECK(reals({with_floor(tune)})("steady_tones") == 0);
    CHECK(reals({with_floor(sum(tune, sine(kRate, 15625, from_db(-60), length(tune))))})("steady_tones") == 1);
  }

  TEST_CASE("overtones that happen to be alike on both sides of a mirror are no image") {
    // 183 times this note is 24 kHz: its overtones lie mirrored at 12 kHz, and at every multiple of half the note.
    Samples x = noise(16, 1e-5, kRate * 4);
    for (int k = 1; k < 182; ++k) x = sum(x, sine(kRate, k * 24000.0 / 183, 0.3 / k, length(x)));
    CHECK(text(reals({x}), "imaging") == "none");
  }

  TEST_CASE("hum is read in the pauses, and not where there are none") {
    const auto loud = scaled(noise(5, 1, kRate * 6), 0.3), room = noise(6, 1e-3, kRate * 5);
    const auto file = concatenated({loud, room});
    const auto hum = [&](double mains, double level) {
      return sum(sum(file, sine(kRate, mains, level, length(file))), sine(kRate, 2 * mains, 0.7 * level, length(file)));
    };
    CHECK(reals({file})("mains_hum") < 10);
    const auto fifty = reals({hum(50, 1e-3)}), sixty = reals({hum(60, 1e-3)});
    CHECK(fifty("mains_hum") > 20);
    CHECK(fifty.measurement("mains_hum").note == "of 50 Hz mains: 50 and 100 Hz");
    CHECK(sixty.measurement("mains_hum").note == "of 60 Hz mains: 60 and 120 Hz");
    // Ten decibels more hum, ten more over the room.
    CHECK(reals({hum(50, from_db(-50))})("mains_hum") - reals({hum(50, from_db(-60))})("mains_hum") == doctest::Approx(10).epsilon(0.05));
    CHECK(reals({hum(50, 1e-3), silence(length(file))})("mains_hum") > 20);
    // Bass notes beside it: G1 and B1 in twelve-tone equal temperament.
    for (const double note : {48.9994, 61.7354}) CHECK(reals({sum(file, sine(kRate, note, 1e-3, length(file)))})("mains_hum") < 12);
    CHECK(!reals({loud}).measured("mains_hum"));
    CHECK(!reals({concatenated({loud, silence(kRate * 5)})}).measured("mains_hum"));
  }

  TEST_CASE("a leap of the noise in a pause is one step, a decay is none") {
    const auto loud = scaled(noise(7, 1, kRate * 4), 0.3);
    const auto soft = noise(8, 2e-3, kRate * 2), softer = noise(9, 5e-4, kRate * 2);
    const auto r = reals({concatenated({loud, soft, softer, loud})});
    CHECK(r("noise_floor_steps") == 1);
    CHECK(r.measurement("noise_floor_steps").where.at(0).start_s == doctest::Approx(6).epsilon(0.05));
    CHECK(reals({concatenated({loud, soft, soft, loud})})("noise_floor_steps") == 0);
    Samples decay = loud;
    for (std::size_t n = 0; n < decay.size(); ++n) decay[n] *= std::pow(10.0, -4.0 * static_cast<double>(n) / static_cast<double>(decay.size()));
    CHECK(!reals({concatenated({loud, decay})}).measured("noise_floor_steps"));
    CHECK(!reals({loud}).measured("noise_floor_steps"));
  }

  TEST_CASE("a metronome in the pauses is counted with its tempo") {
    const auto loud = scaled(noise(10, 1, kRate * 4), 0.3);
    auto room = noise(11, 1e-4, kRate * 8);
    CHECK(text(reals({concatenated({loud, room})}), "click_bleed") == "none");
    for (std::size_t at = 12000; at + 4800 < room.size(); at += 24000) {
      for (std::size_t n = 0; n < 240; ++n) room[at + n] += 0.008 * std::sin(0.3 * static_cast<double>(n)) * std::exp(-static_cast<double>(n) / 60);
    }
    const auto r = reals({concatenated({loud, room})});
    CHECK(text(r, "click_bleed").find("every 0.5") != std::string::npos);
    CHECK(text(r, "click_bleed").find("(120 a minute)") != std::string::npos);
    CHECK(!reals({loud}).measured("click_bleed"));
  }

  TEST_CASE("a dull click in hiss is followed from pause to pause, as long as it keeps its grid") {
    const auto loud = scaled(noise(12, 1, kRate * 28 / 10), 0.3);
    // Three pauses, with clicks every 0.7 s; in the second and the third they may be late.
    const auto pauses = [&](double seconds, bool clicks, double second_s, double third_s) {
      const auto room = noise(13, 3e-4, static_cast<std::int64_t>(seconds * kRate));
      auto x = concatenated({room, loud, room, loud, room});
      for (double at_s = 0.2; clicks && at_s + 0.1 < static_cast<double>(x.size()) / kRate; at_s += 0.7) {
        const double late_s = at_s < seconds + 1.4 ? 0 : at_s < 2 * seconds + 4.2 ? second_s : third_s;
        const auto at = static_cast<std::size_t>((at_s + late_s) * kRate);
        for (std::size_t n = 0; n < 576 && at + n < x.size(); ++n)
          x[at + n] += 2e-3 * std::sin(0.157 * static_cast<double>(n)) * std::exp(-static_cast<double>(n) / 115);
      }
      return text(reals({x}), "click_bleed");
    };
    CHECK(pauses(2.5, false, 0, 0) == "none");
    CHECK(pauses(2.5, true, 0, 0).find("every 0.700 s") != std::string::npos);
    CHECK(pauses(2.5, true, 0.2, 0.45) == "none");
    // Two clicks in each pause make six, when all of them stand on one grid.
    CHECK(pauses(1.4, true, 0, 0).substr(0, 8) == "6 clicks");
    CHECK(pauses(1.4, true, 0.025, 0) == "none");
  }
}
