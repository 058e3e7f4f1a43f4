#!/usr/bin/env python3
"""Checks the rows of known.csv again: item and rule give a figure, computed here from the bytes or the samples and not by the program.

    /usr/bin/python3 -B tests/detection/examine.py [part of an item's name]
"""
import csv
import struct
import sys
from pathlib import Path

import numpy as np

import material

HERE = Path(__file__).resolve().parent


def samples_of(path):
    """Frames × channels at the file's own rate and count of channels, and that rate: by FFmpeg, and Ogg by the reference decoder."""
    told = material.run(["ffprobe", "-v", "error", "-select_streams", "a:0", "-show_entries", "stream=sample_rate,channels", "-of",
                         "default=nw=1", str(path)], text=True)
    stream = dict(line.split("=") for line in told.split())
    if str(path).endswith(".ogg"):
        raw = material.run(["oggdec", "-Q", "-R", "-o", "-", str(path)])
        return np.frombuffer(raw, "<i2").reshape(-1, int(stream["channels"])) / 32768.0, int(stream["sample_rate"])
    raw = material.run(["ffmpeg", "-v", "error", "-nostdin", "-i", str(path), "-f", "f64le", "-"])
    return np.frombuffer(raw, "<f8").reshape(-1, int(stream["channels"])), int(stream["sample_rate"])


def decibels(power):
    return 10 * np.log10(max(float(power), 1e-20))


def _edge(x, word):
    """The outermost sample of the louder channel, and the largest step between samples in the 30 beside it."""
    c = int(np.argmax(np.abs(x[0])))
    return f"{word} on a sample of {decibels(x[0, c] ** 2):.1f} dBFS; largest step beside it {decibels(np.max(np.abs(np.diff(x[:31, c]))) ** 2):.1f} dBFS"


def start_click(path):
    return _edge(samples_of(path)[0], "begins")


def end_click(path):
    return _edge(samples_of(path)[0][::-1], "ends")


def _runs(level, at):
    """Lengths of runs of three and more equal samples whose magnitude lies at `at` or above."""
    edges = np.flatnonzero(np.diff(level))
    lengths = np.diff(np.concatenate([[-1], edges, [len(level) - 1]]))
    starts = np.concatenate([[0], edges + 1])
    return lengths[(lengths >= 3) & (np.abs(level[starts]) >= at)]


def clipping(path):
    x, _ = samples_of(path)
    most = max(int(np.sum(_runs(x[:, c], 0.999))) for c in range(x.shape[1]))
    return f"{most} samples of one channel at full scale, in runs of 3 and more"


def flat_tops(path):
    x, _ = samples_of(path)
    runs = np.concatenate([_runs(x[:, c], 0.98 * np.max(np.abs(x[:, c]))) for c in range(x.shape[1])])
    return f"{len(runs)} runs of 3 to {int(np.max(runs, initial=0))} equal samples at the peak of {decibels(np.max(np.abs(x)) ** 2):.1f} dBFS"


