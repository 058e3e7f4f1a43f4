// A sung vocal with noise or hum under it, up to where no pause can be told from what is sung: never a pass.
#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <functional>
#include <numbers>
#include <string>

#include "signals.h"
#include "unit/song/arrangement.h"

using namespace sendworthy;

namespace {

constexpr int kRate = 44100;
constexpr std::size_t kFrames = 24 * kRate;

/// A voice on 220 Hz with vibrato, syllables of 0.4 s that begin and end softly; `sings(t)`: whether at this second.
test::Samples sung(const std::function<bool(double)>& sings) {
  test::Samples out(kFrames, 0.0);
  double phase = 0;
  for (std::size_t n = 0; n < kFrames; ++n) {
    const double t = static_cast<double>(n) / kRate;
    phase += 2 * std::numbers::pi * 220 * (1 + 0.01 * std::sin(2 * std::numbers::pi * 5.5 * t)) / kRate;
    if (!sings(t)) continue;
    const double into = std::fmod(t, 0.4);
    const double shape = std::clamp(std::min(into / 0.05, (0.4 - into) / 0.08), 0.1, 1.0);
    for (int k = 1; k <= 10; ++k) out[n] += 0.1 / k * shape * std::sin(k * phase);
  }
  return out;
}

test::Samples phrases() {
  return sung([](double t) { return std::fmod(t, 4) < 2; });
}

struct Verdict {
  Status status;
  std::string words;
  double from_s = -1;  ///< of the first place
};

Verdict verdict(const test::Samples& voice) {
  test::Arrangement song;
  song.clip("voice").channels = {voice, voice};
  const auto sheet = song.check();
  const auto& found = test::finding(sheet, "vocal-condition");
  return {found.status, test::words(sheet, "vocal-condition"), found.where.empty() ? -1 : found.where.front().start_s};
}

/// Noise at this RMS level, dBFS; from this second on.
test::Samples with_noise(test::Samples voice, double dbfs, double from_s = 0) {
  const auto noise = test::noise(9, std::sqrt(3.0) * test::from_db(dbfs), static_cast<std::int64_t>(voice.size()));
  for (auto n = static_cast<std::size_t>(from_s * kRate); n < voice.size(); ++n) voice[n] += noise[n];
  return voice;
}

test::Samples with_hum(test::Samples voice, double dbfs) {
  for (const double hz : {50.0, 100.0, 150.0}) voice = test::sum(std::move(voice), test::sine(kRate, hz, test::from_db(dbfs) * std::sqrt(2.0 / 3), static_cast<std::int64_t>(kFrames)));
  return voice;
}

}  // namespace

TEST_SUITE("song/noisy_vocal") {
  TEST_CASE("noise over the limit never passes, also where it is too loud for a pause to be found") {
    const auto clean = phrases();
    CHECK(verdict(clean).words.ends_with("silence between phrases"));
    CHECK(verdict(clean).status == Status::pass);
    CHECK(verdict(with_noise(clean, -85)).status == Status::pass);  // what is sung lies at about −22 dBFS
    for (const double dbfs : {-60.0, -50.0}) {
      CAPTURE(dbfs);
      const auto found = verdict(with_noise(clean, dbfs));
      CHECK(found.status == Status::warn);
      CHECK_MESSAGE(found.words.starts_with("noise between phrases at "), found.words);
    }
    for (const double dbfs : {-38.0, -30.0}) {
      CAPTURE(dbfs);
      const auto found = verdict(with_noise(clean, dbfs));
      CHECK(found.status == Status::not_measured);
      CHECK_MESSAGE(found.words.find(": a steady sound at ") != std::string::npos, found.words);
      CHECK(std::fmod(found.from_s, 4) == doctest::Approx(2).epsilon(0.1));
    }
    const auto hum = verdict(with_hum(clean, -30));
    CHECK_MESSAGE(hum.status != Status::pass, hum.words);
  }

  TEST_CASE("digital silence before loud noise is no proof that the pauses are silent") {
    for (const double dbfs : {-38.0, -30.0}) {
      CAPTURE(dbfs);
      const auto found = verdict(with_noise(phrases(), dbfs, 4));
      CHECK_MESSAGE(found.status == Status::not_measured, found.words);
      CHECK(found.words.starts_with("not measured: noise could not be measured between all phrases: a steady sound at "));
    }
  }

  TEST_CASE("a vocal without a pause is not measured, one that holds its softest note is no noise") {
    const auto all = verdict(sung([](double) { return true; }));
    CHECK(all.status == Status::not_measured);
    CHECK_MESSAGE(all.words == "not measured: no pause of a second between phrases, in which noise could be measured", all.words);
    // One long note in each phrase, 12 dB under the rest, that comes after a breath.
    auto held = sung([](double t) { return std::fmod(t, 6) < 2; });
    const auto note = test::faded(test::sine(kRate, 220, 0.03, 2 * kRate), kRate / 20);
    for (std::size_t n = 0; n < kFrames; ++n) {
      const double t = std::fmod(static_cast<double>(n) / kRate, 6);
      if (t >= 2.15 && t < 4.15) held[n] += note[std::min(note.size() - 1, static_cast<std::size_t>((t - 2.15) * kRate))];
    }
    const auto soft = verdict(held);
    CHECK_MESSAGE(soft.status == Status::pass, soft.words);
  }
}
