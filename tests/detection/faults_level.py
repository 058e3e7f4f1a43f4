"""Level and bit-truth faults, and those of the edges."""
import numpy as np

from faults_container import log_uniform
from registry import fault
from score import Plant, equals, event, judged, rises, shifts, turned
from sound import band, bext, chunk, dithered, gain, level_dbfs, lsb, rounded, wav


def runs_of_equal(x, value, least=3):
    """First frames of runs of at least `least` samples equal to `value` in one channel."""
    same = np.concatenate([[0], (x == value).astype(np.int8), [0]])
    edges = np.diff(same)
    start, end = np.flatnonzero(edges == 1), np.flatnonzero(edges == -1)
    return [(s, e) for s, e in zip(start, end) if e - s >= least]


def clipped(b, r):
    """The item turned up until a few tops are cut, and the first such run."""
    channel = int(r.integers(0, 2))
    x = b.x / np.max(np.abs(b.x[:, channel]))
    top = 1 - lsb(b.bits)
    for step in range(1, 80):
        y = rounded(np.clip(x * gain(0.15 * step), -1.0, top), b.bits)
        runs = [(s, e, value) for value in (top, -1.0) for s, e in runs_of_equal(y[:, channel], value)]
        if runs:
            break
    return y, channel, min(runs)


@fault("L01", "24 bits that hold fewer and zeros", "effective_bit_depth", equals(anew=True), "proof")
def padded(b, r):
    bits = int(r.choice([12, 16, 16, 18, 20, 22, 23]))
    return Plant(sound=b.changed(dithered(b.x, bits, r), bits=24), expect=bits, note=f"{bits} in 24")


@fault("L02", "16 bits turned up or down on the way to 24", "gain_changed_word_length", turned(), "evidence", "lossless")
def turned_down(b, r):
    db = float(r.choice([-0.3, -1, -2.5, -6, -12, 1.5])) * r.uniform(0.8, 1.2)
    x = dithered(b.x, 16, r) * gain(db)
    return Plant(sound=b.changed(rounded(x, 24), bits=24), note=f"{db:.2f} dB")


@fault("L03", "float file of integer codes", "integer_valued_float", turned(), "proof")
def integers(b, r):
    bits = int(r.choice([16, 24]))
    return Plant(sound=b.changed(dithered(b.x * 0.9, bits, r), bits=32), note=f"{bits}-bit codes")


@fault("L04", "a bit gets stuck on the way", "stuck_bits", turned(), "strong")
def stuck_bit(b, r):
    start = int(b.frames * r.uniform(0.25, 0.8))
    count = int(r.choice([1, 1, 2, 4]))
    codes = np.round(b.x / lsb(b.bits)).astype(np.int64)
    if r.uniform() < 0.4:
        bit, one = int(r.integers(1, 8)), bool(r.integers(0, 2))
        codes[start:] = codes[start:] | (1 << bit) if one else codes[start:] & ~(1 << bit)
        return Plant(sound=b.changed(codes * lsb(b.bits)), at=start / b.rate,
                     note=f"bit {bit} at {int(one)} from {start / b.rate:.1f} s")
    codes[start:] &= ~((1 << count) - 1)
    return Plant(sound=b.changed(codes * lsb(b.bits)), at=start / b.rate, note=f"{count} lowest bits from {start / b.rate:.1f} s")


@fault("L05", "clipped at full scale", "clipped_runs", event(0.002, channel=True), "strong")
def clip(b, r):
    y, channel, (s, e, _) = clipped(b, r)
    return Plant(sound=b.changed(y), at=s / b.rate, until=e / b.rate, channel=channel + 1, note=f"first run {e - s} samples")


@fault("L06", "clipped first, turned down later", "flat_top_runs", event(0.002, channel=True), "strong")
def clip_down(b, r):
    y, channel, (s, e, _) = clipped(b, r)
    db = -log_uniform(r, 0.1, 9)
    return Plant(sound=b.changed(rounded(y * gain(db), b.bits)), at=s / b.rate, until=e / b.rate, channel=channel + 1,
                 note=f"first run {e - s} samples, {db:.1f} dB")


