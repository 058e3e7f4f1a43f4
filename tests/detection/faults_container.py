"""Container and format faults, made by writing the bytes."""
import struct
import subprocess

import numpy as np

from registry import fault
from score import Plant, contains, equals, judged, turned
from sound import aiff, bext, chunk, fmt_chunk, pcm_bytes, riff, rounded, wav


def short(b, r, seconds=2.0):
    """A stretch of the item: container faults do not depend on length."""
    n = min(b.frames, int(b.rate * seconds) + int(r.integers(0, 2)))
    start = int(r.integers(0, b.frames - n + 1))
    return b.changed(b.x[start:start + n])


def encoded(b, codec, *options, fmt):
    """The item through an encoder of FFmpeg."""
    done = subprocess.run(["ffmpeg", "-v", "error", "-nostdin", "-f", "wav", "-i", "-", *options, "-c:a", codec, "-fflags",
                           "+bitexact", "-f", fmt, "-"], input=wav(b), capture_output=True, check=True, timeout=60)
    return done.stdout


def through_tool(b, *command):
    return subprocess.run(command, input=wav(b), capture_output=True, check=True, timeout=60).stdout


def flac(b):
    return through_tool(b, "flac", "-s", "--totally-silent", "-c", "-5", "-")


def data_of(b):
    return pcm_bytes(b.x, b.bits)


def log_uniform(r, low, high):
    return float(np.exp(r.uniform(np.log(low), np.log(high))))


def _false():
    from score import Accept, value
    return Accept("reads no", lambda sheet, clean, name, plant: value(sheet, name) is False)


@fault("C01", "ending does not fit the bytes", "extension_matches", _false(), "proof")
def wrong_ending(b, r):
    b = short(b, r, 1)
    kind = int(r.integers(0, 5))
    if kind == 0:
        return Plant(data=flac(b), note="FLAC named .wav")
    if kind == 1:
        return Plant(data=aiff(b), note="AIFF named .wav")
    if kind == 2:
        return Plant(data=encoded(b, "libmp3lame", fmt="mp3"), note="MP3 named .wav")
    if kind == 3:
        return Plant(data=encoded(b, "libvorbis", fmt="ogg"), note="Ogg named .wav")
    return Plant(data=wav(b), name=str(r.choice([".aif", ".flac", ".mp3", ".ogg"])), note="WAV under another ending")


@fault("C02", "audio chunk claims more than there is", "header_consistency", turned(), "proof")
def cut_upload(b, r):
    b = short(b, r)
    size = b.channels * b.bits // 8
    lost = size * int(log_uniform(r, 1, b.frames / 2))
    return Plant(data=wav(b)[:-lost], note=f"{lost // size} frames lost")


@fault("C03", "audio chunk hides part of the sound", "header_consistency trailing_bytes", turned(), "proof")
def hidden(b, r):
    b = short(b, r)
    size = b.channels * b.bits // 8
    body = data_of(b)
    cut = size * int(log_uniform(r, 8, b.frames / 2))
    whole = bool(r.integers(0, 2))
    parts = [chunk(b"fmt ", fmt_chunk(b)), chunk(b"data", body, size=len(body) - cut)]
    data = riff(parts) if whole else riff(parts, size=len(riff(parts)) - 8 - cut)
    return Plant(data=data, note=f"{cut // size} frames hidden")


@fault("C04", "size never filled in", "header_slips header_consistency", turned(), "proof")
def streamed(b, r):
    b = short(b, r)
    size = int(r.choice([0, 0xFFFFFFFF]))
    outer = int(r.choice([0, 0xFFFFFFFF]))
    return Plant(data=riff([chunk(b"fmt ", fmt_chunk(b)), chunk(b"data", data_of(b), size=size)], size=outer), note=f"{size:X}h")


@fault("C05", "outer size off", "header_slips header_consistency", turned(), "proof")
def outer_size(b, r):
    data = wav(short(b, r))
    off = int(r.choice([-16, -12, -8, -4, -2, 2, 4, 8, 12, 16]))
    return Plant(data=data[:4] + struct.pack("<I", len(data) - 8 + off) + data[8:], note=f"off by {off}")


