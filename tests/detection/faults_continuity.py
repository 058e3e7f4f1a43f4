"""Continuity faults and those of channels and phase."""
import numpy as np

from faults_container import log_uniform
from registry import fault
from score import Plant, equals, event, judged, turned
from sound import band, dithered, gain, level_dbfs, rounded


def loud_place(b, r, seconds, under_db=18):
    """A frame from which the sound plays on for `seconds`, no more than this far under the item's level."""
    n, around = int(seconds * b.rate), int(0.015 * b.rate)
    least = level_dbfs(b.x) - under_db
    low, high = int(0.3 * b.rate), b.frames - n - int(0.3 * b.rate)
    place = 0
    for _ in range(300):
        place = int(r.integers(low, high))
        parts = [b.x[place - around:place], b.x[place:place + max(n, 1)], b.x[place + n:place + n + around]]
        if all(level_dbfs(p[:, c]) > least for p in parts for c in range(2)):
            break
    return place, n


@fault("K01", "a hole of digital silence", "dropouts", event(0.005), "strong")
def hole(b, r, strength=1.0):
    s, n = loud_place(b, r, log_uniform(r, 0.0013, 0.05))
    x = b.x.copy()
    x[s:s + n] *= 1 - strength
    return Plant(sound=b.changed(x), at=s / b.rate, until=(s + n) / b.rate, note=f"{1000 * n / b.rate:.1f} ms")


