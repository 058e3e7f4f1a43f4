"""Operands, options and lists of files: what is a file, what is a value, and in which order."""
import os

import lab


class Operands(lab.Case):
    def setUp(self):
        super().setUp()
        self.sound = lab.wav(0.5, rate=8000)
        self.rules = self.put_rules("loud", "fail_above = -1.0")
        for name in ("a.wav", "b.wav"):
            self.put(name, self.sound)

    def paths(self, *arguments, code=0, **more):
        got, out, err = self.run_program("check", "--rules", self.rules, "--format", "json", *arguments, **more)
        self.assertEqual(got, code, err + out)
        import json
        return [file["path"] for file in json.loads(out)["files"]]

    def test_options_stand_before_between_and_after_operands(self):
        self.assertEqual(self.paths("a.wav", "--jobs", "2", "b.wav", "--digest"), ["a.wav", "b.wav"])
        self.assertEqual(self.paths("-j2", "b.wav", "-q", "a.wav"), ["a.wav", "b.wav"])

    def test_two_dashes_end_the_options(self):
        for name in ("-x.wav", "--format", "-", "--", "-5.wav"):
            self.put(name, self.sound)
        self.assertEqual(self.paths("--", "-x.wav", "--format", "-5.wav", "--", "./-"),
                         ["--", "--format", "-5.wav", "-x.wav", "./-"])

    def test_a_dash_without_two_dashes_is_an_option(self):
        code, _, err = self.run_program("check", "-x.wav")
        self.assertEqual(code, 2)
        self.assertIn(b'a file name that starts with a dash goes after "--"', err)

    def test_names_that_mean_something_to_parsers_stay_as_they_are(self):
        names = sorted(["++", "[a,b].wav", "[a]", "{}", "!x", "%%", "a=b.wav", "@list", "#x", "a,b", "'q'", '"q"', "\\", "*",
                        "~", "$HOME", "a;b"])
        for name in names:
            self.put(name, self.sound)
        self.assertEqual(self.paths(*names), names)

    def test_the_same_file_twice_is_checked_once(self):
        os.symlink(self.room, self.folder / "other")
        self.assertEqual(self.paths("a.wav", "./a.wav", str(self.room / "a.wav"), "../other/a.wav", "a.wav"), ["a.wav"])
        # Another name for the same bytes is another delivery: names are judged too.
        os.link(self.room / "a.wav", self.room / "c.wav")
        os.symlink("a.wav", self.room / "d.wav")
        self.assertEqual(self.paths("a.wav", "c.wav", "d.wav"), ["a.wav", "c.wav", "d.wav"])

    def test_the_last_of_a_repeated_single_option_counts(self):
        code, out, _ = self.run_program("check", "--rules", self.rules, "a.wav", "--format", "csv", "--format", "json")
        self.assertEqual((code, out[:1]), (0, b"{"))


class Expect(lab.Case):
    def setUp(self):
        super().setUp()
        for name in ("a.wav", "b.wav"):
            self.put(name, lab.wav(1.5, rate=48000))
        self.rules = self.put_rules("loud", "fail_above = -1.0")

    def sheet(self, *arguments, code):
        return self.json_of("check", "--rules", self.rules, *arguments, code=code)

    def expected(self, sheet):
        return {f["measure"]: f["status"] for file in sheet["files"] for f in file["findings"] if f["ruleset"] == "expected"}

    def test_a_value_without_equals_sign_ends_the_list(self):
        sheet = self.sheet("a.wav", "--expect", "sample_rate=48000", "b.wav", code=0)
        self.assertEqual([f["path"] for f in sheet["files"]], ["a.wav", "b.wav"])
        sheet = self.sheet("--expect", "sample_rate=48000", "bit_depth=24", "a.wav", code=0)
        self.assertEqual([f["path"] for f in sheet["files"]], ["a.wav"])
        self.assertEqual(self.expected(sheet), {"sample_rate": "pass", "bit_depth": "pass"})

    def test_an_option_ends_the_list(self):
        sheet = self.sheet("--expect", "sample_rate=48000", "bit_depth=16", "--jobs", "1", "a.wav", code=1)
        self.assertEqual(self.expected(sheet), {"sample_rate": "pass", "bit_depth": "fail"})

    def test_all_spellings_add_up(self):
        sheet = self.sheet("a.wav", "--expect=sample_rate=44100", "channels=2", "--expect", "bit_depth=24", code=1)
        self.assertEqual(self.expected(sheet), {"sample_rate": "fail", "channels": "pass", "bit_depth": "pass"})

    def test_a_duration_is_written_as_people_do(self):
        self.assertEqual(self.expected(self.sheet("a.wav", "--expect", "duration=0:01.5", code=0)), {"duration": "pass"})
        self.assertEqual(self.expected(self.sheet("a.wav", "--expect", "duration=3:35", code=1)), {"duration": "fail"})

    def test_a_wrong_key_names_the_nearest_and_checks_nothing(self):
        code, out, err = self.run_program("check", "a.wav", "--expect", "sample_rte=48000")
        self.assertEqual((code, out), (2, b""))
        self.assertIn(b"sample_rate", err)
        code, out, err = self.run_program("check", "a.wav", "--expect", "sample_rate")
        self.assertEqual((code, out), (2, b""))


