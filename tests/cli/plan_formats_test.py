"""A song against its plan in every format: the published schema, JUnit, CSV, markers, JSON lines, and the page."""
import csv
import io
import json
import re
import unittest
import xml.etree.ElementTree

import lab

try:
    import jsonschema
except ImportError:
    jsonschema = None

PLAN = """
[song]
title = "Low Water"
artist = "Nobody Known"
mix = "mix.wav"
[[section]]
name = "soft"
start = 0
end = 4
biggest = true
[[section]]
name = "loud"
start = 4
end = 8
quietest = true
[[stem]]
name = "voice"
file = "voice.wav"
role = "lead vocal"
priority = 1
[[stem]]
name = "<b>keys</b>"
file = "keys.wav"
role = "keys"
priority = 2
[vocal]
above_band = [20, 21]
"""


class PlanFormats(lab.Case):
    def setUp(self):
        super().setUp()
        voice, keys = (lab.music(8.0, rate=16000, seed=seed, peak=0.2) for seed in (3, 5))
        half = len(voice) // 2
        voice, keys = ([tuple(v * (0.2 if i < half else 1) for v in frame) for i, frame in enumerate(part)] for part in (voice, keys))
        mix = [tuple(a + b for a, b in zip(one, other)) for one, other in zip(voice, keys)]
        for name, part in (("voice", voice), ("keys", keys), ("mix", mix)):
            self.put(f"{name}.wav", lab.riff(1, 2, 16000, 24, lab.codes(part, 2, 24)))
        self.put("song.toml", PLAN.encode())
        self.put("bare.toml", b'[song]\nmix = "mix.wav"\n')
        self.put("gone.toml", b'[song]\nmix = "none.wav"\n')

    def show(self, form, *more, code=1, plan="song.toml"):
        status, out, err = self.run_program("plan", "check", plan, "--format", form, *more)
        self.assertEqual(status, code, err)
        return out

    @unittest.skipIf(jsonschema is None, "python3-jsonschema is not installed")
    def test_the_schema_holds(self):
        schema = json.loads((lab.SOURCE / "docs" / "sheet.schema.json").read_text())
        validator = jsonschema.validators.validator_for(schema)(schema)
        for plan, code, more in (("song.toml", 1, ()), ("song.toml", 1, ("--rules", "premaster")), ("bare.toml", 1, ()), ("gone.toml", 3, ())):
            with self.subTest(plan=plan, more=more):
                sheet = json.loads(self.show("json", *more, code=code, plan=plan))
                self.assertEqual([f"{e.json_path}: {e.message}" for e in validator.iter_errors(sheet)], [])
        sheet = json.loads(self.show("json"))
        for spoil in (lambda s: s["sections"][0].pop("rank"), lambda s: s["stems"][0].update(role="singer"),
                      lambda s: s["pairs"].append({"old": "a.wav"}), lambda s: s["song"].pop("mix"), lambda s: s.pop("stems")):
            spoiled = json.loads(json.dumps(sheet))
            spoil(spoiled)
            self.assertTrue(list(validator.iter_errors(spoiled)))

    def test_a_file_that_nothing_judged_has_no_verdict(self):
        files = json.loads(self.show("json"))["files"]
        self.assertEqual([file.get("verdict") for file in files], [None, None, None])
        files = {file["path"]: file for file in json.loads(self.show("json", "--rules", "premaster"))["files"]}
        self.assertIn("verdict", files["mix.wav"])
        self.assertNotIn("verdict", files["voice.wav"])

    def test_junit_has_a_case_for_every_finding_of_the_song(self):
        sheet = json.loads(self.show("json"))
        suites = xml.etree.ElementTree.fromstring(self.show("junit"))
        suite, = suites.findall("testsuite")
        self.assertEqual(suite.get("name"), "the song")
        self.assertEqual([case.get("name") for case in suite], [f"plan/{one['rule']}" for one in sheet["findings"]])
        failed = [case.get("name") for case in suite if case.find("failure") is not None]
        self.assertEqual(failed, [f"plan/{one['rule']}" for one in sheet["findings"] if one["status"] in ("fail", "not measured") and not one.get("optional")])
        self.assertIn("the song", [one.get("name") for one in xml.etree.ElementTree.fromstring(self.show("junit", "--rules", "premaster"))])

    def test_csv_and_markers_hold_the_findings_and_their_places(self):
        sheet = json.loads(self.show("json"))
        rows = list(csv.DictReader(io.StringIO(self.show("csv").decode(), newline="")))
        self.assertEqual([(row["rule"], row["status"]) for row in rows], [(one["rule"], one["status"]) for one in sheet["findings"]])
        markers = list(csv.DictReader(io.StringIO(self.show("markers").decode(), newline="")))
        places = sorted((where["start_s"], where["file"]) for one in sheet["findings"] if one["status"] != "pass" for where in one["where"])
        self.assertTrue(places)
        self.assertEqual(sorted((float(row["seconds"]), row["file"]) for row in markers), places)
        for row in markers:
            self.assertAlmostEqual(int(row["frame"]), float(row["seconds"]) * int(row["sample_rate"]), delta=1)

    def test_lines_of_a_song_are_not_merged_into_another_verdict(self):
        lines = self.show("jsonl")
        self.assertEqual([json.loads(line)["file"]["path"] for line in lines.splitlines()], ["keys.wav", "mix.wav", "voice.wav"])
        self.put("song.jsonl", lines)
        status, out, err = self.run_program("merge", "song.jsonl")
        self.assertEqual((status, out), (3, b""))
        self.assertIn(b"of a song against its plan", err)

    def test_the_page_holds_every_finding_and_no_script(self):
        page = self.show("html").decode()
        for one in json.loads(self.show("json"))["findings"]:
            self.assertIn(one["why"].split("'")[0], page)
        self.assertNotIn("<script", page)
        self.assertNotIn("<b>keys", page)
        self.assertEqual(len(re.findall(r'<svg class="plot[^>]* role="img"', page)), page.count("<figure"))
        self.assertIn("song-sizes", page)
        self.assertIn("the plan has no sections", self.show("html", plan="bare.toml").decode())
        self.assertIn("NO SHEET", self.show("html", plan="gone.toml", code=3).decode())


if __name__ == "__main__":
    lab.main()
