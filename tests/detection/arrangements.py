"""Songs of several sections, with the truth about where these begin: music of our own as MIDI, and packaged loops put together.

Each half draws from its own keys, instruments, loops, chords and forms, and the held-out one from more tempi and metres, so that what was
tuned on one is tried on another. The truth is where a section begins in the file, in seconds, and which sections are the same part of the song.
"""
import tempfile
from dataclasses import dataclass
from pathlib import Path

import numpy as np

import pieces
from material import SOUNDFONT, decoded, generator, run
from sound import Sound, gain, level_dbfs

LOOPS = "/usr/share/sonic-pi/samples/"
KINDS = ("band", "machine", "ballad", "strings", "folk", "band", "ballad", "machine", "loops", "loops", "loops", "loops")


@dataclass
class Arrangement:
    sound: Sound
    starts: list    # seconds at which each section begins
    labels: list    # the part each is: "verse", …
    end: float      # seconds at which the music ends


@dataclass(frozen=True)
class Half:
    """What songs of one half are drawn from."""
    tempo: tuple
    metres: tuple
    keys: tuple
    forms: tuple
    chords: tuple       # degrees of a major scale, one a bar
    drums: tuple
    bass: tuple
    comping: tuple
    pads: tuple
    leads: tuple
    loops: dict         # layer → names


# i intro, v verse, p pre-chorus, c chorus, b bridge, s solo, k break, o outro
TUNING = Half(
    tempo=(84, 132), metres=(4, 4, 3), keys=(57, 60, 62, 65, 67),
    forms=("ivcvcbco", "ivpcvpcbcco", "vcvcsco", "ivvcvckco", "ivcvcbkcco", "ivpcvpcsco"),
    chords=((0, 4, 5, 3), (5, 3, 0, 4), (0, 5, 3, 4), (3, 4, 0, 0), (1, 4, 0, 5), (0, 2, 3, 4), (5, 4, 3, 4), (3, 0, 4, 5)),
    drums=(0, 25), bass=(33, 38), comping=(0, 25, 29), pads=(48, 89, 50), leads=(80, 73, 65),
    loops={"drums": ("loop_amen", "loop_breakbeat", "loop_mika"), "percussion": ("loop_perc1", "loop_tabla"),
           "bass": ("bass_dnb_f", "bass_hard_c", "bass_thick_c"), "tune": ("loop_garzul", "loop_mehackit1", "guit_em9", "guit_e_fifths"),
           "air": ("ambi_drone", "ambi_lunar_land", "ambi_glass_hum")})
HELD_OUT = Half(
    tempo=(66, 152), metres=(4, 6, 4, 3, 5), keys=(55, 56, 58, 59, 61, 63, 64, 66),
    forms=("vcvcbc", "ivcvco", "ivpcvpcbpco", "ivcivcbcco", "civcvcbsco", "ivcbvcbco", "ivvcvvcsko"),
    chords=((5, 0, 3, 4), (0, 3, 5, 4), (0, 0, 3, 4), (3, 3, 0, 4), (2, 5, 1, 4), (0, 4, 3, 3), (5, 2, 3, 0), (1, 3, 0, 4)),
    drums=(8, 16, 40), bass=(32, 34, 39), comping=(4, 27, 24, 11), pads=(49, 52, 19, 91), leads=(56, 71, 81, 40),
    loops={"drums": ("loop_compus", "loop_industrial", "loop_electric"), "percussion": ("loop_perc2", "loop_safari"),
           "bass": ("bass_trance_c", "bass_voxy_c", "bass_woodsy_c"), "tune": ("loop_mehackit2", "loop_weirdo", "guit_harmonics", "ambi_piano"),
           "air": ("ambi_dark_woosh", "ambi_choir", "ambi_haunted_hum", "ambi_sauna")})
HALVES = {"tuning": TUNING, "held-out": HELD_OUT}


def names(part):
    return [f"{part}-{number:02d}-{kind}" for number, kind in enumerate(KINDS)]


def _one_of(rng, values):
    return values[int(rng.integers(0, len(values)))]


@dataclass
class Part:
    """What one part of a song plays, whenever it comes."""
    chords: tuple
    layers: dict        # layer → velocity
    drums: int          # 0 none, 1 half, 2 full, 3 full with open hats
    bars: int
    rhythm: int
    later: dict         # layers that join half-way, which begins no section


def _later(letter, layers, rng):
    absent = [layer for layer in ("comping", "pad", "solo") if layer not in layers]
    return {_one_of(rng, absent): 62} if absent and letter in "vsb" and rng.random() < 0.4 else {}


