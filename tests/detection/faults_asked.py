"""Faults that show only where more than one file is looked at, where a rule asks for the measurement, or in tags of FLAC."""
import subprocess

import numpy as np

from faults_container import short, through_tool
from registry import fault
from score import Plant, equals, turned
from sound import Sound, gain, rounded, wav

SIDES = ((".L", ".R"), ("_L", "_R"), ("_R", "_L"), ("-left", "-right"), ("_Right", "_Left"))


@fault("M07", "two mono files in place of one stereo file", "half_of_stereo", turned(), "strong")
def split_stereo(b, r):
    b = short(b, r)
    this, other = SIDES[int(r.integers(0, len(SIDES)))]
    channel = int(this.upper()[1] == "R")
    side = [b.changed(b.x[:, [c]]) for c in (channel, 1 - channel)]
    return Plant(sound=side[0], name=f" Song{this}.wav", beside={f"Song{other}.wav": wav(side[1])}, note=f"{this} beside {other}")


def check_digit(digits):
    """GS1 General Specifications, section 7.9: from the right, times 3, times 1, and so on; up to the next ten."""
    return -sum(int(d) * (3 if i % 2 == 0 else 1) for i, d in enumerate(reversed(digits))) % 10


@fault("G07 release", "a malformed release code", "gtin", turned(), "proof")
def release_code(b, r):
    digits = "".join(str(d) for d in r.integers(0, 10, int(r.choice([7, 11, 12, 13]))))
    code = digits + str(check_digit(digits))
    kind = int(r.integers(0, 4))
    if kind == 0:
        code = digits + str((check_digit(digits) + int(r.integers(1, 10))) % 10)
    elif kind == 1:
        place = int(r.integers(0, len(digits)))
        code = code[:place] + str((int(code[place]) + int(r.integers(1, 10))) % 10) + code[place + 1:]
    elif kind == 2:
        code = (code + "0000")[:int(r.choice([9, 10, 11]))]
    else:
        code = code[:3] + "O" + code[4:]
    return Plant(data=through_tool(short(b, r, 0.5), "flac", "-s", "--totally-silent", "-c", f"--tag=BARCODE={code}", "-"),
                 name=".flac", note=f"{('check digit', 'one digit', 'length', 'a letter')[kind]}: {code}")


def peak_between(x):
    """The highest peak of the wave itself, in dB: 8 times as many samples through the Fourier transform."""
    padded = np.vstack([np.zeros((512, x.shape[1])), x, np.zeros((512, x.shape[1]))])
    spectrum = np.fft.rfft(padded, axis=0)
    return 20 * np.log10(np.max(np.abs(np.fft.irfft(spectrum, 8 * len(padded), axis=0) * 8)))


def through_vorbis(b):
    """Encoded by FFmpeg at the quality whose nominal rate is 160 kb/s, and decoded again as floats."""
    coded = subprocess.run(["ffmpeg", "-v", "error", "-nostdin", "-f", "wav", "-i", "-", "-c:a", "libvorbis", "-q:a", "5", "-f", "ogg", "-"],
                           input=wav(b), capture_output=True, check=True, timeout=60).stdout
    raw = subprocess.run(["ffmpeg", "-v", "error", "-nostdin", "-i", "-", "-f", "f32le", "-"], input=coded, capture_output=True,
                         check=True, timeout=60).stdout
    return np.frombuffer(raw, "<f4").reshape(-1, b.channels).astype(np.float64)


@fault("L09", "peaks above full scale after lossy encoding", "true_peak_after_lossy", equals(0.5), "strong", rules=("after-lossy.toml",))
def overshoot(b, r):
    top = np.max(np.abs(b.x))
    drive = gain(float(r.uniform(3, 12)))
    ceiling = gain(float(r.uniform(-1.0, -0.2)))
    x = np.clip(b.x * drive / top, -1, 1) * ceiling
    loud = Sound(rounded(x, b.bits), b.rate, b.bits)
    peak = peak_between(through_vorbis(loud))
    return Plant(sound=loud, expect=peak, note=f"{peak:+.2f} dBTP after the encoder of another program")
