// The gain that a mix and one of its versions share, from the frames in which they are most alike.
#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <utility>

#include "base/text.h"
#include "pair/leak.h"
#include "pair/octaves.h"

namespace sendworthy::pair {
namespace {

constexpr std::int64_t kMostFrames = 6000;  // that are looked at; of longer files every second, third …
constexpr double kAlikeShare = 0.08;        // the most alike of the frames that sound
constexpr std::size_t kAlikeLeast = 8;
constexpr double kSounds = 0.1;             // of the median power: softer frames may hold nothing but what leaks
constexpr double kSilent = 1e-12;           // of the loudest octave
constexpr double kSides = 1e-4;             // of the middle's power, in both: softer sides tell nothing of left and right
constexpr double kKnown = 0.5;              // a likeness of less is no gain in common

struct Cell {
  float main = 0, version = 0, real = 0, imaginary = 0;  ///< powers, and version*·main
  [[nodiscard]] double likeness() const {
    const double both = static_cast<double>(main) * static_cast<double>(version);
    return both > 0 ? (static_cast<double>(real) * static_cast<double>(real) + static_cast<double>(imaginary) * static_cast<double>(imaginary)) / both : 0;
  }
};

double median(std::vector<double>& values) {
  const auto at = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
  std::nth_element(values.begin(), at, values.end());
  return *at;
}

struct Fit {
  double real = 0, imaginary = 0;  ///< main over version
  double likeness = 0, power = 0;  ///< power of the main mix
  double version = 0;              ///< power of the version
};

Fit fit_of(std::vector<Cell> cells) {
  Fit fit;
  std::erase_if(cells, [](const Cell& one) { return one.version <= 0 || one.main <= 0; });
  if (cells.empty()) return fit;
  std::vector<double> powers;
  for (const auto& one : cells) powers.push_back(static_cast<double>(one.version)), fit.power += static_cast<double>(one.main), fit.version += static_cast<double>(one.version);
  const double usual = median(powers);
  std::erase_if(cells, [&](const Cell& one) { return static_cast<double>(one.version) < kSounds * usual; });
  const auto count = std::min(cells.size(), std::max(kAlikeLeast, static_cast<std::size_t>(kAlikeShare * static_cast<double>(cells.size()))));
  std::partial_sort(cells.begin(), cells.begin() + static_cast<std::ptrdiff_t>(count), cells.end(), [](const Cell& a, const Cell& b) { return a.likeness() > b.likeness(); });
  std::vector<double> real, imaginary, likeness;
  for (std::size_t i = 0; i < count; ++i) {
    const double version = static_cast<double>(cells[i].version);
    real.push_back(static_cast<double>(cells[i].real) / version), imaginary.push_back(static_cast<double>(cells[i].imaginary) / version);
    likeness.push_back(cells[i].likeness());
  }
  fit.real = median(real), fit.imaginary = median(imaginary), fit.likeness = std::sqrt(median(likeness));
  return fit;
}

}  // namespace

Result<SharedGain> shared_gain(const Track& main, const Track& version, const Hooks& hooks) {
  const auto clock = common_clock({&main, &version});
  if (!clock) return tl::unexpected(clock.error());
  auto one = SpectrumReader::open(main, *clock), other = SpectrumReader::open(version, *clock);
  if (!one) return tl::unexpected(one.error());
  if (!other) return tl::unexpected(other.error());
  const auto octaves = octaves_of(*clock);
  const auto channels = static_cast<std::size_t>(clock->channels);
  std::vector<std::vector<std::vector<Cell>>> cells(channels, std::vector<std::vector<Cell>>(octaves.size()));
  Spectrum a, b;
  const auto step = std::max<std::int64_t>(2, std::min(one->expected_frames(), other->expected_frames()) / kMostFrames);
  for (std::int64_t t = 0; !one->ended(t) && !other->ended(t); t += step) {
    if (hooks.stop != nullptr && hooks.stop->load(std::memory_order_relaxed)) return fail(ErrorCode::interrupted, base::for_terminal(version.path) + ": interrupted");
    if (hooks.progress) hooks.progress(std::min(1.0, static_cast<double>(t) / static_cast<double>(one->expected_frames())));
    if (!one->read(t, a) || !other->read(t, b)) continue;
    for (std::size_t c = 0; c < channels; ++c) {
      for (std::size_t o = 0; o < octaves.size(); ++o) {
        Cell cell;
        for (auto k = octaves[o].first; k < octaves[o].last; ++k) {
          const float ar = a.real[c][k], ai = a.imaginary[c][k], br = b.real[c][k], bi = b.imaginary[c][k];
          cell.main += ar * ar + ai * ai, cell.version += br * br + bi * bi;
          cell.real += br * ar + bi * ai, cell.imaginary += br * ai - bi * ar;
        }
        cells[c][o].push_back(cell);
      }
    }
  }
  for (const auto* file : {&*one, &*other}) {
    if (file->error()) return tl::unexpected(*file->error());
  }
  SharedGain gain;
  gain.real.assign(channels, std::vector<float>(octaves.size(), 0.0f)), gain.imaginary = gain.real;
  std::vector<std::vector<Fit>> fits(channels);
  double loudest = 0;
  for (std::size_t c = 0; c < channels; ++c) {
    for (std::size_t o = 0; o < octaves.size(); ++o) {
      fits[c].push_back(fit_of(std::move(cells[c][o])));
      loudest = std::max(loudest, fits[c].back().power);
    }
  }
  // Of all octaves together, each as much as it is alike and loud.
  double level = 0, weight = 0, alike = 0, power = 0;
  std::array<double, 2> real{};  // of middle and side
  for (std::size_t c = 0; c < channels; ++c) {
    for (std::size_t o = 0; o < octaves.size(); ++o) {
      const auto& fit = fits[c][o];
      power += fit.power, alike += fit.power * fit.likeness;
      if (fit.likeness < kKnown || fit.power <= kSilent * loudest) continue;
      gain.real[c][o] = static_cast<float>(fit.real), gain.imaginary[c][o] = static_cast<float>(fit.imaginary);
      const double w = std::sqrt(fit.power) / (1.0001 - fit.likeness);
      weight += w, real[c] += w * fit.real, level -= w * 10 * std::log10(fit.real * fit.real + fit.imaginary * fit.imaginary);
    }
  }
  if (weight <= 0) return gain;
  gain.known = true, gain.gain_db = level / weight, gain.likeness = alike / power;
  // Where the middle says nothing, the sides alone cannot tell the one from the other.
  const auto sides_sound = [&] {
    if (channels < 2) return false;
    double main_mid = 0, main_side = 0, version_mid = 0, version_side = 0;
    for (std::size_t o = 0; o < octaves.size(); ++o)
      main_mid += fits[0][o].power, main_side += fits[1][o].power, version_mid += fits[0][o].version, version_side += fits[1][o].version;
    return main_side > kSides * main_mid && version_side > kSides * version_mid;
  };
  gain.swapped = real[0] * real[1] < 0 && sides_sound();
  gain.inverted = real[0] != 0 ? real[0] < 0 : real[1] < 0;
  for (std::size_t o = 0; o < octaves.size(); ++o) {
    // The louder of the channels tells.
    const Fit* chosen = nullptr;
    for (std::size_t c = 0; c < channels; ++c) {
      if (gain.real[c][o] != 0 && (chosen == nullptr || fits[c][o].power > chosen->power)) chosen = &fits[c][o];
    }
    if (chosen == nullptr) continue;
    const double db = -10 * std::log10(chosen->real * chosen->real + chosen->imaginary * chosen->imaginary);
    gain.octaves.push_back({octaves[o].centre_hz, db - gain.gain_db, chosen->likeness});
  }
  return gain;
}

}  // namespace sendworthy::pair