def _parts(kind, form, half, rng):
    """Letter → what it plays. A chorus is fuller than a verse most of the time, as in songs; not always."""
    parts = {}
    order = rng.permutation(len(half.chords))
    spread = {"i": 0, "v": 0, "p": 1, "c": 2, "b": 3, "s": 0, "k": 0, "o": 2}
    full = 3 if kind in ("band", "machine") else 2
    for letter in sorted(set(form)):
        chords = half.chords[order[spread[letter]]]
        if rng.random() < 0.3 and letter in "pb":
            chords = chords + half.chords[order[4]]
        layers, drums = {"bass": 92}, full
        if letter == "i":
            layers, drums = {_one_of(rng, ("comping", "pad")): 78}, int(rng.integers(0, 2))
        elif letter == "v":
            layers = {"bass": 84, "comping": 72, "lead": 82}
            drums = full - 1
        elif letter == "p":
            layers = {"bass": 86, "pad": 70, "lead": 84, **({"comping": 74} if rng.random() < 0.5 else {})}
            drums = full - 1
        elif letter == "c":
            layers = {"bass": 98, "comping": 90, "pad": 86, "lead": 100}
            drums = full
        elif letter == "b":
            layers = {"pad": 84, "lead": 86, **({"bass": 80} if rng.random() < 0.6 else {})}
            drums = int(rng.integers(0, full))
        elif letter == "s":
            layers = {"bass": 92, "comping": 84, "solo": 100}
        elif letter == "k":
            layers, drums = {"comping": 66}, 0
        elif letter == "o":
            layers = {"comping": 72, "pad": 70}
            drums = int(rng.integers(0, 2))
        if kind in ("ballad", "strings"):
            drums = max(0, drums - 1) if kind == "ballad" else 0
        bars = 4 if letter in "iko" and rng.random() < 0.6 else 8
        parts[letter] = Part(chords, layers, drums, bars, int(rng.integers(0, 3)), _later(letter, layers, rng))
    return parts


def _pitches(key, degree):
    scale = [octave * 12 + step for octave in range(3) for step in pieces.MAJOR]
    return [key + scale[degree + i] for i in (0, 2, 4)]


