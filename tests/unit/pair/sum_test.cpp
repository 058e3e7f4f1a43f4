// Sets of parts whose sum is known by arithmetic, each with one thing put wrong, made of packaged sounds.
#include <doctest/doctest.h>

#include <algorithm>
#include <atomic>
#include <cmath>
#include <cstdlib>
#include <functional>
#include <string>
#include <vector>

#include "dsp/products.h"
#include "faults/packaged.h"
#include "faults/sample.h"
#include "pair/sum.h"
#include "signals.h"

using namespace sendworthy;
using pair::Sum;
using pair::SumCause;
using test::Clip;
using test::Samples;

namespace {

constexpr int kRate = 44100;
// Memory is looked at by one set as well as by two, and takes ten times as long then.
#if defined(SENDWORTHY_SANITIZED)
constexpr unsigned kSeeds = 1;
#else
constexpr unsigned kSeeds = 2;
#endif

const std::vector<std::string> kSounds = {"loop_amen", "bass_thick_c", "ambi_piano", "loop_compus", "guit_e_slide", "loop_tabla", "perc_bell", "loop_industrial",
                                          "ambi_choir", "drum_cymbal_open", "bass_trance_c", "elec_chime"};

/// A part: one sound again and again with rests between, each time at another pitch-like speed of whole steps, panned by amplitude.
Clip part(std::size_t which, double seconds, double pan, std::uint64_t seed = 0) {
  test::Random random(seed * 100 + which + 1);
  const auto& one = test::packaged_sound(kSounds[which % kSounds.size()]);
  double peak = 0;
  for (const double v : one) peak = std::max(peak, std::abs(v));
  Samples out(static_cast<std::size_t>(seconds * kRate), 0.0);
  for (std::size_t at = random.below(kRate / 4); at < out.size();) {
    const double gain = 0.2 * (0.5 + random.unit()) / peak;
    for (std::size_t n = 0; n < one.size() && at + n < out.size(); ++n) out[at + n] += gain * one[n];
    at += std::min<std::size_t>(one.size(), 2 * kRate) + random.below(kRate);
  }
  auto right = out;
  for (auto& v : out) v *= 1 - pan;
  for (auto& v : right) v *= pan;
  return {kRate, {out, right}};
}

std::vector<Clip> ensemble(std::size_t count, double seconds = 12, std::uint64_t seed = 0) {
  std::vector<Clip> parts;
  for (std::size_t i = 0; i < count; ++i) parts.push_back(part(i + seed % kSounds.size(), seconds, 0.3 + 0.4 * static_cast<double>(i % 3) / 2, seed));
  return parts;
}

Clip added(const std::vector<Clip>& parts) {
  Clip mix = parts.front();
  for (std::size_t i = 1; i < parts.size(); ++i) {
    for (std::size_t c = 0; c < mix.channels.size(); ++c) {
      for (std::size_t n = 0; n < mix.channels[c].size(); ++n) mix.channels[c][n] += parts[i].channels[std::min(c, parts[i].channels.size() - 1)][n];
    }
  }
  return mix;
}

/// Silence before and behind, so that a part that is moved loses nothing.
std::vector<Clip> padded(std::vector<Clip> parts, std::size_t frames) {
  for (auto& part : parts) {
    for (auto& channel : part.channels) channel.insert(channel.begin(), frames, 0.0), channel.resize(channel.size() + frames, 0.0);
  }
  return parts;
}

Clip later(Clip clip, std::int64_t frames) {
  for (auto& channel : clip.channels) {
    const auto size = channel.size();
    if (frames > 0) channel.insert(channel.begin(), static_cast<std::size_t>(frames), 0.0), channel.resize(size);
    else channel.erase(channel.begin(), channel.begin() - frames), channel.resize(size, 0.0);
  }
  return clip;
}

Clip times(Clip clip, double factor) {
  return clip.each([&](double v) { return factor * v; });
}

Sum sum_of(const Clip& mix, const std::vector<Clip>& parts, const test::Wrapping& wrapping = {}, const test::Wrapping& mix_wrapping = {}) {
  const test::Folder folder;
  std::vector<std::string> paths;
  for (std::size_t i = 0; i < parts.size(); ++i) paths.push_back(test::write_sample(folder.path, "part" + std::to_string(i), parts[i], wrapping));
  const auto sum = pair::sum_of(test::write_sample(folder.path, "mix", mix, mix_wrapping), paths);
  REQUIRE(sum.has_value());
  std::string text(to_string(sum->cause));
  for (const auto also : sum->also) text += ", " + std::string(to_string(also));
  for (const auto& step : sum->ladder) text += "; " + step.name + " " + std::to_string(step.residual_db);
  if (std::getenv("SUM_VERBOSE") != nullptr) MESSAGE(text);
  return *sum;
}

/// One part moved by so many frames is told to be the late one, and no other.
void check_late(const Clip& mix, std::vector<Clip> parts, std::size_t which, std::int64_t frames) {
  CAPTURE(which);
  CAPTURE(frames);
  parts[which] = later(parts[which], frames);
  const auto sum = sum_of(mix, parts);
  CHECK(sum.cause == SumCause::delay);
  for (std::size_t i = 0; i < parts.size(); ++i) CHECK(sum.parts[i].delay_frames == (i == which ? static_cast<double>(frames) : 0.0));
}

}  // namespace

