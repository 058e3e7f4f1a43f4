"""The table of exit codes: what gives which, and that the highest wins."""
import lab

# A sine at 0.4 of full scale has its highest sample at -7.96 dBFS (20 log10 0.4).
LIMITS = {"pass": "fail_above = -1.0", "warn": "warn_above = -20.0", "fail": "fail_above = -20.0"}


class Verdicts(lab.Case):
    def setUp(self):
        super().setUp()
        self.put("a.wav", lab.wav(0.5, rate=8000))
        self.put("b.wav", lab.wav(0.5, rate=8000, seed=2))
        self.rules = {verdict: self.put_rules(verdict, limits) for verdict, limits in LIMITS.items()}

    def code(self, *arguments):
        return self.run_program("check", "--quiet", *arguments)[0]

    def test_verdict_by_fail_on(self):
        table = {("pass", "fail"): 0, ("pass", "warn"): 0, ("pass", "never"): 0,
                 ("warn", "fail"): 0, ("warn", "warn"): 1, ("warn", "never"): 0,
                 ("fail", "fail"): 1, ("fail", "warn"): 1, ("fail", "never"): 0}
        for (verdict, fail_on), expected in table.items():
            with self.subTest(verdict=verdict, fail_on=fail_on):
                self.assertEqual(self.code("--rules", self.rules[verdict], "--fail-on", fail_on, "a.wav"), expected)
        self.assertEqual(self.code("--rules", self.rules["warn"], "a.wav"), 0)
        self.assertEqual(self.code("--rules", self.rules["fail"], "a.wav"), 1)

    def test_every_format_gives_the_same_code(self):
        for form in ("text", "json", "jsonl", "junit", "csv", "markers"):
            for verdict, expected in (("pass", 0), ("warn", 0), ("fail", 1)):
                with self.subTest(form=form, verdict=verdict):
                    self.assertEqual(self.code("--rules", self.rules[verdict], "--format", form, "a.wav"), expected)

    def test_the_worst_of_several_sets_and_files_counts(self):
        self.assertEqual(self.code("--rules", self.rules["pass"], "--rules", self.rules["fail"], "a.wav", "b.wav"), 1)
        self.assertEqual(self.code("--rules", self.rules["pass"], "--rules", self.rules["warn"], "a.wav", "b.wav"), 0)

    def test_the_highest_wins(self):
        fail, ok = self.rules["fail"], self.rules["pass"]
        self.assertEqual(self.code("--rules", ok, "a.wav", "missing.wav"), 3)
        self.assertEqual(self.code("--rules", fail, "a.wav", "missing.wav"), 3)
        self.assertEqual(self.code("--rules", fail, "--fail-on", "never", "a.wav", "missing.wav"), 3)
        self.assertEqual(self.code("--rules", fail, "--fail-on", "never", "--output", "/proc/nowhere/x", "a.wav"), 3)
        self.assertEqual(self.code("--rules", "no-such-set", "--fail-on", "never", "a.wav"), 2)
        # A wrong call is found before any file is read.
        self.assertEqual(self.code("--rules", "no-such-set", "missing.wav"), 2)

    def test_once_a_frame_was_decoded_a_defect_is_a_finding(self):
        whole = lab.wav(0.5, rate=8000)
        self.put("cut.wav", whole[:len(whole) // 2])
        code, out, err = self.run_program("check", "cut.wav", "--format", "json")
        self.assertEqual((code, err), (1, b""))
        self.assertIn(b'"header_consistency"', out)


class OtherCommands(lab.Case):
    def test_measure_judges_nothing(self):
        self.put("clipped.wav", lab.wav(0.5, rate=8000, peak=3.0))
        self.assertEqual(self.run_program("measure", "clipped.wav")[0], 0)
        self.assertEqual(self.run_program("measure", "clipped.wav", "missing.wav")[0], 3)

    def test_rules(self):
        self.assertEqual(self.run_program("rules")[0], 0)
        self.assertEqual(self.run_program("rules", "premaster")[0], 0)
        self.assertEqual(self.run_program("rules", "premister")[0], 2)
        self.assertEqual(self.run_program("rules", "./missing.toml")[0], 2)

    def test_explain(self):
        self.assertEqual(self.run_program("explain")[0], 0)
        self.assertEqual(self.run_program("explain", "true_peak")[0], 0)
        self.assertEqual(self.run_program("explain", "tru_peak")[0], 2)
        self.assertEqual(self.run_program("explain", "true_peak", "no such thing at all")[0], 2)

    def test_merge(self):
        self.put("a.wav", lab.wav(0.5, rate=8000))
        sheets = {}
        for verdict, limits in LIMITS.items():
            rules = self.put_rules(verdict, limits)
            self.run_program("check", "--rules", rules, "--format", "jsonl", "-o", f"{verdict}.jsonl", "a.wav")
            sheets[verdict] = f"{verdict}.jsonl"
        for verdict, expected in (("pass", 0), ("warn", 0), ("fail", 1)):
            self.assertEqual(self.run_program("merge", sheets[verdict])[0], expected)
        self.assertEqual(self.run_program("merge", sheets["warn"], "--fail-on", "warn")[0], 1)
        self.assertEqual(self.run_program("merge", sheets["fail"], "--fail-on", "never")[0], 0)
        self.run_program("check", "--format", "jsonl", "-o", "gone.jsonl", "gone.wav")
        self.assertEqual(self.run_program("merge", sheets["pass"], "gone.jsonl", "--fail-on", "never")[0], 3)
        self.assertEqual(self.run_program("merge", "missing.jsonl")[0], 3)
        self.put("broken.jsonl", "{]\n")
        self.assertEqual(self.run_program("merge", "broken.jsonl")[0], 3)


if __name__ == "__main__":
    lab.main()