class Lists(lab.Case):
    def setUp(self):
        super().setUp()
        self.sound = lab.wav(0.5, rate=8000)
        self.rules = self.put_rules("loud", "fail_above = -1.0")
        for name in ("a.wav", "b.wav", "c\nd.wav"):
            self.put(name, self.sound)

    def paths(self, *arguments, code=0, stdin=b""):
        import json
        got, out, err = self.run_program("check", "--rules", self.rules, "--format", "json", *arguments, stdin=stdin)
        self.assertEqual(got, code, err)
        return [file["path"] for file in json.loads(out)["files"]]

    def test_one_name_a_line(self):
        self.put("list", "b.wav\n\na.wav")
        self.assertEqual(self.paths("--files-from", "list"), ["a.wav", "b.wav"])
        self.put("list", "b.wav\r\na.wav\r\n")
        self.assertEqual(self.paths("--files-from", "list"), ["a.wav", "b.wav"])

    def test_from_standard_input_with_nul(self):
        self.assertEqual(self.paths("--files-from", "-", stdin=b"c\nd.wav\0a.wav\0"), ["a.wav", "c\nd.wav"])

    def test_operands_and_lists_add_up(self):
        self.put("list", "b.wav\n")
        self.assertEqual(self.paths("a.wav", "--files-from", "list", "--files-from=-", stdin=b"a.wav\n"), ["a.wav", "b.wav"])

    def test_a_list_that_names_nothing_is_no_pass(self):
        for stdin in (b"", b"\n\n", b"\0"):
            code, out, err = self.run_program("check", "--files-from", "-", stdin=stdin)
            self.assertEqual((code, out), (3, b""))
            self.assertEqual(err, b"sendworthy: no file name in standard input\n")

    def test_a_list_that_cannot_be_read(self):
        for name in ("missing", ".", "/dev/null"):
            code, out, err = self.run_program("check", "--files-from", name)
            self.assertEqual((code, out), (3, b""))
            self.assertIn(name.encode(), err)


class Folders(lab.Case):
    def setUp(self):
        super().setUp()
        self.sound = lab.wav(0.5, rate=8000)
        self.rules = self.put_rules("loud", "fail_above = -1.0")

    def check(self, *arguments):
        import json
        code, out, err = self.run_program("check", "--rules", self.rules, "--format", "json", *arguments)
        return code, json.loads(out), err

    def test_a_folder_is_its_audio_files_sorted(self):
        for name in ("set/b.wav", "set/a.wav", "set/deep/c.wav", "set/notes.txt"):
            self.put(name, self.sound)
        code, sheet, _ = self.check("set")
        self.assertEqual((code, [f["path"] for f in sheet["files"]]), (0, ["set/a.wav", "set/b.wav"]))
        code, sheet, _ = self.check("--recursive", "set/")
        self.assertEqual((code, [os.path.normpath(f["path"]) for f in sheet["files"]]),
                         (0, ["set/a.wav", "set/b.wav", "set/deep/c.wav"]))
        code, sheet, _ = self.check("set", "set/a.wav")
        self.assertEqual(len(sheet["files"]), 2)

    def test_a_folder_without_audio_is_no_pass_and_the_others_are_checked(self):
        self.put("a.wav", self.sound)
        self.put("empty/notes.txt", "x")
        code, sheet, err = self.check("empty", "a.wav")
        self.assertEqual(code, 3)
        self.assertEqual(sheet["verdict"], "fail")
        by_path = {f["path"]: f for f in sheet["files"]}
        self.assertEqual(by_path["a.wav"]["verdict"], "pass")
        self.assertEqual(by_path["empty"]["error"]["code"], "no-audio")
        self.assertIn(b"empty", err)
        code, _, _ = self.check("empty")
        self.assertEqual(code, 3)


if __name__ == "__main__":
    lab.main()
