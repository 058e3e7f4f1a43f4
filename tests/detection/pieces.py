"""Small pieces of music of our own, written as MIDI and played by fluidsynth."""
import struct

TICKS = 480
MAJOR = (0, 2, 4, 5, 7, 9, 11)
CHORDS = ((0, 4, 7), (9, 12, 16), (5, 9, 12), (7, 11, 14))

# style: beats a minute, key
STYLES = {
    "strings": (66, 55), "piano": (92, 60), "pop": (118, 57), "staccato": (140, 62), "lead": (84, 65), "bass": (104, 52),
    "waltz": (132, 58), "organ": (72, 53),
}


def _length(value):
    """MIDI's variable-length number."""
    out = [value & 0x7F]
    while value > 127:
        value >>= 7
        out.append(0x80 | (value & 0x7F))
    return bytes(reversed(out))


class Score:
    def __init__(self):
        self.events = []

    def program(self, channel, number, pan=64, volume=100):
        self.events.append((0, 0, bytes([0xC0 | channel, number])))
        self.events.append((0, 1, bytes([0xB0 | channel, 10, pan])))
        self.events.append((0, 1, bytes([0xB0 | channel, 7, volume])))

    def note(self, channel, beat, beats, pitch, velocity):
        start = round(beat * TICKS)
        self.events.append((start, 2, bytes([0x90 | channel, pitch, velocity])))
        self.events.append((round((beat + beats) * TICKS), 0, bytes([0x80 | channel, pitch, 0])))

    def midi(self, tempo):
        body = b"\0\xff\x51\x03" + struct.pack(">I", round(60e6 / tempo))[1:]
        now = 0
        for tick, _, message in sorted(self.events):
            body += _length(tick - now) + message
            now = tick
        body += _length(TICKS) + b"\xff\x2f\0"
        return b"MThd" + struct.pack(">IHHH", 6, 0, 1, TICKS) + b"MTrk" + struct.pack(">I", len(body)) + body


def _velocity(rng, middle, spread=10):
    return int(min(127, max(20, middle + rng.integers(-spread, spread + 1))))


def _drums(score, rng, bar, beats=4):
    for beat in range(beats * 2):
        score.note(9, bar * beats + beat / 2, 0.2, 42, _velocity(rng, 70))
    for beat in (0, 2.5):
        score.note(9, bar * beats + beat, 0.3, 36, _velocity(rng, 105))
    for beat in (1, 3):
        score.note(9, bar * beats + beat, 0.3, 38, _velocity(rng, 96))


def write(style, bars, rng):
    """One piece as MIDI bytes, with its tempo varied by the generator. The last bar is a held chord."""
    tempo, key = STYLES[style]
    tempo = tempo * (0.9 + 0.2 * rng.random())
    score = Score()
    shift = int(rng.integers(-3, 4))
    for bar in range(bars):
        chord = [key + shift + step for step in CHORDS[int(rng.integers(0, 4)) if bar else 0]]
        last = bar == bars - 1
        beats = 3 if style == "waltz" else 4
        start = bar * beats
        if style == "strings":
            score.program(0, 48, 50, 90), score.program(1, 42, 80, 90)
            for pitch in chord:
                score.note(0, start, beats - 0.05, pitch, _velocity(rng, 62))
            score.note(1, start, beats - 0.05, chord[0] - 12, _velocity(rng, 70))
        elif style in ("piano", "waltz"):
            score.program(0, 0, 60, 100)
            for beat in range(1 if last else beats * 2):
                length = beats if last else 0.9
                score.note(0, start + beat / 2, length, chord[beat % 3] + 12, _velocity(rng, 74, 18))
            score.note(0, start, beats - 0.1, chord[0] - 12, _velocity(rng, 70))
        elif style == "pop":
            score.program(0, 33, 64, 100), score.program(1, 27, 40, 84), score.program(2, 50, 90, 60)
            if not last:
                _drums(score, rng, bar)
            for beat in range(1 if last else 8):
                score.note(0, start + beat / 2, 3 if last else 0.45, chord[0] - 24, _velocity(rng, 95))
            for pitch in chord:
                score.note(1, start, 2.8 if last else 0.4, pitch, _velocity(rng, 80))
                score.note(2, start, 3.9, pitch + 12, _velocity(rng, 60))
        elif style == "staccato":
            score.program(0, 45, 50, 110), score.program(1, 13, 84, 90)
            for beat in range(1 if last else 8):
                score.note(0, start + beat / 2, 0.12, chord[beat % 3], _velocity(rng, 96, 20))
            score.note(1, start + 2, 0.1, chord[2] + 12, _velocity(rng, 90))
        elif style == "lead":
            score.program(0, 73 if shift % 2 else 52, 64, 110)
            beat = 0.0
            while beat < (1 if last else 4):
                length = float(rng.choice([0.5, 1.0, 1.5]))
                score.note(0, start + beat, 3.5 if last else length * 0.92,
                           key + shift + MAJOR[int(rng.integers(0, 7))] + 7, _velocity(rng, 84, 16))
                beat += length
        elif style == "bass":
            score.program(0, 38, 64, 120), score.program(1, 81, 70, 60)
            for beat in range(1 if last else 8):
                score.note(0, start + beat / 2, 3 if last else 0.4, chord[0] - 24, _velocity(rng, 110, 8))
            if not last:
                _drums(score, rng, bar)
            score.note(1, start, 3.8, chord[2], _velocity(rng, 50))
        else:
            score.program(0, 19, 64, 90)
            for pitch in chord:
                score.note(0, start, beats - 0.02, pitch, _velocity(rng, 70))
    return score.midi(tempo)
