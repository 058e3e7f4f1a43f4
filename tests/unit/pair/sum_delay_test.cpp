// The same with parts that are late or early.
#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <string>
#include <vector>

#include "faults/sample.h"
#include "pair/sum.h"
#include "pair/sum_words.h"
#include "signals.h"
#include "unit/pair/sum_sets.h"

using namespace sendworthy;
using namespace sendworthy::test;
using pair::Sum;
using pair::SumCause;

TEST_SUITE("pair/sum") {
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

  TEST_CASE("beside a part that is a few frames late, parts that repeat to the frame stay where they are") {
    // A drum machine's kick and two loops stand as well a beat or a bar away, if not better, but for the ends.
    const std::int64_t bar = 40000;
    Random random(7);
    Samples kick(12 * kRate, 0.0), hat = kick, bass = kick, noise = kick, one(2000);
    for (auto& v : one) v = random.unit() - 0.5;
    for (std::size_t n = 0; n < kick.size(); ++n) {
      const auto in_beat = n % (bar / 4), in_stroke = n % (bar / 16), in_bar = n % bar;
      const double t = static_cast<double>(in_beat) / kRate, b = static_cast<double>(in_bar % (bar / 8)) / kRate;
      kick[n] = 0.3 * std::exp(-t / 0.12) * std::sin(2 * std::numbers::pi * (60 * t + 1.2 * (1 - std::exp(-t / 0.02))));
      hat[n] = in_stroke < one.size() ? 0.06 * std::exp(-static_cast<double>(in_stroke) / 400) * one[in_stroke] : 0;
      bass[n] = 0.1 * std::exp(-5 * b) * std::min(1.0, b / 0.003) * std::sin(2 * std::numbers::pi * 55 * std::pow(2, static_cast<double>(in_bar / (bar / 8) * 5 % 12) / 12) * b);
      noise[n] = n % (3 * kRate) < 2 * kRate ? 0.2 * (random.unit() - 0.5) : 0;
    }
    const std::vector<Clip> parts = {{kRate, {kick, kick}}, {kRate, {hat, hat}}, {kRate, {bass, bass}}, {kRate, {noise, noise}}};
    const auto mix = added(parts);
    for (const std::int64_t frames : {1, 3, 5, 7, 20, -6}) check_late(mix, parts, 3, frames);
    for (const std::int64_t frames : {4, 11}) {
      check_late(mix, parts, 0, frames);
      check_late(mix, parts, 2, frames);
    }
  }

  TEST_CASE("what falls off an end of a part that is late, early or shorter is told as that, and nothing is blamed on the mix bus") {
    const auto parts = ensemble(4);
    const auto mix = added(parts);
    const auto frames = static_cast<std::int64_t>(mix.channels[0].size());
    pair::SumNames names;
    names.name = [](const pair::SumPart& part) { return "part " + part.path.substr(part.path.rfind("part") + 4, 1); };
    Random random(11);
    for (const std::int64_t late : {1, 441, -30, 4410}) {
      CAPTURE(late);
      auto files = parts;
      auto whole = mix;  // with something of part 0 at both ends
      for (std::size_t c = 0; c < 2; ++c) {
        for (std::size_t n = 0; n < 5000; ++n) {
          const double v = 0.05 * (random.unit() - 0.5);
          for (const auto at : {n, whole.channels[c].size() - 1 - n}) whole.channels[c][at] += v, files[0].channels[c][at] += v;
        }
      }
      const auto as_it_was = files;
      files[0] = later(files[0], late);
      const auto sum = sum_of(whole, files);
      CAPTURE(pair::words_of(sum, names));
      CHECK(sum.cause == SumCause::delay);
      CHECK(sum.also == std::vector{SumCause::ends});
      CHECK(sum.nulls);
      CHECK(sum.parts[0].delay_frames == static_cast<double>(late));
      CHECK(sum.parts[0].missing_at_end == std::max<std::int64_t>(0, late));
      CHECK(sum.parts[0].missing_at_start == std::max<std::int64_t>(0, -late));
      CHECK(sum.parts[1].missing_at_end == 0);
      const auto where = pair::places_of(sum, names, "mix.wav", kRate);
      REQUIRE(where.size() == 1);
      CHECK(where[0].start_frame == (late > 0 ? frames - late : 0));
      CHECK(where[0].end_frame == (late > 0 ? frames : -late));
      if (late < 0) continue;
      auto shorter = as_it_was;
      for (auto& channel : shorter[0].channels) channel.resize(channel.size() - static_cast<std::size_t>(late));
      const auto cut = sum_of(whole, shorter);
      CAPTURE(pair::words_of(cut, names));
      CHECK(cut.cause == SumCause::ends);
      CHECK(cut.also.empty());
      CHECK(cut.parts[0].missing_at_end == late);
    }
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

  TEST_CASE("a sung part without edges that is late or early by hundreds of milliseconds, amid louder ones") {
    // Notes that swell and waver: neither an onset nor one clear peak tells where it stands.
    Samples sung(20 * kRate, 0.0);
    double phase = 0;
    Random random(5);
    double note = 196;
    for (std::size_t n = 0; n < sung.size(); ++n) {
      const double t = static_cast<double>(n) / kRate;
      if (n % (2 * kRate) == 0) note = 196 * std::pow(2, static_cast<double>(random.below(8)) / 12);
      phase += note * (1 + 0.008 * std::sin(2 * std::numbers::pi * 5.1 * t)) / kRate;
      const double swell = std::pow(std::sin(std::numbers::pi * std::fmod(t, 2.0) / 2), 2);
      for (int k = 1; k <= 10; ++k) sung[n] += 0.05 * swell / k * std::sin(2 * std::numbers::pi * k * phase);
    }
    auto parts = ensemble(5, 20);
    parts.push_back({kRate, {sung, sung}});
    parts = padded(parts, 30000);
    const auto mix = added(parts);
    for (const std::int64_t frames : {11025, -8000}) check_late(mix, parts, 5, frames);
    // In words, also by time.
    auto files = parts;
    files[5] = later(files[5], 11025);
    pair::SumNames names;
    names.name = [](const pair::SumPart&) { return std::string("voice"); };
    CHECK(pair::words_of(sum_of(mix, files), names).starts_with("delay: voice 11025 frames late (250 ms)"));
  }

  TEST_CASE("a sung part half a period away, where it stands upside down nearly as well, alone and beside another that is late") {
    Samples sung(12 * kRate, 0.0);
    double phase = 0, note = 330;
    Random random(5);
    for (std::size_t n = 0; n < sung.size(); ++n) {
      const double t = static_cast<double>(n) / kRate;
      if (n % (kRate / 2) == 0) note = 330 * std::pow(2, static_cast<double>(random.below(6)) / 12);
      phase += note * (1 + 0.006 * std::sin(2 * std::numbers::pi * 5.1 * t)) / kRate;
      const double swell = std::pow(std::sin(std::numbers::pi * std::fmod(t, 0.5) / 0.5), 2);
      for (int k = 1; k <= 5; ++k) sung[n] += 0.05 * swell / (k * k * k) * std::sin(2 * std::numbers::pi * k * phase);
    }
    auto parts = ensemble(4);
    parts.push_back({kRate, {sung, sung}});
    parts = padded(parts, 2000);
    const auto mix = added(parts);
    for (const std::int64_t frames : {60, -61, 64}) check_late(mix, parts, 4, frames);
    auto files = parts;
    files[4] = later(files[4], 60), files[0] = later(files[0], 1000);
    const auto both = sum_of(mix, files);
    CHECK(both.nulls);
    CHECK(both.parts[4].delay_frames == 60);
    CHECK(both.parts[0].delay_frames == 1000);
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
}
