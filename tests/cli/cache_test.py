"""Readings kept between runs: the sheet is the same to the byte, and never an old one."""
import json
import os
import subprocess
import time

import lab

LONG_AGO = 1_000_000_000


class Cache(lab.Case):
    def setUp(self):
        super().setUp()
        self.put("a.wav", lab.wav(1.0))
        self.put("b.L.wav", lab.wav(0.7, channels=1, bits=16, seed=2))
        self.put("c.wav", lab.float_wav([0.1, float("nan"), 1.5, -0.0] * 4000))
        self.readings = self.home / ".cache" / "sendworthy" / "readings"

    def entries(self, folder=None):
        folder = folder or self.readings
        return {p.name: p for p in folder.iterdir()} if folder.is_dir() else {}

    def run_counted(self, *arguments, folder=None, **more):
        """(exit code, stdout, how many entries are new, how many were used)."""
        before = self.entries(folder)
        for path in before.values():
            os.utime(path, (LONG_AGO, LONG_AGO))
        code, out, err = self.run_program(*arguments, **more)
        self.assertEqual(err.count(b"cache"), 0, err)
        after = self.entries(folder)
        used = sum(1 for name in before if name in after and after[name].stat().st_mtime > LONG_AGO + 1)
        return code, out, len(set(after) - set(before)), used

    def assert_measured(self, *arguments, **more):
        code, out, new, used = self.run_counted(*arguments, **more)
        self.assertEqual((new, used), (1, 0), arguments)
        return code, out

    def assert_taken(self, *arguments, **more):
        code, out, new, used = self.run_counted(*arguments, **more)
        self.assertEqual((new, used), (0, 1), arguments)
        return code, out

    def test_cold_warm_and_without_a_cache_give_the_same_bytes_in_every_format(self):
        def outputs(*arguments):
            got = self.run_program(*arguments)
            written = {p.name: p.read_bytes() for p in sorted(self.room.iterdir()) if p.name.startswith("out")}
            for name in written:
                (self.room / name).unlink()
            return got, written

        names = ("a.wav", "b.L.wav", "c.wav", "missing.wav")
        calls = [("check", "--format", f, *names) for f in ("text", "json", "jsonl", "junit", "csv", "html", "markers")]
        calls += [("check", "--format", "markers", "--output", "out.csv", "--note", "out.md", "--digest", "--second-meter", *names),
                  ("check", "--rules", "streaming-music", "--rules", "stems", "--role", "stem", "--expect", "bit_depth=24", *names),
                  ("measure", "--timeline", *names),
                  ("measure", "--timeline", "--format", "json", "--digest", *names),
                  ("measure", "--timeline", "--format", "csv", *names),
                  ("check", "--jobs", "3", "--format", "json", *names)]
        for call in calls:
            with self.subTest(call=call):
                without = outputs(*call, "--no-cache")
                cold = outputs(*call)
                warm = outputs(*call)
                self.assertEqual(cold, without)
                self.assertEqual(warm, without)
                if "html" in call:
                    self.assertIn(b"<svg", warm[0][1])

    def test_no_cache_leaves_nothing_and_looks_at_nothing(self):
        self.run_program("check", "--no-cache", "a.wav")
        self.assertFalse((self.home / ".cache").exists())
        self.run_program("check", "a.wav")
        _, _, new, used = self.run_counted("check", "--no-cache", "a.wav")
        self.assertEqual((new, used), (0, 0))

    def test_folder_and_entries_are_this_users_alone(self):
        self.run_program("check", "a.wav")
        for folder in (self.home / ".cache", self.readings.parent, self.readings):
            self.assertEqual(folder.stat().st_mode & 0o777, 0o700, folder)
        for path in self.entries().values():
            self.assertEqual(path.stat().st_mode & 0o777, 0o600)

    def test_where_it_lies(self):
        elsewhere = self.folder / "elsewhere"
        self.run_program("check", "a.wav", env={"XDG_CACHE_HOME": str(elsewhere)})
        self.assertEqual(len(self.entries(elsewhere / "sendworthy" / "readings")), 1)
        self.assertFalse(self.readings.exists())
        self.run_program("check", "a.wav", env={"XDG_CACHE_HOME": "relative"})
        self.assertEqual(len(self.entries()), 1)
        self.assertFalse((self.room / "relative").exists())
        nowhere = self.folder / "nowhere"
        _, want, _ = self.run_program("check", "a.wav")
        for home in ({"HOME": ""}, {"HOME": "home"}, {"HOME": str(nowhere)}):
            code, out, err = self.run_program("check", "a.wav", env=home)
            self.assertEqual((out, err), (want, b""))
        self.assertFalse(nowhere.exists())

    def test_bytes_name_and_neighbours(self):
        self.assert_measured("check", "a.wav")
        self.assert_taken("check", "a.wav")
        os.utime(self.room / "a.wav", (LONG_AGO, LONG_AGO))
        self.assert_taken("check", "a.wav")
        # Other bytes with the same size and times.
        content = bytearray((self.room / "a.wav").read_bytes())
        content[-1] ^= 1
        self.put("a.wav", bytes(content))
        os.utime(self.room / "a.wav", (LONG_AGO, LONG_AGO))
        self.assert_measured("check", "a.wav")
        # Another name for the same file is shown, and judged.
        code, out = self.assert_measured("check", "./a.wav")
        self.assertIn(b"./a.wav", out)
        os.rename(self.room / "a.wav", self.room / "final final.wav")
        code, out = self.assert_measured("check", "final final.wav")
        self.assertIn(b"Vague words in the name", out)
        # The other half of a stereo pair comes and goes.
        code, alone = self.assert_measured("check", "b.L.wav")
        self.put("b.R.wav", (self.room / "b.L.wav").read_bytes())
        code, paired = self.assert_measured("check", "b.L.wav")
        self.assertNotEqual(alone, paired)
        (self.room / "b.R.wav").unlink()
        self.assertEqual(self.assert_taken("check", "b.L.wav")[1], alone)

    def test_rules_dates_waivers_and_calibration_are_judged_anew(self):
        rules = self.put_rules("mine", "fail_above = 0")
        self.assertEqual(self.assert_measured("check", "a.wav", "--rules", rules)[0], 0)
        self.put_rules("mine", "fail_above = -90")
        self.assertEqual(self.assert_taken("check", "a.wav", "--rules", rules)[0], 1)
        text = (self.room / "mine.toml").read_text()
        self.put("mine.toml", text + '[[waiver]]\nrule = "peak"\nreason = "asked for"\nby = "xy"\nuntil = 2026-03-31\n')
        self.assertEqual(self.assert_taken("check", "a.wav", "--rules", rules, "--date", "2026-03-31")[0], 0)
        self.assertEqual(self.assert_taken("check", "a.wav", "--rules", rules, "--date", "2026-04-01")[0], 1)
        self.assertEqual(self.assert_taken("check", "a.wav", "--rules", rules, "--date", "2026-03-31", "--expect", "sample_rate=48000")[0], 0)
        self.assertEqual(self.assert_taken("check", "a.wav", "--rules", rules, "--date", "2026-03-31", "--expect", "sample_rate=44100")[0], 1)
        self.config.mkdir(parents=True)
        room = ('[monitoring]\nspl_db = {}\nspl_weighting = "C"\nlevel = -23\nlevel_unit = "LUFS"\nnoise = "pink"\n')
        (self.config / "config.toml").write_text(room.format(73))
        quiet = self.assert_taken("check", "a.wav")[1]
        (self.config / "config.toml").write_text(room.format(83))
        loud = self.assert_taken("check", "a.wav")[1]
        self.assertIn(b"Estimated level", quiet)
        self.assertNotEqual(quiet, loud)
        # measure asks for the same readings as check.
        self.assert_taken("measure", "a.wav")
        self.assert_measured("measure", "--timeline", "a.wav")
        self.assert_measured("check", "--second-meter", "a.wav")

    def test_the_digest_of_a_file_is_never_taken_from_the_cache(self):
        first = self.json_of("check", "a.wav")
        self.assertNotIn("file", first["files"][0]["digest"])
        again = self.json_of("check", "--digest", "a.wav")
        want = subprocess.run(["sha256sum", self.room / "a.wav"], capture_output=True, check=True).stdout.split()[0].decode()
        self.assertEqual(again["files"][0]["digest"]["file"], "sha256:" + want)

    def test_the_configuration_turns_it_off_and_bounds_it(self):
        def configure(text):
            self.config.mkdir(parents=True, exist_ok=True)
            (self.config / "config.toml").write_text(text)

        configure("[cache]\nenabled = false\n")
        self.run_program("check", "a.wav")
        self.assertFalse(self.readings.exists())
        configure("[cache]\nenabled = true\nsize_mb = 1\n")
        for seed in range(6):
            self.put(f"long-{seed}.wav", lab.long_wav(2) + bytes([seed]))
        names = [f"long-{seed}.wav" for seed in range(6)]
        for call in range(8):
            for name in names:
                self.put(name, lab.long_wav(2) + bytes([call, 0]))
            self.run_program("check", "--format", "html", *names)
        self.assertLessEqual(sum(p.stat().st_size for p in self.entries().values()), 1_000_000)
        self.assertTrue(self.entries())
        for text, said in (("[cache]\nsize_mb = 0\n", "size_mb must lie between 1 and 1000000; to keep nothing, set enabled = false"),
                           ("[cache]\nsize_mb = 1000001\n", "size_mb must lie between 1 and 1000000"),
                           ("[cache]\nsize_mb = 2.5\n", "size_mb"),
                           ('[cache]\nenabled = "no"\n', "enabled"),
                           ("[cache]\nenable = false\n", 'did you mean "enabled"?'),
                           ("[cahce]\n", 'did you mean "cache"?'),
                           ("cache = 3\n", "[cache] must be a table")):
            configure(text)
            code, out, err = self.run_program("check", "a.wav")
            self.assertEqual((code, out), (2, b""), text)
            self.assertIn(said, err.decode())
            self.assertRegex(err.decode(), r"config\.toml:\d+:\d+: ")

    def test_damaged_entries_are_measured_again(self):
        want = self.run_program("check", "--format", "json", "a.wav")
        (name, path), = self.entries().items()
        good = path.read_bytes()
        for content in (b"", b"\0" * 5000, good[:-1], good + b"x", good[:100], good[:-40] + b"\0" * 40, b"garbage" * 10000,
                        good.replace(b"WAV", b"WAW")):
            path.write_bytes(content)
            self.assertEqual(self.run_program("check", "--format", "json", "a.wav"), want)
            self.assertEqual(self.entries()[name].read_bytes(), good)
        # The entry of another file under this name.
        self.run_program("check", "c.wav")
        other = next(p for n, p in self.entries().items() if n != name)
        path.write_bytes(other.read_bytes())
        self.assertEqual(self.run_program("check", "--format", "json", "a.wav"), want)
        self.assertEqual(path.read_bytes(), good)

    def test_a_hostile_folder_changes_nothing(self):
        want = self.run_program("check", "--format", "json", "a.wav")
        (name, path), = self.entries().items()
        precious = self.folder / "precious"
        precious.write_text("precious")

        def same():
            self.assertEqual(self.run_program("check", "--format", "json", "a.wav"), want)
            self.assertEqual(precious.read_text(), "precious")

        path.unlink()
        path.symlink_to(precious)
        same()
        self.assertFalse(path.is_symlink())
        path.unlink()
        path.symlink_to("/dev/zero")
        same()
        path.unlink()
        path.symlink_to(path)
        same()
        path.unlink()
        path.mkdir()
        (path / "x").write_text("x")
        same()
        self.assertTrue((path / "x").exists())
        (path / "x").unlink()
        path.rmdir()
        os.mkfifo(path)
        same()
        with open(path, "wb") as file:
            file.truncate(1 << 40)
        same()
        path.chmod(0)
        same()
        # The folder itself.
        os.rename(self.readings, self.folder / "real")
        for make in (lambda: self.readings.write_text("a file"), lambda: self.readings.symlink_to(self.folder / "real"),
                     lambda: self.readings.symlink_to("/nonexistent/x"), lambda: os.mkfifo(self.readings)):
            make()
            same()
            self.readings.unlink()
        self.readings.mkdir()
        self.readings.chmod(0o777)  # anybody may have put something there
        same()
        self.assertEqual(self.entries(), {})
        self.readings.chmod(0o500)
        same()
        self.readings.chmod(0)
        same()
        self.readings.chmod(0o700)
        same()
        self.assertEqual(len(self.entries()), 1)
        self.assertEqual(self.leftovers(), [])

    def test_a_full_disk_and_a_limit_on_file_sizes_are_no_errors(self):
        want = self.run_program("check", "--no-cache", "--format", "json", "a.wav")
        import resource

        def limit():
            resource.setrlimit(resource.RLIMIT_FSIZE, (1000, 1000))

        self.assertEqual(self.run_program("check", "--format", "json", "a.wav", preexec_fn=limit), want)
        self.assertEqual(self.entries(), {})
        self.assertEqual(self.leftovers(), [])

    def test_two_runs_at_once(self):
        for n in range(12):
            self.put(f"many/{n}.wav", lab.wav(0.5, seed=n, channels=1))
        want = self.run_program("check", "--no-cache", "--format", "json", "many")
        for _ in range(2):
            runs = [subprocess.Popen([lab.PROGRAM, "check", "--format", "json", "many"], cwd=self.room, env=self.environment(),
                                     stdout=subprocess.PIPE, stderr=subprocess.PIPE) for _ in range(3)]
            for run in runs:
                out, err = run.communicate(timeout=lab.TIMEOUT_S)
                self.assertEqual((run.returncode, out, err), want)
        self.assertEqual(len(self.entries()), 12)
        self.assertEqual(self.leftovers(), [])

    def test_a_file_that_is_being_written_is_not_kept_under_the_name_of_other_bytes(self):
        """A writer that never rests; afterwards every sheet is that of the bytes that are there."""
        whole = lab.long_wav(3)
        self.put("growing.wav", whole)
        writer = subprocess.Popen(
            ["python3", "-c", "import sys,time\nf=open('growing.wav','r+b',buffering=0)\nn=0\n"
             "while True:\n f.seek(44+n%4096*100); f.write(bytes([n%256]))\n n+=1"], cwd=self.room)
        try:
            for _ in range(3):
                self.run_program("check", "growing.wav")
                time.sleep(0.05)
        finally:
            writer.kill()
            writer.wait()
        for _ in range(2):
            with_cache = self.run_program("check", "--format", "json", "growing.wav")
            self.assertEqual(with_cache, self.run_program("check", "--no-cache", "--format", "json", "growing.wav"))
        json.loads(with_cache[1])


if __name__ == "__main__":
    lab.main()