@fault("L07", "float samples above full scale", "over_full_scale_samples", equals(), "proof")
def over(b, r):
    x = np.array(b.x * 0.9 / np.max(np.abs(b.x)), dtype=np.float32, order="C")
    n = int(r.choice([1, 1, 2, 9]))
    for place in r.choice(x.size, n, replace=False):
        x.reshape(-1)[place] = r.choice([-1, 1]) * (1 + log_uniform(r, 1e-6, 1.0))
    return Plant(sound=b.changed(x, bits=32), expect=int(np.sum(np.abs(x) > 1)), note=f"{n} samples")


def true_peak_dbtp(x):
    """By an 8-fold transform of the whole: independent of any filter the program uses."""
    size = 1 << int(np.ceil(np.log2(len(x))))
    return max(20 * np.log10(np.max(np.abs(np.fft.irfft(np.fft.rfft(x[:, c], size), size * 8))) * 8) for c in range(x.shape[1]))


@fault("L08", "true peak above the limit", "true_peak", equals(0.2), "strong")
def true_peak(b, r):
    loudest = int(np.argmax(np.max(np.abs(b.x), axis=1)))
    start = max(0, min(b.frames - 65536, loudest - 32768))
    part = b.x[start:start + 65536].copy()
    n = 512
    part[:n] *= np.linspace(0, 1, n)[:, None]
    part[-n:] *= np.linspace(1, 0, n)[:, None]
    want = -1 + log_uniform(r, 0.05, 0.9)
    part *= gain(want - true_peak_dbtp(part))
    return Plant(sound=b.changed(rounded(part, 24), bits=24), expect=want, note=f"{want:.2f} dBTP")


@fault("L10", "sample peak outside its limit", "sample_peak", equals(0.02), "proof")
def sample_peak(b, r):
    want = float(r.uniform(-9, -0.01))
    return Plant(sound=b.changed(rounded(b.x * gain(want) / np.max(np.abs(b.x)), 24), bits=24), expect=want)


@fault("L11", "integrated loudness off", "integrated_loudness", shifts(0.1), "strong")
def loudness(b, r):
    db = -float(r.uniform(0.3, 8))
    return Plant(sound=b.changed(rounded(b.x * gain(db), 24), bits=24), expect=db)


@fault("L12", "momentary or short-term loudness too high", "max_momentary_loudness max_short_term_loudness", shifts(0.15), "strong")
def momentary(b, r):
    db = float(r.uniform(0.5, 1.9))
    return Plant(sound=b.changed(rounded(b.x * gain(db), 24), bits=24), expect=db)


@fault("L13", "loudness range outside its limit", "loudness_range", rises(3), "strong")
def loudness_range(b, r):
    half = b.frames // 2
    low = b.x * gain(-float(r.uniform(11, 16)))
    return Plant(sound=b.changed(rounded(np.vstack([b.x, low[:half], low[half:]]), 24), bits=24))