@fault("C07", "64-bit sizes absent, late or wrong", "header_consistency", turned(), "proof", "refusal")
def rf64(b, r):
    b = short(b, r)
    body = data_of(b)
    kind = int(r.integers(0, 3))
    wrong = int(log_uniform(r, 2, len(body) / 2)) // 12 * 12 or 12
    data_size = len(body) + (wrong if kind == 2 else 0)
    sizes = chunk(b"ds64", struct.pack("<QQQI", 0, data_size, b.frames, 0))
    fmt, data = chunk(b"fmt ", fmt_chunk(b)), chunk(b"data", body, size=0xFFFFFFFF)
    order = ([fmt, data], [fmt, sizes, data], [sizes, fmt, data])[kind]
    out = bytearray(riff(order, magic=b"RF64", size=0xFFFFFFFF))
    if kind:
        place = out.index(b"ds64") + 8
        out[place:place + 8] = struct.pack("<Q", len(out) - 8)
    return Plant(data=bytes(out), note=("absent", "late", f"data size {wrong} too large")[kind])


@fault("C08", "pad byte missing or not zero", "header_consistency", turned(), "proof")
def pad(b, r):
    b = short(b, r)
    text = b"INFO" + b"ISFT" + struct.pack("<I", 2) + b"a\0"
    bad = b"" if r.integers(0, 2) else bytes([int(r.integers(1, 256))])
    odd = chunk(b"note", text[:int(r.choice([3, 5, 7, 9]))], pad=bad)
    return Plant(data=riff([chunk(b"fmt ", fmt_chunk(b)), odd, chunk(b"data", data_of(b))]), note="missing" if not bad else "not zero")


@fault("C09", "format or audio chunk twice, or in the wrong order", "header_consistency", turned(), "proof", "refusal")
def twice(b, r):
    b = short(b, r)
    fmt, data = chunk(b"fmt ", fmt_chunk(b)), chunk(b"data", data_of(b))
    few = chunk(b"data", data_of(b.changed(b.x[:int(r.integers(1, 500))])))
    kind = int(r.integers(0, 3))
    return Plant(data=riff(([fmt, fmt, data], [fmt, data, few], [data, fmt])[kind]), note=("fmt twice", "data twice", "data first")[kind])


@fault("C10", "block size or byte rate does not follow", "header_consistency", turned(), "proof", "refusal")
def block_size(b, r):
    b = short(b, r)
    align = b.channels * b.bits // 8
    if r.integers(0, 2):
        rate = b.rate * align + int(r.choice([-b.rate, -1, 1, b.rate]))
        return Plant(data=riff([chunk(b"fmt ", fmt_chunk(b, byte_rate=rate)), chunk(b"data", data_of(b))]), note="byte rate")
    return Plant(data=riff([chunk(b"fmt ", fmt_chunk(b, align=align + int(r.choice([-1, 1, 2])))), chunk(b"data", data_of(b))]), note="block size")


@fault("C12", "valid bits against the bits in use", "header_consistency effective_bit_depth", turned(), "proof", "refusal")
def valid_bits(b, r):
    b = short(b, r)
    valid = int(r.choice([0, b.bits + 1, b.bits + 8, 64]))
    return Plant(data=riff([chunk(b"fmt ", fmt_chunk(b, valid_bits=valid, mask=3)), chunk(b"data", data_of(b))]),
                 note=f"{valid} valid bits in {b.bits}")


@fault("C13", "speaker mask of another channel count", "header_consistency", turned(), "proof")
def mask(b, r):
    b = short(b, r)
    bad = int(r.choice([0x4, 0x7, 0x3F, 0x33, 0x1, 0x60F]))
    return Plant(data=riff([chunk(b"fmt ", fmt_chunk(b, mask=bad)), chunk(b"data", data_of(b))]), note=f"mask {bad:X}h on 2")


