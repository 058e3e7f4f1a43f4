"""A piece of sound in memory, and the WAV bytes it becomes. Everything is made from numbers and a seed."""
import struct
from dataclasses import dataclass, replace

import numpy as np

KSDATA_TAIL = bytes.fromhex("000000001000800000aa00389b71")


@dataclass
class Sound:
    """Samples as frames × channels of float64, full scale ±1. `bits` is 8, 16, 24, or 32 for float samples."""
    x: np.ndarray
    rate: int
    bits: int = 24
    loudness_lufs: float | None = None  # as measured on the clean item; for makers which write it into a header

    @property
    def frames(self):
        return len(self.x)

    @property
    def channels(self):
        return self.x.shape[1]

    @property
    def seconds(self):
        return len(self.x) / self.rate

    def changed(self, x, **other):
        return replace(self, x=x, **other)

    def copy(self):
        return self.changed(self.x.copy())


def gain(db):
    """Factor of a level change in dB."""
    return 10.0 ** (db / 20.0)


def level_dbfs(x):
    """RMS in dB of full scale; −200 for silence."""
    power = float(np.mean(np.square(x))) if x.size else 0.0
    return 10 * np.log10(power) if power > 1e-20 else -200.0


def lsb(bits):
    return 2.0 ** (1 - bits)


def dithered(x, bits, rng):
    """Triangular dither of ±1 step, then the nearest code, inside the codes' range."""
    step = lsb(bits)
    noise = rng.random(x.shape) - rng.random(x.shape)
    return np.clip(np.round(x / step + noise), -1 / step, 1 / step - 1) * step


def rounded(x, bits):
    step = lsb(bits)
    return np.clip(np.round(x / step), -1 / step, 1 / step - 1) * step


def pcm_bytes(x, bits, big_endian=False):
    """The samples as codes; values between codes go to the nearest one."""
    flat = x.reshape(-1)
    if bits == 32:
        return flat.astype(">f4" if big_endian else "<f4").tobytes()
    top = 2 ** (bits - 1)
    codes = np.clip(np.round(flat * top), -top, top - 1).astype(np.int32)
    if bits == 8:
        return (codes + 128).astype(np.uint8).tobytes()
    if bits == 16:
        return codes.astype(">i2" if big_endian else "<i2").tobytes()
    quads = codes.astype(">i4" if big_endian else "<i4").view(np.uint8).reshape(-1, 4)
    return (quads[:, 1:] if big_endian else quads[:, :3]).tobytes()


def fmt_chunk(sound, tag=None, align=None, byte_rate=None, valid_bits=None, mask=None):
    """A fmt chunk's body; with `mask` or `valid_bits` in the extensible form."""
    tag = tag if tag is not None else (3 if sound.bits == 32 else 1)
    align = align if align is not None else sound.channels * sound.bits // 8
    byte_rate = byte_rate if byte_rate is not None else sound.rate * sound.channels * sound.bits // 8
    extensible = mask is not None or valid_bits is not None
    body = struct.pack("<HHIIHH", 0xFFFE if extensible else tag, sound.channels, sound.rate, byte_rate & 0xFFFFFFFF,
                       align & 0xFFFF, sound.bits)
    if extensible:
        body += struct.pack("<HHIH", 22, valid_bits if valid_bits is not None else sound.bits, mask or 0, tag) + KSDATA_TAIL
    return body


def chunk(name, body, size=None, pad=b"\0"):
    """One chunk; `size` overrides what its header says."""
    odd = pad if len(body) % 2 else b""
    return name + struct.pack("<I", (len(body) if size is None else size) & 0xFFFFFFFF) + body + odd


def riff(chunks, magic=b"RIFF", size=None):
    body = b"WAVE" + b"".join(chunks)
    return magic + struct.pack("<I", (len(body) if size is None else size) & 0xFFFFFFFF) + body


