#include "dsp/spectrum.h"

#include <doctest/doctest.h>

#include <cmath>
#include <numbers>
#include <numeric>
#include <vector>

#include "signals.h"

using namespace sendworthy;
using dsp::BandSpectrum, dsp::Spectra;

namespace {

std::vector<double> bands_of(int rate, const std::vector<std::vector<double>>& channels, int step = 1 << 20) {
  const auto frames = static_cast<int>(channels.front().size());
  std::vector<float> rows;
  for (const auto& channel : channels) rows.insert(rows.end(), channel.begin(), channel.end());
  Spectra spectra(rate, static_cast<int>(channels.size()));
  BandSpectrum bands(spectra);
  for (int at = 0; at < frames; at += step) {
    spectra.push(rows.data() + at, frames, std::min(step, frames - at));
    while (spectra.ready()) bands.add(spectra.take());
  }
  spectra.pad();
  while (spectra.ready()) bands.add(spectra.take());
  return bands.mean_power(frames);
}

std::vector<double> tone(int rate, double hz, double peak, double seconds) {
  std::vector<double> x(static_cast<std::size_t>(rate * seconds));
  for (std::size_t n = 0; n < x.size(); ++n)
    x[n] = peak * std::sin(2 * std::numbers::pi * hz * static_cast<double>(n) / rate);
  return x;
}

double db(double power) { return 10 * std::log10(power); }

}  // namespace

TEST_SUITE("dsp/spectrum") {
  // IEC 61260-1: mid-band frequencies 1000·10^(k/10) Hz.
  TEST_CASE("a tone at a mid-band frequency stands in its band at its power, and far bands are 48 dB down") {
    for (const int rate : {44100, 48000, 96000, 192000}) {
      const BandSpectrum names(Spectra(rate, 1));
      REQUIRE(names.centre_hz().size() == (rate < 96000 ? 30 : rate < 192000 ? 33 : 36));
      // The lowest bands are hardly wider than a Fourier line, so that a part falls beside them.
      CHECK(names.centre_hz().front() == doctest::Approx(25.12).epsilon(1e-3));
      CHECK(names.centre_hz().back() == doctest::Approx(rate < 96000 ? 19953 : rate < 192000 ? 39811 : 79433).epsilon(1e-3));
      for (std::size_t b = 3; b < 30; b += 3) {
        const auto power = bands_of(rate, {tone(rate, names.centre_hz()[b], 0.5, 4)});
        CAPTURE(rate);
        CAPTURE(b);
        CHECK(db(power[b]) == doctest::Approx(-9.03).epsilon((b < 9 ? 0.5 : 0.15) / 9));
        for (std::size_t other = 0; other < 30; ++other) {
          if (std::abs(static_cast<int>(other) - static_cast<int>(b)) > 6) CHECK(db(power[other]) < -57);
        }
      }
    }
  }

  TEST_CASE("white noise rises by 1 dB per band and adds up to its power; channels are averaged") {
    const auto left = test::noise(3, 0.5, 48000 * 20);
    const std::vector<double> right(left.size(), 0.0);
    const double square =
        std::inner_product(left.begin(), left.end(), left.begin(), 0.0) / static_cast<double>(left.size());
    const auto power = bands_of(48000, {left, right});
    // Density × width: what lies between 22.4 Hz and 22.4 kHz of 24 kHz, on one channel of two.
    const double sum = std::accumulate(power.begin(), power.end(), 0.0);
    CHECK(db(sum) == doctest::Approx(db(square / 2 * (22387 - 22.4) / 24000)).epsilon(0.002));
    for (std::size_t b = 13; b < power.size(); ++b)
      CHECK(db(power[b]) - db(power[b - 1]) == doctest::Approx(1).epsilon(0.35));
  }

  TEST_CASE("a click counts alike wherever it falls, and how the stream is split changes nothing") {
    double lowest = 1e9, highest = 0;
    for (int at = 0; at < 20000; at += 700) {
      std::vector<double> x(48000, 0.0);
      x[static_cast<std::size_t>(at)] = 1;
      const auto power = bands_of(48000, {x});
      const double sum = std::accumulate(power.begin(), power.end(), 0.0);
      lowest = std::min(lowest, sum), highest = std::max(highest, sum);
    }
    // Two windows that add up to one hold between half and all of a click's power.
    CHECK(db(highest / lowest) < 3.1);
    const auto x = test::noise(4, 0.5, 48000);
    CHECK(bands_of(48000, {x}, 480) == bands_of(48000, {x}));
  }

  TEST_CASE("low rates have the bands below half of them") {
    for (const int rate : {8000, 11025, 22050}) {
      const BandSpectrum names(Spectra(rate, 1));
      CHECK(names.centre_hz().back() < 0.92 * rate / 2.0);
      CHECK(names.centre_hz().back() * std::pow(10, 0.1) > 0.92 * rate / 2.0);
      const auto power = bands_of(rate, {tone(rate, 1000, 0.5, 2)});
      CHECK(db(power[16]) == doctest::Approx(-9.03).epsilon(0.02));
    }
  }

  TEST_CASE("percentiles are those of the frames") {
    // Nine seconds of tone at -26 dB, one at -6.
    auto x = tone(48000, 1000, 0.0708, 9);
    const auto loud = tone(48000, 1000, 0.708, 1);
    x.insert(x.end(), loud.begin(), loud.end());
    std::vector<float> row(x.begin(), x.end());
    Spectra spectra(48000, 1);
    BandSpectrum spectrum(spectra);
    spectra.push(row.data(), 0, static_cast<int>(row.size()));
    spectra.pad();
    while (spectra.ready()) spectrum.add(spectra.take());
    CHECK(spectrum.percentile_db(0.5)[16] == doctest::Approx(-26.5).epsilon(0.04));
    CHECK(spectrum.percentile_db(0.97)[16] == doctest::Approx(-6.5).epsilon(0.16));
  }

  TEST_CASE("a frame that is skipped changes none of those that are taken, however the stream is split") {
    const auto x = test::noise(5, 0.5, 48000 * 4);
    const std::vector<float> row(x.begin(), x.end());
    const auto taken = [&](int step, std::int64_t every) {
      Spectra spectra(48000, 1);
      std::vector<std::vector<float>> found;
      for (std::size_t at = 0; at < row.size(); at += static_cast<std::size_t>(step)) {
        spectra.push(row.data() + at, 0, std::min(step, static_cast<int>(row.size() - at)));
        while (spectra.ready()) {
          const auto lines = spectra.take();
          found.emplace_back(lines.begin(), lines.end());
          spectra.skip_to((spectra.index() + every - 1) / every * every);
        }
      }
      return found;
    };
    const auto all = taken(1 << 20, 1);
    REQUIRE(all.size() == row.size() / 4096);
    for (const int step : {64, 4800, 48000}) {
      const auto some = taken(step, 7);
      REQUIRE(some.size() == (all.size() + 6) / 7);
      for (std::size_t i = 0; i < some.size(); ++i) CHECK(some[i] == all[7 * i]);
    }
  }
}
