#include "unit/pair/sum_sets.h"

#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <cstdlib>
#include <string>

#include "faults/packaged.h"
#include "signals.h"

namespace sendworthy::test {
namespace {

const std::vector<std::string> kSounds = {"loop_amen", "bass_thick_c", "ambi_piano", "loop_compus", "guit_e_slide", "loop_tabla", "perc_bell", "loop_industrial",
                                          "ambi_choir", "drum_cymbal_open", "bass_trance_c", "elec_chime"};

}  // namespace

Clip part(std::size_t which, double seconds, double pan, std::uint64_t seed) {
  Random random(seed * 100 + which + 1);
  const auto& one = packaged_sound(kSounds[which % kSounds.size()]);
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

std::vector<Clip> ensemble(std::size_t count, double seconds, std::uint64_t seed) {
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

pair::Sum sum_of(const Clip& mix, const std::vector<Clip>& parts, const Wrapping& wrapping, const Wrapping& mix_wrapping) {
  const Folder folder;
  std::vector<std::string> paths;
  for (std::size_t i = 0; i < parts.size(); ++i) paths.push_back(write_sample(folder.path, "part" + std::to_string(i), parts[i], wrapping));
  const auto sum = pair::sum_of(write_sample(folder.path, "mix", mix, mix_wrapping), paths);
  REQUIRE(sum.has_value());
  std::string text(to_string(sum->cause));
  for (const auto also : sum->also) text += ", " + std::string(to_string(also));
  for (const auto& step : sum->ladder) text += "; " + step.name + " " + std::to_string(step.residual_db);
  if (std::getenv("SUM_VERBOSE") != nullptr) MESSAGE(text);
  return *sum;
}

void check_late(const Clip& mix, std::vector<Clip> parts, std::size_t which, std::int64_t frames) {
  CAPTURE(which);
  CAPTURE(frames);
  parts[which] = later(parts[which], frames);
  const auto sum = sum_of(mix, parts);
  CHECK(sum.cause == pair::SumCause::delay);
  for (std::size_t i = 0; i < parts.size(); ++i) CHECK(sum.parts[i].delay_frames == (i == which ? static_cast<double>(frames) : 0.0));
}

}  // namespace sendworthy::test