TEST_SUITE("pair/sum") {
  TEST_CASE("products of rows equal the plain sums, whatever their number and length") {
    test::Random random(1);
    for (const std::size_t count : {1u, 2u, 5u, 9u}) {
      for (const int frames : {1, 7, 255, 256, 1000}) {
        std::vector<std::vector<float>> rows(count);
        std::vector<const float*> pointers;
        for (std::size_t k = 0; k < count; ++k) {
          for (int n = 0; n < frames; ++n) rows[k].push_back(k == 3 ? 0.0f : static_cast<float>(random.unit() - 0.5));
          pointers.push_back(k == 4 ? nullptr : rows[k].data());
        }
        std::vector<double> sums(count * (count + 1) / 2, 1.0);
        dsp::add_products(pointers, frames, sums.data());
        for (std::size_t k = 0; k < count; ++k) {
          for (std::size_t j = 0; j <= k; ++j) {
            double plain = 1;
            for (std::size_t n = 0; n < static_cast<std::size_t>(frames) && k != 4 && j != 4; ++n) plain += static_cast<double>(rows[j][n]) * static_cast<double>(rows[k][n]);
            REQUIRE(sums[dsp::product_at(j, k)] == doctest::Approx(plain).epsilon(1e-12));
          }
        }
      }
    }
  }

  TEST_CASE("parts that add up: 16 and 24 bits, float, and the floor that their steps leave") {
    const auto parts = ensemble(6);
    const auto mix = added(parts);
    for (const auto& wrapping : {test::Wrapping{.bits = 16}, test::Wrapping{.bits = 24}, test::Wrapping{.bits = 32, .real = true}}) {
      const auto sum = sum_of(mix, parts, wrapping, wrapping);
      CHECK(sum.cause == SumCause::sums);
      CHECK(sum.also.empty());
      CHECK(sum.nulls);
      CHECK(sum.step == 0);
      CHECK(sum.common_gain_db == 0);
      // Rounding without dither leaves a twelfth of a step squared in each of seven words; the floor counts a quarter.
      if (!wrapping.real) CHECK(std::abs(sum.residual_db - (sum.floor_db - 10 * std::log10(3.0))) < 1);
      for (const auto& one : sum.parts) CHECK(!one.off);
    }
  }

  TEST_CASE("one gain") {
    auto parts = ensemble(5);
    const auto mix = added(parts);
    for (auto& one : parts) one.gain_db(-6);
    const auto sum = sum_of(mix, parts);
    CHECK(sum.cause == SumCause::one_gain);
    CHECK(sum.nulls);
    CHECK(sum.common_gain_db == doctest::Approx(6).epsilon(0.0002));
    for (auto& one : parts) one = times(one, -1);
    const auto turned = sum_of(mix, parts);
    CHECK(turned.cause == SumCause::polarity);
    CHECK(turned.common_inverted);
  }

  TEST_CASE("faders, polarity, balance: each part by itself") {
    const auto parts = ensemble(6);
    const auto mix = added(parts);
    auto wrong = parts;
    wrong[2].gain_db(-2.5), wrong[4].gain_db(0.3);
    const auto faders = sum_of(mix, wrong);
    CHECK(faders.cause == SumCause::faders);
    CHECK(faders.nulls);
    CHECK(faders.parts[2].gain_db == doctest::Approx(2.5).epsilon(0.004));
    CHECK(faders.parts[4].gain_db == doctest::Approx(-0.3).epsilon(0.03));
    for (std::size_t i = 0; i < 6; ++i) {
      CHECK(faders.parts[i].off == (i == 2 || i == 4));
      CHECK(faders.parts[i].known);
    }
    wrong = parts;
    wrong[1] = times(wrong[1], -1);
    const auto polarity = sum_of(mix, wrong);
    CHECK(polarity.cause == SumCause::polarity);
    CHECK(polarity.nulls);
    for (std::size_t i = 0; i < 6; ++i) CHECK(polarity.parts[i].inverted == (i == 1));
    CHECK(!polarity.parts[1].off);
    wrong = parts;
    for (auto& v : wrong[3].channels[0]) v *= 0.7;
    const auto pan = sum_of(mix, wrong);
    CHECK(pan.cause == SumCause::pan);
    CHECK(pan.parts[3].unbalanced);
    CHECK(pan.parts[3].channel_gains[0] == doctest::Approx(1 / 0.7).epsilon(0.001));
  }

  TEST_CASE("mono parts in a stereo mix, by the pan law they stand under") {
    auto parts = ensemble(5);
    struct Case {
      pair::PanLaw law;
      double left, right;
    };
    const double angle = 0.3 * std::numbers::pi / 2;
    for (const auto& one : {Case{pair::PanLaw::three_db, std::sqrt(0.5), std::sqrt(0.5)}, Case{pair::PanLaw::six_db, 0.3, 0.7},
                            Case{pair::PanLaw::four_and_a_half_db, std::sqrt(std::cos(angle) * 0.7), std::sqrt(std::sin(angle) * 0.3)}}) {
      auto placed = parts;
      const auto mono = parts[1].channels[0];
      for (std::size_t n = 0; n < mono.size(); ++n) placed[1].channels[0][n] = one.left * mono[n], placed[1].channels[1][n] = one.right * mono[n];
      auto files = parts;
      files[1].channels = {mono};
      const auto sum = sum_of(added(placed), files);
      CHECK(sum.cause == SumCause::pan);
      CHECK(sum.nulls);
      CHECK(sum.parts[1].pan_law == one.law);
      CHECK(sum.parts[1].channel_gains[0] == doctest::Approx(one.left).epsilon(0.001));
      CHECK(sum.parts[1].channel_gains[1] == doctest::Approx(one.right).epsilon(0.001));
      // Where it stands as it is, there is nothing to say.
      CHECK(sum_of(added(files.front().channels.size() == 2 ? files : parts), files).cause == SumCause::sums);
    }
  }

  TEST_CASE("delays: one part, all parts, a fraction of a frame, seconds") {
    const auto parts = padded(ensemble(6), 110000);
    const auto mix = added(parts);
    for (const std::int64_t frames : {1, -1, 37, -4410, 100000}) check_late(mix, parts, 0, frames);
    auto wrong = parts;
    for (auto& one : wrong) one = later(one, 441);
    const auto all = sum_of(mix, wrong);
    CHECK(all.cause == SumCause::delay);
    CHECK(all.common_delay_frames == 441);
  }

  TEST_CASE("a low part that swells, late by one to three frames") {
    // Nothing in it sets in: a few frames are a thousandth of its periods.
    Samples low(12 * kRate, 0.0);
    for (std::size_t n = 0; n < low.size(); ++n) {
      const double t = static_cast<double>(n) / kRate;
      low[n] = 0.15 * (1 + std::sin(2 * std::numbers::pi * 0.3 * t)) * (std::sin(2 * std::numbers::pi * 61 * t) + 0.4 * std::sin(2 * std::numbers::pi * 147 * t + 1));
    }
    auto parts = ensemble(3);
    parts.push_back({kRate, {low, low}});
    parts = padded(parts, 1000);
    const auto mix = added(parts);
    for (const std::int64_t frames : {1, 2, 3, -2}) check_late(mix, parts, 3, frames);
  }

  TEST_CASE("a part that is missing, a silent one in its place") {
    const auto parts = ensemble(6);
    const auto mix = added(parts);
    for (const std::size_t gone : {0u, 2u, 4u}) {
      auto wrong = parts;
      wrong.erase(wrong.begin() + static_cast<std::ptrdiff_t>(gone));
      const auto sum = sum_of(mix, wrong);
      CHECK(sum.cause == SumCause::missing);
      CHECK(!sum.nulls);
      REQUIRE(sum.rest.has_value());
      wrong = parts;
      wrong[gone] = times(wrong[gone], 0);
      const auto silent = sum_of(mix, wrong);
      CHECK(silent.cause == SumCause::missing);
      CHECK(silent.also == std::vector{SumCause::silent});
      CHECK(silent.parts[gone].silent);
    }
  }

  TEST_CASE("doubled: a part twice, a part inside another, something in two parts") {
    const auto parts = ensemble(6);
    const auto mix = added(parts);
    auto wrong = parts;
    wrong.push_back(parts[1]);
    const auto twice = sum_of(mix, wrong);
    CHECK(twice.cause == SumCause::doubled);
    CHECK(twice.nulls);
    CHECK(twice.parts[6].copy_of == 1);
    CHECK(std::abs(twice.parts[6].copy_gain_db) < 0.001);
    wrong = parts;
    wrong[2] = added({parts[2], parts[4]});
    const auto inside = sum_of(mix, wrong);
    CHECK(inside.cause == SumCause::doubled);
    wrong = parts;
    const auto effect = part(8, 12, 0.5, 7);
    wrong[1] = added({parts[1], effect}), wrong[3] = added({parts[3], effect});
    const auto both = sum_of(added({mix, effect}), wrong);
    CHECK(both.cause == SumCause::doubled);
    CHECK(both.doubled == std::pair<std::size_t, std::size_t>{1, 3});
    // A group beside its members.
    wrong = parts;
    wrong.push_back(added({parts[0], parts[2], parts[5]}));
    const auto group = sum_of(mix, wrong);
    CHECK(group.cause == SumCause::doubled);
    CHECK(group.parts[6].holds == std::vector<std::size_t>{0, 2, 5});
    for (std::size_t i = 0; i < parts.size(); ++i) CHECK(!group.parts[i].off);
    // Twice in the mix as well: nothing is wrong.
    wrong = parts;
    wrong.push_back(parts[1]);
    const auto meant = sum_of(added(wrong), wrong);
    CHECK(meant.cause == SumCause::sums);
    CHECK(meant.parts[6].copy_of == 1);
    wrong[3].gain_db(-2);
    auto both_in = parts;
    both_in.push_back(parts[1]);
    CHECK(sum_of(added(both_in), wrong).cause == SumCause::faders);
  }

  TEST_CASE("a part that the mix does without, and one that is the whole mix") {
    const auto parts = ensemble(6);
    auto more = parts;
    more.push_back(part(9, 12, 0.5, 3));
    const auto muted = sum_of(added(parts), more);
    CHECK(muted.cause == SumCause::not_in_mix);
    CHECK(muted.parts[6].not_in_mix);
    auto wrong = parts;
    wrong[3] = added(parts);
    const auto whole = sum_of(added(parts), wrong);
    CHECK(whole.cause == SumCause::whole_mix);
    CHECK(whole.parts[3].whole_mix);
  }

  TEST_CASE("a tone held long that is early, and a filter that looks like delays") {
    // Sung vowels by formula: harmonics of a note that wavers, whose correlation has a peak at each of its periods.
    Samples sung(12 * kRate, 0.0);
    double phase = 0;
    for (std::size_t n = 0; n < sung.size(); ++n) {
      const double t = static_cast<double>(n) / kRate;
      phase += (196 * (1 + 0.012 * std::sin(2 * std::numbers::pi * 5.1 * t)) * (t < 6 ? 1 : 1.122)) / kRate;
      for (int k = 1; k <= 14; ++k) sung[n] += 0.05 / k * (1 + 0.4 * std::sin(2 * std::numbers::pi * 0.21 * k * t)) * std::sin(2 * std::numbers::pi * k * phase);
    }
    const std::vector<Clip> parts = {part(0, 12, 0.5), part(1, 12, 0.4), {kRate, {sung, sung}}};
    const auto mix = added(parts);
    auto files = parts;
    for (auto& channel : files[2].channels) channel.erase(channel.begin(), channel.begin() + 480), channel.resize(12 * kRate);
    const auto early = sum_of(mix, files);
    CHECK(early.parts[2].delay_frames == doctest::Approx(-480).epsilon(0.001));
    CHECK(early.parts[0].delay_frames == 0);
    // A low cut on the bus: three tenths as they are, seven through one pole at 200 Hz.
    auto cut = mix;
    const double pole = std::exp(-2 * std::numbers::pi * 200 / kRate);
    for (auto& channel : cut.channels) {
      double low = 0;
      for (auto& x : channel) low = (1 - pole) * x + pole * low, x = 0.3 * x + 0.7 * (x - low);
    }
    const auto filtered = sum_of(cut, parts);
    CHECK((filtered.cause == SumCause::bus_filter || std::ranges::find(filtered.also, SumCause::bus_filter) != filtered.also.end()));
    CHECK(filtered.residual_db < -20);
    for (const auto& part : filtered.parts) CHECK(part.delay_frames == 0);
  }

  TEST_CASE("a delay between frames is told to a twentieth of a frame, with a gain of its own") {
    // Tones have a formula at every place.
    const auto tones = [](double from_hz, double shift) {
      Samples out(12 * kRate, 0.0);
      for (int k = 0; k < 12; ++k) {
        const double hz = from_hz * (1 + 0.37 * k);
        for (std::size_t n = 0; n < out.size(); ++n) {
          const double t = (static_cast<double>(n) - shift) / kRate;
          const double wave = std::exp(-std::pow(std::fmod(t + 0.13 * k + 1, 0.7 + 0.05 * k) * 6, 2)) * 0.04;
          out[n] += wave * std::sin(2 * std::numbers::pi * hz * t + k);
        }
      }
      return Clip{kRate, {out, out}};
    };
    std::vector<Clip> parts = {tones(110, 0), tones(371, 0), tones(893, 0)};
    const auto mix = added(parts);
    for (const double shift : {0.3, 10.5, -7.25}) {
      auto files = parts;
      files[1] = tones(371, shift).gain_db(-2);
      const auto sum = sum_of(mix, files);
      CHECK(sum.cause == SumCause::delay);
      CHECK(std::abs(sum.parts[1].delay_frames - shift) < 0.05);
      CHECK(sum.parts[1].gain_db == doctest::Approx(2).epsilon(0.005));
      CHECK(sum.parts[0].delay_frames == 0);
      CHECK(sum.parts[2].delay_frames == 0);
    }
  }

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

  TEST_CASE("lengths, rates and channels that differ") {
    const auto parts = ensemble(4);
    const auto mix = added(parts);
    auto wrong = parts;
    for (auto& channel : wrong[1].channels) channel.resize(channel.size() / 2);
    for (auto& channel : wrong[2].channels) channel.resize(channel.size() * 2, 0.0);
    auto half = mix;
    const auto whole = added(parts);
    for (std::size_t c = 0; c < 2; ++c) {
      for (std::size_t n = wrong[1].channels[c].size(); n < half.channels[c].size(); ++n) half.channels[c][n] = whole.channels[c][n] - parts[1].channels[c][n];
    }
    const auto sum = sum_of(half, wrong);
    CHECK(sum.cause == SumCause::sums);
    CHECK(sum.parts[1].frames == sum.frames / 2);
    CHECK(sum.parts[2].frames == sum.frames * 2);
    // Six channels, and a part of two among them.
    std::vector<Clip> surround(3);
    Clip six;
    for (std::size_t i = 0; i < 3; ++i) {
      surround[i].rate = kRate;
      for (std::size_t c = 0; c < 6; ++c) surround[i].channels.push_back(part(i + c, 6, 0).channels[0]);
    }
    six = added(surround);
    CHECK(sum_of(six, surround, {.speakers = 0x3F}, {.speakers = 0x3F}).cause == SumCause::sums);
    auto off = surround;
    off[1].gain_db(-1);
    const auto fader = sum_of(six, off, {.speakers = 0x3F}, {.speakers = 0x3F});
    CHECK(fader.cause == SumCause::faders);
    CHECK(fader.parts[1].gain_db == doctest::Approx(1).epsilon(0.002));
    // Another rate: the same number of frames at a rate a little off is another length and no sum.
    auto rate = parts;
    rate[0].rate = 48000;
    const test::Folder folder;
    std::vector<std::string> paths;
    for (std::size_t i = 0; i < 4; ++i) paths.push_back(test::write_sample(folder.path, "part" + std::to_string(i), rate[i], {}));
    const auto mixed = pair::sum_of(test::write_sample(folder.path, "mix", mix, {}), paths);
    REQUIRE(mixed.has_value());
    CHECK(mixed->mixed_rates);
    CHECK(!mixed->nulls);
  }

  TEST_CASE("what cannot be measured, and what cannot be read") {
    const auto parts = ensemble(3, 3);
    const auto mix = added(parts);
    const auto silence = times(mix, 0);
    CHECK(sum_of(silence, parts).not_measured == "the mix is silent");
    CHECK(sum_of(mix, {silence, silence}).not_measured == "all parts are silent");
    CHECK(sum_of(mix, {mix}).not_measured == "one part alone is no sum");
    const test::Folder folder;
    const auto path = test::write_sample(folder.path, "mix", mix, {});
    CHECK(pair::sum_of(path, {}).error().code == ErrorCode::usage);
    CHECK(pair::sum_of(path, {path, folder.path + "/none.wav"}).error().code == ErrorCode::missing);
    const std::atomic<bool> stop = true;
    CHECK(pair::sum_of(path, {path, path}, {.progress = {}, .stop = &stop}).error().code == ErrorCode::interrupted);
    // A few frames.
    auto few = parts;
    for (auto& one : few) {
      for (auto& channel : one.channels) channel = Samples(channel.begin() + kRate, channel.begin() + kRate + 50);
    }
    const auto sum = sum_of(added(few), few);
    CHECK((sum.not_measured || sum.cause == SumCause::sums));
  }

  TEST_CASE("one fault at a time in sets of 2 to 12 parts is named") {
    const int trials = std::getenv("SUM_TRIALS") != nullptr ? std::atoi(std::getenv("SUM_TRIALS")) : 24;
    int named = 0;
    for (int trial = 0; trial < trials; ++trial) {
      test::Random random(static_cast<std::uint64_t>(trial) + 1000);
      const auto count = 2 + random.below(11);
      auto parts = padded(ensemble(count, 10, static_cast<std::uint64_t>(trial)), 20000);
      const auto mix = added(parts);
      const auto which = random.below(count);
      auto files = parts;
      const auto fault = trial % 8;
      SumCause expected = SumCause::sums;
      if (fault == 1) expected = SumCause::faders, files[which].gain_db(random.unit() < 0.5 ? -1.5 : 0.7);
      if (fault == 2) expected = SumCause::polarity, files[which] = times(files[which], -1);
      if (fault == 3) expected = SumCause::delay, files[which] = later(files[which], 1 + static_cast<std::int64_t>(random.below(19000)));
      if (fault == 4 && count > 2) expected = SumCause::missing, files.erase(files.begin() + static_cast<std::ptrdiff_t>(which));
      if (fault == 5) expected = SumCause::doubled, files.push_back(files[which]);
      if (fault == 6) {
        expected = SumCause::one_gain;
        for (auto& one : files) one.gain_db(-3);
      }
      if (fault == 7) expected = SumCause::not_in_mix, files.push_back(part(which + 5, 10, 0.4, 99 + static_cast<std::uint64_t>(trial)));
      const auto sum = sum_of(mix, files);
      bool right = sum.cause == expected;
      if (fault == 1) right = right && sum.parts[which].off;
      if (fault == 2) right = right && sum.parts[which].inverted;
      if (fault == 3) right = right && sum.parts[which].delay_frames != 0;
      named += right ? 1 : 0;
      if (!right && std::getenv("SUM_VERBOSE") != nullptr) MESSAGE("trial " << trial << ": " << count << " parts, wanted " << to_string(expected) << " of " << which);
    }
    MESSAGE(named << " of " << trials);
    CHECK(named >= trials * 9 / 10);
  }
}