@fault("C14", "bytes after the end", "trailing_bytes", turned(), "proof")
def after_end(b, r):
    count = int(log_uniform(r, 1, 4096))
    return Plant(data=wav(short(b, r)) + r.bytes(count), note=f"{count} bytes")


@fault("C15", "bext chunk behind the audio", "chunks", contains(), "proof")
def late_bext(b, r):
    return Plant(data=wav(short(b, r), after=[chunk(b"bext", bext("desk"))]), expect="data, bext")


@fault("C16", "compressed codec in a WAV", "encoding", judged(), "proof")
def codec(b, r):
    name = str(r.choice(["adpcm_ms", "adpcm_ima_wav", "pcm_mulaw", "pcm_alaw"]))
    return Plant(data=encoded(short(b, r), name, fmt="wav"), note=name)


@fault("C17", "no frame or a handful", "duration frames", judged(), "proof", "refusal")
def handful(b, r):
    n = int(r.integers(0, 300))
    return Plant(sound=b.changed(b.x[:n]), note=f"{n} frames")


@fault("C18", "the codec's own proof fails", "stream_integrity stream_unproven", turned(), "proof", "refusal")
def broken_stream(b, r):
    b = short(b, r)
    kind = int(r.integers(0, 4))
    if kind == 3:
        data = encoded(b, "libvorbis", fmt="ogg")
        last = data.rindex(b"OggS")
        return Plant(data=data[:last], name=".ogg", note="Ogg without its last page")
    data = bytearray(flac(b))
    if kind == 0:
        data[26:42] = bytes(16)
        return Plant(data=bytes(data), name=".flac", note="MD5 empty")
    if kind == 1:
        data[26 + int(r.integers(0, 16))] ^= 1 << int(r.integers(0, 8))
        return Plant(data=bytes(data), name=".flac", note="one bit of the MD5")
    place = int(len(data) * r.uniform(0.5, 0.95))
    data[place] ^= 1 << int(r.integers(0, 8))
    return Plant(data=bytes(data), name=".flac", note="one bit of the audio")


@fault("C19", "not-a-number or infinity", "non_finite_samples", equals(), "proof")
def not_finite(b, r):
    x = np.array(b.x, dtype=np.float32, order="C")
    n = int(r.choice([1, 1, 1, 2, 7]))
    for place in r.choice(x.size, n, replace=False):
        x.reshape(-1)[place] = r.choice([np.nan, np.inf, -np.inf])
    return Plant(sound=b.changed(x, bits=32), expect=n, note=f"{n} samples")


@fault("C20", "float samples on an impossible scale", "implausible_scale", turned(), "strong")
def scale(b, r):
    factor = float(r.choice([2.0 ** 15, 2.0 ** 23, 2.0 ** 31, 2.0 ** -149 * 1000]))
    return Plant(sound=b.changed(b.x * factor, bits=32), note=f"times {factor:.3g}")


