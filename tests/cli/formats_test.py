"""What the formats hold: JSON by the published schema, JSONL and merge, timelines, counts that agree with each other."""
import csv
import io
import json
import math
import unittest
import xml.etree.ElementTree

import lab

try:
    import jsonschema
except ImportError:
    jsonschema = None


class Json(lab.Case):
    def setUp(self):
        super().setUp()
        self.put("a.wav", lab.wav(1.5))
        self.put("mono.wav", lab.wav(1.5, channels=1))
        self.put("clipped.wav", lab.wav(1.5, peak=2.0))
        self.put("short.wav", lab.riff(1, 2, 48000, 16, b"\0\x10\0\x10"))
        self.put("float.wav", lab.float_wav([float("nan"), 0.5, 1.5] * 5000))
        self.put("broken.wav", b"RIFF")
        self.files = sorted(p.name for p in self.room.glob("*.wav"))

    @unittest.skipIf(jsonschema is None, "python3-jsonschema is not installed")
    def test_the_schema_holds(self):
        schema = json.loads((lab.SOURCE / "docs" / "sheet.schema.json").read_text())
        validator = jsonschema.validators.validator_for(schema)
        validator.check_schema(schema)
        for command in (["check"], ["check", "--digest", "--second-meter", "--role", "mix"], ["measure"],
                        ["measure", "--timeline"], ["check", "--expect", "sample_rate=44100", "--rules", "cd"]):
            _, out, err = self.run_program(*command, "--format", "json", *self.files, "missing.wav")
            errors = [f"{'/'.join(map(str, e.absolute_path))}: {e.message[:200]}"
                      for e in validator(schema).iter_errors(json.loads(out))]
            self.assertEqual(errors, [], command)

    def test_keys_and_files_are_sorted_and_numbers_read_as_numbers(self):
        _, out, _ = self.run_program("check", "--format", "json", *self.files[::-1])
        sheet = json.loads(out, object_pairs_hook=list)
        as_dict = json.loads(out)
        self.assertEqual([f["path"] for f in as_dict["files"]], self.files)
        for key, value in sheet:
            if key == "files":
                for file in value:
                    measurements = dict(file).get("measurements", [])
                    names = [name for name, _ in measurements]
                    self.assertEqual(names, sorted(names))

    def test_digests(self):
        import hashlib
        sheet = self.json_of("check", "--digest", "a.wav")
        digest = sheet["files"][0]["digest"]
        self.assertEqual(digest["file"], "sha256:" + hashlib.sha256((self.room / "a.wav").read_bytes()).hexdigest())
        self.assertRegex(digest["audio"], r"^xxh128:[0-9a-f]{32}$")
        self.assertNotIn("file", self.json_of("check", "a.wav")["files"][0]["digest"])

    def test_the_formats_agree(self):
        command = ["check", *self.files]
        sheet = self.json_of(*command)
        statuses = [f["status"] for file in sheet["files"] for f in file["findings"]]
        _, out, _ = self.run_program(*command, "--format", "junit")
        root = xml.etree.ElementTree.fromstring(out)
        self.assertEqual(len(root.findall(".//failure")), sum(
            f["status"] == "fail" or (f["status"] == "not measured" and not f.get("optional"))
            for file in sheet["files"] for f in file["findings"]))
        self.assertEqual(len(root.findall(".//error")), sum("error" in f for f in sheet["files"]))
        _, out, _ = self.run_program(*command, "--format", "csv")
        rows = list(csv.DictReader(io.StringIO(out.decode(), newline="")))
        self.assertEqual(sorted(r["status"] for r in rows if r["status"] in set(statuses) - {"pass"}),
                         sorted(s for s in statuses if s != "pass"))
        _, out, _ = self.run_program(*command)
        self.assertIn(sheet["verdict"].upper(), out.decode().upper().split("\n")[0] + out.decode().upper().split("\n")[1])

    def test_text_fits_80_columns(self):
        for command in (["check"], ["check", "--quiet"], ["measure"], ["measure", "--timeline"]):
            _, out, _ = self.run_program(*command, *self.files)
            widest = max(out.decode().splitlines(), key=len)
            self.assertLessEqual(len(widest), 80, widest)

    def test_quiet_is_short(self):
        _, out, _ = self.run_program("check", "--quiet", *self.files)
        self.assertLessEqual(len(out.splitlines()), len(self.files) + 2)


