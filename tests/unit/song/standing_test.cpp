// What stems tell is held to the mix: a stem that stands otherwise in it passes nothing.
#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <numbers>
#include <string>

#include "signals.h"
#include "unit/song/arrangement.h"

using namespace sendworthy;
using test::Arrangement;
using test::Clip;
using test::finding;
using test::words;

namespace {

Status status(const Sheet& sheet, const std::string& id) { return finding(sheet, id).status; }
bool says(const Sheet& sheet, const std::string& id, const std::string& text) { return words(sheet, id).find(text) != std::string::npos; }

/// The mix holds this stem otherwise than its file does.
Sheet stale(const std::string& name, double mix_over_stem_db) {
  Arrangement song;
  song.gain(name, mix_over_stem_db);
  song.mix = song.sum();
  song.gain(name, -mix_over_stem_db);
  return song.check();
}

/// To a share of its peak, by a gain that comes at once and goes within a tenth of a second.
void limit(Clip& clip, double share) {
  auto& channels = clip.channels;
  double peak = 0, gain = 1;
  for (const auto& channel : channels) {
    for (const auto sample : channel) peak = std::max(peak, std::abs(sample));
  }
  for (std::size_t n = 0; n < channels.front().size(); ++n) {
    double here = 0;
    for (const auto& channel : channels) here = std::max(here, std::abs(channel[n]));
    const double wanted = here > share * peak ? share * peak / here : 1;
    gain = wanted < gain ? wanted : gain + (wanted - gain) * 0.0005;
    for (auto& channel : channels) channel[n] *= gain;
  }
}

/// A shelf of the first order below 200 Hz.
void shelve(Clip& clip, double gain_db) {
  const double pole = std::exp(-2 * std::numbers::pi * 200 / clip.rate), more = std::pow(10, gain_db / 20) - 1;
  for (auto& channel : clip.channels) {
    double low = 0;
    for (auto& sample : channel) {
      low = (1 - pole) * sample + pole * low;
      sample += more * low;
    }
  }
}

}  // namespace