@fault("C21", "swapped bytes or unsigned samples", "byte_order_suspect", turned(), "evidence")
def swapped(b, r):
    if b.bits < 32 and r.uniform() < 0.3:
        raw = np.frombuffer(pcm_bytes(b.x, b.bits), np.uint8).copy()
        raw[b.bits // 8 - 1::b.bits // 8] ^= 0x80
        return Plant(data=riff([chunk(b"fmt ", fmt_chunk(b)), chunk(b"data", raw.tobytes())]), note=f"{b.bits} bits, unsigned")
    raw = pcm_bytes(b.x, b.bits, big_endian=True)
    return Plant(data=riff([chunk(b"fmt ", fmt_chunk(b)), chunk(b"data", raw)]), note=f"{b.bits} bits")


@fault("C22", "unusual member of a file family", "container encoding", contains(), "proof")
def unusual(b, r):
    b = short(b, r)
    kind = int(r.integers(0, 2))
    if kind:
        return Plant(data=aiff(b, b"sowt") if b.bits == 16 else aiff(b, b"NONE"), name=".aifc", expect="AIFF-C")
    body = b"WAVE" + b"fmt " + struct.pack(">IHHIIHH", 16, 1, b.channels, b.rate, b.rate * b.channels * b.bits // 8,
                                            b.channels * b.bits // 8, b.bits)
    raw = pcm_bytes(b.x, b.bits, big_endian=True)
    body += b"data" + struct.pack(">I", len(raw)) + raw + bytes(len(raw) % 2)
    return Plant(data=b"RIFX" + struct.pack(">I", len(body)) + body, expect="RIFX")


def png(width, height, r, colour=2):
    """A picture's header and noise behind it: nothing here decodes it."""
    head = b"\x89PNG\r\n\x1a\n" + struct.pack(">I", 13) + b"IHDR" + struct.pack(">IIBBBBB", width, height, 8, colour, 0, 0, 0)
    import zlib
    crc = struct.pack(">I", zlib.crc32(head[12:]))
    return head + crc + struct.pack(">I", 0) + b"IEND" + struct.pack(">I", zlib.crc32(b"IEND")) + r.bytes(int(r.integers(20, 4000)))


def id3(picture):
    body = b"\x00image/png\x00\x03\x00" + picture
    frame = b"APIC" + struct.pack(">I", len(body)) + b"\0\0" + body
    n = len(frame)
    return b"ID3\x03\x00\x00" + bytes([(n >> 21) & 127, (n >> 14) & 127, (n >> 7) & 127, n & 127]) + frame


@fault("C23", "picture inside a WAV", "embedded_artwork_bytes", equals(), "proof")
def picture(b, r):
    image = png(int(r.integers(10, 3000)), 500, r)
    return Plant(data=wav(short(b, r), after=[chunk(b"id3 ", id3(image))]), expect=len(image), note=f"{len(image)} bytes")


@fault("M01", "another sample rate", "sample_rate", equals(), "proof")
def other_rate(b, r):
    rate = int(r.choice([8000, 22050, 32000, 44099, 44101, 47999, 48001, 88200, 96000, 176400, 192000]))
    return Plant(sound=short(b, r).changed(short(b, r).x, rate=rate), expect=rate)


@fault("M04", "another bit depth", "bit_depth", equals(), "proof")
def other_depth(b, r):
    bits = int(r.choice([n for n in (8, 16, 24, 32) if n != b.bits]))
    return Plant(sound=short(b, r).changed(rounded(short(b, r).x, bits) if bits < 32 else b.x, bits=bits), expect=bits)


@fault("M05", "another channel count", "channels", equals(), "proof")
def other_channels(b, r):
    n = int(r.choice([1, 1, 1, 3, 4, 5, 6, 8]))
    x = short(b, r).x
    return Plant(sound=b.changed(np.hstack([x] * 4)[:, :n]), expect=n)


@fault("M06", "the same sound on both sides", "dual_mono", turned(), "proof")
def double_mono(b, r):
    x = b.x.copy()
    x[:, 1] = x[:, 0]
    if r.integers(0, 2):
        x[:, 1] = rounded(x[:, 0] + 10 ** (-r.uniform(63, 80) / 20) * x[:, 0] * r.choice([-1, 1]), b.bits)
        return Plant(sound=b.changed(x), note="not to the bit")
    return Plant(sound=b.changed(x), note="to the bit")


@fault("M08", "another length", "frames", equals(), "proof")
def other_length(b, r):
    n = int(r.integers(b.frames // 2, b.frames))
    return Plant(sound=b.changed(b.x[:n]), expect=n)


@fault("M10", "another codec setting", "bit_rate", equals(2), "proof")
def other_bit_rate(b, r):
    rate = int(r.choice([96, 128, 160, 192, 224, 256, 320]))
    return Plant(data=encoded(b, "libmp3lame", "-b:a", f"{rate}k", fmt="mp3"), name=".mp3", expect=rate, note=f"{rate} kb/s")