@fault("L14", "limited so hard that nothing is left to do", "limited_peaks peak_to_loudness_ratio peak_to_short_term_ratio", judged(), "evidence")
def limited(b, r):
    db = float(r.uniform(8, 16))
    x = b.x / np.max(np.abs(b.x)) * gain(db)
    peak = np.max(np.abs(x), axis=1)
    reach = 96
    padded_peak = np.concatenate([np.full(reach, peak[0]), peak, np.full(reach, peak[-1])])
    highest = np.max(np.lib.stride_tricks.sliding_window_view(padded_peak, 2 * reach + 1), axis=1)
    need = np.minimum(1.0, 0.9 / np.maximum(highest, 1e-9))
    need = np.convolve(np.pad(need, reach // 2, mode="edge"), np.ones(reach + 1) / (reach + 1), "valid")[:len(x)]
    y = np.clip(x * need[:, None], -0.9, 0.9)
    return Plant(sound=b.changed(dithered(y, b.bits, r)), note=f"{db:.1f} dB into a limiter")


@fault("L16", "constant offset", "dc_offset", judged(), "strong")
def offset(b, r):
    amount = log_uniform(r, 0.0012, 0.01) * r.choice([-1, 1])
    x = b.x * 0.95
    x[:, int(r.integers(0, 2))] += amount
    return Plant(sound=b.changed(dithered(x, b.bits, r)), note=f"{amount * 100:.2f} %")


@fault("L17", "rumble below 20 Hz", "subsonic_level", rises(6), "strong")
def rumble(b, r):
    noise = band(r.standard_normal((b.frames, 1)), b.rate, 4, 14)
    own = level_dbfs(b.x) - level_dbfs(band(b.x, b.rate, 2, 20))
    under = min(float(r.uniform(12, 26)), own - 9)  # what lies below 20 Hz already would cover it
    noise *= gain(level_dbfs(b.x) - under - level_dbfs(noise))
    return Plant(sound=b.changed(dithered(b.x * 0.9 + noise, b.bits, r)), note=f"{under:.0f} dB under the music, its own {own:.0f}")


@fault("L18", "one side louder", "channel_balance", shifts(0.2), "strong")
def balance(b, r):
    db = float(r.uniform(1.5, 4)) * r.choice([-1, 1])
    x = b.x.copy()
    x[:, 1 if db > 0 else 0] *= gain(-abs(db))
    return Plant(sound=b.changed(rounded(x, 24), bits=24), expect=db, note=f"{db:.1f} dB")


@fault("L20", "line-up tone left in", "lineup_tone", turned(), "strong")
def tone(b, r):
    seconds, hz = float(r.uniform(2.2, 10)), float(r.choice([400, 440, 1000, 1000, 1000, 10000]))
    db = float(r.choice([-24, -20, -18, -14, -12]))
    t = np.arange(int(seconds * b.rate)) / b.rate
    sine = np.repeat((gain(db) * np.sin(2 * np.pi * hz * t))[:, None], 2, axis=1)
    gap = np.zeros((int(b.rate * r.uniform(0.0, 2)), 2))
    x = np.vstack([sine, gap, b.x]) if r.integers(0, 4) else np.vstack([b.x, gap, sine])
    return Plant(sound=b.changed(dithered(x, b.bits, r)), note=f"{hz:g} Hz, {seconds:.1f} s, {db:g} dBFS")


@fault("L21", "declared loudness is not the measured one", "declared_loudness_error", equals(0.15), "proof")
def declared(b, r):
    error = float(r.choice([-1, 1])) * log_uniform(r, 0.6, 6)
    says = round((b.loudness_lufs if b.loudness_lufs is not None else -23) + error, 2)
    return Plant(data=wav(b, before=[chunk(b"bext", bext("desk", loudness_lu=says))]), expect=error, note=f"{error:+.2f} LU")


def envelope_db(b, window_s=0.02):
    """Level of 20 ms windows, both channels together."""
    n = int(b.rate * window_s)
    count = b.frames // n
    power = np.mean(np.square(b.x[:count * n]).reshape(count, -1), axis=1)
    return 10 * np.log10(np.maximum(power, 1e-16)), n


def first_attack(b):
    """Frame at which the first sound within 30 dB of the loudest begins."""
    level = np.max(np.abs(b.x), axis=1)
    return int(np.flatnonzero(level > np.max(level) * gain(-30))[0])


@fault("E01", "the start cuts into the first sound", "cut_start", turned(), "strong")
def upcut(b, r):
    into = first_attack(b) + int(b.rate * log_uniform(r, 0.003, 0.08))
    return Plant(sound=b.changed(b.x[into:]), at=0.0, note=f"first sample {20 * np.log10(np.max(np.abs(b.x[into])) + 1e-9):.0f} dBFS, "
                 f"first 20 ms {level_dbfs(b.x[into:into + b.rate // 50]):.0f} dBFS")


def _click_shape(r, rate):
    """A step which falls back over a few milliseconds, as when a sound is switched on."""
    return np.exp(-np.arange(int(rate * 0.02)) / (rate * log_uniform(r, 0.001, 0.004)))


@fault("E02", "a click on the first sample", "start_step", judged(), "strong")
def start_click(b, r):
    x = b.x.copy()
    db = float(r.uniform(-45, -20))
    shape = _click_shape(r, b.rate)
    channel = int(r.integers(0, 2))
    x[:len(shape), channel] += gain(db) * shape * r.choice([-1, 1])
    return Plant(sound=b.changed(rounded(x, b.bits)), at=0.0, channel=channel + 1, note=f"{db:.0f} dBFS")


@fault("E02 end", "a click on the last sample", "end_step", judged(), "strong")
def end_click(b, r):
    x = b.x.copy()
    db = float(r.uniform(-45, -20))
    shape = _click_shape(r, b.rate)[::-1]
    channel = int(r.integers(0, 2))
    x[-len(shape):, channel] += gain(db) * shape * r.choice([-1, 1])
    return Plant(sound=b.changed(rounded(x, b.bits)), at=b.seconds, channel=channel + 1, note=f"{db:.0f} dBFS")


def ring(b, under_db):
    """The last frame at which the ending still rings at this level under its loudest 20 ms."""
    level, n = envelope_db(b)
    return int(np.flatnonzero(level > np.max(level) - under_db)[-1] + 1) * n


@fault("E03", "the last sound is cut off while it rings", "cut_tail", turned(), "strong")
def cut_off(b, r):
    under = float(r.uniform(12, 45))
    x = b.x[:ring(b, under)].copy()
    n = int(b.rate * 0.004)
    if r.integers(0, 2):
        x[-n:] *= np.linspace(1, 0, n)[:, None]
    return Plant(sound=b.changed(rounded(x, b.bits)), at=len(x) / b.rate, note=f"{under:.0f} dB under the loudest")


@fault("E04", "the tail drops to digital silence", "tail_drop", turned(), "strong")
def drop(b, r):
    level, n = envelope_db(b)
    db = float(r.uniform(-72, -42))
    end = int(np.flatnonzero(level > db)[-1] + 1) * n
    x = np.vstack([b.x[:end], np.zeros((int(b.rate * r.uniform(0.3, 2)), 2))])
    return Plant(sound=b.changed(x), at=end / b.rate, note=f"from {db:.0f} dBFS")


@fault("E05", "too much silence before or after", "leading_silence trailing_silence", shifts(0.02), "strong")
def silence(b, r):
    seconds = float(r.uniform(0.3, 4))
    n = int(seconds * b.rate)
    quiet = dithered(gain(float(r.uniform(-96, -74))) * r.standard_normal((n, 2)), b.bits, r) if r.integers(0, 2) else np.zeros((n, 2))
    x = np.vstack([quiet, b.x]) if r.integers(0, 2) else np.vstack([b.x, quiet])
    return Plant(sound=b.changed(x), expect=n / b.rate, note=f"{seconds:.1f} s")


def _long_enough():
    from score import Accept, value

    def test(sheet, clean, name, plant):
        v, old = value(sheet, name), value(clean, name)
        return isinstance(v, (int, float)) and 0.5 * plant.expect <= v <= 1.5 * plant.expect and not (old and old >= 0.5 * plant.expect)
    return Accept("reads the fade's length to a factor of 0.5 to 1.5", test)


@fault("E07", "a fade at the end", "fade_out", _long_enough(), "evidence")
def fade_out(b, r):
    end = ring(b, 10)
    seconds = float(r.uniform(1.0, 4.0))
    n = int(seconds * b.rate)
    x = np.vstack([b.x[:end]] * 2)
    x[-n:] *= np.linspace(1, float(r.choice([0, 0, 0.03, 0.1])), n)[:, None] ** float(r.choice([1, 2]))
    return Plant(sound=b.changed(dithered(x, b.bits, r)), expect=seconds, note=f"{seconds:.1f} s")


@fault("E07 in", "a fade at the start", "fade_in", _long_enough(), "evidence")
def fade_in(b, r):
    start, end = first_attack(b), ring(b, 10)
    seconds = float(r.uniform(1.0, 4.0))
    n = int(seconds * b.rate)
    x = np.vstack([b.x[start:end], b.x])
    x[:n] *= np.linspace(0, 1, n)[:, None] ** float(r.choice([1, 2]))
    return Plant(sound=b.changed(dithered(x, b.bits, r)), expect=seconds, note=f"{seconds:.1f} s")


@fault("E08", "count-in, breath or talk in front", "isolated_head_events", turned(), "evidence")
def count_in(b, r):
    sounds = int(r.choice([1, 2, 4]))
    db = float(r.uniform(-38, -14))
    distance = float(r.uniform(0.4, 0.8))
    head = np.zeros((int(b.rate * (distance * sounds + r.uniform(0.6, 2))), 2))
    n = int(b.rate * float(r.choice([0.03, 0.15, 0.25])))
    for i in range(sounds):
        burst = band(r.standard_normal((n, 1)), b.rate, 800, 6000) * np.exp(-4 * np.arange(n) / n)[:, None]
        place = int(b.rate * (0.15 + distance * i))
        head[place:place + n] += burst * gain(db) / np.max(np.abs(burst))
    head = dithered(head + gain(-82) * r.standard_normal(head.shape), b.bits, r)
    on_beat = sounds == 4 and r.uniform() < 0.5
    if on_beat:
        head = head[:int(b.rate * (0.15 + distance * sounds))]
    return Plant(sound=b.changed(np.vstack([head, b.x[max(0, first_attack(b) - b.rate // 50):]])), at=0.15,
                 note=f"{sounds} at {db:.0f} dBFS, {n / b.rate:.2f} s long" + (", the song on the next beat" if on_beat else ""))


@fault("E09", "something left over after a long silence", "audio_after_silence", turned(), "strong")
def left_over(b, r):
    gap = float(r.uniform(6, 30))
    db = float(r.uniform(-50, -15))
    n = int(b.rate * r.uniform(0.3, 2))
    start = int(r.integers(0, b.frames - n))
    rest = b.x[start:start + n].copy()
    if level_dbfs(rest) < -60:
        rest = b.x[b.frames // 3:b.frames // 3 + n].copy()
    rest *= gain(db) / np.max(np.abs(rest)) * np.hanning(n)[:, None]
    hush = np.zeros((int(gap * b.rate), 2))
    if r.integers(0, 2):
        hush = dithered(gain(-88) * r.standard_normal(hush.shape), b.bits, r)
    x = np.vstack([b.x, hush, rounded(rest, b.bits)])
    return Plant(sound=b.changed(x), at=b.seconds + gap, note=f"{db:.0f} dBFS after {gap:.0f} s")


@fault("E10", "a tail that fades in coarse steps", "truncated_word_length", turned(), "evidence", "lossless")
def coarse_tail(b, r):
    x = np.vstack([b.x] * 2)
    n = int(b.rate * r.uniform(4, 8))
    x = x[:2 * b.frames - (b.frames - ring(b, 15))]
    x[-n:] *= (10 ** (np.linspace(0, -90, n) / 20))[:, None]
    return Plant(sound=b.changed(rounded(x, 16), bits=int(r.choice([16, 24]))), note="16 bits without dither")


@fault("E11", "a click where a loop meets its start", "loop_seam_step", turned(), "strong")
def seam(b, r):
    """A step twice as large as any that the wave itself makes beside the seam: in bright sound a smaller one is no click."""
    level = np.max(np.abs(b.x), axis=1)
    a, e = first_attack(b), ring(b, 15)
    step = float(gain(r.uniform(-30, -12))) * np.max(level)
    near, best = int(0.002 * b.rate), (-1.0, a, e - 1)
    for _ in range(400):
        s, t = sorted(r.integers(a, e, 2))
        if t - s <= b.rate:
            continue
        own = max(np.max(np.abs(np.diff(x))) for x in (b.x[s:s + near, 0], b.x[t + 1 - near:t + 1, 0]))
        here = abs(b.x[s, 0] - b.x[t, 0])
        best = max(best, (min(here / step, here / (2 * own + 1e-9)), s, t))
        if best[0] > 1:
            break
    _, s, t = best
    return Plant(sound=b.changed(b.x[s:t + 1]), name="-loop.wav", note=f"step {20 * np.log10(abs(b.x[s, 0] - b.x[t, 0]) + 1e-9):.0f} dBFS")
