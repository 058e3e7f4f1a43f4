// A voice spoken by a program (espeak-ng), clean and with one fault at a time put in at known times; and packaged recordings.
#include "song/vocal_condition.h"

#include <doctest/doctest.h>
#include <sndfile.h>

#include <cmath>
#include <cstdlib>
#include <string>
#include <vector>

#include "faults/sample.h"
#include "signals.h"
#include "unit/song/bands.h"

using namespace sendworthy;

namespace {

struct Sound {
  int rate = 0;
  test::Samples samples;
};

Sound read(const std::string& path) {
  SF_INFO info{};
  SNDFILE* file = sf_open(path.c_str(), SFM_READ, &info);
  REQUIRE_MESSAGE(file != nullptr, path);
  std::vector<double> chunk(static_cast<std::size_t>(4096 * info.channels));
  Sound out{info.samplerate, {}};
  while (const auto got = sf_readf_double(file, chunk.data(), 4096)) {
    for (sf_count_t n = 0; n < got; ++n) out.samples.push_back(chunk[static_cast<std::size_t>(n * info.channels)]);
  }
  sf_close(file);
  return out;
}

// Three phrases, with digital silence of 2 s before each.
struct Take {
  int rate = 0;
  test::Samples samples;
  std::vector<double> phrase_s;  ///< when each begins
  std::int64_t frame(double seconds) const { return static_cast<std::int64_t>(seconds * rate); }
};

Take take(const std::string& voice) {
  const test::Folder folder;
  Take out;
  for (const char* text : {"She sells six sharp scissors by the sea shore", "Peter Piper picked a peck of pickled peppers, please",
                           "Sing softly, nobody knows what we have been doing all morning"}) {
    const auto path = folder.path + "/phrase.wav";
    REQUIRE_MESSAGE(std::system(("espeak-ng -v " + voice + " -s 140 -w " + path + " '" + text + "'").c_str()) == 0, "install the package espeak-ng");
    const auto phrase = read(path);
    out.rate = phrase.rate;
    const auto sounds = [](double x) { return std::abs(x) > 0.01; };
    const auto first = std::find_if(phrase.samples.begin(), phrase.samples.end(), sounds);
    const auto last = std::find_if(phrase.samples.rbegin(), phrase.samples.rend(), sounds).base();
    out.samples.resize(out.samples.size() + static_cast<std::size_t>(2 * out.rate));
    out.phrase_s.push_back(static_cast<double>(out.samples.size()) / out.rate);
    out.samples.insert(out.samples.end(), first, last);
  }
  return out;
}

song::VocalCondition condition(const Take& take) { return song::vocal_condition(test::bands_of({take.samples}, take.rate)); }

double rms(const test::Samples& samples) {
  double sum = 0, count = 0;
  for (const double x : samples) {
    if (x != 0) sum += x * x, ++count;
  }
  return std::sqrt(sum / count);
}

void add(Take& take, double at_s, const test::Samples& sound) {
  for (std::size_t n = 0; n < sound.size(); ++n) take.samples.at(static_cast<std::size_t>(take.frame(at_s)) + n) += sound[n];
}

// Many sines between 5 and 9 kHz.
test::Samples hiss(int rate, double level, double seconds) {
  const auto frames = static_cast<std::int64_t>(seconds * rate);
  test::Random random(7);
  auto out = test::silence(frames);
  for (int i = 0; i < 80; ++i)
    out = test::sum(std::move(out), test::sine(rate, random.between(5000, 9000), level * std::sqrt(2.0 / 80), frames, random.between(0, 6)));
  return test::faded(std::move(out), frames / 5);
}

void no_fault(const song::VocalCondition& found) {
  CHECK(found.active_s > 0);
  CHECK(found.esses.count == 0);
  CHECK(found.plosives.count == 0);
  CHECK(!found.noise_db.has_value());
}

}  // namespace

