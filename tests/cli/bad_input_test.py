"""Inputs nobody wants: each gets a clear message with its name, the others are still checked, nothing hangs or grows."""
import json
import os
import resource
import socket
import struct
import subprocess
import threading

import lab


class BadInput(lab.Case):
    def setUp(self):
        super().setUp()
        self.good = lab.wav(0.5, rate=8000)
        self.put("good.wav", self.good)
        self.rules = self.put_rules("loud", "fail_above = -1.0")

    def check(self, *paths, memory_mib=None):
        """(exit code, {path: file}, stderr) of these and a good file beside them."""
        def limit():
            if memory_mib and not any(name in os.environ for name in lab.KEPT):
                resource.setrlimit(resource.RLIMIT_AS, (memory_mib << 20, memory_mib << 20))
        done = subprocess.run([lab.PROGRAM, "check", "--rules", self.rules, "--format", "json", "--jobs", "2", "good.wav",
                               *paths], cwd=self.room, env=self.environment(), stdin=subprocess.DEVNULL,
                              capture_output=True, timeout=lab.TIMEOUT_S, preexec_fn=limit)
        self.assertIn(done.returncode, (0, 1, 3), done.stderr)
        sheet = json.loads(done.stdout)
        files = {file["path"]: file for file in sheet["files"]}
        self.assertEqual(files["good.wav"]["verdict"], "pass")
        return done.returncode, files, done.stderr

    def no_sheet(self, path, *codes):
        code, files, err = self.check(path)
        with self.subTest(path=path):
            self.assertEqual(code, 3)
            self.assertIn(files[path]["error"]["code"], codes)
            self.assertTrue(files[path]["error"]["text"].strip())
            self.assertEqual(files[path]["verdict"], "fail")
            self.assertIn(os.path.basename(path).encode() or path.encode(), err)
        return files[path]["error"]["text"]

    def test_what_is_no_sound_file(self):
        self.no_sheet("missing.wav", "missing")
        self.no_sheet("good.wav/inside.wav", "missing", "unreadable")
        self.put("empty.wav", b"")
        self.no_sheet("empty.wav", "unrecognised", "no-audio")
        for size in (1, 4, 11, 12, 19, 35, 43):
            self.put(f"short{size}.wav", self.good[:size])
            self.no_sheet(f"short{size}.wav", "unrecognised", "no-audio")
        self.put("text.wav", b"This is a shopping list.\n" * 100)
        self.no_sheet("text.wav", "unrecognised")
        self.put("noise.wav", os.urandom(5000))
        self.no_sheet("noise.wav", "unrecognised")
        self.put("zeros.flac", bytes(5000))
        self.no_sheet("zeros.flac", "unrecognised")

    def test_what_is_no_file_does_not_hang(self):
        os.mkfifo(self.room / "pipe.wav")
        self.no_sheet("pipe.wav", "unreadable")
        self.no_sheet("/dev/null", "unreadable", "no-audio")
        self.no_sheet("/dev/zero", "unreadable")
        self.no_sheet("/dev/full", "unreadable")
        os.symlink("loop.wav", self.room / "loop.wav")
        self.no_sheet("loop.wav", "unreadable", "missing")
        os.symlink("nowhere.wav", self.room / "dangling.wav")
        self.no_sheet("dangling.wav", "missing")
        listener = socket.socket(socket.AF_UNIX)
        self.addCleanup(listener.close)
        here = os.getcwd()
        os.chdir(self.room)
        listener.bind("socket.wav")
        os.chdir(here)
        self.no_sheet("socket.wav", "unreadable")
        if os.path.exists("/proc/self/mem"):
            self.no_sheet("/proc/self/mem", "unreadable", "unrecognised", "no-audio")
        if os.geteuid() != 0:
            self.put("locked.wav", self.good)
            os.chmod(self.room / "locked.wav", 0)
            self.no_sheet("locked.wav", "unreadable")

    def test_folders_are_opened_one_level_and_loops_end(self):
        (self.room / "set").mkdir()
        os.symlink("..", self.room / "set" / "up")
        self.put("set/a.wav", self.good)
        code, files, _ = self.check("--recursive", "set")
        self.assertEqual(code, 0)
        self.assertTrue(any(path.endswith("a.wav") for path in files))

    def test_headers_without_a_frame(self):
        self.put("none.wav", lab.riff(1, 2, 48000, 16, b""))
        self.no_sheet("none.wav", "no-audio")
        self.put("nodata.wav", lab.riff(1, 2, 48000, 16, b"")[:-8])
        self.no_sheet("nodata.wav", "no-audio", "unrecognised")
        self.put("partframe.wav", lab.riff(1, 2, 48000, 24, b"\1\2\3"))
        self.no_sheet("partframe.wav", "no-audio")

    def test_one_frame_is_measured(self):
        self.put("one.wav", lab.riff(1, 2, 48000, 16, b"\0\x10\0\x10"))
        code, files, err = self.check("one.wav")
        self.assertNotIn("error", files["one.wav"])
        self.assertEqual(files["one.wav"]["facts"]["frames"], 1)
        self.assertEqual(files["one.wav"]["measurements"]["integrated_loudness"]["value"], None)

    def test_headers_that_lie(self):
        pcm = lab.codes(lab.music(0.3, 8000), 2, 16)
        lies = {
            "cut": self.good[:len(self.good) * 2 // 3],
            "long": lab.riff(1, 2, 8000, 16, pcm, data_size=len(pcm) * 1000),
            "huge": lab.riff(1, 2, 8000, 16, pcm, data_size=0xFFFFFFFF, riff_size=0xFFFFFFFF),
            "zero": lab.riff(1, 2, 8000, 16, pcm, data_size=0),
            "riff": lab.riff(1, 2, 8000, 16, pcm, riff_size=7),
            "odd": lab.riff(1, 2, 8000, 16, pcm + b"\1"),
            "chunk": lab.riff(1, 2, 8000, 16, pcm, extra=b"LIST\xff\xff\xff\x7fINFO"),
            "many": lab.riff(1, 2, 8000, 16, pcm, extra=b"junk\0\0\0\0" * 20000),
        }
        for name, content in lies.items():
            self.put(f"{name}.wav", content)
        code, files, _ = self.check(*(f"{name}.wav" for name in lies), memory_mib=2048)
        for name in lies:
            file = files[f"{name}.wav"]
            with self.subTest(name=name):
                self.assertTrue("error" in file or file["facts"]["frames"] > 0)
                # The fault stands on the sheet: nothing that contradicts itself reads clean.
                if "error" not in file and name in ("cut", "long", "huge", "zero", "riff", "chunk"):
                    self.assertGreater(file["measurements"]["header_consistency"]["value"] or 1, 0)

    def test_claims_nobody_can_hold(self):
        pcm = bytes(48000)
        claims = {
            "channels": lab.riff(1, 65535, 8000, 16, pcm),
            "nochannels": lab.riff(1, 0, 8000, 16, pcm),
            "norate": lab.riff(1, 2, 0, 16, pcm),
            "fastest": lab.riff(1, 2, 0xFFFFFFFF, 16, pcm),
            "nobits": lab.riff(1, 2, 8000, 0, pcm),
            "bits": lab.riff(1, 2, 8000, 65528, pcm),
            "tag": lab.riff(0x1234, 2, 8000, 16, pcm),
        }
        # A million channels do not fit WAV's 16 bits; AIFF has no more, CAF has 32.
        caf = (b"caff\0\1\0\0" + b"desc" + struct.pack(">q", 32) + struct.pack(">d4sIIIII", 48000, b"lpcm", 0, 2000000, 1,
                                                                                1000000, 16) + b"data" +
               struct.pack(">q", 4 + len(pcm)) + bytes(4) + pcm)
        for name, content in {**claims, "million": caf}.items():
            self.put(f"{name}.dat", content)
        code, files, _ = self.check(*(f"{name}.dat" for name in [*claims, "million"]), memory_mib=2048)
        self.assertEqual(code, 3)
        for name in [*claims, "million"]:
            with self.subTest(name=name):
                if name == "fastest":  # whatever is made of it, it does not pass for a usable file
                    self.assertTrue("error" in files["fastest.dat"] or files["fastest.dat"]["facts"]["sample_rate"] > 0)
                    continue
                self.assertIn(files[f"{name}.dat"]["error"]["code"], ("unrecognised", "no-audio"))

    def test_numbers_that_are_none(self):
        nan, inf = float("nan"), float("inf")
        sine = [0.3 * x for x, in lab.music(0.5, 48000, channels=1)]
        bad = list(sine)
        bad[100:103], bad[5000] = [nan, inf, -inf], nan
        self.put("nan.wav", lab.float_wav(bad))
        self.put("allnan.wav", lab.float_wav([nan] * 48000))
        self.put("denormal.wav", lab.float_wav([1e-40, -1e-42] * 24000))
        self.put("huge.wav", lab.float_wav([3e38, -3e38] * 24000))
        code, out, _ = self.run_program("check", "--format", "json", "nan.wav", "allnan.wav", "denormal.wav", "huge.wav")
        self.assertEqual(code, 1)

        def no_constants(word):
            raise AssertionError(f"{word} is no JSON")
        files = {f["path"]: f for f in json.loads(out, parse_constant=no_constants)["files"]}
        self.assertEqual(files["nan.wav"]["measurements"]["non_finite_samples"]["value"], 4)
        self.assertEqual(files["nan.wav"]["measurements"]["non_finite_samples"]["where"][0]["start_frame"], 100)
        self.assertEqual(files["nan.wav"]["verdict"], "fail")
        self.assertEqual(files["allnan.wav"]["measurements"]["non_finite_samples"]["value"], 48000)
        self.assertEqual(files["allnan.wav"]["verdict"], "fail")
        self.assertEqual(files["denormal.wav"]["measurements"]["non_finite_samples"]["value"], 0)
        self.assertEqual(files["huge.wav"]["verdict"], "fail")
        for form in ("text", "csv", "junit"):
            _, out, _ = self.run_program("check", "--format", form, "nan.wav", "allnan.wav", "denormal.wav", "huge.wav")
            # As the name of what was found a NaN is welcome; as a reading it is not.
            self.assertNotRegex(out.decode().lower(), r"\b(nan|inf)[, \u00a0]*(db|lu|hz|%|s\b|bits|count)")

    def test_a_file_that_changes_while_it_is_read(self):
        path = self.put("growing.wav", lab.long_wav(60))
        stop = threading.Event()

        def disturb():
            while not stop.is_set():
                with open(path, "r+b") as file:
                    file.truncate(3_000_000)
                    file.truncate(11_000_000)
        thread = threading.Thread(target=disturb)
        thread.start()
        try:
            self.check("growing.wav")
        finally:
            stop.set()
            thread.join()

    def test_bytes_changed_at_random(self):
        import random
        rng = random.Random(20)
        names = []
        for i in range(120):
            content = bytearray(self.good[:3000])
            for _ in range(rng.randint(1, 6)):
                content[rng.randrange(60 if rng.random() < 0.8 else len(content))] = rng.randrange(256)
            names.append(f"m{i}.wav")
            self.put(names[-1], bytes(content))
        self.check(*names, memory_mib=2048)


if __name__ == "__main__":
    lab.main()
