#include "score.h"

#include <algorithm>
#include <iterator>

// clang-format off: the tables are laid out to be read along the beat.
namespace demo {
namespace {

constexpr Section kSections[] = {
    {Part::intro, "intro", 0, 4},
    {Part::verse, "verse", 4, 8},
    {Part::chorus, "chorus", 12, 4},
    {Part::bridge, "break", 16, 4},
    {Part::last_chorus, "last chorus", 20, 8},
    {Part::outro, "outro", 28, 2},
};

//                          name     bass   strings, low to high      keys
constexpr Chord kEm7 = {"Em7", 28, {40, 47, 52, 55, 62, 67}, {55, 59, 62, 66}};
constexpr Chord kCadd9 = {"Cadd9", 36, {0, 48, 52, 55, 62, 67}, {55, 60, 62, 64}};
constexpr Chord kG = {"G", 31, {43, 47, 50, 55, 62, 67}, {55, 59, 62, 67}};
constexpr Chord kGoverB = {"G/B", 35, {0, 47, 50, 55, 62, 67}, {55, 59, 62, 67}};
constexpr Chord kD = {"D", 38, {0, 0, 50, 57, 62, 66}, {54, 57, 62, 66}};
constexpr Chord kDsus4 = {"Dsus4", 38, {0, 0, 50, 57, 62, 67}, {55, 57, 62, 67}};
constexpr Chord kAm7 = {"Am7", 33, {0, 45, 52, 55, 60, 64}, {55, 57, 60, 64}};

// Two chords a bar: on the first and on the third beat.
struct ChordBar {
  const Chord* first;
  const Chord* second;
};
constexpr ChordBar kChords[kBars] = {
    // intro
    {&kEm7, &kEm7},
    {&kCadd9, &kCadd9},
    {&kG, &kG},
    {&kD, &kDsus4},
    // verse
    {&kEm7, &kEm7},
    {&kCadd9, &kCadd9},
    {&kG, &kG},
    {&kD, &kD},
    {&kEm7, &kEm7},
    {&kCadd9, &kCadd9},
    {&kG, &kGoverB},
    {&kDsus4, &kD},
    // chorus
    {&kCadd9, &kCadd9},
    {&kD, &kD},
    {&kG, &kG},
    {&kEm7, &kEm7},
    // break
    {&kAm7, &kAm7},
    {&kEm7, &kEm7},
    {&kCadd9, &kCadd9},
    {&kDsus4, &kD},
    // last chorus
    {&kCadd9, &kCadd9},
    {&kD, &kD},
    {&kG, &kGoverB},
    {&kEm7, &kEm7},
    {&kCadd9, &kCadd9},
    {&kD, &kD},
    {&kGoverB, &kEm7},
    {&kCadd9, &kDsus4},
    // outro: one chord, left to ring
    {&kG, &kG},
    {&kG, &kG},
};

constexpr DrumBar kNoDrums = {};
constexpr DrumBar kIntroShake = {.shaker = "x.oox.oox.oox.oo"};
constexpr DrumBar kVerse = {
    .kick = "X.....x.X.......",
    .side_stick = "....x.......x...",
    .hat = "x.o.x.o.x.o.x.oo",
};
constexpr DrumBar kVerseFill = {
    .kick = "X.....x.X...x...",
    .snare = "........o.oxx.Xx",
    .side_stick = "....x...........",
    .hat = "x.o.x.o.........",
};
constexpr DrumBar kChorus = {
    .kick = "X..x..x.X..x....",
    .snare = "....X.......X..o",
    .hat = "x.o.x.o.x.o.x.o.",
    .open_hat = "..............x.",
};
constexpr DrumBar kChorusIn = {
    .kick = "X..x..x.X..x....",
    .snare = "....X.......X..o",
    .hat = "x.o.x.o.x.o.x.o.",
    .open_hat = "..............x.",
    .crash = true,
};
constexpr DrumBar kBreak = {.kick = "X.......x.......", .shaker = "x.oox.oox.oox.oo"};
constexpr DrumBar kBreakBuild = {
    .kick = "X...X...X.X.X.X.",
    .snare = "o.o.o.o.oooxxxXX",
    .shaker = "x.oox.oox.oox.oo",
};
constexpr DrumBar kLast = {
    .kick = "X..x..x.X.xx..x.",
    .snare = "....X..o.o..X..o",
    .hat = "x.x.x.x.x.x.x.x.",
    .open_hat = "......x.......x.",
    .shaker = "x.oox.oox.oox.oo",
    .tambourine = "..x...x...x...xx",
};
constexpr DrumBar kLastIn = {
    .kick = "X..x..x.X.xx..x.",
    .snare = "....X..o.o..X..o",
    .hat = "x.x.x.x.x.x.x.x.",
    .open_hat = "......x.......x.",
    .shaker = "x.oox.oox.oox.oo",
    .tambourine = "..x...x...x...xx",
    .crash = true,
};
constexpr DrumBar kLastFill = {
    .kick = "X..x..x.X.x.....",
    .snare = "....X.....xxXxXX",
    .hat = "x.x.x.x.x.......",
    .shaker = "x.oox.oox.oox.oo",
    .tambourine = "..x...x...x...xx",
};
constexpr DrumBar kFinal = {
    .kick = "X...............",
    .tambourine = "X...............",
    .crash = true,
};

constexpr const DrumBar* kDrums[kBars] = {
    &kNoDrums, &kNoDrums,   &kIntroShake, &kIntroShake, &kVerse,  &kVerse,  &kVerse, &kVerse,    &kVerse, &kVerse,
    &kVerse,   &kVerseFill, &kChorusIn,   &kChorus,     &kChorus, &kChorus, &kBreak, &kBreak,    &kBreak, &kBreakBuild,
    &kLastIn,  &kLast,      &kLast,       &kLast,       &kLastIn, &kLast,   &kLast,  &kLastFill, &kFinal, &kNoDrums,
};

constexpr PlayerBar kIntroPlay = {.picking = "0.2.3.4.5.4.3.2."};
constexpr PlayerBar kIntroKeys = {.picking = "0.2.3.4.5.4.3.2.", .keys = "x..............."};
constexpr PlayerBar kVersePlay = {
    .bass = "R-----R-R--5-8--",
    .picking = "0.2.3.4.3.2.4.3.",
    .keys = "x.....o.....o...",
};
constexpr PlayerBar kVerseLift = {
    .bass = "R-----R-R-5-8-5-",
    .picking = "0.2.3.4.3.4.5.4.",
    .keys = "x.....o...o.x.x.",
};
constexpr PlayerBar kChorusPlay = {
    .bass = "R--RR-R-R--R5-8-",
    .strum = "D...D.uD..uDd.uD",
    .keys = "X.....x.X.....x.",
    .pad = true,
};
constexpr PlayerBar kBreakPlay = {
    .bass = "R-------R-------",
    .picking = "0.2.3.4.5.4.3.2.",
    .keys = "x...............",
    .pad = true,
};
constexpr PlayerBar kBreakRise = {
    .bass = "R---R---R-R-R-R-",
    .picking = "0.2.3.4.5.4.3.4.",
    .strum = "............D.DD",
    .keys = "x...x...x.x.x.x.",
    .pad = true,
};
constexpr PlayerBar kLastPlay = {
    .bass = "R-RRR-R-R-RR5-8-",
    .picking = "....5...4...5...",
    .strum = "D.d.D.uDd.uDd.uD",
    .keys = "X..x..x.X..x..x.",
    .pad = true,
};
constexpr PlayerBar kFinalPlay = {
    .bass = "R---------------",
    .picking = "0.1.2.3.4.5.....",
    .strum = "D...............",
    .keys = "X...............",
    .pad = true,
};
constexpr PlayerBar kRing = {.bass = "----------------"};

constexpr const PlayerBar* kPlayers[kBars] = {
    &kIntroPlay, &kIntroPlay, &kIntroKeys, &kIntroKeys, &kVersePlay,  &kVersePlay,  &kVersePlay,  &kVersePlay,
    &kVersePlay, &kVersePlay, &kVersePlay, &kVerseLift, &kChorusPlay, &kChorusPlay, &kChorusPlay, &kChorusPlay,
    &kBreakPlay, &kBreakPlay, &kBreakPlay, &kBreakRise, &kLastPlay,   &kLastPlay,   &kLastPlay,   &kLastPlay,
    &kLastPlay,  &kLastPlay,  &kLastPlay,  &kLastPlay,  &kFinalPlay,  &kRing,
};

constexpr Sung kVerseWords[] = {
    // Lamps along the weir tonight,
    {4, 2, 3, 64, "lAmps", 0.75},
    {4, 5, 1, 64, "U", 0.6},
    {4, 6, 4, 67, "lon", 0.8},
    {4, 10, 2, 67, "DU", 0.6},
    {4, 12, 6, 71, "wiU", 0.9},
    {4, 18, 2, 69, "tU", 0.7},
    {4, 20, 8, 67, "naIt", 0.85},
    // count the water, count the light;
    {6, 2, 3, 67, "kaUn", 0.75},
    {6, 5, 1, 67, "DU", 0.6},
    {6, 6, 3, 71, "wo", 0.85},
    {6, 9, 3, 69, "tU", 0.7},
    {6, 12, 4, 67, "kaUn", 0.8},
    {6, 18, 2, 66, "DU", 0.6},
    {6, 20, 8, 69, "laIt", 0.9},
    // all the names I wrote in chalk
    {8, 2, 3, 64, "ol", 0.75},
    {8, 5, 1, 64, "DU", 0.6},
    {8, 6, 4, 67, "neImz", 0.8},
    {8, 10, 2, 69, "aI", 0.75},
    {8, 12, 5, 71, "roUt", 0.9},
    {8, 18, 2, 71, "In", 0.7},
    {8, 20, 8, 67, "Cok", 0.85},
    // follow where the herons walk.
    {10, 2, 2, 71, "fo", 0.85},
    {10, 4, 2, 69, "loU", 0.8},
    {10, 6, 4, 67, "weU", 0.85},
    {10, 10, 2, 66, "DU", 0.65},
    {10, 12, 3, 67, "he", 0.85},
    {10, 15, 3, 69, "rUnz", 0.8},
    {10, 20, 9, 69, "wok", 0.95},
};

// Written from bar 0; sung three times.
constexpr Sung kChorusWords[] = {
    // Let it run, let it run to the sea,
    {0, 0, 2, 67, "let", 0.9},
    {0, 2, 2, 69, "It", 0.85},
    {0, 4, 7, 72, "rUn", 1.0},
    {0, 12, 2, 71, "let", 0.9},
    {0, 14, 2, 69, "It", 0.85},
    {0, 16, 5, 74, "rUn", 1.0},
    {0, 22, 2, 72, "tU", 0.85},
    {0, 24, 2, 71, "DU", 0.8},
    {0, 26, 5, 69, "si", 0.95},
    // fold the map, fold the map home to me.
    {2, 0, 2, 67, "foUl", 0.9},
    {2, 2, 2, 69, "DU", 0.8},
    {2, 4, 7, 71, "mAp", 1.0},
    {2, 12, 2, 71, "foUl", 0.9},
    {2, 14, 2, 69, "DU", 0.8},
    {2, 16, 4, 67, "mAp", 0.95},
    {2, 20, 2, 69, "hoUm", 0.9},
    {2, 22, 2, 66, "tU", 0.8},
    {2, 24, 7, 64, "mi", 0.9},
};

constexpr Sung kBreakWords[] = {
    {18, 4, 3, 71, "hoU", 0.7},
    {18, 8, 8, 74, "oU", 0.8},
    {19, 2, 2, 72, "hoU", 0.75},
    {19, 4, 10, 69, "oU", 0.9},
};

// The tune's last turn climbs, and holds over into the ringing chord.
constexpr Sung kLastWords[] = {
    {26, 0, 2, 67, "foUl", 0.95},  {26, 2, 2, 69, "DU", 0.85},  {26, 4, 7, 74, "mAp", 1.0},
    {26, 12, 2, 71, "foUl", 0.95}, {26, 14, 2, 69, "DU", 0.85}, {26, 16, 6, 72, "mAp", 1.0},
    {26, 23, 3, 69, "hoUm", 0.95}, {26, 26, 5, 71, "tu", 0.9},  {26, 32, 14, 67, "mi", 0.95},
};

// Long vowels under the break, and under the chorus the first time.
constexpr Sung kHighHums[] = {
    {12, 4, 8, 64, "u", 0.6},  {13, 0, 12, 66, "u", 0.6}, {14, 4, 8, 67, "u", 0.6},    {15, 0, 14, 67, "u", 0.6},
    {16, 0, 15, 72, "u", 0.7}, {17, 0, 15, 71, "u", 0.7}, {18, 0, 15, 74, "ua", 0.75}, {19, 0, 16, 74, "a", 0.9},
};
constexpr Sung kLowHums[] = {
    {12, 4, 8, 60, "u", 0.6},  {13, 0, 12, 62, "u", 0.6}, {14, 4, 8, 62, "u", 0.6},    {15, 0, 14, 59, "u", 0.6},
    {16, 0, 15, 64, "u", 0.7}, {17, 0, 15, 67, "u", 0.7}, {18, 0, 15, 67, "ua", 0.75}, {19, 0, 16, 69, "a", 0.9},
};

// clang-format on

void append(std::vector<Sung>& line, std::span<const Sung> words, int bar_offset, double strength = 1.0) {
  for (Sung sung : words) {
    sung.bar += bar_offset;
    sung.strength *= strength;
    line.push_back(sung);
  }
}

/// Moves a note by steps of the G major scale; notes outside it move from the scale note below.
int step_in_g_major(int note, int steps) {
  constexpr std::array<int, 7> kScale = {7, 9, 11, 12, 14, 16, 18};  // g a b c d e f#, above a C
  const int above_g = ((note - 7) % 12 + 12) % 12;
  const int octave_g = note - above_g;
  int degree = 0;
  while (degree < 6 && kScale[static_cast<std::size_t>(degree) + 1] - 7 <= above_g) ++degree;
  degree += steps;
  const int octaves = degree >= 0 ? degree / 7 : (degree - 6) / 7;
  return octave_g + 12 * octaves + kScale[static_cast<std::size_t>(degree - 7 * octaves)] - 7;
}

/// Harmony to the last chorus: the lead's words, moved within the scale.
void append_harmony(std::vector<Sung>& line, int steps) {
  std::vector<Sung> words;
  append(words, kChorusWords, 20);
  append(words, std::span(kChorusWords).first(9), 24);
  append(words, kLastWords, 0);
  for (Sung& sung : words) {
    sung.note = step_in_g_major(sung.note, steps);
    sung.strength *= 0.9;
  }
  line.insert(line.end(), words.begin(), words.end());
}

}  // namespace

std::span<const Section> sections() { return kSections; }

Part part_of(int bar) {
  const auto next = std::upper_bound(std::begin(kSections), std::end(kSections), bar,
                                     [](int value, const Section& section) { return value < section.first_bar; });
  return std::prev(next)->part;
}

const Chord& chord_at(int bar, int sixteenth) {
  const ChordBar& both = kChords[bar];
  return sixteenth < 8 ? *both.first : *both.second;
}

const DrumBar& drums_at(int bar) { return *kDrums[bar]; }

const PlayerBar& players_at(int bar) { return *kPlayers[bar]; }

std::vector<Sung> lead_line() {
  std::vector<Sung> line(std::begin(kVerseWords), std::end(kVerseWords));
  append(line, kChorusWords, 12, 0.95);
  append(line, kBreakWords, 0);
  append(line, kChorusWords, 20);
  append(line, std::span(kChorusWords).first(9), 24);
  append(line, kLastWords, 0);
  return line;
}

std::vector<Sung> high_backing_line() {
  std::vector<Sung> line(std::begin(kHighHums), std::end(kHighHums));
  append_harmony(line, 2);
  return line;
}

std::vector<Sung> low_backing_line() {
  std::vector<Sung> line(std::begin(kLowHums), std::end(kLowHums));
  append_harmony(line, -2);
  return line;
}

}  // namespace demo
