// Sets of parts whose sum is known by arithmetic, each with one thing put wrong: gains, channels, parts too many and too few.
#include <doctest/doctest.h>

#include <atomic>
#include <cmath>
#include <cstdlib>
#include <string>
#include <vector>

#include "dsp/products.h"
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

  TEST_CASE("16-bit sound in 24-bit files is held to what 16 bits leave, as in files of 16") {
    const auto parts = ensemble(6);
    const auto mix = added(parts);
    const auto dithered = [](Clip clip, std::uint64_t seed) {
      Random random(seed);
      return clip.each([&](double v) { return std::round(v * 32768 + random.unit() - random.unit()) / 32768; });
    };
    auto files = parts;
    for (std::size_t i = 0; i < files.size(); ++i) files[i] = dithered(files[i], i + 1);
    for (const bool all : {false, true}) {
      CAPTURE(all);
      const auto sum = sum_of(dithered(mix, 99), all ? files : parts);
      CHECK(sum.cause == SumCause::sums);
      CHECK(sum.nulls);
      CHECK(std::abs(sum.residual_db - sum.floor_db) < 1);
    }
    // One of them in 16 bits is no leave for the rest: a tenth of a dB is told, and so is a silent file no word of 16 bits.
    auto wrong = parts;
    wrong[0] = wrong[0].gain_db(0.1);
    CHECK(sum_of(dithered(mix, 99), wrong).cause == SumCause::faders);
    auto more = parts;
    more.push_back(times(parts[0], 0));
    CHECK(sum_of(mix, more).floor_db < -100);
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
    // One channel of two, which is named; a part at the rim in the mix has no sign in the other channel.
    const auto words = [](const Sum& sum) {
      pair::SumNames names;
      names.name = [](const pair::SumPart& part) { return "part " + part.path.substr(part.path.rfind("part") + 4, 1); };
      return pair::words_of(sum, names);
    };
    for (const std::size_t c : {0u, 1u}) {
      wrong = parts;
      for (auto& v : wrong[1].channels[c]) v = -v;
      const auto one_channel = sum_of(mix, wrong);
      CHECK(one_channel.cause == SumCause::polarity);
      CHECK(one_channel.also.empty());
      CHECK(!one_channel.parts[1].inverted);
      CHECK(pair::inverted_channels(one_channel.parts[1]) == (c == 0 ? "left channel" : "right channel"));
      CHECK(words(one_channel).starts_with(c == 0 ? "polarity: part 1 left channel inverted;" : "polarity: part 1 right channel inverted;"));
      for (const bool mono : {false, true}) {
        auto placed = parts, files = parts;
        files[1].channels[1] = files[1].channels[0], placed[1] = files[1];
        for (auto& v : placed[1].channels[c]) v = 0;
        if (mono) files[1].channels.pop_back();
        for (const bool soft : {false, true}) {
          // Faintly inverted there is not there.
          for (std::size_t n = 0; n < placed[1].channels[c].size() && soft; ++n) placed[1].channels[c][n] = -1e-5 * files[1].channels[0][n];
          const auto rim = sum_of(added(placed), files);
          CAPTURE(words(rim));
          CHECK(rim.cause == SumCause::pan);
          CHECK(rim.also.empty());
          CHECK(rim.parts[1].unbalanced);
        }
      }
    }
    wrong = parts;
    wrong[1] = times(wrong[1], -1);
    for (auto& v : wrong[4].channels[0]) v = -v;
    CHECK(words(sum_of(mix, wrong)).starts_with("polarity: part 1 inverted, part 4 left channel inverted;"));
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

  TEST_CASE("a part that is in another one too, softer: both readings are told, and of a fader only one") {
    const auto parts = ensemble(6);
    const auto mix = added(parts);
    const auto words = [](const Sum& sum) {
      pair::SumNames names;
      names.name = [](const pair::SumPart& part) { return "part " + part.path.substr(part.path.rfind("part") + 4, 1); };
      return pair::words_of(sum, names);
    };
    for (std::size_t i = 0; i < parts.size(); ++i) {
      CAPTURE(i);
      const auto j = (i + 2) % parts.size();
      auto files = parts;
      files[j] = added({parts[j], times(parts[i], 0.5)});
      const auto held = sum_of(mix, files);
      CAPTURE(words(held));
      CHECK(held.cause == SumCause::faders);
      CHECK(held.parts[i].also_in == j);
      CHECK(words(held).starts_with("faders: part " + std::to_string(i) + " 6.02 dB too loud, or doubled: part " + std::to_string(j) + " holds it too, at -6.0 dB;"));
      for (const double gain : {0.5, 2.0}) {
        auto moved = parts;
        moved[i] = times(parts[i], 1 / gain);
        const auto fader = sum_of(mix, moved);
        CHECK(fader.cause == SumCause::faders);
        for (const auto& part : fader.parts) CHECK(!part.also_in);
      }
    }
  }

  TEST_CASE("parts that are all mono beside a stereo mix: what is off is told as of stereo ones, and a pan law is a gain of all") {
    auto parts = ensemble(5);
    for (auto& one : parts) one.channels.pop_back();
    const auto placed = [&](std::vector<double> gains, double all = 1) {
      std::vector<Clip> files;
      for (std::size_t i = 0; i < parts.size(); ++i) files.push_back(times({kRate, {parts[i].channels[0], parts[i].channels[0]}}, all * (i < gains.size() ? gains[i] : 1)));
      return sum_of(added(files), parts);
    };
    CHECK(placed({}).cause == SumCause::sums);
    for (const double db : {-4.0, -3.0103, -4.5154, -6.0206, 2.0, 6.0206}) {
      CAPTURE(db);
      const auto one = placed({}, std::pow(10, db / 20));
      CHECK(one.cause == SumCause::one_gain);
      CHECK(one.also.empty());
      CHECK(one.common_gain_db == doctest::Approx(db).epsilon(0.001));
      CHECK(one.common_pan_law == (db == -3.0103 ? pair::PanLaw::three_db : db == -4.5154 ? pair::PanLaw::four_and_a_half_db : db == -6.0206 ? pair::PanLaw::six_db : pair::PanLaw::none));
      for (const auto& part : one.parts) CHECK((part.known && !part.unbalanced && !part.off && part.pan_law == pair::PanLaw::none));
    }
    for (const double all : {1.0, std::sqrt(0.5)}) {
      CAPTURE(all);
      const auto inverted = placed({-1}, all), louder = placed({1, 2}, all), softer = placed({1, 1, std::sqrt(0.5)}, all);
      for (const auto* one : {&inverted, &louder, &softer}) {
        CHECK(one->cause == (one == &inverted ? SumCause::polarity : SumCause::faders));
        CHECK(one->also.size() == (all < 1 ? 1 : 0));
        CHECK(one->common_gain_db == doctest::Approx(20 * std::log10(all)).epsilon(0.001));
        for (std::size_t i = 0; i < parts.size(); ++i) {
          CHECK(one->parts[i].inverted == (one == &inverted && i == 0));
          CHECK(one->parts[i].off == ((one == &louder && i == 1) || (one == &softer && i == 2)));
          CHECK((!one->parts[i].unbalanced && one->parts[i].pan_law == pair::PanLaw::none));
        }
      }
    }
    // Beside the middle they tell the law, and that the session had no other gain.
    std::vector<Clip> files;
    for (std::size_t i = 0; i < parts.size(); ++i) {
      const double angle = (i < 3 ? 0.5 : i == 3 ? 0.2 : 0.7) * std::numbers::pi / 2;
      files.push_back({kRate, {parts[i].channels[0], parts[i].channels[0]}});
      for (auto& v : files[i].channels[0]) v *= std::cos(angle);
      for (auto& v : files[i].channels[1]) v *= std::sin(angle);
    }
    const auto panned = sum_of(added(files), parts);
    CHECK(panned.cause == SumCause::pan);
    CHECK(panned.also.empty());
    CHECK(panned.common_gain_db == 0);
    for (std::size_t i = 0; i < parts.size(); ++i) CHECK((panned.parts[i].pan_law == pair::PanLaw::three_db && panned.parts[i].unbalanced == (i > 2)));
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