def channel_delay(path):
    """Correlation of left and right at every lag up to 1 ms."""
    x, rate = samples_of(path)

    def at(y, lag):
        return np.dot(y[max(0, -lag):len(y) - max(0, lag), 0], y[max(0, lag):len(y) + min(0, lag), 1]) / scale(y)

    def scale(y):
        return np.sqrt(np.sum(y[:, 0] ** 2) * np.sum(y[:, 1] ** 2))
    x = x - np.mean(x, axis=0)
    best = max(range(-rate // 1000, rate // 1000 + 1), key=lambda lag: abs(at(x, lag)))
    steps = np.diff(x, axis=0)
    return (f"correlation at lag {best}: {at(x, best):.3f} against {at(x, 0):.3f} at 0; of the steps from sample to sample "
            f"{at(steps, best):.3f} against {at(steps, 0):.3f}")


def gated_tail(path):
    """How loud the last millisecond is in front of the zeros at the end."""
    x, rate = samples_of(path)
    end = int(np.flatnonzero(np.any(x != 0, axis=1))[-1]) + 1
    last = max(decibels(np.mean(x[end - rate // 1000:end, c] ** 2)) for c in range(x.shape[1]))
    return f"{last:.1f} dBFS in the last 1 ms before {len(x) - end} digital zeros"


def _falls(x, rate):
    """How long the level takes for each 10 dB on the way to its end: times that shrink show a fade, equal ones a decay."""
    n = rate // 50
    levels = np.array([decibels(np.mean(x[i:i + n] ** 2)) for i in range(0, len(x) - n + 1, n)])
    levels = levels[:int(np.flatnonzero(levels > -88)[-1]) + 1][-20 * 50:]
    highest = np.maximum.accumulate(levels[::-1])
    passed = [float(np.argmax(highest >= highest[-1] - fall)) * 0.02 for fall in (10, 20, 30, 40)]
    return ", ".join(f"{a - b:.2f} s" for a, b in zip(passed, passed[1:])) + f" from 10 to 20, to 30 and to 40 dB under the loudest, {passed[-1]:.2f} s to the end"


def faded_out(path):
    return _falls(*samples_of(path))


def stream(path):
    """Ogg: packets on the page on which the third header ends, and what the reference decoder gives."""
    data = Path(path).read_bytes()
    at = packets = extra = granule = 0
    while data[at:at + 4] == b"OggS":
        segments = data[at + 27:at + 27 + data[at + 26]]
        ends = sum(s < 255 for s in segments)
        if packets < 3 <= packets + ends:
            extra = packets + ends - 3 + (segments[-1] == 255)
        packets += ends
        granule = struct.unpack("<q", data[at + 6:at + 14])[0]
        at += 27 + len(segments) + sum(segments)
    decoded = len(samples_of(path)[0])
    return (f"the header says {granule} frames, the reference decoder gives {decoded}; {extra} packets of audio share a page with the "
            "last header, where Vorbis I, A.2 wants a fresh page")


def _chunks(path):
    data = Path(path).read_bytes()
    at, found = 12, []
    while at + 8 <= len(data):
        size = struct.unpack("<I", data[at + 4:at + 8])[0]
        found.append((data[at:at + 4], at, size))
        at += 8 + size + size % 2
    return data, found


def header_slip(path):
    data = Path(path).read_bytes()
    return f"the RIFF size says {struct.unpack('<I', data[4:8])[0] + 8} bytes, the file has {len(data)}"


def header(path):
    data, found = _chunks(path)
    name, at, size = next(c for c in found if c[0] == b"data")
    left = data[at + 8 + size:]
    return f"{header_slip(path)}; behind the {size} bytes of the data chunk stand {len(left)} more, which begin {left[:4].hex(' ')}"


def padded_bits(path):
    data, found = _chunks(path)
    bits = struct.unpack("<H", data[next(a for n, a, _ in found if n == b"fmt ") + 22:][:2])[0]
    _, at, size = next(c for c in found if c[0] == b"data")
    body = np.frombuffer(data[at + 8:at + 8 + size], np.uint8)
    words = body[:len(body) // (bits // 8) * (bits // 8)].reshape(-1, bits // 8)
    used = sum(int(np.bitwise_or.reduce(words[:, i])) << (8 * i) for i in range(bits // 8))
    return f"{(used & -used).bit_length() - 1} lowest bits of {bits} are zero in all {len(words)} samples"


def leftover_texts(path):
    told = material.run(["ffprobe", "-v", "error", "-show_entries", "format_tags", "-of", "default=nw=1", str(path)], text=True)
    return "; ".join(line for line in told.splitlines() if "@" in line)


def _bare_steps(codes):
    """How often eight equal samples are followed by eight that lie one step higher or lower."""
    edges = np.flatnonzero(np.diff(codes))
    lengths = np.diff(np.concatenate([[-1], edges, [len(codes) - 1]]))
    steps = np.abs(codes[edges + 1] - codes[edges])
    return int(np.sum((steps == 1) & (lengths[:-1] >= 8) & (lengths[1:] >= 8)))


def undithered_cut(path):
    """Dither never lets a decay stand still and move by single steps; 40 dithered copies show what chance gives."""
    codes = np.round(samples_of(path)[0] * 32768)
    rng = material.generator("examine", path)
    most = 0
    for _ in range(40):
        dithered = np.round(codes + rng.uniform(-0.5, 0.5, codes.shape) + rng.uniform(-0.5, 0.5, codes.shape))
        most = max(most, max(_bare_steps(dithered[:, c]) for c in range(codes.shape[1])))
    here = max(_bare_steps(codes[:, c]) for c in range(codes.shape[1]))
    return (f"{here} bare steps (8 equal samples, one step of 16 bits, 8 equal); the same decay with triangular dither has {most} at most "
            "in 40 trials")


def click(path):
    """Where the third difference stands out most over what lies within 8 ms of it, in one channel."""
    x, rate = samples_of(path)
    best = (0, 0, 0, 0, 0)
    for c in range(x.shape[1]):
        bend = np.abs(np.diff(x[:, c], 3))
        for n in np.argsort(bend)[-20000:]:
            around = np.concatenate([bend[max(0, n - rate // 125):max(0, n - 12)], bend[n + 12:n + rate // 125]])
            usual = np.max(around, initial=1e-6)
            best = max(best, (bend[n] / usual, int(n) + 1, c + 1, bend[n], usual))
    return f"third difference of {best[3] * 32768:.0f} steps of 16 bits at frame {best[1]} of channel {best[2]}, {best[4] * 32768:.0f} at most in the 8 ms around"


def hum(path):
    """Lines at multiples of the mains frequency in the last seconds, against what lies 3 to 14 Hz beside them."""
    x, rate = samples_of(path)
    y = np.mean(x[-6 * rate:], axis=1)
    power = np.abs(np.fft.rfft(y * np.hanning(len(y)))) ** 2
    hz = np.arange(len(power)) * rate / len(y)
    best = []
    for mains in (50, 60):
        lines = []
        for k in range(1, 8):
            off = np.abs(hz - k * mains)
            lines.append(decibels(np.max(power[off < 0.7]) / np.median(power[(off > 3) & (off < 14)])))
        best.append((mains, lines))
    mains, lines = max(best, key=lambda b: sum(sorted(b[1])[-3:]))
    strong = ", ".join(f"{mains * (k + 1)}" for k, db in enumerate(lines) if db >= 15)
    return f"in the last {len(y) / rate:.0f} s lines at {strong} Hz stand {min([d for d in lines if d >= 15], default=0):.0f} to {max(lines):.0f} dB over the median beside them"


def rumble(path):
    x, rate = samples_of(path)
    power = np.sum(np.abs(np.fft.rfft(x * np.hanning(len(x))[:, None], axis=0)) ** 2, axis=1)
    hz = np.arange(len(power)) * rate / len(x)
    low = np.sum(power[(hz >= 2) & (hz < 20)]) / np.sum(power)
    return f"2 to 20 Hz stand {-decibels(low):.1f} dB under the whole (Fourier, Hann)"


def extension(path):
    return "begins with the bytes " + repr(Path(path).read_bytes()[:12])


RULES = {
    "start-click": start_click, "end-click": end_click, "clipping": clipping, "flat-tops": flat_tops, "channel-delay": channel_delay,
    "gated-tail": gated_tail, "faded-out": faded_out, "stream": stream, "header": header, "header-slip": header_slip,
    "padded-bits": padded_bits, "leftover-texts": leftover_texts, "extension": extension,
    "undithered-cut": undithered_cut, "hum": hum, "rumble": rumble, "click": click,
}


def main():
    wanted = sys.argv[1] if len(sys.argv) > 1 else ""
    paths = {item.name: item.path for item in material.samples()}
    with open(HERE / "known.csv", encoding="utf-8", newline="") as lines:
        for row in csv.DictReader(lines):
            if wanted not in row["item"]:
                continue
            look = RULES.get(row["rule"])
            figure = look(paths[row["item"]]) if look and row["item"] in paths else "no computation here"
            print(f"{row['item']} | {row['rule']} | {row['reason']} | {figure}")


if __name__ == "__main__":
    main()