class Band:
    """Writes bars of a part into a score."""

    def __init__(self, score, half, kind, beats, key, rng):
        self.score, self.kind, self.beats, self.key, self.rng = score, kind, beats, key, rng
        self.swing = float(rng.uniform(0.0, 0.012))
        strings = kind == "strings"
        instruments = (_one_of(rng, half.bass) if not strings else 42, _one_of(rng, half.comping) if not strings else 45,
                       _one_of(rng, half.pads) if not strings else 48, _one_of(rng, half.leads) if not strings else 40,
                       _one_of(rng, half.leads) if not strings else 73)
        for channel, (program, pan, volume) in enumerate(zip(instruments, (64, 44, 84, 64, 74), (104, 84, 66, 96, 98))):
            score.program(channel, program, pan, volume)
        score.events.append((0, 0, bytes([0xC9, _one_of(rng, half.drums)])))
        self.tunes = {}

    def note(self, channel, beat, beats, pitch, velocity):
        late = float(self.rng.normal(0, self.swing))
        velocity = int(np.clip(velocity + self.rng.normal(0, 6), 20, 127))
        self.score.note(channel, max(0.0, beat + late), beats, int(pitch), velocity)

    def bar(self, letter, part, bar, first, last, start, extra):
        beats, pitches = self.beats, _pitches(self.key, part.chords[bar % len(part.chords)])
        busy = {**part.layers, **(part.later if bar >= part.bars // 2 else {})}
        if "bass" in busy:
            steps = beats * 2 if part.rhythm == 1 else beats if part.rhythm == 0 else max(2, beats // 2)
            for i in range(steps):
                self.note(0, start + i * beats / steps, beats / steps * 0.9, pitches[0] - 24 if pitches[0] > 52 else pitches[0] - 12, busy["bass"])
        if "comping" in busy:
            steps = (beats, beats * 2, beats)[part.rhythm]
            for i in range(steps):
                chosen = pitches if part.rhythm != 1 else [pitches[i % 3] + 12 * (i % 4 == 3)]
                for pitch in chosen:
                    self.note(1, start + i * beats / steps, beats / steps * 0.85, pitch, busy["comping"])
        if "pad" in busy:
            for pitch in pitches:
                self.note(2, start, beats * 0.97, pitch + (12 if extra else 0), busy["pad"])
        for name, channel in (("lead", 3), ("solo", 4)):
            if name in busy:
                self.tune(letter, name, channel, bar, start, busy[name])
        if last and "lead" in busy and self.rng.random() < 0.4:  # the next section's tune begins before it does
            self.note(3, start + beats - 0.5, 0.25, self.key + 7, 90), self.note(3, start + beats - 0.25, 0.25, self.key + 9, 92)
        self.beat(part, first, last, start, extra)

    # A tune of four bars, kept for the part, with small changes each time round.
    def tune(self, letter, name, channel, bar, start, velocity):
        line = self.tunes.setdefault((letter, name), [self.phrase(name) for _ in range(4)])
        for beat, length, step in line[bar % 4]:
            if self.rng.random() < 0.08:
                continue
            scale = pieces.MAJOR[step % 7] + 12 * (step // 7)
            self.note(channel, start + beat, length * 0.92, self.key + scale + (7 if letter == "c" else 0), velocity)

    def phrase(self, name):
        out, beat = [], float(self.rng.choice([0, 0, 0.5, 1]))
        step = int(self.rng.integers(0, 8))
        while beat < self.beats - 0.25:
            length = min(float(self.rng.choice([0.5, 0.5, 1.0, 1.5] if name == "lead" else [0.25, 0.5, 0.5, 1.0])), self.beats - beat)
            out.append((beat, length, step))
            step = int(np.clip(step + self.rng.integers(-2, 3), 0, 11))
            beat += length + (0.5 if self.rng.random() < 0.2 else 0)
        return out

    def beat(self, part, first, last, start, extra):
        beats = self.beats
        if first and part.drums >= 2 and self.rng.random() < 0.75:
            self.note(9, start, 1, 49, 104)
        if part.drums == 0:
            return
        for i in range(beats * 2 if part.drums > 1 else beats):
            at = i / 2 if part.drums > 1 else i
            self.note(9, start + at, 0.2, (46 if i % 2 else 42) if part.drums == 3 and extra else 51 if part.drums == 3 else 42, 66 + 8 * (i % 2 == 0))
        filling = last and self.rng.random() < 0.6
        stopping = last and not filling and self.rng.random() < 0.4
        for beat in range(beats - 1 if stopping else beats):
            if filling and beat >= beats - 2:
                for i in range(4):
                    self.note(9, start + beat + i / 4, 0.2, (50, 48, 47, 43)[(2 * (beat % 2) + i // 2) % 4], 88 + 4 * i)
            elif beat == 0 or (part.drums > 1 and beats % 2 == 0 and beat == beats // 2):
                self.note(9, start + beat, 0.3, 36, 104)
            elif (beats != 3 and beat % 2 == 1) or (beats == 3 and part.drums > 1):
                self.note(9, start + beat, 0.3, 38 if part.drums > 1 else 37, 88)


def _rendered(midi, rate):
    with tempfile.TemporaryDirectory() as room:
        score, out = Path(room) / "song.mid", Path(room) / "song.raw"
        score.write_bytes(midi)
        run(["fluidsynth", "-n", "-i", "-q", "-r", str(rate), "-g", "0.5", "-O", "float", "-T", "raw", "-F", str(out), SOUNDFONT, str(score)])
        return np.fromfile(out, "<f4").reshape(-1, 2).astype(np.float64)


def _played(kind, half, rate, rng):
    beats = 4 if kind == "machine" else _one_of(rng, half.metres)
    tempo = float(rng.uniform(*half.tempo)) * {"ballad": 0.8, "strings": 0.85}.get(kind, 1.0)
    if beats >= 5:
        tempo *= 1.5
    form = _one_of(rng, half.forms)
    parts = _parts(kind, form, half, rng)
    score = pieces.Score()
    band = Band(score, half, kind, beats, _one_of(rng, half.keys), rng)
    start, starts, times = 0, [], {}
    if beats == 3 or tempo > 135:
        for part in parts.values():
            part.bars *= 2
    for index, letter in enumerate(form):
        part = parts[letter]
        times[letter] = times.get(letter, 0) + 1
        again = times[letter] > 1
        starts.append(start * 60 / tempo)
        bars = part.bars * (2 if letter == "v" and times[letter] == 1 and rng.random() < 0.3 and "vv" not in form else 1)
        if letter == "c" and form[index - 1:index] == "c":
            band.key += 2  # the last chorus again, a tone up
        for bar in range(bars):
            band.bar(letter, part, bar, bar == 0, bar == bars - 1, start, again)
            start += beats
    for pitch in _pitches(band.key, 0):
        band.note(2, start, beats, pitch, 70)
    x = _rendered(score.midi(tempo), rate)
    return x, starts, [*form], (start + beats) * 60 / tempo


def _looped(half, rate, rng):
    """Sections are sets of loops, each stretched by its speed to a number of beats."""
    tempo = float(rng.uniform(half.tempo[0], min(140, half.tempo[1])))
    beat = 60 / tempo
    bar_frames = round(4 * beat * rate)
    loops = {}
    for layer, files in half.loops.items():
        for name in files:
            path = f"{LOOPS}{name}.flac"
            x = decoded(path, 44100, 20)
            bars = max(1, min(4, 2 ** round(np.log2(max(0.5, len(x) / 44100 / (4 * beat))))))
            if layer == "air" or layer == "bass" or name.startswith(("guit", "ambi")):
                x = x[:int(44100 * bars * 4 * beat)]
                x = np.vstack([x, np.zeros((max(0, int(44100 * bars * 4 * beat) - len(x)), 2))])
            at = np.linspace(0, len(x) - 1, bars * bar_frames)
            x = np.stack([np.interp(at, np.arange(len(x)), x[:, c]) for c in range(2)], axis=1)
            edge = rate // 100
            x[-edge:] *= np.linspace(1, 0, edge)[:, None]
            loops[name] = x * gain(-22 - level_dbfs(x))
    form = [*_one_of(rng, half.forms)]
    tunes, drums = rng.permutation(half.loops["tune"]), rng.permutation(half.loops["drums"])
    bass, air = rng.permutation(half.loops["bass"]), rng.permutation(half.loops["air"])
    percussion = rng.permutation(half.loops["percussion"])
    recipe = {"i": [(air[0], 0), (percussion[0], -4)], "v": [(drums[0], -2), (bass[0], -3), (tunes[0], -6)],
              "p": [(percussion[0], -3), (bass[0], -4), (air[1], -3)], "c": [(drums[0], 1), (bass[1], 0), (tunes[1], 0), (air[0], -6)],
              "b": [(air[1], 0), (tunes[2], -2)], "s": [(drums[1], 0), (bass[0], -1), (tunes[3], 0)], "k": [(percussion[1], -2), (tunes[0], -4)],
              "o": [(air[0], -2), (tunes[1], -8)]}
    bars = {letter: int(rng.choice([4, 8])) if letter in "ikop" else 8 for letter in recipe}
    if tempo > 120:
        bars = {letter: 2 * n if n == 4 else n for letter, n in bars.items()}
    pieces_of_song, starts, now = [], [], 0
    for letter in form:
        n = bars[letter] * bar_frames
        mix = np.zeros((n, 2))
        for name, level in recipe[letter]:
            loop = loops[name]
            mix += np.tile(loop, (n // len(loop) + 1, 1))[:n] * gain(level + float(rng.normal(0, 0.5)))
        edge = rate // 200
        mix[:edge] *= np.linspace(0, 1, edge)[:, None]
        mix[-edge:] *= np.linspace(1, 0, edge)[:, None]
        starts.append(now / rate)
        pieces_of_song.append(mix)
        now += n
    return np.vstack(pieces_of_song), starts, form, now / rate


def build(name, seed=1):
    """One arrangement at a level and with silence around it that its name decides; a soft ceiling as on finished songs."""
    rng = generator(seed, "arrangement", name)
    part = "held-out" if name.startswith("held-out") else "tuning"
    kind = name.rsplit("-", 1)[1]
    rate = (44100, 48000)[int(rng.integers(0, 2))]
    x, starts, labels, end = _looped(HALVES[part], rate, rng) if kind == "loops" else _played(kind, HALVES[part], rate, rng)
    x = x[:int((end + 1.5) * rate)]
    loud = float(np.percentile(np.max(np.abs(x), axis=1), 99.5))
    x = np.tanh(x / loud * float(rng.uniform(0.6, 1.3))) * 0.85
    x[-rate:] *= np.linspace(1, 0, rate)[:, None]
    before = float(rng.uniform(0.05, 1.5))
    x = np.vstack([np.zeros((int(before * rate), 2)), x, np.zeros((int(rng.uniform(0.1, 2.0) * rate), 2))])
    before = int(before * rate) / rate
    return Arrangement(Sound(x, rate, 24), [s + before for s in starts], labels, end + before)