@fault("K02", "a gap of near silence", "internal_silence", event(0.06), "evidence")
def gap(b, r):
    s, n = loud_place(b, r, log_uniform(r, 0.02, 0.6), 9)
    loud = b.changed(b.x * 0.9 / np.max(np.abs(b.x)))
    x = loud.x.copy()
    ramp = min(n // 4, int(0.004 * b.rate))
    shape = np.full(n, gain(-62))
    shape[:ramp], shape[-ramp:] = np.linspace(1, gain(-62), ramp), np.linspace(gain(-62), 1, ramp)
    x[s:s + n] *= shape[:, None]
    return Plant(sound=b.changed(dithered(x, b.bits, r)), at=s / b.rate, until=(s + n) / b.rate, note=f"{1000 * n / b.rate:.0f} ms")


@fault("K03", "a dropout in one channel", "channel_dropouts", event(0.005, channel=True), "strong")
def one_side(b, r):
    s, n = loud_place(b, r, log_uniform(r, 0.0013, 0.05))
    x = b.x.copy()
    channel = int(r.integers(0, 2))
    x[s:s + n, channel] = 0
    return Plant(sound=b.changed(x), at=s / b.rate, until=(s + n) / b.rate, channel=channel + 1, note=f"{1000 * n / b.rate:.1f} ms")


@fault("K04", "a buffer written twice", "repeated_blocks", event(0.02), "strong")
def repeated(b, r):
    n = int(r.choice([64, 128, 256, 512, 1024, 2048, 441, 480]))
    s, _ = loud_place(b, r, 2 * n / b.rate)
    x = b.x.copy()
    x[s + n:s + 2 * n] = x[s:s + n]
    return Plant(sound=b.changed(x), at=s / b.rate, until=(s + 2 * n) / b.rate, note=f"{n} frames")


@fault("K05", "a buffer is missing", "clicks", event(0.005), "evidence")
def missing(b, r):
    n = int(r.choice([64, 128, 256, 512, 1024, 2048]))
    s, _ = loud_place(b, r, n / b.rate)
    step = np.max(np.abs(b.x[s] - b.x[s + n]))
    return Plant(sound=b.changed(np.vstack([b.x[:s], b.x[s + n:]])), at=s / b.rate,
                 note=f"{n} frames, step {20 * np.log10(step + 1e-9):.0f} dBFS")


@fault("K06", "a click", "clicks", event(0.003, channel=True), "evidence")
def click(b, r, strength=1.0):
    """A spike of one to four samples, as high as the music round it to four times as high."""
    s, _ = loud_place(b, r, 0.01, 30)
    channel = int(r.integers(0, 2))
    around = level_dbfs(b.x[s - b.rate // 100:s + b.rate // 100, channel])
    db = float(min(-1, max(around + r.uniform(2, 14), -46)))
    shape = ([1.0], [1.0, -0.6], [0.6, 1.0, 0.5], [1.0, -1.0, 0.7, -0.3])[int(r.integers(0, 4))]
    x = b.x.copy()
    x[s:s + len(shape), channel] += strength * gain(db) * np.array(shape) * r.choice([-1, 1])
    return Plant(sound=b.changed(np.clip(rounded(x, b.bits), -1, 1)), at=s / b.rate, channel=channel + 1,
                 note=f"{db:.0f} dBFS in music of {around:.0f}, {len(shape)} samples")


@fault("K07", "stuck on one value", "stuck_samples", event(0.003, channel=True), "strong")
def stuck(b, r):
    s, n = loud_place(b, r, log_uniform(r, 0.0013, 0.03))
    x = b.x.copy()
    channel = int(r.integers(0, 2))
    if abs(x[s, channel]) < gain(-45):
        s += int(np.argmax(np.abs(x[s:s + n, channel]) > gain(-40)))
    x[s:s + n, channel] = x[s, channel]
    return Plant(sound=b.changed(x), at=s / b.rate, until=(s + n) / b.rate, channel=channel + 1,
                 note=f"{1000 * n / b.rate:.1f} ms at {20 * np.log10(abs(x[s, channel]) + 1e-9):.0f} dBFS")


@fault("K08", "crackle on a grid of buffers", "render_grid_clicks", turned(), "strong")
def grid(b, r):
    size = int(r.choice([64, 128, 256, 512, 1024]))
    first, last = b.frames // size // 5, b.frames // size * 3 // 5
    places = sorted(int(p) * size for p in r.choice(np.arange(first, last), min(int(r.integers(8, 24)), last - first), replace=False))
    parts, taken, written = [], 0, 0
    for p in places:  # buffers that came too late: what follows goes on one buffer further
        parts.append(b.x[taken:taken + p - written])
        taken, written = taken + p - written + size, p
    x = np.vstack([*parts, b.x[taken:]])
    return Plant(sound=b.changed(x), at=places[0] / b.rate, until=places[-1] / b.rate, note=f"{len(places)} breaks, buffers of {size}")


@fault("K09", "noise bursts or dips of an unlicensed processor", "periodic_bursts", turned(), "evidence")
def bursts(b, r):
    x = np.vstack([b.x[int(0.3 * b.rate):-int(0.8 * b.rate)]] * 4)
    every, length = float(r.uniform(3, 7)), float(r.uniform(0.1, 0.5))
    under = float(r.uniform(6, 22))
    n = int(length * b.rate)
    # A generator of noise runs on: no burst is the one before.
    hiss = band(r.standard_normal((len(x), 1)), b.rate, 200, 9000)
    hiss *= gain(level_dbfs(b.x) - under - level_dbfs(hiss))
    edges = np.minimum(1, np.minimum(np.arange(n), np.arange(n)[::-1]) / (0.005 * b.rate))[:, None]
    dip = r.integers(0, 3) == 0
    place = int(b.rate * r.uniform(0.5, 3))
    while place + n < len(x):
        x[place:place + n] = x[place:place + n] * 0.02 if dip else x[place:place + n] + hiss[place:place + n] * edges
        place += int(every * b.rate)
    return Plant(sound=b.changed(dithered(np.clip(x, -0.99, 0.99), b.bits, r)), note=f"{'dips' if dip else f'noise {under:.0f} dB under'}, every {every:.1f} s")


def centred(b, r):
    """A mix whose middle dominates in bass and treble, as most do: left and right are alike without being equal."""
    mid, diff = (b.x[:, 0] + b.x[:, 1]) / 2, (b.x[:, 0] - b.x[:, 1]) / 2
    power = min(level_dbfs(mid) - level_dbfs(diff), level_dbfs(np.diff(mid)) - level_dbfs(np.diff(diff)))
    diff = diff * min(1.0, gain(power - r.uniform(10.5, 16))) if level_dbfs(diff) > -150 else diff
    return np.stack([mid + diff, mid - diff], axis=1)


@fault("P02", "one channel inverted", "inverted_channel", turned(), "strong")
def inverted(b, r):
    x = centred(b, r) * 0.8
    x[:, int(r.integers(0, 2))] *= -1
    return Plant(sound=b.changed(dithered(x, b.bits, r)))


# One loop of the songs has a right side that is a sample late already.
@fault("P04", "one channel later", "inter_channel_delay", equals(1), "strong")
def later(b, r):
    n = int(r.choice([1, 2, 3, 5, 8, 13, 21, 34, 48, 96, 240]))
    x = centred(b, r) * 0.8
    side = int(r.integers(0, 2))
    x[:, side] = np.concatenate([np.zeros(n), x[:-n, side]])
    return Plant(sound=b.changed(dithered(x, b.bits, r)), expect=n if side == 1 else -n, note=f"{n} samples")


@fault("P05", "low end out of phase", "low_phase_correlation", judged(), "strong")
def low_end(b, r):
    x = centred(b, r) * 0.7
    low = band(x, b.rate, 0, float(r.uniform(140, 220)))
    if level_dbfs(low) < -50:  # a tune without a bass gets one
        n = np.arange(len(x)) / b.rate
        note = gain(-24) * np.sin(2 * np.pi * float(r.uniform(45, 100)) * n) * np.exp(-3 * (n % 0.5))
        low = low + note[:, None]
        x = x + note[:, None]
    x[:, 1] -= 2 * low[:, 1]
    return Plant(sound=b.changed(dithered(x, b.bits, r)), note=f"low part {level_dbfs(low):.0f} dBFS")


@fault("P06", "sound lost in mono", "mono_fold_loss", judged(), "strong")
def lost_in_mono(b, r):
    x = centred(b, r)
    mid, diff = (x[:, 0] + x[:, 1]) / 2, np.roll(x[:, 0], 401) * 0.9
    mid = mid * gain(level_dbfs(diff) - level_dbfs(mid) - float(r.uniform(7, 12)))
    y = np.stack([mid + diff, mid - diff], axis=1)
    return Plant(sound=b.changed(dithered(y * 0.8 / np.max(np.abs(y)), b.bits, r)))


@fault("P07", "more side than middle", "side_to_mid", judged(), "strong")
def wide(b, r):
    mid = band(b.x[:, :1], b.rate)[:, 0]
    diff = np.roll(mid, int(0.013 * b.rate)) * gain(float(r.uniform(0.5, 4)))
    y = np.stack([mid + diff, mid - diff], axis=1)
    return Plant(sound=b.changed(dithered(y * 0.8 / np.max(np.abs(y)), b.bits, r)))


@fault("P08", "a silent channel", "silent_channels", turned(), "proof")
def silent(b, r):
    x = b.x.copy()
    side = int(r.integers(0, 2))
    x[:, side] = rounded(gain(-98) * np.clip(r.standard_normal(b.frames) / 3, -1, 1), 24) if r.integers(0, 2) else 0
    return Plant(sound=b.changed(x, bits=24), channel=side + 1)


def surround(b, r):
    """L R C LFE Ls Rs from a stereo item: the middle to the centre, delayed copies to the rear, the low end to the LFE."""
    mid = (b.x[:, 0] + b.x[:, 1]) / 2
    lfe = band(mid[:, None], b.rate, 20, 90)[:, 0]
    rear = [np.roll(band(b.x[:, c:c + 1], b.rate, 100, 7000)[:, 0], int(b.rate * (0.017 + 0.006 * c))) * 0.4 for c in (0, 1)]
    centre = band(mid[:, None], b.rate, 150, 8000)[:, 0] * 0.8
    noise = gain(-90) * r.standard_normal((b.frames, 6))
    return np.stack([b.x[:, 0] * 0.7, b.x[:, 1] * 0.7, centre, lfe, *rear], axis=1) * 0.8 + noise * [1, 1, 1, 0.2, 1, 1]


def surround_turned():
    """Clean items are stereo, so that only the faulty sheet counts."""
    from score import Accept, unclean
    return Accept("not clean", lambda sheet, clean, name, plant: unclean(sheet, name))


@fault("P09", "surround channels in the wrong order", "channel_order_suspect", surround_turned(), "strong")
def order(b, r):
    x = surround(b, r)
    orders = ([0, 2, 1, 4, 5, 3], [0, 1, 4, 5, 2, 3], [3, 0, 1, 2, 4, 5])
    which = int(r.integers(0, 3))
    return Plant(sound=b.changed(dithered(x[:, orders[which]], 24, r), bits=24), note=("L C R Ls Rs LFE", "L R Ls Rs C LFE", "LFE first")[which])


def _above_120():
    from score import Accept, value
    return Accept("reads above 1 kHz", lambda sheet, clean, name, plant: isinstance(value(sheet, name), (int, float)) and value(sheet, name) > 1000)


@fault("P10", "LFE full range", "lfe_bandwidth", _above_120(), "strong")
def full_lfe(b, r):
    x = surround(b, r)
    x[:, 3] = (b.x[:, 0] + b.x[:, 1]) * gain(float(r.uniform(-26, -8)))
    return Plant(sound=b.changed(dithered(x, 24, r), bits=24))


@fault("P10 silent", "LFE silent", "silent_channels", surround_turned(), "proof")
def silent_lfe(b, r):
    x = dithered(surround(b, r), 24, r)
    x[:, 3] = 0
    return Plant(sound=b.changed(x, bits=24))


@fault("P12", "one channel copied to another", "copied_channels", surround_turned(), "proof")
def copied(b, r):
    x = dithered(surround(b, r), 24, r)
    pairs = ((4, 5), (0, 1), (2, 0), (4, 0))
    a, c = pairs[int(r.integers(0, 4))]
    x[:, a] = x[:, c]
    if r.uniform() < 0.4:
        x = dithered(x, 24, r)
        return Plant(sound=b.changed(x, bits=24), note=f"{c + 1} to {a + 1}, dithered once more")
    return Plant(sound=b.changed(x, bits=24), note=f"{c + 1} to {a + 1}")