TEST_SUITE("song/standing") {
  TEST_CASE("a kick that is softer in the mix than in its stem tells nothing of kick and bass") {
    const auto sheet = stale("kick", -6);
    for (const auto* id : {"kick-over-bass", "low-end-order", "priority-masking", "movement", "quiet-listening"}) {
      CAPTURE(id);
      CAPTURE(words(sheet, id));
      CHECK(status(sheet, id) == Status::not_measured);
      CHECK(says(sheet, id, "\"kick\" stands 6.0 dB softer in the mix than in its stem"));
      CHECK(says(sheet, id, "by the stems: "));
    }
    // What stands on other stems is told by them.
    for (const auto* id : {"bass-steadiness", "backing-placement", "biggest-section", "vocal-placement"}) {
      CAPTURE(id);
      CAPTURE(words(sheet, id));
      CHECK(status(sheet, id) == Status::pass);
    }
    CHECK(sheet.song->vocal->bed == "mix less the vocal");
  }

  TEST_CASE("a kick of which one channel is upside down is named by it, and tells nothing of kick and bass") {
    Arrangement song;
    song.mix = song.sum();
    auto& channels = song.clip("kick").channels;
    if (channels.size() == 1) channels.push_back(channels.front());
    for (auto& v : channels.front()) v = -v;
    const auto sheet = song.check();
    CAPTURE(words(sheet, "stems-sum-to-mix"));
    CHECK(says(sheet, "stems-sum-to-mix", "polarity: kick left channel inverted"));
    CHECK(status(sheet, "stems-aligned") == Status::fail);
    CHECK(words(sheet, "stems-aligned") == "kick: left channel upside down");
    for (const auto* id : {"kick-over-bass", "low-end-order", "priority-masking", "movement"}) {
      CAPTURE(id);
      CAPTURE(words(sheet, id));
      CHECK(status(sheet, id) == Status::not_measured);
      CHECK(says(sheet, id, "the left channel of \"kick\" stands upside down in the mix"));
    }
  }

  TEST_CASE("a lead vocal of another bounce is held against neither bed nor backing vocals") {
    const auto sheet = stale("voice", 2);
    CHECK(status(sheet, "vocal-placement") == Status::not_measured);
    CHECK(status(sheet, "backing-placement") == Status::not_measured);
    CHECK(says(sheet, "backing-placement", "\"voice\" stands 2.0 dB louder in the mix than in its stem"));
    CHECK(status(sheet, "kick-over-bass") == Status::pass);
    CHECK(status(sheet, "vocal-condition") == Status::pass);
  }

  TEST_CASE("a fault by a stem that is off by little stays a fault, by much it is not measured") {
    for (const double off : {-0.8, -3.0}) {
      CAPTURE(off);
      Arrangement song;
      song.gain("kick", off);
      song.mix = song.sum();
      song.gain("kick", -off);
      song.wishes["low_end"] = "lowest = \"kick\"\nkick_over_bass = 60\nbass_steadiness = 20";
      const auto sheet = song.check();
      CAPTURE(words(sheet, "kick-over-bass"));
      CHECK(status(sheet, "kick-over-bass") == (off > -1 ? Status::fail : Status::not_measured));
    }
  }

  TEST_CASE("a limiter on the mix bus, its latency and another level are no matter between stems") {
    const auto plain = Arrangement().check();
    Arrangement song;
    song.mix = song.sum();
    // A gain that follows the level within a tenth of a second, and comes 47 frames late.
    auto& channels = song.mix->channels;
    double level = 0;
    for (std::size_t n = 0; n < channels.front().size(); ++n) {
      double power = 0;
      for (const auto& channel : channels) power = std::max(power, channel[n] * channel[n]);
      level += (power - level) * (power > level ? 0.002 : 0.0002);
      const double gain = 1.5 / std::sqrt(1 + level / 0.02);
      for (auto& channel : channels) channel[n] *= gain;
    }
    for (auto& channel : channels) channel.insert(channel.begin(), 47, 0.0), channel.resize(channel.size() - 47);
    const auto sheet = song.check();
    CAPTURE(words(sheet, "stems-sum-to-mix"));
    CHECK(status(sheet, "stems-sum-to-mix") == Status::fail);
    CHECK(words(sheet, "stems-aligned") == "all stems against the mix: 47 frames early");
    for (const auto* id : {"vocal-placement", "backing-placement", "kick-over-bass", "priority-masking", "percussion-in-biggest", "movement"}) {
      CAPTURE(id);
      CAPTURE(words(sheet, id));
      CHECK(status(sheet, id) == Status::pass);
    }
    // One stem that is late beside that is told by itself, and tells nothing of the mix.
    auto late = song;
    for (auto& channel : late.clip("kick").channels) channel.insert(channel.begin(), 96, 0.0), channel.resize(channel.size() - 96);
    const auto one = late.check();
    CHECK(words(one, "stems-aligned") == "all stems against the mix: 47 frames early; kick: 96 frames late");
    CHECK(status(one, "kick-over-bass") == Status::not_measured);
    for (std::size_t i = 0; i < plain.song->sections.size(); ++i) CHECK(*sheet.song->sections[i].vocal_over_bed == doctest::Approx(*plain.song->sections[i].vocal_over_bed).epsilon(0.01));
  }

  TEST_CASE("stems that were limited one by one tell nothing of their levels to one another") {
    Arrangement song;
    song.gain("kick", -9);  // so that no stem is all of the mix
    song.mix = song.sum();
    for (auto& stem : song.stems) limit(stem.clip, 0.35);
    const auto sheet = song.check();
    CAPTURE(words(sheet, "stems-sum-to-mix"));
    CHECK(says(sheet, "stems-sum-to-mix", "processing on each of them alone"));
    for (const auto* id : {"vocal-placement", "backing-placement", "percussion-in-biggest", "kick-over-bass", "movement", "quiet-listening"}) {
      CAPTURE(id);
      CAPTURE(words(sheet, id));
      CHECK(status(sheet, id) == Status::not_measured);
      CHECK(says(sheet, id, "every stem went through processing of its own"));
    }
  }

  TEST_CASE("a filter on the mix bus moves the vocal against the bed, which the stems do not tell") {
    for (const double shelf_db : {0.3, 6.0, -6.0}) {
      CAPTURE(shelf_db);
      Arrangement song;
      // Behind the shelf the vocal stands elsewhere: what is to be told is measured on stems that went through it as well.
      auto behind = song;
      for (auto& stem : behind.stems) shelve(stem.clip, shelf_db);
      const auto truth = behind.check();
      song.mix = behind.sum();
      const auto before = Arrangement().check(), sheet = song.check();
      CAPTURE(words(sheet, "stems-sum-to-mix"));
      CAPTURE(words(sheet, "vocal-placement"));
      CHECK(says(sheet, "stems-sum-to-mix", "a filter on the mix bus"));
      double moved = 0;
      for (std::size_t i = 0; i < truth.song->sections.size(); ++i) moved += (*truth.song->sections[i].vocal_over_bed - *before.song->sections[i].vocal_over_bed) / static_cast<double>(truth.song->sections.size());
      CAPTURE(moved);
      CHECK(std::abs(moved) > (std::abs(shelf_db) > 1 ? 0.5 : -1));
      CHECK(status(sheet, "vocal-placement") == (std::abs(shelf_db) > 1 ? Status::not_measured : Status::pass));
      if (std::abs(shelf_db) > 1) {
        const auto text = words(sheet, "vocal-placement");
        const double told = std::stod(text.substr(text.find("about ") + 6)) * (text.find("lifts") != text.npos ? 1 : -1);
        CHECK(std::abs(told - moved) < 0.3);
      }
    }
  }

  TEST_CASE("what was never measured passes nothing: a section that is stated and silent, samples that are no numbers, sections without a loudness") {
    Arrangement silent;
    silent.wishes["vocal"] = "above_band = [-20, 20]\nsections = { \"chorus\" = [-20, 20] }";
    silent.gain("voice", -200, 6, 12);
    CHECK(words(silent.check(), "vocal-placement").find("not measured: a range is stated for chorus, where the vocal is not heard") == 0);

    Arrangement broken;
    broken.wrapping.bits = 32, broken.wrapping.real = true;
    broken.mix = broken.sum();
    broken.clip("keys").channels[0][48000] = std::nan("");
    const auto sheet = broken.check();
    for (const auto* id : {"stems-sum-to-mix", "stems-aligned", "vocal-condition", "kick-over-bass"}) {
      CAPTURE(id);
      CAPTURE(words(sheet, id));
      CHECK(status(sheet, id) == Status::not_measured);
      CHECK(says(sheet, id, "samples are no numbers"));
    }
  }

  TEST_CASE("backing vocals that answer the lead, and never sound with it, are not held against it") {
    Arrangement song;
    for (int half = 0; half < 24; ++half) {
      song.gain("voice", -200, half + 0.5, half + 1);
      song.gain("backing", -200, half, half + 0.5);
    }
    CAPTURE(words(song.check(), "backing-placement"));
    CHECK(status(song.check(), "backing-placement") == Status::not_measured);
  }

  TEST_CASE("a stem that is silent in the mix as well leaves the others what they are") {
    Arrangement song;
    song.gain("keys", -200);
    const auto sheet = song.check();
    CAPTURE(words(sheet, "stems-sum-to-mix"));
    CHECK(status(sheet, "stems-sum-to-mix") == Status::pass);
    CHECK(status(sheet, "stems-aligned") == Status::fail);
    CHECK(words(sheet, "stems-aligned") == "keys: silent");
    CHECK(sheet.song->vocal->bed == "sum of the other stems");
  }

  TEST_CASE("a lone vocal a decibel off passes only where that decides nothing") {
    const auto whole = Arrangement().check();
    double low = 100, high = -100;
    for (const auto& one : whole.song->sections) low = std::min(low, *one.vocal_over_bed), high = std::max(high, *one.vocal_over_bed);
    for (const double off : {1.0, -1.0}) {
      CAPTURE(off);
      for (const double room : {0.5, 3.0}) {
        CAPTURE(room);
        Arrangement song;
        song.gain("voice", off);
        song.mix = song.sum();
        song.gain("voice", -off);
        for (const auto* name : {"kick", "snare", "bass", "keys", "backing"}) song.drop(name);
        song.wishes = {{"vocal", "above_band = [" + std::to_string(low - room) + ", " + std::to_string(high + room) + "]"}};
        const auto sheet = song.check();
        CAPTURE(words(sheet, "vocal-placement"));
        CHECK(status(sheet, "vocal-placement") == (room < 1 ? Status::not_measured : Status::pass));
        CHECK(says(sheet, "vocal-placement", off > 0 ? "dB louder in the mix than in its stem" : "dB softer in the mix than in its stem"));
      }
    }
  }

  TEST_CASE("a lone stem has a length all the same") {
    Arrangement song;
    song.mix = song.sum();
    for (const auto* name : {"kick", "snare", "bass", "keys", "backing"}) song.drop(name);
    CHECK(status(song.check(), "stems-aligned") == Status::not_measured);
    for (auto& channel : song.clip("voice").channels) channel.resize(channel.size() - 1);
    const auto sheet = song.check();
    CHECK(status(sheet, "stems-aligned") == Status::fail);
    CHECK(words(sheet, "stems-aligned").starts_with("voice: 1 frame shorter than the mix; where they stand was not measured: "));
  }

  TEST_CASE("noise of stems adds up where they rest") {
    Arrangement song;
    CHECK_FALSE(song.check().song->noise_of_stems.has_value());
    std::uint32_t state = 1;
    // White noise at -70.5 dBFS in three stems that rest for more than two seconds at the end.
    for (const auto* name : {"voice", "keys", "bass"}) {
      song.gain(name, -200, 19, 24);
      for (auto& channel : song.clip(name).channels) {
        for (auto& sample : channel) {
          state = state * 1664525U + 1013904223U;
          sample += 0.0003 * std::sqrt(3.0) * (static_cast<double>(state) / 2147483648.0 - 1);
        }
      }
    }
    const auto sheet = song.check();
    CAPTURE(words(sheet, "stems-sum-to-mix"));
    REQUIRE(sheet.song->noise_of_stems.has_value());
    double sum = 0;
    for (const auto& stem : sheet.song->stems) sum += stem.noise ? std::pow(10, *stem.noise / 10) : 0;
    CHECK(*sheet.song->noise_of_stems == doctest::Approx(10 * std::log10(sum)));
    // Two channels have 3 dB more than one, and three stems 4.8 dB more; K-weighting changes white noise by less than 4 dB.
    CHECK(std::abs(*sheet.song->noise_of_stems - (-70.5 + 3 + 4.8)) < 4);
    CHECK(says(sheet, "stems-sum-to-mix", "noise of 3 stems adds up to"));
  }

  TEST_CASE("one stem alone is looked for in the mix by its own sound") {
    for (const bool there : {true, false}) {
      CAPTURE(there);
      Arrangement song;
      song.mix = song.sum();
      if (!there) {
        Arrangement without;
        without.drop("bass");
        song.mix = without.sum();
      }
      std::erase_if(song.stems, [](const auto& one) { return one.name != "bass"; });
      const auto sheet = song.check();
      CAPTURE(words(sheet, "bass-steadiness"));
      CHECK(status(sheet, "bass-steadiness") == (there ? Status::pass : Status::not_measured));
      CHECK(says(sheet, "bass-steadiness", "\"bass\" is not in the mix") == !there);
    }
  }

  TEST_CASE("drums without the rest as stems are held against the mix less the drums") {
    const auto whole = Arrangement().check();
    Arrangement song;
    song.mix = song.sum();
    std::erase_if(song.stems, [](const auto& one) { return one.name != "kick" && one.name != "snare"; });
    const auto sheet = song.check();
    CAPTURE(words(sheet, "percussion-in-biggest"));
    CHECK(status(sheet, "percussion-in-biggest") == Status::pass);
    CHECK(says(sheet, "percussion-in-biggest", "the rest is the mix less the drums"));
    CHECK(*sheet.song->sections.back().drums_over_rest == doctest::Approx(*whole.song->sections.back().drums_over_rest).epsilon(0.01));
  }
}
