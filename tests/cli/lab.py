"""What the tests of the program share: the program with a scrubbed environment, sounds made by formula, a terminal.

Each *_test.py is a unittest script of its own. The program and the source folder come in SENDWORTHY_PROGRAM and
SENDWORTHY_SOURCE.
"""
import contextlib
import json
import math
import os
import pathlib
import pty
import random
import select
import shutil
import struct
import subprocess
import tempfile
import time
import unittest

PROGRAM = os.environ["SENDWORTHY_PROGRAM"]
SOURCE = pathlib.Path(os.environ["SENDWORTHY_SOURCE"])
KEPT = ("ASAN_OPTIONS", "UBSAN_OPTIONS", "TSAN_OPTIONS", "LSAN_OPTIONS")
# A sanitizer or debug build is slower; nothing here measures speed, so this only keeps a hang from lasting.
TIMEOUT_S = 120


def codes(frames, channels, bits):
    """Interleaved little-endian integer PCM of floats in -1..1; `frames` is a list of tuples."""
    top = 2 ** (bits - 1)
    out = bytearray()
    for frame in frames:
        for x in frame:
            code = max(-top, min(top - 1, int(math.floor(x * top + 0.5))))
            if bits == 8:
                out.append(code + 128)
            else:
                out += code.to_bytes(bits // 8, "little", signed=True)
    return bytes(out)


def riff(format_tag, channels, rate, bits, data, data_size=None, extra=b"", riff_size=None):
    """A WAV file with whatever its header claims."""
    block = channels * bits // 8
    fmt = struct.pack("<HHIIHH", format_tag, channels & 0xFFFF, rate, rate * block & 0xFFFFFFFF, block & 0xFFFF, bits)
    body = b"WAVE" + b"fmt " + struct.pack("<I", len(fmt)) + fmt + extra
    body += b"data" + struct.pack("<I", len(data) if data_size is None else data_size) + data
    if len(data) % 2:
        body += b"\0"
    return b"RIFF" + struct.pack("<I", len(body) if riff_size is None else riff_size) + body


def music(seconds, rate=48000, peak=0.4, seed=1, channels=2):
    """Something with a level that moves: three partials under a slow swell, a little noise, channels that differ."""
    rng = random.Random(seed)
    frames = []
    for n in range(int(seconds * rate)):
        t = n / rate
        swell = 0.55 + 0.45 * math.sin(2 * math.pi * 0.7 * t)
        tone = 0.6 * math.sin(2 * math.pi * 220 * t) + 0.25 * math.sin(2 * math.pi * 660 * t + 1)
        frame = []
        for c in range(channels):
            frame.append(peak * (swell * tone + 0.1 * math.sin(2 * math.pi * (900 + 70 * c) * t) +
                                 0.02 * rng.uniform(-1, 1)))
        frames.append(tuple(frame))
    return frames


def wav(seconds=1.0, rate=48000, bits=24, channels=2, peak=0.4, seed=1):
    return riff(1, channels, rate, bits, codes(music(seconds, rate, peak, seed, channels), channels, bits))


def float_wav(samples, channels=1, rate=48000):
    return riff(3, channels, rate, 32, struct.pack(f"<{len(samples)}f", *samples))


def long_wav(seconds, rate=48000):
    """Stereo 16-bit noise, quick to make: one second repeated."""
    rng = random.Random(7)
    second = bytes(rng.getrandbits(8) & (0x3F if i % 2 else 0xFF) for i in range(4 * rate))
    return riff(1, 2, rate, 16, second * seconds)


RULE_SET = """\
[ruleset]
name = "{name}"
title = "Peak, for tests"
purpose = "Looks at the highest sample only."
sources = ["definition"]

[[rule]]
id = "peak"
measure = "sample_peak"
{limits}
why = "It is the subject of a test."
remedy = "Turn the file down."
source = "definition"
"""


class Case(unittest.TestCase):
    """A scratch folder that is the working folder and holds home and configuration; the program in it."""

    def setUp(self):
        self.folder = pathlib.Path(tempfile.mkdtemp(prefix="sendworthy-cli-"))
        self.addCleanup(shutil.rmtree, self.folder, ignore_errors=True)
        self.home = self.folder / "home"
        self.home.mkdir()
        self.config = self.home / ".config" / "sendworthy"
        self.room = self.folder / "room"
        self.room.mkdir()

    def environment(self, **more):
        env = {"PATH": "/usr/bin:/bin", "HOME": str(self.home)}
        env.update({name: os.environ[name] for name in KEPT if name in os.environ})
        env.update(more)
        return env

    def run_program(self, *arguments, stdin=b"", env=None, **more):
        """(exit code, stdout, stderr); outputs as bytes."""
        done = subprocess.run([PROGRAM, *arguments], input=stdin, capture_output=True, cwd=self.room,
                              env=self.environment(**(env or {})), timeout=TIMEOUT_S, **more)
        return done.returncode, done.stdout, done.stderr

    def json_of(self, *arguments, code=None):
        got, out, err = self.run_program(*arguments, "--format", "json")
        if code is not None:
            self.assertEqual(got, code, err)
        return json.loads(out)

    def put(self, name, content):
        path = self.room / name if isinstance(name, str) else os.path.join(os.fsencode(self.room), name)
        pathlib.Path(os.fsdecode(path)).parent.mkdir(parents=True, exist_ok=True)
        with open(path, "wb") as file:
            file.write(content if isinstance(content, bytes) else content.encode())
        return path

    def put_rules(self, name, limits):
        """A rule set on sample_peak in the working folder; returns how to name it."""
        self.put(f"{name}.toml", RULE_SET.format(name=name, limits=limits))
        return f"./{name}.toml"

    def leftovers(self):
        """Temporary files that a clean end would have removed."""
        return [p for p in self.folder.rglob("*") if p.name.startswith(".sendworthy-") or p.name.endswith(".tmp")]

    def lines(self, text):
        return text.decode("utf-8").splitlines()


def until_it_catches(process, number):
    """Waits until a program that was just begun catches a signal: a sanitizer takes its time before the first line runs."""
    until = time.monotonic() + TIMEOUT_S
    while process.poll() is None and time.monotonic() < until:
        with contextlib.suppress(FileNotFoundError, ProcessLookupError), open(f"/proc/{process.pid}/status", encoding="ascii") as status:
            caught = next((line.split()[1] for line in status if line.startswith("SigCgt:")), "0")
            if int(caught, 16) >> (number - 1) & 1:
                return
        time.sleep(0.01)


def on_terminal(arguments, env, cwd, columns=80, stdout_too=True, send=None):
    """Runs the program with a pseudo-terminal as standard error (and output): (exit code, what was printed, stdout).

    `send`: called with the process once something has been printed."""
    leader, follower = pty.openpty()
    struct_size = struct.pack("HHHH", 24, columns, 0, 0)
    import fcntl
    import termios
    fcntl.ioctl(follower, termios.TIOCSWINSZ, struct_size)
    process = subprocess.Popen([PROGRAM, *arguments], stdin=subprocess.DEVNULL, cwd=cwd, env=env, stderr=follower,
                               stdout=follower if stdout_too else subprocess.PIPE)
    os.close(follower)
    printed, first_s, start = b"", None, time.monotonic()
    while True:
        ready, _, _ = select.select([leader], [], [], 0.1)
        if ready:
            try:
                piece = os.read(leader, 65536)
            except OSError:  # the last writer has gone
                break
            if not piece:
                break
            if first_s is None:
                first_s = time.monotonic() - start
                if send:
                    send(process)
            printed += piece
        elif process.poll() is not None and stdout_too:
            break
        if time.monotonic() - start > TIMEOUT_S:
            process.kill()
            raise AssertionError("the program hangs")
        if process.poll() is not None and not ready:
            break
    stdout = b"" if stdout_too else process.stdout.read()
    if not stdout_too:
        process.stdout.close()
    os.close(leader)
    return process.wait(), printed, stdout, first_s


def main():
    unittest.main(verbosity=1)
