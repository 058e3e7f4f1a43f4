#include "delivery.h"

#include <algorithm>
#include <cmath>
#include <filesystem>
#include <fstream>
#include <initializer_list>
#include <stdexcept>

#include "sound.h"

namespace demo {
namespace {

constexpr std::string_view kNames = "Lamps_Along_the_Weir_";

struct Share {
  const Audio* part;
  double gain_db;
};

Audio sum_of(std::initializer_list<Share> shares) {
  Audio sum;
  for (const Share& share : shares) {
    sum.codes.resize(share.part->codes.size());
    const double gain = from_db(share.gain_db);
    for (std::size_t i = 0; i < sum.codes.size(); ++i) sum.codes[i] += share.gain_db == 0 ? share.part->codes[i] : static_cast<std::int32_t>(std::lrint(share.part->codes[i] * gain));
  }
  return sum;
}

/// Later by whole frames, as long as before.
Audio later(const Audio& audio, std::size_t frames) {
  Audio out = audio;
  out.codes.insert(out.codes.begin(), 2 * frames, 0);
  out.codes.resize(audio.codes.size());
  return out;
}

Audio cut(const Audio& audio, std::size_t first, std::size_t frames) {
  Audio out;
  out.codes.assign(audio.codes.begin() + static_cast<std::ptrdiff_t>(2 * first), audio.codes.begin() + static_cast<std::ptrdiff_t>(2 * (first + frames)));
  return out;
}

/// Without the lead from one time to another, with 5 ms to fade out and in: how a word is taken out.
Audio without_word(const Audio& mix, const Audio& lead, double from_s, double to_s) {
  Audio out = mix;
  const double fade = 0.005 * kRate;
  const auto first = static_cast<std::size_t>(from_s * kRate), end = static_cast<std::size_t>(to_s * kRate);
  for (std::size_t n = first; n < end; ++n) {
    const double inside = std::min({1.0, static_cast<double>(n - first) / fade, static_cast<double>(end - n) / fade});
    for (std::size_t c = 0; c < 2; ++c) out.codes[2 * n + c] -= static_cast<std::int32_t>(std::lrint(inside * lead.codes[2 * n + c]));
  }
  return out;
}

void write_text(const std::string& path, std::string_view text) {
  std::ofstream file(path, std::ios::binary);
  file << text;
  if (!file.flush()) throw std::runtime_error("cannot write " + path);
}

constexpr std::string_view kOrder = R"(# What the label ordered of "Lamps Along the Weir".
[order]
title = "Lamps Along the Weir"
artist = "Vesper Nallow"
album = "Quillmoor Tapes"
client = "Thornmere Records"
rules = "streaming-music"
name = "{title}_{version}_{rate}k{bits}"

[[item]]
version = "main"
file = "*_main_*.wav"
isrc = "AA6Q72000047"

[[item]]
version = "instrumental"
file = "*_instrumental_*.wav"
isrc = "AA6Q7200OO48"

[[item]]
version = "a cappella"
file = "*_a_cappella_*.wav"

[[item]]
version = "tv mix"
file = "*_tv_mix_*.wav"

[[item]]
version = "clean edit"
file = "*_clean_edit_*.wav"
edits = [[20.0, 20.6], [52.0, 52.5]]

[[item]]
version = "radio edit"
file = "*_radio_edit_*.wav"

[[item]]
version = "cut-down"
file = "*_cut-down_30s_*.wav"
length = 30

[[item]]
version = "stem"
role = "drums"
file = "*_stem_drums_*.wav"

[[item]]
version = "stem"
role = "bass"
file = "*_stem_bass_*.wav"

[[item]]
version = "stem"
role = "instruments"
file = "*_stem_instruments_*.wav"

[[item]]
version = "stem"
role = "lead vocal"
file = "*_stem_lead_vocal_*.wav"

[[item]]
version = "stem"
role = "backing vocals"
file = "*_stem_backing_vocals_*.wav"

[tags]
require = ["title"]
match = "order"
)";

}  // namespace

void write_delivery(const std::string& folder, const Audio& mix, const Parts& parts, const std::string& words) {
  std::filesystem::create_directories(folder);
  const auto write = [&](std::string_view version, std::string_view format, const Audio& audio, std::string_view what) {
    write_wav(folder + "/" + std::string(kNames) + std::string(version) + "_" + std::string(format) + ".wav", audio, {.description = words + std::string(what)});
  };
  const auto& [drums, bass, instruments, lead, backing] = parts;
  write("main", "48k24", mix, "main");
  write("instrumental", "44.1k24", sum_of({{&drums, 0}, {&bass, 0}, {&instruments, 0}}), "instrumental");
  write("a_cappella", "48k24", later(sum_of({{&lead, 0}, {&backing, 0}}), 48), "a cappella");
  write("tv_mix", "48k24", sum_of({{&drums, 0}, {&bass, 0}, {&instruments, 0}, {&backing, 0}, {&lead, -30}}), "tv mix");
  write("clean_edit", "48k24", without_word(without_word(without_word(mix, lead, 20.0, 20.6), lead, 52.0, 52.5), lead, 60.0, 60.3), "clean edit");
  write("cut-down_30s", "48k24", cut(mix, static_cast<std::size_t>(36 * kRate), static_cast<std::size_t>(30 * kRate) + 7), "cut-down");
  write("stem_drums", "48k24", drums, "drums");
  write("stem_bass", "48k24", sum_of({{&bass, -0.8}}), "bass");
  write("stem_instruments", "48k24", instruments, "instruments");
  write("stem_lead_vocal", "48k24", lead, "lead vocal");
  write("stem_backing_vocals", "48k24", backing, "backing vocals");
  write_wav(folder + "/bounce 3.wav", cut(mix, 0, static_cast<std::size_t>(5 * kRate)));
  write_text(folder + "/Thumbs.db", "left behind");
  write_text(folder + "/order.toml", kOrder);
  write_text(folder + "/faults.txt",
             "What is wrong with this set, one small fault of each kind.\n\n"
             "instrumental     its name says 44.1 kHz; the code in the order has letters for zeros\n"
             "a cappella       one millisecond late\n"
             "tv mix           the lead vocal is still there, 30 dB softer\n"
             "clean edit       one more word is gone than the order says, at 1:00\n"
             "cut-down         seven frames longer than 30 s, and cut out of the song without a start or an end\n"
             "radio edit       not there\n"
             "stem bass        its fader stood 0.8 dB lower than in the mix\n"
             "bounce 3.wav     nobody ordered it\n"
             "Thumbs.db        what a system left behind\n");
}

}  // namespace demo
