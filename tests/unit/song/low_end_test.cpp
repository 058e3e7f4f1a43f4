// Kick against bass: what follows by arithmetic from tones, and packaged drums at times that are known.
#include <doctest/doctest.h>
#include <sndfile.h>

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <numbers>
#include <span>
#include <stdexcept>
#include <string>
#include <vector>

#include "signals.h"
#include "song/low_end.h"

using namespace sendworthy;
using namespace sendworthy::song;
using test::Channels;
using test::Samples;

namespace {

struct Song {
  int rate = 48000;
  Channels mix, kick, bass;
};

LowEndReading measured(const Song& song, double below_hz = 100, std::size_t block = 4096) {
  std::vector<std::vector<float>> rows;
  for (const auto* part : {&song.mix, &song.kick, &song.bass})
    for (const auto& channel : *part) rows.emplace_back(channel.begin(), channel.end());
  std::size_t frames = 0;
  for (const auto& row : rows) frames = std::max(frames, row.size());
  for (auto& row : rows) row.resize(frames);
  LowEndMeter meter(song.rate, below_hz,
                    {static_cast<int>(song.mix.size()), static_cast<int>(song.kick.size()), static_cast<int>(song.bass.size())});
  for (std::size_t at = 0; at < frames; at += block) {
    std::vector<const float*> pointers;
    for (const auto& row : rows) pointers.push_back(row.data() + at);
    const std::span<const float* const> all(pointers);
    meter.take(all.first(song.mix.size()), all.subspan(song.mix.size(), song.kick.size()), all.last(song.bass.size()),
               static_cast<int>(std::min(block, frames - at)));
  }
  return meter.finish();
}

// Ten seconds of bursts of 0.3 s every 0.5 s, cut out of one tone so that the phase goes on.
Samples bursts(int rate, double hz, double peak) {
  auto tone = test::sine(rate, hz, peak, rate * 10LL);
  const auto length = static_cast<std::size_t>(0.3 * rate), fade = static_cast<std::size_t>(0.02 * rate), gap = static_cast<std::size_t>(0.5 * rate);
  for (std::size_t n = 0; n < tone.size(); ++n) {
    const auto in = n % gap;
    double gain = in < length ? 1 : 0;
    if (in < fade) gain = 0.5 - 0.5 * std::cos(std::numbers::pi * static_cast<double>(in) / static_cast<double>(fade));
    if (in < length && in + fade > length) gain = 0.5 - 0.5 * std::cos(std::numbers::pi * static_cast<double>(length - in) / static_cast<double>(fade));
    tone[n] *= gain;
  }
  return tone;
}

Samples packaged(const std::string& name, int& rate) {
  SF_INFO info{};
  SNDFILE* file = sf_open(("/usr/share/sonic-pi/samples/" + name + ".flac").c_str(), SFM_READ, &info);
  if (file == nullptr) throw std::runtime_error("cannot read " + name + ": install the package sonic-pi-samples");
  Samples all(static_cast<std::size_t>(info.frames * info.channels)), left;
  sf_readf_double(file, all.data(), info.frames);
  sf_close(file);
  for (std::size_t n = 0; n < all.size(); n += static_cast<std::size_t>(info.channels)) left.push_back(all[n]);
  rate = info.samplerate;
  return left;
}

// The sample at each time, with whatever it leaves behind.
Samples pattern(const Samples& sample, int rate, const std::vector<double>& times, double seconds) {
  auto out = test::silence(static_cast<std::int64_t>(seconds * rate));
  for (std::size_t i = 0; i < times.size(); ++i) {
    const auto from = static_cast<std::size_t>(std::llround(times[i] * rate));
    const double gain = i % 3 == 1 ? 0.7 : 1;
    for (std::size_t n = 0; n < sample.size() && from + n < out.size(); ++n) out[from + n] += gain * sample[n];
  }
  return out;
}

// Crotchets and quavers at 100 beats a minute, with a semiquaver now and then; not on a grid of whole milliseconds.
std::vector<double> beats(double shortest) {
  std::vector<double> times;
  const double steps[] = {0.6, 0.6, 0.3, 0.45, 0.15, 0.9, 0.3, 0.3};
  double at = 0.41237;
  for (std::size_t i = 0; at < 19; ++i) {
    times.push_back(at);
    at += std::max(shortest, steps[i % 8]);
  }
  return times;
}

}  // namespace

