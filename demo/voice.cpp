// The singers: a pulse-like source with vibrato, shaped by five moving resonances, and noise for breath and consonants.
//
// Syllables are spelled in a small alphabet.
//   Vowels:     a (far)  A (lamp)  e (let)  i (sea)  I (it)  o (walk)  u (moon)  U (run, the)
//   Consonants: l r w m n  v z D (the)  f s S (she) C (chalk) h  p t k b d g
// The formant frequencies are rounded textbook values for a mezzo voice, from memory, tuned by ear afterwards.
#include <algorithm>
#include <array>
#include <complex>
#include <string_view>

#include "players.h"

namespace demo {
namespace {

constexpr std::size_t kFormants = 5;
using Formants = std::array<double, kFormants>;
constexpr Formants kBandwidths = {75, 95, 130, 200, 280};  // Hz

/// What the mouth does for a while. Frequencies in Hz, amounts as amplitude.
struct Sound {
  char name;
  bool vowel;
  double seconds;  ///< consonants; a vowel lasts as long as its note
  Formants formants;
  double voice;   ///< vocal folds
  double breath;  ///< noise at the glottis, shaped by the formants
  double hiss;    ///< noise at the teeth, with its own band
  double hiss_hz;
};

constexpr Sound kSounds[] = {
    {'a', true, 0, {820, 1290, 2800, 3700, 4900}, 1, 0.020, 0, 6000},
    {'A', true, 0, {790, 1780, 2750, 3800, 4900}, 1, 0.020, 0, 6000},
    {'e', true, 0, {590, 1920, 2760, 3800, 4900}, 1, 0.020, 0, 6000},
    {'i', true, 0, {330, 2500, 3150, 3900, 4900}, 1, 0.020, 0, 6000},
    {'I', true, 0, {450, 2150, 2880, 3800, 4900}, 1, 0.020, 0, 6000},
    {'o', true, 0, {540, 900, 2720, 3600, 4800}, 1, 0.020, 0, 6000},
    {'u', true, 0, {360, 850, 2650, 3500, 4800}, 1, 0.020, 0, 6000},
    {'U', true, 0, {640, 1250, 2760, 3700, 4900}, 1, 0.020, 0, 6000},
    {'l', false, 0.070, {370, 1150, 2850, 3600, 4800}, 0.50, 0.01, 0, 6000},
    {'r', false, 0.075, {380, 1180, 1700, 3300, 4800}, 0.50, 0.01, 0, 6000},
    {'w', false, 0.075, {330, 700, 2400, 3400, 4800}, 0.50, 0.01, 0, 6000},
    {'m', false, 0.070, {270, 1050, 2200, 3500, 4800}, 0.32, 0.005, 0, 6000},
    {'n', false, 0.065, {280, 1500, 2500, 3500, 4800}, 0.32, 0.005, 0, 6000},
    {'v', false, 0.055, {300, 1100, 2400, 3500, 4800}, 0.32, 0.02, 0.010, 7000},
    {'z', false, 0.070, {300, 1500, 2600, 3500, 4800}, 0.28, 0.01, 0.045, 7200},
    {'D', false, 0.045, {320, 1400, 2600, 3500, 4800}, 0.35, 0.02, 0.008, 6500},
    {'f', false, 0.080, {330, 1200, 2400, 3500, 4800}, 0, 0.03, 0.035, 8200},
    {'s', false, 0.095, {320, 1600, 2600, 3600, 4800}, 0, 0.01, 0.105, 7400},
    {'S', false, 0.095, {320, 1700, 2500, 3500, 4800}, 0, 0.03, 0.115, 3600},
    {'h', false, 0.060, {600, 1400, 2700, 3700, 4900}, 0, 0.12, 0, 6000},
};

const Sound& sound_of(char name) {
  for (const Sound& sound : kSounds) {
    if (sound.name == name) return sound;
  }
  return kSounds[0];
}

/// A stop is a closure and a burst; an affricate a burst with a longer hiss.
std::vector<Sound> spell(char name) {
  const auto closed = [](double seconds, double voice) {
    return Sound{'-', false, seconds, {300, 1300, 2500, 3500, 4800}, voice, 0, 0, 5000};
  };
  const auto burst = [](double seconds, double hiss, double hz, double breath) {
    return Sound{'-', false, seconds, {400, 1500, 2600, 3600, 4800}, 0, breath, hiss, hz};
  };
  switch (name) {
    case 'p':
      return {closed(0.050, 0), burst(0.018, 0.05, 1400, 0.05)};
    case 't':
      return {closed(0.045, 0), burst(0.022, 0.12, 5600, 0.03)};
    case 'k':
      return {closed(0.048, 0), burst(0.026, 0.10, 2300, 0.05)};
    case 'b':
      return {closed(0.045, 0.12), burst(0.008, 0.03, 1200, 0.02)};
    case 'd':
      return {closed(0.040, 0.12), burst(0.009, 0.05, 4600, 0.02)};
    case 'g':
      return {closed(0.042, 0.12), burst(0.011, 0.05, 2100, 0.02)};
    case 'C':
      return {closed(0.040, 0), burst(0.060, 0.11, 3900, 0.03)};
    default:
      return {sound_of(name)};
  }
}

/// One period of the source, its harmonics falling like those of a sung voice; one table per whole tone, so that no
/// harmonic passes 16 kHz.
class Source {
 public:
  Source() {
    for (std::size_t zone = 0; zone < kZones; ++zone) {
      const double top_hz = kLowest * std::exp2(static_cast<double>(zone + 1) / 6);
      const int harmonics = static_cast<int>(16000 / top_hz);
      std::vector<float>& table = tables_[zone];
      table.resize(kSize + 1);
      for (int h = 1; h <= harmonics; ++h) {
        const double level = 1 / (h * (1 + std::pow(h * top_hz / 4200, 2) * 0.25));
        const std::complex<double> turn = std::polar(1.0, 2 * std::numbers::pi * h / kSize);
        std::complex<double> at = std::polar(level, 0.15 * h);
        for (std::size_t i = 0; i < kSize; ++i, at *= turn) table[i] += static_cast<float>(at.imag());
      }
      table[kSize] = table[0];
    }
  }
  const float* table_for(double hz) const {
    const double zone = std::clamp(6 * std::log2(hz / kLowest), 0.0, static_cast<double>(kZones - 1));
    return tables_[static_cast<std::size_t>(zone)].data();
  }
  static double read(const float* table, double phase) {
    const double at = phase * kSize;
    const auto i = static_cast<std::size_t>(at);
    const double between = at - static_cast<double>(i);
    return (1 - between) * table[i] + between * table[i + 1];
  }

