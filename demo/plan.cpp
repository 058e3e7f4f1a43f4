#include "plan.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <filesystem>
#include <fstream>
#include <numbers>
#include <stdexcept>
#include <utility>

#include "sound.h"

namespace demo {
namespace {

struct Planned {
  std::string_view file, name, role;
  int priority;  ///< 0: none
};

constexpr std::array<Planned, 9> kStems = {{
    {"01-kick", "kick", "kick", 2},
    {"02-snare", "snare", "snare", 0},
    {"03-percussion", "percussion", "percussion", 0},
    {"04-bass", "bass", "bass", 3},
    {"05-keys", "keys", "keys", 4},
    {"06-guitar", "guitar", "guitar", 4},
    {"07-lead-voice", "lead voice", "lead vocal", 1},
    {"08-backing-high", "high backing", "backing vocal", 5},
    {"09-backing-low", "low backing", "backing vocal", 5},
}};

constexpr std::string_view kWishes = R"(
[vocal]
above_band = [-3.0, 1.5]     # LU
sections = { "break" = [-5.0, 0.0], "outro" = [-1.0, 3.0] }

[backing]
under_lead = [2.0, 9.0]      # LU

[dynamics]
quiet_to_loud = 10           # LU
biggest_margin = 1           # LU
movement = 1                 # dB

[low_end]
lowest = "{lowest}"
kick_over_bass = 4           # dB
bass_steadiness = 7          # dB

[masking]
most = 32                    # %

[[question]]
id = "feeling"
text = "Does the walk home begin alone, and end in company?"

[[question]]
id = "last-chorus"
text = "Does the last chorus open, and is every word still understood?"
section = "last chorus"

[[question]]
id = "very-quiet"
text = "Very quietly: are voice, snare and kick still there, and does nothing poke out?"
heard = "quiet"
)";

std::string in_quotes(std::string_view text) { return "\"" + std::string(text) + "\""; }

std::string plan_text(std::string_view mix, std::string_view approach, std::string_view lowest, std::string_view ending) {
  std::string text = "# What \"" + std::string(kTitle) + "\" is meant to be.\n[song]\ntitle = " + in_quotes(kTitle) + "\nartist = " + in_quotes(kArtist) +
                     "\nfeeling = \"walking home late along the water, alone at first and in the end not\"\napproach = " + in_quotes(approach) + "\nmix = " + in_quotes(mix) + "\n";
  for (const Section& section : sections()) {
    text += "\n[[section]]\nname = " + in_quotes(section.name) + "\nstart = " + std::to_string(frame_of(section.first_bar) / kRate) + "\n";
    if (section.part == Part::intro) text += "quietest = true\n";
    if (section.part == Part::last_chorus) text += "biggest = true\n";
  }
  for (const Planned& stem : kStems) {
    text += "\n[[stem]]\nname = " + in_quotes(stem.name) + "\nfile = " + in_quotes("stems/" + std::string(stem.file) + std::string(ending)) + "\nrole = " + in_quotes(stem.role) + "\n";
    if (stem.priority > 0) text += "priority = " + std::to_string(stem.priority) + "\n";
  }
  std::string wishes(kWishes);
  constexpr std::string_view kPlace = "{lowest}";
  return text + wishes.replace(wishes.find(kPlace), kPlace.size(), lowest);
}

void write_text(const std::string& path, std::string_view text) {
  std::ofstream file(path, std::ios::binary);
  file << text;
  if (!file.flush()) throw std::runtime_error("cannot write " + path);
}

/// A fader that stands elsewhere from one bar to another, with 20 ms to get there and back.
void move_fader(Audio& audio, int from_bar, int to_bar, double db) {
  constexpr double kFade = 0.02 * kRate;
  const std::size_t first = from_bar == 0 ? 0 : frame_of(from_bar), end = to_bar == kBars ? audio.frames() : frame_of(to_bar);
  for (std::size_t n = first; n < end; ++n) {
    const double into = from_bar == 0 ? 1 : static_cast<double>(n - first) / kFade, left = to_bar == kBars ? 1 : static_cast<double>(end - n) / kFade;
    const double gain = from_db(db * std::min({1.0, into, left}));
    for (std::size_t c = 0; c < 2; ++c) audio.codes[2 * n + c] = static_cast<std::int32_t>(std::lrint(gain * audio.codes[2 * n + c]));
  }
}

/// Too much below `hz`.
void raise_lows(Audio& audio, double hz, double db) {
  OnePole low[2] = {OnePole(hz), OnePole(hz)};
  const double more = from_db(db) - 1;
  for (std::size_t i = 0; i < audio.codes.size(); ++i) audio.codes[i] += static_cast<std::int32_t>(std::lrint(more * low[i % 2](audio.codes[i])));
}

/// The click of the beater is gone.
void lower_highs(Audio& audio, double hz, double db) {
  OnePole low[2] = {OnePole(hz), OnePole(hz)};
  const double kept = from_db(db);
  for (std::size_t i = 0; i < audio.codes.size(); ++i) {
    const double below = low[i % 2](audio.codes[i]);
    audio.codes[i] = static_cast<std::int32_t>(std::lrint(below + kept * (audio.codes[i] - below)));
  }
}

/// A chorus effect whose right side is upside down.
void turn_right_side(Audio& audio, int from_bar, int to_bar) {
  constexpr double kFade = 0.02 * kRate;
  const std::size_t first = frame_of(from_bar), end = frame_of(to_bar);
  for (std::size_t n = first; n < end; ++n) {
    const double inside = std::min({1.0, static_cast<double>(n - first) / kFade, static_cast<double>(end - n) / kFade});
    audio.codes[2 * n + 1] = static_cast<std::int32_t>(std::lrint((1 - 2 * inside) * audio.codes[2 * n + 1]));
  }
}

/// A sharp ess, a popped plosive, and the hiss of a preamplifier.
void spoil_voice(Audio& audio) {
  constexpr double kFull = 1 << 23;
  Random random(903);
  const auto add = [&](std::size_t frame, double value) {
    for (std::size_t c = 0; c < 2; ++c) audio.codes[2 * frame + c] += static_cast<std::int32_t>(std::lrint(value * kFull));
  };
  for (std::size_t n = 0; n < audio.frames(); ++n) add(n, from_db(-58) * random.both());
  StateVariable band(7000, 2);
  const auto burst = [](double at, double seconds) { return std::pow(std::sin(std::numbers::pi * at / (seconds * kRate)), 2); };
  const auto ess = static_cast<std::size_t>(0.12 * kRate), pop = static_cast<std::size_t>(0.08 * kRate);
  for (std::size_t n = 0; n < ess; ++n) add(frame_of(12, 26) - ess / 2 + n, 0.45 * burst(static_cast<double>(n), 0.12) * band.band(random.both()));
  for (std::size_t n = 0; n < pop; ++n) add(frame_of(6, 2) + n, 0.09 * burst(static_cast<double>(n), 0.08) * sine(45.0 * static_cast<double>(n) / kRate));
}

/// The bass's notes on D ring out of the speaker.
void boom(Audio& bass) {
  for (int bar = 4; bar < 28; ++bar) {
    if (chord_at(bar, 0).name == "D") move_fader(bass, bar, bar + 1, 4);
  }
}

/// As long as before, later by whole frames.
void print_late(Audio& audio, std::size_t frames) {
  audio.codes.insert(audio.codes.begin(), 2 * frames, 0);
  audio.codes.resize(audio.codes.size() - 2 * frames);
}

constexpr int kChorusBar = 12, kBreakBar = 16, kLastBar = 20, kOutroBar = 28;

/// What the mix of the draft did to a strip.
void spoil(std::string_view name, Audio& stem) {
  move_fader(stem, 0, 4, 2.5);
  move_fader(stem, kChorusBar, kBreakBar, 1.0);
  const bool kick = name == "01-kick", percussion = name == "03-percussion", backing = name.starts_with("08") || name.starts_with("09");
  if (kick || percussion) move_fader(stem, kLastBar, kOutroBar, -3.5);
  if (kick) lower_highs(stem, 400, -12);
  if (name == "02-snare") {
    move_fader(stem, 4, kChorusBar, 3.4);
    move_fader(stem, kChorusBar, kBreakBar, -1.3);
    move_fader(stem, kBreakBar, kLastBar, -1.3);
    move_fader(stem, kLastBar, kOutroBar, -0.7);
  }
  if (name == "04-bass") {
    boom(stem);
    turn_right_side(stem, kBreakBar, kBreakBar + 2);
  }
  if (name == "05-keys") raise_lows(stem, 350, 6);
  if (name == "07-lead-voice") {
    move_fader(stem, kChorusBar, kBreakBar, -2.5);
    spoil_voice(stem);
  }
  if (backing) {
    move_fader(stem, kBreakBar, kLastBar, 4);
    move_fader(stem, kLastBar, kOutroBar, -5);
  }
}

}  // namespace