class Merge(lab.Case):
    def setUp(self):
        super().setUp()
        for i in range(3):
            self.put(f"{i}.wav", lab.wav(1.2, seed=i))
        self.date = ["--date", "2026-01-02"]

    def test_parts_merge_into_the_whole(self):
        whole = self.run_program("check", *self.date, "--format", "json", "0.wav", "1.wav", "2.wav")
        parts = []
        for names in (["2.wav", "0.wav"], ["1.wav"]):
            _, out, _ = self.run_program("check", *self.date, "--format", "jsonl", *names)
            parts.append(out)
        self.put("a.jsonl", parts[0])
        self.put("b.jsonl", parts[1])
        self.assertEqual(self.run_program("merge", "a.jsonl", "b.jsonl", "--format", "json"), whole)
        self.assertEqual(self.run_program("merge", "-", "--format", "json", stdin=parts[0] + parts[1]), whole)
        for form in ("text", "junit", "csv", "jsonl"):
            self.assertEqual(self.run_program("merge", "a.jsonl", "b.jsonl", "--format", form),
                             self.run_program("check", *self.date, "--format", form, "0.wav", "1.wav", "2.wav"))

    def test_what_is_no_sheet_is_refused_with_the_place(self):
        _, good, _ = self.run_program("check", "--format", "jsonl", "0.wav")
        for name, content in {"text": b"hello\n", "cut": good[:-20], "array": b"[]\n", "number": b"1\n", "object": b"{}\n",
                              "future": good.replace(b'"schema":1', b'"schema":2'), "empty": b"", "nul": b"\0\0\0",
                              "deep": b"[" * 100000, "utf8": b'{"schema":1,"x":"\xff"}\n'}.items():
            with self.subTest(name=name):
                self.put(f"{name}.jsonl", content)
                code, out, err = self.run_program("merge", f"{name}.jsonl")
                self.assertIn(code, (2, 3))
                self.assertEqual(out, b"")
                self.assertIn(f"{name}.jsonl".encode(), err)
        # A sheet that cannot be used leaves no verdict over the rest.
        self.put("good.jsonl", good)
        code, out, _ = self.run_program("merge", "good.jsonl", "text.jsonl")
        self.assertIn(code, (2, 3))
        self.assertEqual(out, b"")


class Timelines(lab.Case):
    def setUp(self):
        super().setUp()
        # 3 s of a sine at -20 dBFS peak in both channels, then 3 s of it 20 dB lower.
        rate = 48000
        tone = [(0.1 if n < 3 * rate else 0.01) * math.sin(2 * math.pi * 997 * n / rate) for n in range(6 * rate)]
        self.put("step.wav", lab.riff(1, 2, rate, 24, lab.codes([(x, x) for x in tone], 2, 24)))

    def test_csv_has_a_row_a_point_and_shows_the_step(self):
        code, out, err = self.run_program("measure", "--timeline", "--format", "csv", "step.wav")
        self.assertEqual((code, err), (0, b""))
        rows = list(csv.DictReader(io.StringIO(out.decode(), newline="")))
        peak = [(float(r["time_s"]), float(r["value"])) for r in rows if r["series"] == "peak" and r["value"] and
                r["channel"] == "0"]
        self.assertTrue(peak, {r["series"] for r in rows})
        early = [v for t, v in peak if 0.5 < t < 2.5]
        late = [v for t, v in peak if 3.5 < t < 5.5]
        # Peaks of the sine: 20 log10 0.1 and 20 log10 0.01.
        self.assertAlmostEqual(max(early), -20, delta=0.2)
        self.assertAlmostEqual(max(late), -40, delta=0.2)

    def test_json_has_them_and_only_when_asked(self):
        sheet = self.json_of("measure", "--timeline", "step.wav", code=0)
        self.assertIn("momentary", json.dumps(sheet["files"][0]["timelines"]))
        self.assertNotIn("timelines", self.json_of("measure", "step.wav")["files"][0])

    def test_text_has_a_table_by_the_second(self):
        _, out, _ = self.run_program("measure", "--timeline", "step.wav")
        text = out.decode()
        self.assertIn("step.wav over time", text)
        table = text[text.index("over time"):].splitlines()
        self.assertRegex(table[1], r"^ +from +momentary +short term +correlation +peak$")
        self.assertRegex(table[3], r"^ +0:00 ")
        self.assertEqual(sum(line.strip().startswith("0:0") for line in table), 6)


if __name__ == "__main__":
    lab.main()