 private:
  static constexpr std::size_t kSize = 2048, kZones = 24;
  static constexpr double kLowest = 80;
  std::array<std::vector<float>, kZones> tables_;
};

/// Two poles, unity gain at 0 Hz, as in a cascade synthesiser (Klatt 1980).
struct Resonance {
  void set(double hz, double bandwidth_hz) {
    const double r = std::exp(-std::numbers::pi * bandwidth_hz / kRate);
    c = -r * r;
    b = 2 * r * std::cos(2 * std::numbers::pi * hz / kRate);
    a = 1 - b - c;
  }
  double operator()(double x) {
    const double y = a * x + b * y1 + c * y2;
    y2 = y1;
    return y1 = y;
  }
  double a = 1, b = 0, c = 0, y1 = 0, y2 = 0;
};

/// What the cascade makes of the source's level: without this, "a" would drown "u".
double loudness_of(const Formants& formants, double hz) {
  double power = 0;
  for (int h = 1; h * hz < 5000; ++h) {
    double gain = 1.0 / (h * h);
    for (std::size_t i = 0; i < kFormants; ++i) {
      const double ratio = h * hz / formants[i], loss = kBandwidths[i] / formants[i];
      const double detuned = 1 - ratio * ratio;
      gain /= detuned * detuned + ratio * ratio * loss * loss;
    }
    power += gain;
  }
  return std::sqrt(power);
}

struct Singer {
  std::uint64_t seed;
  double tract;  ///< length of the throat: formants times this
  double vibrato_hz;
  double vibrato_cents;
  double detune_cents;
  double late_s;  ///< behind the beat
  double breath;
};

/// From this frame on, this sound on this note.
struct Event {
  std::size_t frame;
  Sound sound;
  double note;
  double strength;
  bool onset;  ///< a new note begins
};

std::vector<Event> events_of(const std::vector<Sung>& line, const Singer& singer, Random& random) {
  std::vector<Event> events;
  for (std::size_t i = 0; i < line.size(); ++i) {
    const Sung& sung = line[i];
    const double late = singer.late_s + random.both() * 0.008;
    const double start = static_cast<double>(frame_of(sung.bar, sung.step)) + late * kRate;
    const double end = start + sung.length * static_cast<double>(kSixteenth) * 0.97;
    const double strength = sung.strength * random.around(1.0, 0.05);
    const std::size_t first_vowel = sung.syllable.find_first_of("aAeiIouU");
    const std::size_t last_vowel = sung.syllable.find_last_of("aAeiIouU");

    std::vector<Sound> before, vowels, after;
    for (std::size_t at = 0; at < sung.syllable.size(); ++at) {
      std::vector<Sound>& group = at < first_vowel ? before : at <= last_vowel ? vowels : after;
      for (const Sound& sound : spell(sung.syllable[at])) group.push_back(sound);
    }
    const auto length_of = [](const std::vector<Sound>& sounds) {
      double seconds = 0;
      for (const Sound& sound : sounds) seconds += sound.seconds;
      return seconds;
    };
    const auto put = [&](double frame, const Sound& sound, bool onset) {
      events.push_back({static_cast<std::size_t>(frame), sound, static_cast<double>(sung.note), strength, onset});
    };
    double at = start - length_of(before) * kRate;
    for (std::size_t k = 0; k < before.size(); ++k) {
      put(at, before[k], k == 0);
      at += before[k].seconds * kRate;
    }
    put(start, vowels.front(), before.empty());
    const double vowel_end = std::max(end - length_of(after) * kRate, start + 0.05 * kRate);
    if (vowels.size() > 1) put(start + 0.72 * (vowel_end - start), vowels.back(), false);
    at = vowel_end;
    for (const Sound& sound : after) {
      put(at, sound, false);
      at += sound.seconds * kRate;
    }
    Sound rest = vowels.back();
    rest.voice = rest.breath = 0;
    put(at, rest, false);
  }
  // Where notes touch, what begins later cuts off what was still to come: its rest, or the end of a long ending.
  for (std::size_t i = events.size(); i-- > 1;) events[i - 1].frame = std::min(events[i - 1].frame, events[i].frame);
  return events;
}

/// One-pole approach to a target, at the control rate.
struct Glide {
  void to(double target, double seconds) { value += (target - value) * (1 - std::exp(-1.0 / (1000 * seconds))); }
  double value = 0;
};

std::vector<float> sing(const std::vector<Sung>& line, const Singer& singer) {
  constexpr std::size_t kControl = kRate / 1000;
  static const Source source;
  Random random(singer.seed);
  const std::vector<Event> events = events_of(line, singer, random);
  std::vector<float> out(kFrames);

  std::array<Resonance, kFormants> tract;
  Formants mouth{};
  const double glide = 1 - std::exp(-1.0 / 16);  // 16 ms at the control rate
  Glide voice, breath, hiss, pitch, vibrato, level, drift, normal;
  StateVariable teeth(6000, 1.2);
  OnePole radiate(2500), above(5000);
  std::size_t next = 0, since_onset = 0;
  const Event* now = nullptr;
  const float* table = nullptr;
  double hz = 0, phase = 0, vibrato_phase = 0, wander = 0;

  for (std::size_t n = 0; n < kFrames; ++n) {
    if (n % kControl == 0) {
      while (next < events.size() && events[next].frame <= n) {
        if (now == nullptr) pitch.value = events[next].note - 1;
        now = &events[next++];
        // After a pause the voice comes to the note from a little below.
        if (now->onset && voice.value < 0.02) pitch.value = now->note - 0.7;
        if (now->onset) since_onset = 0;
      }
      if (now == nullptr) continue;
      const Sound& sound = now->sound;
      ++since_onset;
      pitch.to(now->note, 0.028);
      vibrato.to(since_onset > 260 ? 1 : 0, 0.18);
      if (random.unit() < 0.01) wander = random.both();
      drift.to(wander, 0.15);
      vibrato_phase += singer.vibrato_hz * (1 + 0.06 * drift.value) / 1000;
      const double cents = singer.detune_cents + 6 * drift.value +
                           singer.vibrato_cents * vibrato.value * std::sin(2 * std::numbers::pi * vibrato_phase);
      hz = hz_of(pitch.value + cents / 100);
      table = source.table_for(hz);
      Formants shape = sound.formants;
      for (double& f : shape) f *= singer.tract;
      // Singers open the mouth so that the first formant does not fall below the note.
      shape[0] = std::max(shape[0], 1.04 * hz);
      for (std::size_t i = 0; i < kFormants; ++i) {
        if (mouth[i] == 0) mouth[i] = shape[i];
        mouth[i] += glide * (shape[i] - mouth[i]);
        tract[i].set(mouth[i], kBandwidths[i]);
      }
      // Of the mouth as it is now: a formant that sweeps across a harmonic would otherwise jump out.
      normal.to(1 / loudness_of(mouth, hz), 0.003);
      voice.to(sound.voice, 0.010);
      breath.to(sound.breath * singer.breath, 0.008);
      hiss.to(sound.hiss, 0.004);
      if (sound.hiss > 0) teeth.set(sound.hiss_hz, 1.3);
      level.to(now->strength, 0.03);
    }
    if (now == nullptr || (voice.value < 1e-6 && breath.value < 1e-6 && hiss.value < 1e-6)) continue;
    phase += hz / kRate;
    phase -= std::floor(phase);
    const double noise = random.both();
    const double folds = voice.value * Source::read(table, phase);
    const double sheen = folds - above(folds);
    double x = folds + breath.value * noise * (phase < 0.5 ? 1.0 : 0.5);
    x *= normal.value * 0.30;  // before the resonances: what rings in them must not be turned up afterwards
    for (Resonance& resonance : tract) x = resonance(x);
    const double bright = x - radiate(x);
    const double y = level.value * (x + 1.9 * bright + 1.5 * hiss.value * teeth.band(noise) +
                                    0.012 * voice.value * noise + 0.08 * sheen);
    out[n] = static_cast<float>(y);
  }
  return out;
}

/// Laid into the part through a levelling amplifier: 3 : 1 over −20 dBFS, 4 ms to act, 120 ms to let go.
void lay_in(Stereo& part, const std::vector<float>& mono, Pan pan, double gain) {
  constexpr double kThreshold = 0.1;
  const double fast = 1 - decay_per_frame(0.004), slow = 1 - decay_per_frame(0.12);
  double level = 0;
  OnePole rumble(90), rumble_2(90);
  for (std::size_t n = 0; n < mono.size(); ++n) {
    double x = mono[n];
    x -= rumble(x);
    x -= rumble_2(x);
    const double now = std::abs(x);
    level += (now > level ? fast : slow) * (now - level);
    if (level > kThreshold) x *= std::pow(kThreshold / level, 2.0 / 3.0);
    part.add(n, gain * x * pan.left, gain * x * pan.right);
  }
}

}  // namespace

Stereo sing_lead() {
  Stereo part;
  lay_in(part, sing(lead_line(), {401, 1.0, 5.4, 32, 0, 0.006, 1.0}), Pan(0), 1.0);
  // The last chorus is sung twice more and laid to the sides.
  std::vector<Sung> last;
  for (const Sung& sung : lead_line()) {
    if (sung.bar >= 20) last.push_back(sung);
  }
  lay_in(part, sing(last, {402, 0.985, 5.1, 26, -7, 0.014, 1.3}), Pan(-0.5), 0.24);
  lay_in(part, sing(last, {403, 1.015, 5.7, 28, 8, 0.019, 1.3}), Pan(0.5), 0.24);
  return part;
}

Stereo sing_high_backing() {
  Stereo part;
  lay_in(part, sing(high_backing_line(), {411, 1.06, 5.8, 24, 4, 0.012, 1.6}), Pan(-0.55), 1.0);
  return part;
}

Stereo sing_low_backing() {
  Stereo part;
  lay_in(part, sing(low_backing_line(), {421, 0.93, 5.0, 22, -5, 0.016, 1.4}), Pan(0.55), 1.0);
  return part;
}

}  // namespace demo
