"""The same input gives the same bytes, whatever --jobs, the order of operands and the locale say."""
import os

import lab


class Determinism(lab.Case):
    def setUp(self):
        super().setUp()
        for i in range(5):
            self.put(f"{i}.wav", lab.wav(1.2 + 0.3 * i, rate=[44100, 48000][i % 2], seed=i, bits=[16, 24][i % 2]))
        self.put("broken.wav", b"RIFF")
        self.put("clipped.wav", lab.wav(1.5, peak=2.0))
        self.put("float.wav", lab.float_wav([x for x, in lab.music(1.5, 48000, channels=1)]))
        self.files = sorted(p.name for p in self.room.glob("*.wav"))

    def test_jobs_order_and_locale_change_no_byte(self):
        for form in ("text", "json", "jsonl", "junit", "csv", "markers"):
            command = ["check", "--format", form, "--date", "2026-01-02", "--digest", "--rules", "premaster", "--rules", "cd"]
            first = self.run_program(*command, "--jobs", "1", *self.files)
            self.assertTrue(first[1])
            for jobs, files, env in (("2", self.files, {}), ("7", self.files[::-1], {}),
                                     ("2", self.files, {"LC_ALL": "de_DE.UTF-8", "LANG": "tr_TR.UTF-8", "TZ": "Asia/Tokyo",
                                                        "COLUMNS": "40", "TERM": "xterm"})):
                with self.subTest(form=form, jobs=jobs):
                    self.assertEqual(self.run_program(*command, "--jobs", jobs, *files, env=env)[:2], first[:2])

    def test_measure_too_with_its_timelines(self):
        for form in ("text", "json", "csv"):
            command = ["measure", "--timeline", "--second-meter", "--format", form]
            first = self.run_program(*command, "--jobs", "1", *self.files)[1]
            self.assertEqual(self.run_program(*command, "--jobs", "2", *self.files)[1], first)

    def test_the_input_is_not_touched(self):
        before = {name: (os.stat(self.room / name).st_mtime_ns, (self.room / name).read_bytes()) for name in self.files}
        self.run_program("check", *self.files)
        after = {name: (os.stat(self.room / name).st_mtime_ns, (self.room / name).read_bytes()) for name in self.files}
        self.assertEqual(after, before)
        self.assertEqual(self.leftovers(), [])


if __name__ == "__main__":
    lab.main()
