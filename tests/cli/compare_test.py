"""Two files held against each other from the command line: exit codes, words, the published schema."""
import json
import unittest

import lab

try:
    import jsonschema
except ImportError:
    jsonschema = None


class Compare(lab.Case):
    def setUp(self):
        super().setUp()
        self.song = lab.music(6.0, rate=16000, seed=3)
        self.put("old.wav", self.wav(self.song))

    def wav(self, frames, bits=24, rate=16000, extra=b""):
        return lab.riff(1, 2, rate, bits, lab.codes(frames, 2, bits), extra=extra)

    def kind(self, frames, code, **more):
        self.put("new.wav", self.wav(frames, **more))
        pair, = self.json_of("compare", "old.wav", "new.wav", code=code)["pairs"]
        return pair

    def test_the_same_is_0_and_anything_else_is_1(self):
        self.assertEqual(self.json_of("compare", "old.wav", "old.wav", code=0)["pairs"][0]["kind"], "identical bits")
        self.assertEqual(self.kind(self.song, 0, extra=b"note\4\0\0\0abcd")["kind"], "identical audio")
        half = self.kind([(a / 2, b / 2) for a, b in self.song], 1)
        self.assertEqual((half["kind"], half["gain_db"]), ("gain only", -6.021))
        later = self.kind([(0.0, 0.0)] * 1234 + self.song, 1)
        self.assertEqual((later["kind"], later["offset_frames"]), ("same mix", 1234))
        self.assertEqual(self.kind([(b, a) for a, b in self.song], 1)["swapped_channels"], True)
        edited = self.kind(self.song[:32000] + [(-0.2 * b, 0.5 * a) for a, b in self.song[32000:48000]] + self.song[48000:], 1)
        self.assertEqual(edited["kind"], "edited")
        place, = edited["edits"]
        self.assertAlmostEqual(place["old_start_s"], 2.0, delta=0.05)
        self.assertAlmostEqual(place["old_end_s"], 3.0, delta=0.05)
        self.assertEqual(self.kind(lab.music(6.0, rate=16000, seed=9, peak=0.1), 1)["kind"], "different mix")
        self.assertEqual(self.run_program("compare", "--fail-on", "never", "old.wav", "new.wav")[0], 0)

    @unittest.skipIf(jsonschema is None, "python3-jsonschema is not installed")
    def test_the_schema_holds(self):
        schema = json.loads((lab.SOURCE / "docs" / "sheet.schema.json").read_text())
        validator = jsonschema.validators.validator_for(schema)(schema)
        self.put("new.wav", self.wav([(a / 2, -b / 2) for a, b in self.song], rate=12000))
        for new in ("old.wav", "new.wav"):
            sheet = self.json_of("compare", "old.wav", new)
            self.assertEqual([e.message for e in validator.iter_errors(sheet)], [])
            # Keys stand sorted, so that the same sheet always is the same bytes.
            self.assertEqual(list(sheet["pairs"][0]), sorted(sheet["pairs"][0]))

    def test_text_says_what_it_comes_to_and_quiet_says_no_more(self):
        self.put("new.wav", self.wav([(a / 2, b / 2) for a, b in self.song]))
        code, out, err = self.run_program("compare", "old.wav", "new.wav")
        self.assertEqual((code, err), (1, b""))
        text = out.decode()
        for words in ("GAIN ONLY", "6.02 dB softer", "old.wav: WAV", "Measurements that changed", "Integrated loudness"):
            self.assertIn(words, text)
        self.assertTrue(all(len(line) <= 80 for line in text.splitlines()))
        quiet = self.run_program("compare", "--quiet", "old.wav", "new.wav")[1].decode()
        self.assertEqual(quiet, "GAIN ONLY  The same but for level; 6.02 dB softer.\n")
        self.assertEqual(self.run_program("compare", "old.wav", "new.wav", "--jobs", "2")[1], out)
        self.assertEqual(self.run_program("compare", "old.wav", "new.wav", "--output", "x.txt"), (1, b"", b""))
        self.assertEqual((self.room / "x.txt").read_bytes(), out)
        self.assertEqual(self.leftovers(), [])

    def test_the_page_names_every_place(self):
        self.put("new <b>.wav", self.wav(self.song[:32000] + [(-0.2 * b, 0.5 * a) for a, b in self.song[32000:48000]] + self.song[48000:]))
        code, out, _ = self.run_program("compare", "old.wav", "new <b>.wav", "--format", "html")
        page = out.decode()
        self.assertEqual(code, 1)
        self.assertNotIn("new <b>", page)
        for words in (" changed, else the same", "Where they part (1)", "What is left, over time", "What is left, by octave", "Measurements that changed"):
            self.assertIn(words, page)
        self.assertEqual(page.count('<figure id="pair-null-'), 2)
        same = self.run_program("compare", "old.wav", "old.wav", "--format", "html")
        self.assertEqual(same[0], 0)
        self.assertIn(b"The very same file", same[1])

    def test_findings_that_turned_are_named(self):
        rules = self.put_rules("loud", "fail_above = -10.0")
        self.put("new.wav", self.wav([(a / 2, b / 2) for a, b in self.song]))
        turn, = self.json_of("compare", "--rules", rules, "old.wav", "new.wav")["pairs"][0]["turns"]
        self.assertEqual((turn["rule"], turn["old"], turn["new"]), ("peak", "fail", "pass"))
        self.assertIn("pass, was fail", self.run_program("compare", "--rules", rules, "old.wav", "new.wav")[1].decode())

    def test_a_call_that_is_wrong_and_files_that_are_none(self):
        for arguments in ([], ["old.wav"], ["old.wav", "old.wav", "old.wav"], ["--format", "junit", "old.wav", "old.wav"],
                          ["--rules", "nothing-like-it", "old.wav", "old.wav"], ["--fail-on", "warn", "old.wav", "old.wav"], ["--output", "old.wav", "old.wav", "old.wav"]):
            code, out, err = self.run_program("compare", *arguments)
            self.assertEqual((code, out), (2, b""), arguments)
            self.assertTrue(err)
        self.put("text.wav", "no audio at all")
        self.put("none.wav", self.wav([]))
        for other in ("missing.wav", "text.wav", "none.wav", "."):
            for pair in (("old.wav", other), (other, "old.wav")):
                code, out, err = self.run_program("compare", *pair)
                self.assertEqual(code, 3, pair)
                self.assertIn(b"NO SHEET", out)
                self.assertNotIn(b"PASS", out)
        self.assertEqual(self.run_program("compare", "missing.wav", "missing.wav")[0], 3)


if __name__ == "__main__":
    unittest.main()
