// The same with processing, exchanged channels, gaps and effects: what no gain explains.
#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <cstdlib>
#include <vector>

#include "faults/sample.h"
#include "pair/sum.h"
#include "signals.h"
#include "unit/pair/sum_sets.h"

using namespace sendworthy;
using namespace sendworthy::test;
using pair::Sum;
using pair::SumCause;

TEST_SUITE("pair/sum") {
  TEST_CASE("processing of the sum: a compressor, a filter, distortion; of one part: a ride") {
    const auto parts = ensemble(6);
    auto mix = added(parts);
    // Feed-forward, on the louder channel, 10 ms and 150 ms, 2:1 over −18 dB.
    const auto compressed = [](Clip clip, double* most) {
      double level = 1e-6;
      *most = 0;
      for (std::size_t n = 0; n < clip.channels[0].size(); ++n) {
        const double peak = std::max(std::abs(clip.channels[0][n]), std::abs(clip.channels[1][n]));
        const double time = peak > level ? 0.01 : 0.15;
        level += (peak - level) * (1 - std::exp(-1 / (time * kRate)));
        const double over = std::max(0.0, test::to_db(level) + 18), gain_db = -0.5 * over;
        *most = std::min(*most, gain_db);
        for (auto& channel : clip.channels) channel[n] *= test::from_db(gain_db);
      }
      return clip;
    };
    double most = 0;
    const auto bus = sum_of(compressed(mix, &most), parts);
    CHECK(bus.cause == SumCause::bus_processing);
    REQUIRE(bus.slow.has_value());
    CHECK(bus.slow->highest_db - bus.slow->lowest_db > 1.5);
    CHECK(bus.slow->lowest_db > most - 1);
    CHECK(bus.slow->highest_db < 0.5);
    CHECK(bus.residual_db < -30);
    CHECK(bus.ladder[0].residual_db > -25);
    for (const auto& one : bus.parts) CHECK(!one.off);

    auto shelved = mix;
    for (auto& channel : shelved.channels) {
      double low = 0;
      for (auto& v : channel) low += 0.3 * (v - low), v += 0.6 * (v - low);
    }
    const auto filter = sum_of(shelved, parts);
    CHECK(filter.cause == SumCause::bus_filter);

    auto bent = mix;
    bent.each([](double v) { return std::tanh(4 * v) / 4; });
    const auto distortion = sum_of(bent, parts);
    CHECK(distortion.cause == SumCause::bus_distortion);

    auto wrong = parts;
    for (auto& channel : wrong[3].channels) {
      for (std::size_t n = 0; n < channel.size(); ++n) channel[n] *= test::from_db(-4 + 4 * std::sin(2 * std::numbers::pi * static_cast<double>(n) / (5.0 * kRate)));
    }
    const auto ride = sum_of(mix, wrong);
    CHECK(ride.cause == SumCause::part_processing);
    CHECK(ride.parts[3].moving_db > 4);
    CHECK(ride.parts[3].moving_db < 9);
  }

  TEST_CASE("a shelf over the sum of parts that lie in bands is told as that, though fractions of a frame take much of it away") {
    const auto band = [](double from_hz, double to_hz, double level, std::uint64_t seed) {
      Random random(seed);
      Samples out(8 * kRate, 0.0);
      for (int k = 0; k < 120; ++k) {
        const double step = 2 * std::numbers::pi * (from_hz + (to_hz - from_hz) * random.unit()) / kRate, cosine = std::cos(step), sine = std::sin(step);
        double x = level * 0.13, y = 0;
        for (auto& v : out) {
          const double next = cosine * x - sine * y;
          y = sine * x + cosine * y, x = next, v += x;
        }
      }
      for (std::size_t n = 0; n < out.size(); ++n) out[n] *= std::abs(std::sin(2 * std::numbers::pi * static_cast<double>(n) / kRate / (3.0 + static_cast<double>(seed))));
      return Clip{kRate, {out, out}};
    };
    const std::vector<Clip> parts = {band(200, 4000, 0.063, 1), band(300, 3000, 0.022, 2), band(150, 6000, 0.04, 3), band(50, 170, 0.07, 4)};
    for (const double share : {0.1, 0.3, 0.7}) {
      CAPTURE(share);
      auto soft = added(parts);
      for (auto& channel : soft.channels) {
        double low = 0;
        for (auto& v : channel) low += 0.35 * (v - low), v += share * (low - v), v *= 0.63;
      }
      const auto sum = sum_of(soft, parts);
      CHECK((sum.cause == SumCause::bus_filter || std::ranges::find(sum.also, SumCause::bus_filter) != sum.also.end()));
      for (const auto& part : sum.parts) {
        CHECK(part.delay_frames == 0);
        CHECK(!part.off);
      }
    }
  }

  TEST_CASE("a mix that was clipped, with a gain before and behind too; one that only peaks lacks a part as before") {
    const auto parts = ensemble(6);
    const auto mix = added(parts);
    double peak = 0;
    for (const auto& channel : mix.channels) {
      for (const double v : channel) peak = std::max(peak, std::abs(v));
    }
    for (const double over_db : {1.0, 3.0, 6.0, 10.0}) {
      for (const double behind : {1.0, 0.7}) {
        CAPTURE(over_db);
        CAPTURE(behind);
        auto flat = mix;
        const double ceiling = peak * test::from_db(-over_db);
        flat.each([&](double v) { return behind * std::clamp(v, -ceiling, ceiling); });
        const auto sum = sum_of(flat, parts);
        CHECK(sum.cause == SumCause::bus_distortion);
        REQUIRE(sum.ceiling.has_value());
        CHECK(sum.ceiling->dbfs == doctest::Approx(test::to_db(behind * ceiling)).epsilon(0.01));
        CHECK(sum.ceiling->over_db == doctest::Approx(over_db).epsilon(0.02));
        REQUIRE(sum.rest.has_value());
        for (const auto& one : sum.parts) CHECK(!one.off);
      }
    }
    // Clipped as well, which does not explain what is left.
    auto flat = mix;
    flat.each([&](double v) { return std::clamp(v, -0.7 * peak, 0.7 * peak); });
    for (const std::size_t gone : {0u, 3u}) {
      auto wrong = parts;
      wrong.erase(wrong.begin() + static_cast<std::ptrdiff_t>(gone));
      CHECK(sum_of(flat, wrong).cause == SumCause::missing);
      CHECK(!sum_of(mix, wrong).ceiling);
    }
  }

  TEST_CASE("a part whose left and right are exchanged, or that was folded to mono") {
    // In a room: early reflections that differ on both sides.
    const auto in_stereo = [](Clip clip, std::uint64_t seed) {
      test::Random random(seed);
      const auto dry = clip;
      for (std::size_t c = 0; c < 2; ++c) {
        for (int k = 0; k < 12; ++k) {
          const auto at = 100 + random.below(1500);
          const double gain = 0.5 * (random.unit() - 0.5);
          for (std::size_t n = at; n < dry.channels[c].size(); ++n) clip.channels[c][n] += gain * dry.channels[1 - c][n - at];
        }
      }
      return clip;
    };
    const auto exchanged = [](Clip clip) {
      std::swap(clip.channels[0], clip.channels[1]);
      return clip;
    };
    const auto folded = [](Clip clip, double gain = 0.5) {
      for (std::size_t n = 0; n < clip.channels[0].size(); ++n) clip.channels[0][n] = clip.channels[1][n] = gain * (clip.channels[0][n] + clip.channels[1][n]);
      return clip;
    };
    const auto crossed_only = [](const Sum& sum, std::size_t which) {
      bool right = sum.cause == SumCause::crossed;
      for (std::size_t i = 0; i < sum.parts.size(); ++i) right = right && sum.parts[i].crossed == (i == which) && !sum.parts[i].inverted && !sum.parts[i].off && !sum.parts[i].unbalanced;
      return right;
    };
    const auto folded_only = [](const Sum& sum, std::size_t which) {
      bool right = sum.cause == SumCause::folded;
      for (std::size_t i = 0; i < sum.parts.size(); ++i) right = right && sum.parts[i].folded == (i == which);
      return right;
    };
    int crossed = 0, mono = 0, file = 0, panned = 0, missing = 0, trials = 0;
    const auto seeds = std::getenv("SUM_TRIALS") != nullptr ? 4u : kSeeds;
    for (std::uint64_t seed = 0; seed < seeds; ++seed) {
      auto parts = ensemble(6, 8, seed);
      for (std::size_t i = 0; i < parts.size(); ++i) parts[i] = i == 4 ? folded(parts[i]) : in_stereo(parts[i], seed * 10 + i);
      const auto mix = added(parts);
      for (std::size_t which = 0; which < parts.size(); ++which) {
        if (which == 4) continue;  // its sides are alike
        ++trials;
        auto wrong = parts;
        wrong[which] = exchanged(parts[which]);
        auto sum = sum_of(mix, wrong);
        crossed += crossed_only(sum, which) && sum.nulls ? 1 : 0;
        wrong[which] = folded(parts[which]);
        mono += folded_only(sum_of(mix, wrong), which) ? 1 : 0;
        wrong[which].channels.pop_back();
        file += folded_only(sum_of(mix, wrong), which) ? 1 : 0;
        wrong = parts;
        wrong.erase(wrong.begin() + static_cast<std::ptrdiff_t>(which));
        missing += sum_of(mix, wrong).cause == SumCause::missing ? 1 : 0;
        auto moved = parts;
        for (auto& v : moved[which].channels[0]) v *= 0.7;
        panned += sum_of(mix, moved).cause == SumCause::pan ? 1 : 0;
      }
    }
    MESSAGE("of " << trials << ": exchanged " << crossed << ", folded " << mono << ", as a mono file " << file << ", missing " << missing << ", panned " << panned);
    CHECK(crossed == trials);
    CHECK(mono >= trials * 9 / 10);
    CHECK(file >= trials * 9 / 10);
    CHECK(missing == trials);
    CHECK(panned == trials);

    auto parts = ensemble(5);
    // Panned sounds, which two gains bring in line as well.
    auto wrong = parts;
    wrong[0] = exchanged(parts[0]);
    auto sum = sum_of(added(parts), wrong);
    CHECK(crossed_only(sum, 0));
    CHECK(sum.nulls);
    // With one gain over all; two at once; with a fader.
    for (auto& one : wrong) one.gain_db(-3);
    sum = sum_of(added(parts), wrong);
    CHECK(crossed_only(sum, 0));
    CHECK(sum.also == std::vector{SumCause::one_gain});
    wrong = parts;
    wrong[0] = exchanged(parts[0]), wrong[2] = exchanged(parts[2]);
    sum = sum_of(added(parts), wrong);
    CHECK(sum.cause == SumCause::crossed);
    CHECK((sum.parts[0].crossed && sum.parts[2].crossed && !sum.parts[1].crossed));
    for (std::size_t i = 0; i < parts.size(); ++i) parts[i] = i == 4 ? folded(parts[i]) : in_stereo(parts[i], i);
    const auto mix = added(parts);
    wrong = parts;
    wrong[0] = exchanged(parts[0]), wrong[2].gain_db(-2);
    sum = sum_of(mix, wrong);
    CHECK(sum.cause == SumCause::crossed);
    CHECK(sum.also == std::vector{SumCause::faders});
    CHECK(sum.parts[0].crossed);
    CHECK(sum.parts[2].off);
    // Louder by 6 and 3 dB than half the sum.
    for (const double gain : {1.0, std::sqrt(0.5)}) {
      wrong = parts;
      wrong[1] = folded(parts[1], gain);
      sum = sum_of(mix, wrong);
      CHECK(folded_only(sum, 1));
      CHECK(sum.also == std::vector{SumCause::faders});
      CHECK(sum.parts[1].gain_db == doctest::Approx(-test::to_db(2 * gain)).epsilon(0.01));
    }
    // A mix that was widened lacks sides, too, yet the sides of the parts explain it.
    auto wide = mix;
    for (std::size_t n = 0; n < mix.channels[0].size(); ++n) {
      const double middle = (mix.channels[0][n] + mix.channels[1][n]) / 2, side = (mix.channels[0][n] - mix.channels[1][n]) / 2;
      wide.channels[0][n] = middle + 1.5 * side, wide.channels[1][n] = middle - 1.5 * side;
    }
    sum = sum_of(wide, parts);
    CHECK(sum.cause != SumCause::folded);
    CHECK(sum.cause != SumCause::crossed);
    // A channel upside down is no exchange.
    wrong = parts;
    for (auto& v : wrong[3].channels[1]) v = -v;
    CHECK(sum_of(mix, wrong).cause == SumCause::polarity);
  }

  TEST_CASE("versions that went through a limiter each; what is missing besides is still missing") {
    // Look-ahead: the least gain of the next milliseconds, smoothed over them, with a release of its own.
    const auto limited = [](Clip clip, double ceiling, double attack_s, double release_s) {
      const auto size = clip.channels[0].size();
      const auto ahead = static_cast<std::size_t>(attack_s * kRate);
      Samples gain(size + ahead, 1.0);
      for (std::size_t n = 0; n < size; ++n) {
        const double peak = std::max(std::abs(clip.channels[0][n]), std::abs(clip.channels[1][n]));
        if (peak > ceiling) gain[n] = ceiling / peak;
      }
      Samples least(size);
      for (std::size_t n = 0; n < size; ++n) least[n] = *std::min_element(gain.begin() + static_cast<std::ptrdiff_t>(n), gain.begin() + static_cast<std::ptrdiff_t>(n + ahead + 1));
      double held = 1, sum = 0;
      Samples smooth(size);
      for (std::size_t n = 0; n < size; ++n) {
        held = std::min(least[n], held + (1 - held) / (release_s * kRate));
        least[n] = held;
      }
      for (std::size_t n = 0; n < size; ++n) {
        sum += least[n];
        if (n > ahead) sum -= least[n - ahead - 1];
        smooth[n] = sum / static_cast<double>(std::min(n, ahead) + 1);
      }
      for (auto& channel : clip.channels) {
        for (std::size_t n = 0; n < size; ++n) channel[n] = std::clamp(channel[n] * smooth[n], -ceiling, ceiling);
      }
      return clip;
    };
    const auto processing = [](SumCause cause) { return cause == SumCause::each_processing || cause == SumCause::bus_processing; };
    int versions = 0, stems = 0, missing = 0, trials = 0;
    const auto seeds = std::getenv("SUM_TRIALS") != nullptr ? 3u : kSeeds;
    for (std::uint64_t seed = 0; seed < seeds; ++seed) {
      auto all = ensemble(7, 10, seed);
      const Clip voice = all[6];
      all.pop_back();
      const auto band = added(all);
      auto fewer = all;
      fewer.erase(fewer.begin() + 3);
      const auto mix = added({band, voice});
      double peak = 0;
      for (const auto& channel : mix.channels) {
        for (const double v : channel) peak = std::max(peak, std::abs(v));
      }
      for (const double drive_db : {2.0, 4.0, 8.0}) {
        const double ceiling = peak * test::from_db(-drive_db), release_s = drive_db == 4 ? 0.1 : drive_db == 2 ? 0.3 : 0.03;
        const auto limit = [&](const Clip& clip) { return limited(clip, ceiling, 0.003, release_s); };
        ++trials;
        CAPTURE(seed);
        CAPTURE(drive_db);
        const auto sum = sum_of(limit(mix), {limit(band), limit(voice)});
        versions += processing(sum.cause) ? 1 : 0;
        CHECK(sum.residual_db < sum.ladder[0].residual_db - 6);
        missing += sum_of(limit(mix), {limit(added(fewer)), limit(voice)}).cause == SumCause::missing ? 1 : 0;
        std::vector<Clip> each;
        for (const auto& one : all) each.push_back(limited(one, 0.5 * ceiling, 0.003, release_s));
        each.push_back(voice);
        const auto cause = sum_of(limit(mix), each).cause;
        stems += processing(cause) || cause == SumCause::part_processing ? 1 : 0;
      }
    }
    MESSAGE("of " << trials << ": versions " << versions << ", stems " << stems << ", a missing part " << missing);
    CHECK(versions == trials);
    CHECK(stems == trials);
    CHECK(missing == trials);
    // Low tones that are missing among low tones: within a hundredth of a second any of them looks like another.
    const auto tones = [](double hz, double rest_s) {
      Samples out(12 * kRate, 0.0);
      for (std::size_t n = 0; n < out.size(); ++n) {
        const double t = static_cast<double>(n) / kRate;
        out[n] = 0.1 * std::exp(-3 * std::fmod(t, rest_s)) * std::sin(2 * std::numbers::pi * hz * t);
      }
      return Clip{kRate, {out, out}};
    };
    const std::vector<Clip> low = {tones(55, 0.5), tones(82.4, 0.7), tones(110, 0.45), tones(61.7, 0.9)};
    for (std::size_t gone = 0; gone < low.size(); ++gone) {
      auto wrong = low;
      wrong.erase(wrong.begin() + static_cast<std::ptrdiff_t>(gone));
      CHECK(!processing(sum_of(added(low), wrong).cause));
    }
  }

  TEST_CASE("a part that is muted for a while, in the mix or in its file") {
    const auto parts = ensemble(6, 16);
    const auto mix = added(parts);
    const auto muted = [](Clip clip, double from_s, double to_s, double gain = 0) {
      for (auto& channel : clip.channels) {
        for (auto n = static_cast<std::size_t>(from_s * kRate); n < static_cast<std::size_t>(to_s * kRate); ++n) channel[n] *= gain;
      }
      return clip;
    };
    int in_mix = 0, in_file = 0, elsewhere = 0, trials = 0;
    for (std::size_t which = 0; which < parts.size(); which += kSeeds == 1 ? 3 : 1) {
      for (const double from_s : {3.03, 6.5}) {
        CAPTURE(which);
        CAPTURE(from_s);
        ++trials;
        auto played = parts;
        played[which] = muted(played[which], from_s, from_s + 4);
        const auto lacks = sum_of(added(played), parts);
        in_mix += lacks.cause == SumCause::gap && lacks.gaps[0].part == which && lacks.gaps[0].in_mix && lacks.gaps[0].from_s > from_s - 0.2 && lacks.gaps.back().to_s < from_s + 4.2 ? 1 : 0;
        const auto holds = sum_of(mix, played);
        in_file += holds.cause == SumCause::gap && holds.gaps[0].part == which && !holds.gaps[0].in_mix && holds.gaps[0].from_s > from_s - 0.2 && holds.gaps.back().to_s < from_s + 4.2 ? 1 : 0;
        elsewhere += holds.cause == SumCause::gap && holds.gaps[0].part != which ? 1 : 0;
        if (holds.cause != SumCause::gap) CHECK((holds.cause == SumCause::missing && !holds.gaps.empty()));
        // Half as loud for a while is a ride, not a gap.
        auto ridden = parts;
        ridden[which] = muted(ridden[which], from_s, from_s + 4, 0.5);
        CHECK(sum_of(added(ridden), parts).cause == SumCause::part_processing);
      }
    }
    MESSAGE(in_mix << " in the mix and " << in_file << " in a file of " << trials << ", " << elsewhere << " told of another");
    CHECK(in_mix == trials);
    CHECK(in_file >= trials * 3 / 4);
    CHECK(elsewhere == 0);
    // With one gain over all stems.
    auto played = parts;
    played[2] = muted(played[2], 5, 9);
    auto softer = parts;
    for (auto& one : softer) one.gain_db(-3);
    const auto both = sum_of(added(played), softer);
    CHECK(both.cause == SumCause::gap);
    CHECK(both.also == std::vector{SumCause::one_gain});
    // A part that no stem holds and that sounds for a while: nothing falls silent there.
    auto more = parts;
    more.push_back(part(8, 16, 0.5, 5));
    more.back() = muted(muted(more.back(), 0, 6), 9, 16);
    const auto missing = sum_of(added(more), parts);
    CHECK(missing.cause == SumCause::missing);
    REQUIRE(missing.gaps.size() == 1);
    CHECK(missing.gaps[0].from_s >= 5.9);
    CHECK(missing.gaps[0].to_s <= 9.1);
    CHECK(!missing.gaps[0].part);
    // A stem that comes in late in the mix as in its file, and one that is missing before.
    CHECK(sum_of(mix, {parts[0], parts[1], parts[2], parts[3], parts[4]}).gaps.empty());
  }

  TEST_CASE("effects of a part that the parts lack are like that part") {
    const auto parts = ensemble(5);
    auto mix = added(parts);
    test::Random random(9);
    for (std::size_t c = 0; c < 2; ++c) {
      for (int echo = 0; echo < 30; ++echo) {
        const auto at = 1000 + random.below(9000);
        const double gain = 0.4 * (random.unit() - 0.5) * std::exp(-static_cast<double>(at) / 6000);
        for (std::size_t n = at; n < mix.channels[c].size(); ++n) mix.channels[c][n] += gain * parts[0].channels[c][n - at];
      }
    }
    const auto sum = sum_of(mix, parts);
    REQUIRE(sum.rest.has_value());
    CHECK(sum.cause == SumCause::unexplained);
    CHECK(sum.rest->like == 0);
  }

  TEST_CASE("what is left: when, where, in which octave") {
    auto parts = ensemble(4);
    const auto mix = added(parts);
    // On the left only, 6 s … 8 s, at 2 kHz.
    auto more = mix;
    const auto tone = test::sine(kRate, 2000, 0.2, 2 * kRate);
    std::copy(tone.begin(), tone.end(), more.channels[0].begin() + 6 * kRate);
    for (std::size_t n = 0; n < tone.size(); ++n) more.channels[0][6 * kRate + n] = mix.channels[0][6 * kRate + n] + tone[n];
    const auto sum = sum_of(more, parts);
    CHECK(sum.cause == SumCause::missing);
    REQUIRE(sum.rest.has_value());
    CHECK(sum.rest->loudest_from_s >= 5.9);
    CHECK(sum.rest->loudest_to_s <= 8.1);
    CHECK(sum.rest->active == doctest::Approx(2.0 / 12).epsilon(0.1));
    CHECK(sum.rest->channels[0] > 0.999);
    CHECK(sum.rest->side == doctest::Approx(0.5).epsilon(0.01));
    // A sixth of the time at −17 dBFS in one of two channels.
    CHECK(sum.rest->dbfs == doctest::Approx(10 * std::log10(0.02 / 6 / 2)).epsilon(0.01));
    for (const auto& octave : sum.rest->octaves) {
      if (octave.centre_hz == 2000) CHECK(octave.share > 0.99);
    }
  }
}
