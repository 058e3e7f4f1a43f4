// Sets of parts whose sum is known by arithmetic, each with one thing put wrong, made of packaged sounds.
#include <doctest/doctest.h>

#include <sndfile.h>

#include <algorithm>
#include <atomic>
#include <cmath>
#include <cstdlib>
#include <functional>
#include <map>
#include <string>
#include <vector>

#include "dsp/products.h"
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

/// One sound of the package, mono.
const Samples& sound(const std::string& name) {
  static std::map<std::string, Samples> all;
  auto& out = all[name];
  if (!out.empty()) return out;
  SF_INFO info{};
  SNDFILE* file = sf_open(("/usr/share/sonic-pi/samples/" + name + ".flac").c_str(), SFM_READ, &info);
  REQUIRE_MESSAGE(file != nullptr, name);
  std::vector<double> data(static_cast<std::size_t>(info.frames * info.channels));
  sf_readf_double(file, data.data(), info.frames);
  sf_close(file);
  for (std::size_t n = 0; n < data.size(); n += static_cast<std::size_t>(info.channels)) out.push_back(data[n]);
  return out;
}

const std::vector<std::string> kSounds = {"loop_amen", "bass_thick_c", "ambi_piano", "loop_compus", "guit_e_slide", "loop_tabla", "perc_bell", "loop_industrial",
                                          "ambi_choir", "drum_cymbal_open", "bass_trance_c", "elec_chime"};

/// A part: one sound again and again with rests between, each time at another pitch-like speed of whole steps, panned by amplitude.
Clip part(std::size_t which, double seconds, double pan, std::uint64_t seed = 0) {
  test::Random random(seed * 100 + which + 1);
  const auto& one = sound(kSounds[which % kSounds.size()]);
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

std::vector<Clip> ensemble(std::size_t count, double seconds = 20, std::uint64_t seed = 0) {
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
    const auto parts = ensemble(6);
    const auto mix = added(parts);
    for (const std::int64_t frames : {1, -1, 37, 4410, -100000, 300000}) {
      auto wrong = parts;
      wrong[0] = later(wrong[0], frames);
      const auto sum = sum_of(frames > 0 ? mix : mix, wrong);
      CHECK(sum.cause == SumCause::delay);
      CHECK(sum.parts[0].delay_frames == static_cast<double>(frames));
      for (std::size_t i = 1; i < 6; ++i) CHECK(sum.parts[i].delay_frames == 0);
    }
    auto wrong = parts;
    for (auto& one : wrong) one = later(one, 441);
    const auto all = sum_of(mix, wrong);
    CHECK(all.cause == SumCause::delay);
    CHECK(all.common_delay_frames == 441);
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
    const auto effect = part(8, 20, 0.5, 7);
    wrong[1] = added({parts[1], effect}), wrong[3] = added({parts[3], effect});
    const auto both = sum_of(added({mix, effect}), wrong);
    CHECK(both.cause == SumCause::doubled);
    CHECK(both.doubled == std::pair<std::size_t, std::size_t>{1, 3});
    // Twice in the mix as well: nothing is wrong.
    wrong = parts;
    wrong.push_back(parts[1]);
    CHECK(sum_of(added(wrong), wrong).cause == SumCause::sums);
    wrong[3].gain_db(-2);
    auto both_in = parts;
    both_in.push_back(parts[1]);
    CHECK(sum_of(added(both_in), wrong).cause == SumCause::faders);
  }

  TEST_CASE("a part that the mix does without, and one that is the whole mix") {
    const auto parts = ensemble(6);
    auto more = parts;
    more.push_back(part(9, 20, 0.5, 3));
    const auto muted = sum_of(added(parts), more);
    CHECK(muted.cause == SumCause::not_in_mix);
    CHECK(muted.parts[6].not_in_mix);
    auto wrong = parts;
    wrong[3] = added(parts);
    const auto whole = sum_of(added(parts), wrong);
    CHECK(whole.cause == SumCause::whole_mix);
    CHECK(whole.parts[3].whole_mix);
  }
}
