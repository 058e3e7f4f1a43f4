#include "exports.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <deque>
#include <fstream>
#include <numbers>
#include <stdexcept>

#include "sound.h"

namespace demo {
namespace {

constexpr std::int32_t kTop = (1 << 23) - 1, kBottom = -(1 << 23);
constexpr double kFullScale = 1 << 23;

std::int32_t code_of(double x) {
  return static_cast<std::int32_t>(std::clamp(std::lrint(x), static_cast<long>(kBottom), static_cast<long>(kTop)));
}

Audio part_of_mix(const Audio& mix, std::size_t first, std::size_t end) {
  Audio part;
  part.codes.assign(mix.codes.begin() + static_cast<std::ptrdiff_t>(2 * first),
                    mix.codes.begin() + static_cast<std::ptrdiff_t>(2 * end));
  return part;
}

/// The reverberation of the last chord is cut off while it can still be heard.
Audio tail_cut(const Audio& mix) { return part_of_mix(mix, 0, frame_of(29) + kRate / 4); }

/// The file begins three milliseconds after the first note did.
Audio attack_cut(const Audio& mix) {
  std::size_t first = 0;
  while (std::abs(mix.codes[2 * first]) < kFullScale / 1000) ++first;
  return part_of_mix(mix, first + 3 * kRate / 1000, mix.frames());
}

Audio louder(const Audio& mix, double gain) {
  Audio out = mix;
  for (std::int32_t& code : out.codes) code = code_of(code * gain);
  return out;
}

/// Pushed up until its highest peak just does not fit: three samples stand at the ceiling.
Audio clipped_once(const Audio& mix) {
  std::int32_t highest = 0;
  for (const std::int32_t code : mix.codes) highest = std::max(highest, std::abs(code));
  struct Peak {
    std::size_t at;
    double value;
  };
  std::array<std::vector<Peak>, 2> peaks;  // only these can reach the ceiling
  for (std::size_t i = 0; i < mix.codes.size(); ++i) {
    if (std::abs(mix.codes[i]) > 0.8 * highest) peaks[i % 2].push_back({i, static_cast<double>(mix.codes[i])});
  }
  for (double over_db = 0.0;; over_db += 0.01) {
    const double gain = kFullScale / highest * from_db(over_db);
    for (const std::vector<Peak>& channel : peaks) {
      std::size_t run = 0, before = 0;
      double sign = 0;
      for (const Peak& peak : channel) {
        const bool at_ceiling = std::abs(peak.value) * gain >= kFullScale;
        run = !at_ceiling ? 0 : (peak.at == before + 2 && peak.value * sign > 0 ? run + 1 : 1);
        before = peak.at;
        sign = peak.value;
        if (run >= 3) return louder(mix, gain);
      }
    }
  }
}

/// 48 to 44.1 kHz by a windowed sinc at exact phases (147 : 160), then TPDF dither to 16 bits.
Audio at_44100_16(const Audio& mix) {
  constexpr int kUp = 147, kDown = 160, kReach = 32;
  constexpr double kCut = 0.9 * kUp / kDown;  // of the old half rate
  std::vector<std::array<double, 2 * kReach>> phases(kUp);
  for (int phase = 0; phase < kUp; ++phase) {
    double sum = 0;
    for (int k = 0; k < 2 * kReach; ++k) {
      const double x = k - kReach + 1 - static_cast<double>(phase) / kUp;
      const double window = 0.5 + 0.5 * std::cos(std::numbers::pi * x / kReach);
      const double a = std::numbers::pi * kCut * x;
      const double value = std::abs(x) >= kReach ? 0 : window * (std::abs(a) < 1e-9 ? 1 : std::sin(a) / a);
      phases[static_cast<std::size_t>(phase)][static_cast<std::size_t>(k)] = value;
      sum += value;
    }
    for (double& value : phases[static_cast<std::size_t>(phase)]) value /= sum;
  }
  Random random(901);
  std::array<std::vector<double>, 2> channels;  // with silence before and after, so that the filter needs no edges
  const std::size_t frames = mix.frames(), out_frames = frames * kUp / kDown;
  for (std::size_t channel = 0; channel < 2; ++channel) {
    channels[channel].assign(frames + 2 * kReach, 0.0);
    for (std::size_t n = 0; n < frames; ++n) channels[channel][n + kReach] = mix.codes[2 * n + channel];
  }
  Audio out;
  out.codes.resize(2 * out_frames);
  for (std::size_t n = 0; n < out_frames; ++n) {
    const std::size_t at = n * kDown / kUp + 1;
    const auto& taps = phases[n * kDown % kUp];
    double l = 0, r = 0;
    for (std::size_t k = 0; k < taps.size(); ++k) {
      l += taps[k] * channels[0][at + k];
      r += taps[k] * channels[1][at + k];
    }
    const auto to_16 = [&](double x) {
      const double dithered = x / 256 + random.unit() - random.unit();
      return static_cast<std::int32_t>(std::clamp(std::lrint(dithered), -32768L, 32767L)) * 256;
    };
    out.codes[2 * n] = to_16(l);
    out.codes[2 * n + 1] = to_16(r);
  }
  return out;
}

Audio right_inverted(const Audio& mix) {
  Audio out = mix;
  for (std::size_t i = 1; i < out.codes.size(); i += 2) out.codes[i] = code_of(-static_cast<double>(out.codes[i]));
  return out;
}

Audio with_dc(const Audio& mix, double percent) {
  Audio out = mix;
  for (std::int32_t& code : out.codes) code = code_of(code + percent / 100 * kFullScale);
  return out;
}

/// A widener on the bus of voices and instruments turned its right side over: in mono only drums and bass are left.
Audio hollow_in_mono(const Audio& mix, const Audio& tuned) {
  Audio out = mix;
  for (std::size_t i = 1; i < out.codes.size(); i += 2) out.codes[i] = code_of(out.codes[i] - 2.0 * tuned.codes[i]);
  return out;
}

Audio padded_16(const Audio& mix) {
  Random random(902);
  Audio out = mix;
  for (std::int32_t& code : out.codes) {
    code = static_cast<std::int32_t>(
               std::clamp(std::lrint(code / 256.0 + random.unit() - random.unit()), -32768L, 32767L)) *
           256;
  }
  return out;
}

Audio right_late(const Audio& mix, std::size_t frames) {
  Audio out = mix;
  for (std::size_t n = mix.frames(); n-- > 0;) out.codes[2 * n + 1] = n >= frames ? mix.codes[2 * (n - frames) + 1] : 0;
  return out;
}

Audio dual_mono(const Audio& mix) {
  Audio out = mix;
  for (std::size_t i = 0; i < out.codes.size(); i += 2) {
    out.codes[i] = out.codes[i + 1] = code_of(0.5 * (static_cast<double>(out.codes[i]) + out.codes[i + 1]));
  }
  return out;
}

Audio with_silence(const Audio& mix, double seconds) {
  Audio out = mix;
  out.codes.resize(out.codes.size() + 2 * static_cast<std::size_t>(seconds * kRate));
  return out;
}

/// Loud, as a client may like it: a limiter that looks 1.5 ms ahead, whose ceiling was set by the samples and forgets
/// what lies between them.
Audio hot_master(const Audio& mix, double drive_db, double true_peak_db) {
  constexpr std::size_t kAhead = 72;
  constexpr double kCeiling = 0.8;
  const double drive = from_db(drive_db) / kFullScale, release = decay_per_frame(0.06);
  const std::size_t frames = mix.frames();
  const auto peak_at = [&](std::size_t n) {
    return drive * std::max(std::abs(mix.codes[2 * n]), std::abs(mix.codes[2 * n + 1]));
  };
  Audio out;
  out.codes.resize(mix.codes.size());
  std::deque<std::size_t> highest;  // frames ahead whose peaks fall from front to back
  std::vector<double> recent(kAhead, 1.0);
  double smooth = static_cast<double>(kAhead), held = 1;
  for (std::size_t n = 0; n < frames + kAhead; ++n) {
    if (n < frames) {
      while (!highest.empty() && peak_at(highest.back()) <= peak_at(n)) highest.pop_back();
      highest.push_back(n);
    }
    while (!highest.empty() && highest.front() + 2 * kAhead < n) highest.pop_front();
    const double wanted = highest.empty() ? 1 : std::min(1.0, kCeiling / peak_at(highest.front()));
    held = std::min(wanted, 1 - (1 - held) * release);
    smooth += held - recent[n % kAhead];
    recent[n % kAhead] = held;
    if (n < kAhead) continue;
    const std::size_t at = n - kAhead;
    const double gain = drive * smooth / static_cast<double>(kAhead);
    for (std::size_t channel = 0; channel < 2; ++channel) {
      const double x = gain * mix.codes[2 * at + channel];
      out.codes[2 * at + channel] = code_of(kFullScale * std::clamp(x, -kCeiling, kCeiling));
    }
  }
  const double wanted = from_db(true_peak_db);
  return louder(out, wanted / true_peak_of(out));
}

}  // namespace

double true_peak_of(const Audio& audio) {
  constexpr std::ptrdiff_t kReach = 32, kPoints = 16;
  std::array<std::array<double, 2 * kReach + 1>, 2 * kPoints> taps{};  // −15/16 … 15/16; 0 is not used
  for (std::ptrdiff_t point = -kPoints + 1; point < kPoints; ++point) {
    if (point == 0) continue;
    for (std::ptrdiff_t k = -kReach; k <= kReach; ++k) {
      const double x = static_cast<double>(k) - static_cast<double>(point) / kPoints;
      const double window = 0.5 + 0.5 * std::cos(std::numbers::pi * x / (kReach + 1));
      taps[static_cast<std::size_t>(point + kPoints)][static_cast<std::size_t>(k + kReach)] =
          window * std::sin(std::numbers::pi * x) / (std::numbers::pi * x);
    }
  }
  std::int32_t highest = 1;
  for (const std::int32_t code : audio.codes) highest = std::max(highest, std::abs(code));
  double peak = highest;
  const auto frames = static_cast<std::ptrdiff_t>(audio.frames());
  for (std::ptrdiff_t channel = 0; channel < audio.channels; ++channel) {
    const auto sample = [&](std::ptrdiff_t n) -> double {
      return n < 0 || n >= frames ? 0 : audio.codes[static_cast<std::size_t>(n * audio.channels + channel)];
    };
    for (std::ptrdiff_t n = 0; n < frames; ++n) {
      const double here = std::abs(sample(n));
      if (here < 0.95 * highest || here < std::abs(sample(n - 1)) || here < std::abs(sample(n + 1))) continue;
      for (const auto& phase : taps) {
        double sum = 0;
        for (std::ptrdiff_t k = -kReach; k <= kReach; ++k)
          sum += sample(n + k) * phase[static_cast<std::size_t>(k + kReach)];
        peak = std::max(peak, std::abs(sum));
      }
    }
  }
  return peak / kFullScale;
}

void write_broken_exports(const std::string& folder, const Audio& mix, const Audio& tuned) {
  const std::string list_path = folder + "/faults.txt";
  std::ofstream list(list_path);
  const auto note = [&](std::string_view name, std::string_view fault) { list << name << "  " << fault << '\n'; };
  const auto put = [&](std::string_view name, std::string_view fault, const Audio& audio,
                       const WavFormat& format = {}) {
    write_wav(folder + "/" + std::string(name), audio, format);
    note(name, fault);
  };
  const auto half = static_cast<std::uint32_t>(mix.frames() / 2 * 6);

  put("attack-cut.wav", "begins 3 ms into the first note, with no silence before it", attack_cut(mix));
  put("clipped-once.wav", "too loud by a hair: one peak clipped for a few samples", clipped_once(mix));
  put("dc-offset.wav", "0.3 % of DC on both channels", with_dc(mix, 0.3));
  put("dual-mono.wav", "called stereo, both channels equal", dual_mono(mix));
  put("header-half.wav", "the header says half the audio that is there", mix, {.claimed_data_bytes = half});
  put("hot-master.wav", "limited, true peak 0.6 dB above full scale", hot_master(mix, 10.0, 0.6));
  put("mono-trouble.wav", "voices, guitars and keys cancel in mono", hollow_in_mono(mix, tuned));
  write_flac(folder + "/not-a-wav.wav", mix, kRate);
  note("not-a-wav.wav", "a FLAC file with the wrong name");
  put("padded-16-in-24.wav", "16 bits in a 24-bit file", padded_16(mix));
  put("right-inverted.wav", "right channel with its polarity turned over", right_inverted(mix));
  put("right-late.wav", "right channel 12 samples late", right_late(mix, 12));
  put("silence-at-end.wav", "11 s of silence left at the end", with_silence(mix, 11));
  put("tail-cut.wav", "ends while the last chord still rings", tail_cut(mix));
  put("truncated.wav", "an upload that broke off: the header says more than is there", mix,
      {.bytes_kept = mix.codes.size() * 2});
  put("wrong-format.wav", "44.1 kHz and 16 bits where 48 kHz and 24 bits were ordered", at_44100_16(mix),
      {.sample_rate = 44100, .bits = 16});
  list.close();
  if (!list) throw std::runtime_error("cannot write " + list_path);
}

}  // namespace demo