void write_plan(const std::string& folder) {
  write_text(folder + "/song.toml", plan_text("mix.wav", "voice close and dry, the band behind it; the last chorus opens and lifts", "kick", ".wav"));
}

Draft::Draft(std::string folder) : folder_(std::move(folder)) {
  std::filesystem::create_directories(folder_ + "/stems");
  mix_.codes.assign(2 * kFrames, 0);
}

void Draft::add(std::string_view name, Audio stem) {
  spoil(name, stem);
  for (std::size_t i = 0; i < mix_.codes.size(); ++i) mix_.codes[i] += stem.codes[i];
  // What went wrong only when the stems were printed.
  if (name == "06-guitar") move_fader(stem, 0, kBars, -1);
  if (name == "03-percussion") print_late(stem, 2 * kRate / 1000);
  write_flac(folder_ + "/stems/" + std::string(name) + ".flac", stem, kRate);
}

void Draft::finish() {
  for (const std::int32_t code : mix_.codes) {
    if (std::abs(code) >= 1 << 23) throw std::runtime_error("the draft is louder than full scale");
  }
  write_wav(folder_ + "/mix-3.wav", mix_);
  write_text(folder_ + "/song.toml", plan_text("mix-3.wav", "", "bass", ".flac"));
  write_text(folder_ + "/faults.txt",
             "What is wrong with this bounce and its plan, one small problem for each thing that a plan can ask.\n\n"
             "plan            the approach is not stated; it wants the bass to reach lower, and the kick does\n"
             "intro           2.5 dB too loud: too little is left to climb\n"
             "chorus          1 dB too loud: the last chorus is hardly bigger\n"
             "kick            3.5 dB too soft in the last chorus, with the percussion: against the band, and against the bass; without its click,\n"
             "                so that it sinks at a whisper\n"
             "snare           as loud in the verse as in the choruses: it stands still\n"
             "bass            its notes on D boom by 4 dB; in the break an effect turned its right side over\n"
             "keys            6 dB too much below 350 Hz, over the bass\n"
             "lead voice      2.5 dB too soft in the chorus; one sharp ess, one popped plosive, hiss between the phrases\n"
             "backing voices  4 dB too loud in the break, over the lead; 5 dB too soft in the last chorus, where the band covers them\n"
             "stem guitar     its fader stood 1 dB lower than in the mix\n"
             "stem percussion two milliseconds late\n"
             "listening       nobody has listened to it yet\n");
}

}  // namespace demo
