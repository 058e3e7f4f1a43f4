"""Noise, where a sound comes from, and names, tags and time code."""
import subprocess

import numpy as np

from faults_container import encoded, id3, log_uniform, png, short
from faults_level import clip_down
from registry import fault
from score import Accept, Plant, contains, equals, event, rises, turned, value
from sound import band, bext, chunk, dithered, gain, info_list, level_dbfs, lsb, rounded, wav


def roomy(b, r, floor_dbfs=None):
    """The item twice, with three seconds of quiet room before, between and after."""
    floor = float(r.uniform(-82, -68)) if floor_dbfs is None else floor_dbfs
    hush = np.zeros((3 * b.rate, 2))
    x = np.vstack([hush, b.x, hush, b.x, hush])
    noise = band(r.standard_normal((len(x), 2)), b.rate, 40, 9000)
    return x * 0.9 + noise * gain(floor - level_dbfs(noise)), floor


@fault("N01", "mains hum", "mains_hum", rises(6), "strong")
def hum(b, r, strength=1.0):
    x, floor = roomy(b, r)
    mains = float(r.choice([50, 60])) + float(r.uniform(-0.1, 0.1))
    t = np.arange(len(x)) / b.rate
    over = float(r.uniform(-4, 12))
    line = sum(gain(-i * 5 + float(r.uniform(-4, 4))) * np.sin(2 * np.pi * mains * k * t + k) for i, k in enumerate((1, 2, 3, 4, 5)))
    x += (strength * line * gain(floor + over - level_dbfs(line)))[:, None]
    return Plant(sound=b.changed(dithered(x, b.bits, r)), note=f"{mains:.0f} Hz, {over:+.0f} dB to a floor of {floor:.0f} dBFS")


@fault("N02", "noise floor too high", "noise_floor", equals(1.5), "strong")
def floor(b, r):
    level = float(r.uniform(-75, -52))
    x, _ = roomy(b, r, level)
    return Plant(sound=b.changed(dithered(x, 24, r), bits=24), expect=level, note=f"{level:.0f} dBFS")


@fault("N03", "word length cut without dither", "truncated_word_length", turned(), "evidence", "lossless")
def truncated(b, r):
    quiet = float(r.uniform(0, 24))
    x = np.vstack([b.x, b.x[:b.rate]]) * gain(-quiet)
    bits = int(r.choice([16, 16, 16, 20]))
    step = lsb(bits)
    x = np.floor(x / step) * step if r.integers(0, 2) else rounded(x, bits)
    holder = 24 if bits == 20 else int(r.choice([16, 24]))
    return Plant(sound=b.changed(x, bits=holder), note=f"{bits} bits in {holder}, music {quiet:.0f} dB down")


@fault("N04", "the noise floor jumps", "noise_floor_steps", turned(), "evidence")
def floor_step(b, r):
    x, _ = roomy(b, r, -84)
    jump = float(r.uniform(8, 24))
    s = int(r.integers(int(0.8 * b.rate), int(2.2 * b.rate)))
    noise = band(r.standard_normal((len(x) - s, 2)), b.rate, 40, 9000)
    x[s:] += noise * gain(-84 + jump - level_dbfs(noise))
    return Plant(sound=b.changed(dithered(x, 24, r), bits=24), at=s / b.rate, note=f"{jump:.0f} dB up")


@fault("N05", "a whistle that stays", "steady_tones", turned(), "strong")
def whistle(b, r):
    hz = float(r.choice([8000, 12000, 15625, 15734, 16000, 17500, 19000]))
    db = float(r.uniform(-72, -52))
    x = b.x * 0.98 + (gain(db) * np.sin(2 * np.pi * hz * np.arange(b.frames) / b.rate))[:, None]
    return Plant(sound=b.changed(dithered(x, b.bits, r)), note=f"{hz:g} Hz at {db:.0f} dBFS")


@fault("N06", "mirror images of a poor conversion", "imaging", turned(), "evidence", "lossless")
def images(b, r):
    y = np.repeat(b.x, 2, axis=0)
    repeats = bool(r.integers(0, 2))
    if not repeats:
        y[1:-1:2] = (b.x[:-1] + b.x[1:]) / 2
    return Plant(sound=b.changed(dithered(y, 24, r), rate=b.rate * 2, bits=24), note="repeated" if repeats else "straight lines")


@fault("N07", "click track in the quiet parts", "click_bleed", turned(), "evidence")
def bleed(b, r):
    x, floor_dbfs = roomy(b, r)
    beat, db = 60 / float(r.uniform(76, 140)), floor_dbfs + float(r.uniform(14, 30))
    n = int(0.012 * b.rate)
    tick = np.sin(2 * np.pi * float(r.uniform(900, 2500)) * np.arange(n) / b.rate) * np.exp(-5 * np.arange(n) / n)
    for k in range(int(len(x) / b.rate / beat) - 1):
        p = int((0.2 + k * beat) * b.rate)
        x[p:p + n] += (gain(db) * tick)[:, None]
    return Plant(sound=b.changed(dithered(x, b.bits, r)), note=f"{db:.0f} dBFS, floor {floor_dbfs:.0f}")


@fault("V01", "high-resolution file made from a lower rate", "upsampled_source", turned(), "evidence", "lossless")
def upsampled(b, r):
    to, by = int(r.choice([88200, 96000, 192000])), str(r.choice(["swr", "soxr"]))
    return Plant(data=encoded(b, "pcm_s24le", "-af", f"aresample={to}:resampler={by}", fmt="wav"), note=f"{b.rate} to {to} by {by}")