def wav(sound, before=(), after=()):
    """A sound WAV file: format, other chunks, audio, other chunks. More than two channels get the extended header."""
    masks = {6: 0x3F, 4: 0x33, 8: 0x63F}
    fmt = fmt_chunk(sound, mask=masks.get(sound.channels)) if sound.channels > 2 else fmt_chunk(sound)
    return riff([chunk(b"fmt ", fmt), *before, chunk(b"data", pcm_bytes(sound.x, sound.bits)), *after])


def aiff(sound, compression=None):
    """AIFF, or AIFF-C with a compression such as b'sowt' (little endian) or b'fl32'."""
    exponent = int(np.floor(np.log2(sound.rate)))
    rate = struct.pack(">HQ", 16383 + exponent, int(sound.rate * 2 ** (63 - exponent)))
    common = struct.pack(">hIh", sound.channels, sound.frames, sound.bits) + rate
    if compression:
        common += compression + b"\0\0"
    body = pcm_bytes(sound.x, sound.bits, big_endian=compression != b"sowt")
    parts = b""
    if compression:
        parts += b"FVER" + struct.pack(">II", 4, 0xA2805140)
    parts += b"COMM" + struct.pack(">I", len(common)) + common
    parts += b"SSND" + struct.pack(">I", len(body) + 8) + bytes(8) + body + bytes(len(body) % 2)
    return b"FORM" + struct.pack(">I", len(parts) + 4) + (b"AIFC" if compression else b"AIFF") + parts


def bext(originator="", reference="", description="", time_reference=0, loudness_lu=None):
    """The body of a bext chunk (EBU Tech 3285); with a loudness it is version 2."""
    def text(words, length):
        return words.encode("utf-8")[:length].ljust(length, b"\0")
    body = text(description, 256) + text(originator, 32) + text(reference, 32) + b"2024-05-0112:00:00"
    body += struct.pack("<QH", time_reference, 2 if loudness_lu is not None else 1) + bytes(64)
    unset = 0x7FFF
    value = unset if loudness_lu is None else round(loudness_lu * 100)
    return body + struct.pack("<hhhhh", value, unset, unset, unset, unset) + bytes(180)


def info_list(**texts):
    """A LIST chunk of INFO texts, such as INAM and ISRC."""
    body = b"INFO"
    for name, words in texts.items():
        raw = (words if isinstance(words, bytes) else words.encode("utf-8")) + b"\0"
        body += chunk(name.encode("ascii"), raw)
    return chunk(b"LIST", body)


def band(x, rate, low_hz=0.0, high_hz=1e9):
    """Keeps low…high with edges a third of an octave wide, without shifting phase."""
    size = 1 << int(np.ceil(np.log2(len(x) + 4096)))
    spectrum = np.fft.rfft(x, size, axis=0)
    hz = np.fft.rfftfreq(size, 1 / rate)
    keep = np.ones_like(hz)
    if low_hz > 0:
        keep *= np.clip(1 + np.log2(np.maximum(hz, 1e-3) / low_hz) * 3, 0, 1)
    if high_hz < rate / 2:
        keep *= np.clip(1 - np.log2(np.maximum(hz, 1e-3) / high_hz) * 3, 0, 1)
    return np.fft.irfft(spectrum * keep[:, None], size, axis=0)[:len(x)]


def reverb(x, rate, seconds, rng, wet_db=-14.0):
    """Adds a decaying tail of noise, and makes the sound longer by it."""
    n = int(seconds * rate)
    response = rng.standard_normal((n, x.shape[1])) * np.exp(-6.9 * np.arange(n) / n)[:, None]
    response[:, :] /= np.sqrt(np.sum(response ** 2, axis=0))
    size = 1 << int(np.ceil(np.log2(len(x) + n)))
    wet = np.fft.irfft(np.fft.rfft(x, size, axis=0) * np.fft.rfft(response, size, axis=0), size, axis=0)[:len(x) + n]
    fade = np.ones(len(x) + n)
    fade[-n // 4:] = np.linspace(1, 0, n // 4 if n % 4 == 0 else len(fade[-n // 4:]))
    dry = np.vstack([x, np.zeros((n, x.shape[1]))])
    return (dry + gain(wet_db) * wet) * fade[:, None]
