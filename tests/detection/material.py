"""The clean material: packaged samples as they lie on the disk, and small songs built from packaged and own sound.

Every item has a name; a digest of that name puts it into the `tuning` or the `held-out` half. Nothing else decides.
"""
import hashlib
import subprocess
import tempfile
from dataclasses import dataclass
from pathlib import Path

import numpy as np

import pieces
from sound import Sound, band, dithered, gain, level_dbfs, reverb

PACKAGES = ("sonic-pi-samples", "hydrogen-drumkits", "lmms-common", "gamine-data", "hannah-data")
SOUNDFONT = "/usr/share/sounds/sf2/TimGM6mb.sf2"
# Single cycles and test waves for synthesizers, empty placeholders, and 8-bit sounds of games are no music.
NOT_MUSIC = ("/waveforms/", "/shapes/", "emptySample", "/gamine/sounds/", "/hannah/sounds/")
PARTS = ("tuning", "held-out")


def part_of(name):
    return PARTS[hashlib.sha256(name.encode("utf-8")).digest()[0] & 1]


def generator(*names):
    """A random generator that depends on nothing but these names."""
    digest = hashlib.sha256("/".join(str(n) for n in names).encode("utf-8")).digest()
    return np.random.default_rng(int.from_bytes(digest[:8], "big"))


@dataclass(frozen=True)
class Item:
    name: str
    lossless: bool
    kind: str      # "sample", "render", "loops", "track", "demo"
    path: str

    @property
    def part(self):
        return part_of(self.name)


def run(arguments, **more):
    return subprocess.run(arguments, check=True, capture_output=True, timeout=120, **more).stdout


def decoded(path, rate, seconds=None, start=0.0):
    """Any packaged file as stereo samples at this rate, by FFmpeg."""
    limit = ["-t", str(seconds)] if seconds else []
    raw = run(["ffmpeg", "-v", "error", "-nostdin", "-ss", str(start), *limit, "-i", str(path), "-f", "f32le", "-ac", "2",
               "-ar", str(rate), "-"])
    return np.frombuffer(raw, "<f4").reshape(-1, 2).astype(np.float64)


def packaged_files():
    """All sound files of the packages, sorted; those which are no music are left out."""
    listed = run(["dpkg", "-L", *PACKAGES], text=True).splitlines()
    sounds = [p for p in listed if p.lower().endswith((".wav", ".flac", ".ogg")) and Path(p).is_file()]
    return sorted(p for p in sounds if not any(word in p for word in NOT_MUSIC) or p.endswith("bgm1.ogg")
                  or "Brandenburg" in p)


def samples():
    return [Item("/".join(Path(p).parts[-2:]), not p.endswith(".ogg"), "sample", p) for p in packaged_files()]


def _render(style, number, bars, rate, rng):
    with tempfile.TemporaryDirectory() as room:
        midi, out = Path(room) / "piece.mid", Path(room) / "piece.raw"
        midi.write_bytes(pieces.write(style, bars, rng))
        run(["fluidsynth", "-n", "-i", "-q", "-r", str(rate), "-g", "0.6", "-O", "float", "-T", "raw", "-F", str(out),
             SOUNDFONT, str(midi)])
        x = np.fromfile(out, "<f4").reshape(-1, 2).astype(np.float64)
    loud = np.flatnonzero(np.max(np.abs(x), axis=1) > 1e-5)
    return x[:loud[-1] + int(0.3 * rate)] if len(loud) else x


def _loop_files(lossless):
    found = [p for p in packaged_files() if "/loop_" in p or "/ambi_" in p or "/bass_" in p]
    more = [p for p in packaged_files() if "/bassloops/" in p or "/beats/" in p or "/stringsnpads/" in p]
    # One loop is clipped in its package (known.csv says so); songs are built from sound ones.
    return [p for p in (found if lossless else found + more) if "loop_amen_full" not in p and "3d_printer" not in p]


def _loops(number, seconds, rate, lossless, rng):
    """Loops laid over each other, coming in one after the other, with a reverb tail. The rate is how fast they play."""
    files = _loop_files(lossless)
    out = np.zeros((int(seconds * rate), 2))
    for layer in range(int(rng.integers(2, 5))):
        x = decoded(files[int(rng.integers(0, len(files)))], 44100, 12)
        if len(x) < 2000 or level_dbfs(x) < -80:
            continue
        edge = min(256, len(x) // 8)
        x[:edge] *= np.linspace(0, 1, edge)[:, None]
        x[-edge:] *= np.linspace(1, 0, edge)[:, None]
        x -= np.mean(x, axis=0)
        start = 0 if layer == 0 else int(rng.integers(0, len(out) // 2))
        tiled = np.tile(x, (len(out) // len(x) + 2, 1))[:len(out) - start]
        pan = rng.uniform(0.6, 1.0, 2)
        out[start:] += tiled * pan * gain(-24 + rng.uniform(-6, 6) - level_dbfs(tiled))
    n = int(0.4 * rate)
    out[-n:] *= np.linspace(1, 0, n)[:, None]
    return reverb(out, rate, float(rng.uniform(1.0, 2.5)), rng)


def _track(path, start, seconds, rate):
    x = decoded(path, rate, seconds, start)
    n = int(0.4 * rate)  # an excerpt's own fades stay far under the second from which a fade is looked for
    x[:n] *= (np.linspace(0, 1, n) ** 2)[:, None]
    x[-n:] *= (np.linspace(1, 0, n) ** 2)[:, None]
    return np.vstack([np.zeros((rate // 10, 2)), x, np.zeros((rate // 4, 2))])


def _plan(long):
    """What songs there are: name, kind, lossless, a function of (rate, rng)."""
    bars = 28 if long else 4
    seconds = 70 if long else 8
    plan = []
    for style in pieces.STYLES:
        for number in range(2):
            plan.append((f"render-{style}-{number}", "render", True,
                         lambda rate, rng, s=style, n=number: _render(s, n, bars, rate, rng)))
    for number in range(14):
        lossless = number % 3 != 2
        plan.append((f"loops-{number}", "loops", lossless,
                     lambda rate, rng, n=number, l=lossless: _loops(n, seconds, rate, l, rng)))
    tracks = [p for p in packaged_files() if p.endswith("bgm1.ogg") or "Brandenburg" in p]
    for path in tracks:
        for number in range(3):
            plan.append((f"track-{Path(path).stem[:8]}-{number}", "track", False,
                         lambda rate, rng, p=path, n=number: _track(p, 10 + n * 14, seconds, rate)))
    return plan


def build_song(name, long, seed):
    """One song, at the word length and the rate that its name gives it, with dither and without overload."""
    rng = generator(seed, name)
    rate = (44100, 48000)[int(rng.integers(0, 2))]
    bits = (16, 24)[int(rng.integers(0, 2))]
    entry = next(e for e in _plan(long) if e[0] == name)
    x = entry[3](rate, rng)
    x = np.vstack([np.zeros((int(rate * rng.uniform(0.02, 0.3)), 2)), x])
    x = band(x, rate, 15.0)
    n = rate // 100  # no step at either end: a filter and an offset would leave one
    x[:n] *= np.linspace(0, 1, n)[:, None]
    x[-n:] *= np.linspace(1, 0, n)[:, None]
    x *= gain(-rng.uniform(2.0, 9.0)) / np.max(np.abs(x))
    return Sound(dithered(x, bits, rng), rate, bits)


def song_names():
    return [(name, kind, lossless) for name, kind, lossless, _ in _plan(False)]