LOSSY = (("libmp3lame", "mp3", "128k"), ("libmp3lame", "mp3", "192k"), ("libmp3lame", "mp3", "320k"), ("libvorbis", "ogg", "128k"),
         ("aac", "adts", "128k"), ("aac", "adts", "256k"), ("libopus", "ogg", "96k"))


@fault("V02", "made from a lossy file", "lossy_source", turned(), "evidence", "lossless")
def lossy(b, r):
    name, fmt, rate = LOSSY[int(r.integers(0, len(LOSSY)))]
    coded = encoded(b, name, "-b:a", rate, fmt=fmt)
    raw = subprocess.run(["ffmpeg", "-v", "error", "-nostdin", "-i", "-", "-f", "f32le", "-ac", "2", "-ar", str(b.rate), "-"],
                         input=coded, capture_output=True, check=True, timeout=60).stdout
    x = np.frombuffer(raw, "<f4").reshape(-1, 2).astype(np.float64)
    return Plant(sound=b.changed(dithered(np.clip(x, -1, 1), b.bits, r)), note=f"{name} {rate}")


@fault("V03", "limited before, turned down afterwards", "flat_top_runs limited_peaks", event(0.002, channel=True), "evidence")
def limited_down(b, r):
    return clip_down(b, r)


def _reads_no():
    return Accept("reads no", lambda sheet, clean, name, plant: value(sheet, name) is False)


def _at_least(least):
    return Accept(f"reads {least} or more", lambda sheet, clean, name, plant: (value(sheet, name) or 0) >= least)


@fault("G02", "the name promises another rate or depth", "name_matches_header", _reads_no(), "proof")
def name_lies(b, r):
    rate, bits = ("48k" if b.rate == 48000 else "44.1k"), b.bits
    if r.integers(0, 2):
        rate = "44.1k" if rate == "48k" else "48k"
    else:
        bits = 40 - bits
    return Plant(sound=short(b, r), name=f" Song_Mix_{rate}_{bits}bit.wav", note=f"{rate} {bits}, is {b.rate} {b.bits}")


@fault("G03", "characters which some system refuses", "name_characters", turned(), "proof")
def characters(b, r):
    bad = str(r.choice(["mix:v2.wav", "mix?.wav", "a*b.wav", "mix.wav.", "aux.wav", "so|ng.wav", "mix\\2.wav", "mix<1>.wav", "quo\"te.wav"]))
    return Plant(sound=short(b, r, 0.5), name=f" {bad}", note=bad)


@fault("G04", "a path that is too long", "path_length", _at_least(200), "proof")
def long_path(b, r):
    return Plant(sound=short(b, r, 0.5), name=" " + "long-name-" * 20 + ".wav")


@fault("G06", "words that name no version", "name_words", turned(), "evidence")
def words(b, r):
    bad = str(r.choice(["Song final", "song_FINAL2", "mix copy", "Mix (1)", "bounce", "Untitled", "song-new-new", "mix final final"]))
    return Plant(sound=short(b, r, 0.5), name=f" {bad}.wav", note=bad)


@fault("G07", "a malformed recording code", "isrc", turned(), "proof")
def recording_code(b, r):
    bad = str(r.choice(["QZABC24O0001", "QZABC240001", "1ZABC2400001", "QZ-AB-24-00001", "QZABC24000012"]))
    return Plant(data=wav(short(b, r, 0.5), after=[info_list(ISRC=bad)]), note=bad)


@fault("G08", "tags garbled", "tag_title", turned(), "strong")
def garbled(b, r):
    bad = str(r.choice(["CafÃ© au lait", "MÃ¼hlenrad", "Ð¡Ð¾Ð½", "????? ???"]))
    return Plant(data=wav(short(b, r, 0.5), after=[info_list(INAM=bad)]), note=bad)


@fault("G09", "text left over from elsewhere", "text_fields", turned(), "strong")
def left_text(b, r):
    bad = str(r.choice(["C:\\Sessions\\Old Song\\bounce.wav", "/Users/someone/Desktop/mix.wav", "studio@example.org", "\\\\server\\share\\mix"]))
    return Plant(data=wav(short(b, r, 0.5), before=[chunk(b"bext", bext("desk", description=bad))]), note=bad)


@fault("G10", "start times that disagree", "timecode_consistency", turned(), "proof")
def start_times(b, r):
    a = int(r.integers(2_000_000, 10 ** 9))
    c = a + int(r.choice([-1, 1])) * int(log_uniform(r, 1, 1e6))
    ixml = ("<?xml version=\"1.0\" encoding=\"UTF-8\"?><BWFXML><IXML_VERSION>1.5</IXML_VERSION><SPEED>"
            f"<TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_HI>{c >> 32}</TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_HI>"
            f"<TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_LO>{c & 0xFFFFFFFF}</TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_LO>"
            f"<TIMESTAMP_SAMPLE_RATE>{b.rate}</TIMESTAMP_SAMPLE_RATE></SPEED></BWFXML>").encode("ascii")
    before = [chunk(b"bext", bext("desk", time_reference=a)), chunk(b"iXML", ixml)]
    return Plant(data=wav(short(b, r, 0.5), before=before), note=f"{c - a:+d} samples")


@fault("G13", "cover picture not square or too small", "cover_art", contains(), "strong")
def cover(b, r):
    width, height = int(r.integers(100, 3000)), int(r.integers(100, 3000))
    return Plant(data=wav(short(b, r, 0.5), after=[chunk(b"id3 ", id3(png(width, height, r)))]), expect=str(width), note=f"{width} × {height}")