TEST_SUITE("song/low_end") {
  TEST_CASE("levels at the hits are those of the tones, at every rate") {
    for (const int rate : {8000, 11025, 22050, 44100, 48000, 96000, 192000}) {
      CAPTURE(rate);
      // Half amplitude and a quarter: mean squares of −9.03 and −15.05 dB. Over 30 ms both have whole periods of power.
      const auto found = measured({rate, {}, {bursts(rate, 50, 0.5)}, {test::sine(rate, 200.0 / 3, 0.25, rate * 10LL)}});
      REQUIRE(found.hits.size() == 20);
      for (std::size_t i = 1; i < 19; ++i) {
        const auto& hit = found.hits[i];
        CHECK(std::abs(hit.at_s - static_cast<double>(i) * 0.5) < 0.015);  // the fade is slow
        CHECK(std::abs(hit.kick_db + 9.031) < 0.1);
        CHECK(std::abs(hit.bass_db + 15.051) < 0.02);
        CHECK_FALSE(hit.free);
      }
      REQUIRE(found.kick_over_bass);
      CHECK(std::abs(found.kick_over_bass->median_db - 6.02) < 0.1);
      CHECK(found.kick_over_bass->below_zero == 0);
      CHECK(found.kick_over_bass->hits == 20);
      CHECK(found.measured_s == doctest::Approx(10));
    }
  }

  TEST_CASE("what lies above the frequency does not count, what lies below counts whole") {
    const int rate = 48000;
    const auto kick = bursts(rate, 50, 0.5), bass = test::sine(rate, 200.0 / 3, 0.25, rate * 10LL);
    const auto plain = measured({rate, {}, {kick}, {bass}});
    const auto above = measured({rate, {}, {kick}, {test::sum(bass, test::sine(rate, 151, 1, rate * 10LL))}});
    CHECK(above.kick_over_bass->median_db == doctest::Approx(plain.kick_over_bass->median_db).epsilon(0.0001));
    const auto lower = measured({rate, {}, {kick}, {bass}}, 44);  // 66.7 Hz lies behind the end of the flank at 66 Hz
    CHECK(lower.hits[10].bass_db < -110);
    CHECK(lower.hits[10].free);
  }

  TEST_CASE("a kick that is 3 dB softer moves the median by 3.00 dB") {
    int rate = 0;
    const auto bass = packaged("bass_hit_c", rate);
    for (const char* name : {"bd_haus", "bd_808", "drum_heavy_kick"}) {
      CAPTURE(name);
      const auto times = beats(0.3);
      const auto sample = packaged(name, rate);
      const auto kick = pattern(sample, rate, times, 20);
      std::vector<double> notes;
      for (double at = 0.2; at < 19; at += 0.3) notes.push_back(at);
      const auto line = pattern(bass, rate, notes, 20);
      const auto before = measured({rate, {}, {kick}, {line}}), after = measured({rate, {}, {test::scaled(kick, test::from_db(-3))}, {line}});
      REQUIRE(before.kick_over_bass);
      CHECK(before.hits.size() == times.size());
      CHECK(before.hits.size() == after.hits.size());
      CHECK(std::abs(after.kick_over_bass->median_db - before.kick_over_bass->median_db + 3) < 0.005);
      CHECK(std::abs(after.kick_over_bass->low_db - before.kick_over_bass->low_db + 3) < 0.005);
    }
  }

  TEST_CASE("hits without bass are free, and half of the hits under the bass are told") {
    const int rate = 48000;
    auto bass = test::sine(rate, 200.0 / 3, 0.25, rate * 10LL);
    for (std::size_t n = 0; n < bass.size(); ++n) {
      if (n < bass.size() / 2) bass[n] = 0;
      if (n > bass.size() * 3 / 4) bass[n] *= 4;  // over the kick from there on
    }
    const auto found = measured({rate, {}, {bursts(rate, 50, 0.5)}, {bass}});
    REQUIRE(found.kick_over_bass);
    CHECK(found.kick_over_bass->free == 10);
    CHECK(found.kick_over_bass->hits == 10);
    CHECK(found.kick_over_bass->below_zero == doctest::Approx(0.5));
    CHECK(found.kick_over_bass->low_db == doctest::Approx(-6.02).epsilon(0.05));
    const auto alone = measured({rate, {}, {bursts(rate, 50, 0.5)}, {}});
    CHECK(alone.hits.size() == 20);
    CHECK(alone.hits[3].free);
    CHECK_FALSE(alone.kick_over_bass);
    CHECK_FALSE(alone.together);
  }

  TEST_CASE("a mono part among stereo ones stands in both channels") {
    const int rate = 48000;
    const auto kick = bursts(rate, 50, 0.5), bass = test::sine(rate, 200.0 / 3, 0.25, rate * 10LL);
    const auto mono = measured({rate, {}, {kick}, {bass}}), stereo = measured({rate, {}, {kick, kick}, {bass, bass}});
    const auto mixed = measured({rate, {}, {kick}, {bass, bass}}), beside = measured({rate, {kick, kick}, {kick}, {bass}});
    CHECK(stereo.kick_over_bass->median_db == doctest::Approx(mono.kick_over_bass->median_db));
    CHECK(mixed.kick_over_bass->median_db == doctest::Approx(mono.kick_over_bass->median_db));
    CHECK(mixed.together->now_db == doctest::Approx(stereo.together->now_db));
    CHECK(mixed.hits[4].kick_db - mono.hits[4].kick_db == doctest::Approx(3.01).epsilon(0.001));
    CHECK(beside.hits[4].bass_db - mono.hits[4].bass_db == doctest::Approx(3.01).epsilon(0.001));
    // One channel alone has half the power of both.
    const auto one_side = measured({rate, {}, {kick, kick}, {bass, test::silence(rate * 10LL)}});
    CHECK(one_side.kick_over_bass->median_db == doctest::Approx(mono.kick_over_bass->median_db + 3.01).epsilon(0.001));
  }

  TEST_CASE("bass of turned polarity: what cancels, and what turning it back gives") {
    for (const int rate : {44100, 48000, 96000}) {
      CAPTURE(rate);
      // Amplitudes 1 and −1/2: (1/2)² over 1 + 1/4 is −6.99 dB; turned back (3/2)² over it 2.55 dB.
      const auto found = measured({rate, {}, {bursts(rate, 50, 0.5)}, {test::sine(rate, 50, -0.25, rate * 10LL)}});
      REQUIRE(found.together);
      // The first 20 ms are faded in, so that a little less cancels.
      CHECK(std::abs(found.together->now_db + 6.99) < 0.6);
      CHECK(std::abs(found.together->flipped_db - 2.55) < 0.15);
      CHECK(std::abs(found.hits[5].together_db - found.together->now_db) < 0.2);
      // A quarter of the period is 5 ms: no further can a shift reach, and there both are independent.
      CHECK(std::abs(std::abs(found.together->best_shift_ms) - 5) < 0.3);
      CHECK(std::abs(found.together->shifted_db) < 0.6);
      const auto right = measured({rate, {}, {bursts(rate, 50, 0.5)}, {test::sine(rate, 50, 0.25, rate * 10LL)}});
      CHECK(right.together->now_db == doctest::Approx(found.together->flipped_db).epsilon(0.001));
      CHECK(std::abs(right.together->best_shift_ms) < 0.3);
    }
  }

  TEST_CASE("bass that is late is found by as much") {
    const int rate = 48000;
    for (const double late_ms : {-4.0, -1.5, 2.0, 3.5}) {
      CAPTURE(late_ms);
      const double phase = -2 * std::numbers::pi * 80 * late_ms / 1000;
      const auto found = measured({rate, {}, {bursts(rate, 80, 0.5)}, {test::sine(rate, 80, 0.5, rate * 10LL, phase)}});
      REQUIRE(found.together);
      CHECK(std::abs(found.together->best_shift_ms + late_ms) < 0.26);
      CHECK(found.together->shifted_db > 2.8);
    }
  }

  TEST_CASE("left and right 90 degrees apart lose 3.01 dB in mono, equal ones nothing, opposite ones all") {
    for (const int rate : {8000, 44100, 96000}) {
      CAPTURE(rate);
      const auto tone = test::sine(rate, 60, 0.5, rate * 10LL), quarter = test::sine(rate, 60, 0.5, rate * 10LL, std::numbers::pi / 2);
      const auto high = test::sine(rate, 400, 0.5, rate * 10LL);
      const auto found = measured({rate, {tone, tone}, {tone, quarter}, {tone, test::scaled(tone, -1)}});
      REQUIRE(found.mix_mono);
      CHECK(std::abs(found.mix_mono->whole_db) < 0.001);
      CHECK(std::abs(found.mix_mono->worst_db) < 0.001);
      REQUIRE(found.kick_mono);
      REQUIRE(found.bass_mono);
      CHECK(std::abs(found.kick_mono->whole_db - 3.01) < 0.02);
      CHECK(found.bass_mono->whole_db == kMostLost);
      // What lies above does not count.
      CHECK(std::abs(measured({rate, {test::sum(tone, high), test::sum(tone, test::scaled(high, -1))}, {}, {}}).mix_mono->whole_db) < 0.001);
      CHECK_FALSE(measured({rate, {tone}, {}, {}}).mix_mono);
      CHECK_FALSE(measured({rate, {test::silence(rate), test::silence(rate)}, {}, {}}).mix_mono);
    }
  }

  TEST_CASE("the worst second is where the channels part") {
    const int rate = 48000;
    const auto left = test::sine(rate, 60, 0.5, rate * 10LL);
    auto right = left;
    for (std::size_t n = 0; n < right.size(); ++n)
      if (n >= 6.0 * rate && n < 7.0 * rate) right[n] *= -1;
    MonoLowMeter meter(rate, 100);
    const std::vector<float> l(left.begin(), left.end()), r(right.begin(), right.end());
    const float* rows[] = {l.data(), r.data()};
    meter.take(rows, static_cast<int>(l.size()));
    const auto loss = meter.finish();
    REQUIRE(loss);
    CHECK(loss->worst_db > 15);
    CHECK(std::abs(loss->worst_at_s - 6) < 0.06);
    // A tenth of the power is lost: 10 lg 0.9 is −0.46 dB.
    CHECK(std::abs(loss->whole_db - 0.46) < 0.03);
  }

  // The centre of a spectrum is the mean of the frequency at each moment, by energy there (L. Cohen, Time-Frequency Analysis, 1995, from
  // memory), which for a pitch that falls is an integral of its own, without a spectrum.
  TEST_CASE("a kick whose pitch falls is centred at the mean of its pitch by energy") {
    struct Fall {
      double from_hz, to_hz, fall_s, decay_s;
    };
    for (const auto& fall : {Fall{130, 55, 0.03, 0.12}, Fall{110, 55, 0.05, 0.25}, Fall{90, 45, 0.04, 0.08}, Fall{60, 60, 1, 0.1}}) {
      CAPTURE(fall.from_hz);
      const int rate = 48000;
      Samples kick(static_cast<std::size_t>(10 * rate), 0.0);
      double moment = 0, energy = 0;
      for (int hit = 0; hit < 20; ++hit) {
        double phase = 0;
        for (std::size_t n = 0; n < static_cast<std::size_t>(0.45 * rate); ++n) {
          const double at_s = static_cast<double>(n) / rate;
          const double hz = fall.to_hz + (fall.from_hz - fall.to_hz) * std::exp(-at_s / fall.fall_s);
          const double level = std::min(1.0, at_s / 0.004) * std::exp(-at_s / fall.decay_s);
          phase += 2 * std::numbers::pi * hz / rate;
          kick[static_cast<std::size_t>(hit) * static_cast<std::size_t>(rate / 2) + n] += 0.8 * level * std::sin(phase);
          if (at_s < 0.2 && hit == 0) moment += hz * level * level, energy += level * level;
        }
      }
      const auto low = measured({rate, {kick}, {kick}, {bursts(rate, 72, 0.5)}});
      REQUIRE(low.kick_centre_hz);
      CHECK_MESSAGE(std::abs(*low.kick_centre_hz - moment / energy) < 2.5, *low.kick_centre_hz << " Hz, by its pitch " << moment / energy << " Hz");
      CHECK(std::abs(*low.bass_centre_hz - 72) < 1);
    }
  }

  TEST_CASE("the centres lie where the tones are, between two of them in the middle of their power") {
    const int rate = 48000;
    const auto both = test::sum(test::sine(rate, 60, 0.3, rate * 10LL), test::sine(rate, 120, 0.3, rate * 10LL));
    const auto found = measured({rate, {}, {bursts(rate, 50, 0.5)}, {both, both}});
    REQUIRE(found.kick_centre_hz);
    CHECK(std::abs(*found.kick_centre_hz - 50) < 2);
    CHECK(std::abs(*found.bass_centre_hz - 90) < 1);
    const auto low = measured({rate, {}, {bursts(rate, 110, 0.5)}, {test::sine(rate, 41.2, 0.3, rate * 10LL)}});
    CHECK(std::abs(*low.kick_centre_hz - 110) < 2);
    CHECK(std::abs(*low.bass_centre_hz - 41.2) < 1);
  }

  TEST_CASE("notes 6 dB apart make a spread of 6 dB, and the booming one is found with its pitch") {
    const int rate = 48000;
    // Notes of 0.8 s at 50 Hz, soft and loud in turn, so that all kinds of windows come up; one of 62 Hz booms at 8 s.
    std::vector<Samples> notes;
    for (int i = 0; i < 30; ++i) {
      if (i % 2 == 0) notes.push_back(test::sine(rate, 50, 0.1, rate * 8LL / 10));
      if (i % 2 == 1) notes.push_back(test::sine(rate, i == 9 ? 62.5 : 50, i == 9 ? 0.4 : 0.2, rate * 8LL / 10));
    }
    const auto found = measured({rate, {}, {}, {test::concatenated(notes)}});
    REQUIRE(found.bass_steadiness);
    CHECK(std::abs(found.bass_steadiness->spread_db - 6.02) < 0.3);
    const auto& loudest = found.bass_steadiness->loudest;
    REQUIRE(loudest.size() == 5);
    CHECK(std::abs(loudest[0].at_s - 7.6) < 0.3);
    CHECK(std::abs(loudest[0].hz - 62.5) < 1);
    CHECK(std::abs(loudest[1].hz - 50) < 1);
    CHECK(loudest[0].over_median_db - loudest[1].over_median_db == doctest::Approx(6.02).epsilon(0.05));
    const auto steady = measured({rate, {}, {}, {test::sine(rate, 50, 0.2, rate * 10LL)}});
    CHECK(steady.bass_steadiness->spread_db < 0.05);
    // Short notes with pauses are as steady as a long one.
    const auto shorter = measured({rate, {}, {}, {bursts(rate, 50, 0.2)}});
    CHECK(shorter.bass_steadiness->spread_db < 1);
    CHECK_FALSE(measured({rate, {}, {}, {test::sine(rate, 50, 0.2, rate)}}).bass_steadiness);
  }

  TEST_CASE("attacks of a mix stand over what follows by what was put there") {
    const int rate = 48000;
    // Over a tone at 50 Hz, bursts of five times its amplitude: 20 lg 5 is 13.98 dB.
    const auto tone = test::sine(rate, 50, 0.05, rate * 10LL);
    auto mix = tone;
    for (std::size_t n = 0; n < mix.size(); ++n)
      if (n % 24000 < 4800) mix[n] *= 5;
    const auto found = measured({rate, {mix, mix}, {}, {}});
    REQUIRE(found.mix_punch);
    CHECK(found.mix_punch->attacks == 20);
    CHECK(std::abs(found.mix_punch->db - 13.98) < 0.5);
    CHECK(measured({rate, {tone}, {}, {}}).mix_punch->attacks == 1);  // where it begins
  }

  TEST_CASE("packaged kicks: every hit within 10 ms, and none that was not played") {
    struct Row {
      const char* name;
      double shortest;  // seconds between hits: not much less than the sample sounds
    };
    for (const auto& [name, shortest] :
         {Row{"bd_808", 0.15}, Row{"bd_ada", 0.15}, Row{"bd_fat", 0.15}, Row{"bd_gas", 0.15}, Row{"bd_haus", 0.3}, Row{"bd_klub", 0.4},
          Row{"bd_pure", 0.6}, Row{"bd_sone", 0.45}, Row{"bd_tek", 0.15}, Row{"bd_zome", 0.3}, Row{"bd_zum", 0.15},
          Row{"drum_bass_hard", 0.15}, Row{"drum_bass_soft", 0.15}, Row{"drum_heavy_kick", 0.15}}) {
      const std::string which = name;
      CAPTURE(which);
      int rate = 0;
      const auto sample = packaged(name, rate);
      const auto times = beats(shortest);
      const auto found = measured({rate, {}, {pattern(sample, rate, times, 22)}, {}});
      CHECK(found.hits.size() == times.size());
      for (std::size_t i = 0; i < std::min(times.size(), found.hits.size()); ++i) {
        const double at = times[i];
        CAPTURE(at);
        CHECK(std::abs(found.hits[i].at_s - at) < 0.010);
      }
    }
  }

  TEST_CASE("other drums that the kick's microphone picked up are no hits") {
    int rate = 0;
    const auto kick = packaged("drum_heavy_kick", rate), snare = packaged("drum_snare_hard", rate), hat = packaged("drum_cymbal_closed", rate);
    const auto times = beats(0.3);
    std::vector<double> hats, snares;
    for (double at = 0.1; at < 20; at += 0.3) hats.push_back(at);
    for (double at = 0.75; at < 20; at += 1.2) snares.push_back(at);
    auto stem = pattern(kick, rate, times, 20);
    stem = test::sum(stem, test::scaled(pattern(hat, rate, hats, 20), 0.05));
    stem = test::sum(stem, test::scaled(pattern(snare, rate, snares, 20), 0.05));
    CHECK(measured({rate, {}, {stem}, {}}).hits.size() == times.size());
  }

  TEST_CASE("the split into blocks does not show, and nothing is measured where nothing is") {
    int rate = 0;
    const auto sample = packaged("bd_tek", rate);
    const auto kick = pattern(sample, rate, beats(0.3), 20), bass = test::sine(rate, 55, 0.2, rate * 20LL);
    const Song song{rate, {kick, bass}, {kick, kick}, {bass}};
    const auto a = measured(song, 100, 4096), b = measured(song, 100, 1000003), c = measured(song, 100, 777);
    REQUIRE(a.kick_over_bass);
    CHECK(a.hits.size() == beats(0.3).size());
    for (const auto* other : {&b, &c}) {
      REQUIRE(other->kick_over_bass);
      CHECK(other->kick_over_bass->median_db == a.kick_over_bass->median_db);
      CHECK(other->together->shifted_db == a.together->shifted_db);
      CHECK(other->mix_mono->worst_db == a.mix_mono->worst_db);
      CHECK(other->bass_steadiness->spread_db == a.bass_steadiness->spread_db);
      CHECK(*other->kick_centre_hz == *a.kick_centre_hz);
      CHECK(other->mix_punch->db == a.mix_punch->db);
    }
    for (const auto& empty : {Song{}, Song{48000, {test::silence(10)}, {test::silence(10)}, {test::silence(10)}}, Song{48000, {}, {test::silence(99999)}, {}}}) {
      const auto none = measured(empty);
      CHECK(none.hits.empty());
      CHECK_FALSE(none.kick_over_bass);
      CHECK_FALSE(none.together);
      CHECK_FALSE(none.kick_centre_hz);
      CHECK_FALSE(none.bass_centre_hz);
      CHECK_FALSE(none.bass_steadiness);
      CHECK_FALSE(none.mix_punch);
    }
  }
}
