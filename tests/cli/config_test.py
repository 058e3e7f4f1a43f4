"""The user's configuration and rule sets: found by XDG, validated, refused with the place."""
import lab

MONITORING = """\
[monitoring]
kind = "loudspeakers"
spl_db = 73
spl_weighting = "C"
level = -23
level_unit = "LUFS"
noise = "band 500-2000"
"""


class Config(lab.Case):
    def setUp(self):
        super().setUp()
        self.put("a.wav", lab.wav(1.0, rate=48000))

    def configure(self, text, folder=None):
        folder = folder or self.config
        folder.mkdir(parents=True, exist_ok=True)
        (folder / "config.toml").write_text(text)

    def user_rules(self, name, limits, folder=None):
        folder = (folder or self.config) / "rules"
        folder.mkdir(parents=True, exist_ok=True)
        (folder / f"{name}.toml").write_text(lab.RULE_SET.format(name=name, limits=limits))

    def sets(self, *arguments, env=None):
        import json
        code, out, err = self.run_program("check", "a.wav", "--format", "json", *arguments, env=env)
        self.assertLess(code, 2, err)
        return [r["name"] for r in json.loads(out)["rules"]]

    def refused(self, text):
        self.configure(text)
        code, out, err = self.run_program("check", "a.wav")
        self.assertEqual((code, out), (2, b""), err)
        return err.decode()

    def test_without_any_configuration_premaster_is_asked(self):
        self.assertEqual(self.sets(), ["premaster"])

    def test_default_rules(self):
        self.configure('[defaults]\nrules = ["cd", "mine"]\n')
        self.user_rules("mine", "fail_above = -1.0")
        self.assertEqual(self.sets(), ["cd", "mine"])
        self.assertEqual(self.sets("--rules", "hi-res"), ["hi-res"])
        self.configure('[defaults]\nrules = "./rules/mine.toml"\n')
        self.assertEqual(self.sets(), ["mine"])

    def test_xdg_config_home_when_absolute(self):
        folder = self.folder / "xdg" / "sendworthy"
        self.configure('[defaults]\nrules = "cd"\n', folder)
        self.configure('[defaults]\nrules = "podcast"\n')
        self.assertEqual(self.sets(env={"XDG_CONFIG_HOME": str(self.folder / "xdg")}), ["cd"])
        self.assertEqual(self.sets(env={"XDG_CONFIG_HOME": "../xdg"}), ["podcast"])
        self.assertEqual(self.sets(env={"XDG_CONFIG_HOME": ""}), ["podcast"])
        self.assertEqual(self.sets(env={"HOME": ""}), ["premaster"])

    def test_rule_sets_of_the_working_folder_are_never_taken_by_name(self):
        self.put("mine.toml", lab.RULE_SET.format(name="mine", limits="fail_above = -1.0"))
        code, _, err = self.run_program("check", "a.wav", "--rules", "mine")
        self.assertEqual(code, 2)
        self.put("cd.toml", "broken")
        self.assertEqual(self.sets("--rules", "cd"), ["cd"])

    def test_a_users_set_hides_a_shipped_one_and_that_is_said(self):
        self.user_rules("cd", "fail_above = -1.0")
        _, out, _ = self.run_program("check", "a.wav", "--rules", "cd")
        self.assertRegex(" ".join(out.decode().split()), r"(?i)(hides|shadows|instead of).{0,40}shipped|shipped.{0,40}(hidden|shadowed)")

    def test_monitoring_turns_into_an_estimate(self):
        _, without, _ = self.run_program("check", "a.wav")
        self.configure(MONITORING)
        code, estimate, err = self.run_program("check", "a.wav")
        self.assertLess(code, 2, err)
        self.assertNotEqual(without, estimate)
        self.assertIn(b"dB(A)", estimate)
        louder = MONITORING.replace("73", "83")
        self.configure(louder)
        self.assertNotEqual(self.run_program("check", "a.wav")[1], estimate)

    def test_a_calibration_with_a_gap_is_refused(self):
        for key in ("spl_db", "spl_weighting", "level", "level_unit", "noise"):
            text = "".join(line + "\n" for line in MONITORING.splitlines() if not line.startswith(key + " "))
            self.assertIn(f"[monitoring] lacks {key}", self.refused(text))

    def test_values_that_cannot_be_are_refused_with_the_place(self):
        for old, new, said in (("spl_db = 73", "spl_db = 730", "spl_db must lie between 40 and 120, found 730"),
                               ("spl_db = 73", "spl_db = 39.9", "spl_db must lie between 40 and 120"),
                               ("spl_db = 73", "spl_db = nan", "spl_db"),
                               ("spl_db = 73", 'spl_db = "73"', "spl_db"),
                               ("level = -23", "level = 23", "level must lie between -80 and 0, found 23"),
                               ('"LUFS"', '"LKFS"', "level_unit wants LUFS or dBFS"),
                               ('"C"', '"B"', "spl_weighting wants A, C or Z"),
                               ('"band 500-2000"', '"white"', "noise wants pink, band 500-2000 or sine 1000"),
                               ('"loudspeakers"', '"loudspeaker"', 'did you mean "loudspeakers"?'),
                               ("kind =", "knd =", 'did you mean "kind"?')):
            err = self.refused(MONITORING.replace(old, new))
            line = 1 + next(i for i, l in enumerate(MONITORING.replace(old, new).splitlines()) if new in l)
            self.assertIn(said, err)
            self.assertRegex(err, rf"config\.toml:{line}:\d+: ")

    def test_wrong_keys_and_broken_text_are_refused_with_the_place(self):
        self.assertIn('did you mean "monitoring"?', self.refused("[monitorng]\n"))
        self.assertIn('did you mean "rules"?', self.refused('[defaults]\nrule = "cd"\n'))
        self.assertRegex(self.refused("[defaults\n"), r"config\.toml:\d+:\d+: ")
        self.assertIn("jobs must lie between 1 and 256", self.refused("[defaults]\njobs = 0\n"))
        self.assertIn("color wants auto, always or never", self.refused('[defaults]\ncolor = "on"\n'))
        self.assertIn("rules must name at least one", self.refused("[defaults]\nrules = []\n"))
        self.refused("defaults = 3\n")
        self.refused("monitoring = []\n")
        self.refused("x = '" + "y" * (2 << 20) + "'\n")
        self.refused("[[defaults]]\n")

    def test_a_configuration_that_cannot_be_read_is_not_taken_for_none(self):
        (self.config / "config.toml").mkdir(parents=True)
        code, out, err = self.run_program("check", "a.wav")
        self.assertEqual((code, out), (2, b""))
        self.assertIn(b"config.toml", err)
        # What does not need it still works.
        self.assertEqual(self.run_program("--help")[0], 0)
        self.assertEqual(self.run_program("explain", "true_peak")[0], 0)

    def test_color_and_jobs(self):
        self.configure('[defaults]\ncolor = "always"\njobs = 2\n')
        self.assertIn(b"\x1b[", self.run_program("check", "a.wav")[1])
        self.assertNotIn(b"\x1b[", self.run_program("check", "a.wav", "--color", "never")[1])


if __name__ == "__main__":
    lab.main()