TEST_SUITE("song/vocal_condition") {
  TEST_CASE("clean voices have no fault") {
    for (const std::string voice : {"en-us", "en-us+f3", "en-gb+m3", "en-us+f5"}) {
      CAPTURE(voice);
      const auto clean = take(voice);
      no_fault(condition(clean));
    }
    for (const std::string name : {"ambi_choir", "mehackit_robot1", "mehackit_robot3", "mehackit_robot6"}) {
      const auto sung = read("/usr/share/sonic-pi/samples/" + name + ".flac");
      CAPTURE(name);
      no_fault(song::vocal_condition(test::bands_of({sung.samples}, sung.rate)));
    }
  }

  TEST_CASE("harsh esses are found where they are, in a loud take and in a soft one") {
    for (const double gain : {1.0, 0.03}) {
      auto voice = take("en-us+f3");
      voice.samples = test::scaled(voice.samples, gain);
      const double level = rms(voice.samples);
      const double at[] = {voice.phrase_s[0] + 0.7, voice.phrase_s[1] + 1.1, voice.phrase_s[2] + 0.9};
      for (const double s : at) add(voice, s, hiss(voice.rate, level * 3, 0.12));
      const auto found = condition(voice);
      REQUIRE(found.esses.count == 3);
      for (std::size_t i = 0; i < 3; ++i) {
        const auto& place = found.esses.places[i];
        CHECK(std::abs((place.start_s + place.end_s) / 2 - at[i] - 0.06) < 0.04);
        CHECK(place.value > 5);
        CHECK(place.value < 14);
      }
      CHECK(found.plosives.count == 0);
    }
    // As strong as a clean voice's: none.
    auto mild = take("en-us+f3");
    add(mild, mild.phrase_s[0] + 0.7, hiss(mild.rate, rms(mild.samples) * 0.5, 0.12));
    CHECK(condition(mild).esses.count == 0);
  }

  TEST_CASE("popped plosives are found where they are, other low sounds are none") {
    for (const std::string name : {"en-us", "en-us+f3"}) {
      auto voice = take(name);
      const double level = rms(voice.samples);
      const auto pop = test::faded(test::sine(voice.rate, 45, level * 3, voice.frame(0.06)), voice.frame(0.02));
      add(voice, voice.phrase_s[0], pop), add(voice, voice.phrase_s[1], pop);
      // Bumps of the stand in a pause, far from the voice and nearer, and a truck in the distance.
      add(voice, voice.phrase_s[2] - 1.2, pop), add(voice, voice.phrase_s[1] - 0.5, pop);
      const auto truck = test::sine(voice.rate, 40, level * 0.15, test::length(voice.samples));
      voice.samples = test::sum(voice.samples, truck);
      const auto found = condition(voice);
      CAPTURE(name);
      REQUIRE(found.plosives.count == 2);
      for (std::size_t i = 0; i < 2; ++i) {
        CHECK(std::abs(found.plosives.places[i].start_s - voice.phrase_s[i]) < 0.06);
        CHECK(found.plosives.places[i].value > -3);
      }
      CHECK(found.esses.count == 0);
    }
  }

  TEST_CASE("noise between phrases has its level, whatever stands in the pauses beside it") {
    auto voice = take("en-us");
    const auto clean = condition(voice);
    CHECK(clean.silent_s == doctest::Approx(6).epsilon(0.1));
    for (const double db : {-30.0, -45.0, -60.0}) {
      auto noisy = voice;
      const double level = rms(voice.samples);
      // A breath before each phrase.
      for (const double s : noisy.phrase_s) add(noisy, s - 0.45, test::faded(test::noise(5, level * 0.05, noisy.frame(0.35)), noisy.frame(0.1)));
      noisy.samples = test::sum(noisy.samples, test::noise(9, level * std::sqrt(3.0) * test::from_db(db), test::length(noisy.samples)));
      const auto found = condition(noisy);
      CAPTURE(db);
      REQUIRE(found.noise_db.has_value());
      CHECK(std::abs(*found.noise_db - db) < 2);
      CHECK(found.noise.count == 3);
      CHECK(found.noise.places[1].end_s == doctest::Approx(noisy.phrase_s[1]).epsilon(0.03));
    }
    // A reverb's tail, 60 dB in 2.5 s, and the same breaths over silence.
    auto wet = voice;
    const double level = rms(voice.samples);
    for (std::size_t i = 1; i < 3; ++i) {
      auto tail = test::noise(11, level * 0.4, wet.frame(2));
      for (std::size_t n = 0; n < tail.size(); ++n) tail[n] *= std::pow(10, -3 * static_cast<double>(n) / wet.rate / 2.5);
      add(wet, wet.phrase_s[i] - 2, tail);
      add(wet, wet.phrase_s[i] - 0.45, test::faded(test::noise(5, level * 0.05, wet.frame(0.35)), wet.frame(0.1)));
    }
    CHECK(!condition(wet).noise_db.has_value());
  }

  TEST_CASE("silence, and nothing") {
    CHECK(song::vocal_condition(song::BandFrames()).active_s == 0);
    const auto silent = song::vocal_condition(test::bands_of({test::silence(48000)}, 48000));
    CHECK(silent.active_s == 0);
    CHECK(silent.esses.count == 0);
    CHECK(!silent.noise_db.has_value());
    // One place more than are kept.
    const auto many = test::written_bands(30000, [](int t, int band) {
      if (band == 15) return -20.0;
      return band >= 28 && band < 34 && t % 100 < 3 ? -20 + 0.01 * t / 100 : std::nan("");
    });
    const auto listed = song::vocal_condition(many).esses;
    CHECK(listed.count == 300);
    CHECK(listed.places.size() == song::VocalPlaces::kMostPlaces);
    CHECK(std::is_sorted(listed.places.begin(), listed.places.end(), [](const auto& a, const auto& b) { return a.start_s < b.start_s; }));
  }
}
