"""A set of files against an order from the command line: exit codes, formats, refusals, the same bytes every time."""
import json
import os
import re
import unittest

import lab

try:
    import jsonschema
except ImportError:
    jsonschema = None

HEAD = """[order]
title = "Low Water"
artist = "Nobody Known"
rules = "./loose.toml"
"""


class Deliver(lab.Case):
    def setUp(self):
        super().setUp()
        self.put_rules("set/loose", "fail_above = 6")
        self.band = lab.music(6.0, rate=16000, seed=3, peak=0.3)
        self.voice = [(0.4 * b if n // 8000 % 3 else 0.0, 0.3 * a if n // 8000 % 3 else 0.0)
                      for n, (a, b) in enumerate(lab.music(6.0, rate=16000, seed=8, peak=0.5))]
        self.song = [(a + c, b + d) for (a, b), (c, d) in zip(self.band, self.voice)]
        self.put("set/main.wav", self.wav(self.song))

    def put_rules(self, name, limits):
        self.put(f"{name}.toml", lab.RULE_SET.format(name=name.split("/")[-1], limits=limits))

    def wav(self, frames, bits=24, rate=16000):
        return lab.riff(1, 2, rate, bits, lab.codes(frames, 2, bits))

    def order(self, *items, head=HEAD, more=""):
        text = head
        for version, file in items:
            text += f'\n[[item]]\nversion = "{version}"\nfile = "{file}"\n'
        return self.put("set/order.toml", text + more)

    def findings(self, sheet):
        return {(f["rule"], f["files"][0] if f.get("files") else ""): f["status"] for f in sheet["findings"]}

    def test_a_whole_set_passes_and_a_missing_item_fails(self):
        self.order(("main", "main.wav"))
        sheet = self.json_of("deliver", "check", "set/order.toml", code=0)
        self.assertEqual(sheet["verdict"], "pass")
        item, = sheet["order"]["items"]
        self.assertEqual((item["files"], item["name"], item["required"]), (["set/main.wav"], "main", True))
        self.order(("main", "main.wav"), ("tv mix", "tv.wav"))
        sheet = self.json_of("deliver", "check", "set/order.toml", code=1)
        self.assertEqual(self.findings(sheet)["item-missing", "set/tv.wav"], "fail")
        self.assertEqual(self.run_program("deliver", "check", "set/order.toml", "--fail-on", "never")[0], 0)

    def test_what_an_order_expects_of_the_format_is_judged(self):
        self.order(("main", "main.wav"), head=HEAD + 'expect = ["sample_rate=16000", "bit_depth=24", "container=WAV"]\n')
        sheet = self.json_of("deliver", "check", "set/order.toml", code=0)
        self.assertEqual({f["rule"]: f["status"] for f in sheet["files"][0]["findings"] if f["ruleset"] == "expected"}, {"sample-rate": "pass", "bit-depth": "pass", "container": "pass"})
        # An item expects something else of one of them, and the rest stays.
        self.put("set/second.wav", self.wav(self.band))
        self.order(("main", "main.wav"), ("alternate", "second.wav"), head=HEAD + 'expect = ["sample_rate=16000", "bit_depth=24"]\n', more='expect = "bit_depth=16"\n')
        sheet = self.json_of("deliver", "check", "set/order.toml", code=1)
        said = [{f["rule"]: (f["status"], f["why"], f["source"]) for f in file["findings"] if f["ruleset"].startswith("expected")} for file in sheet["files"]]
        self.assertEqual([{rule: status for rule, (status, _, _) in one.items()} for one in said], [{"sample-rate": "pass", "bit-depth": "pass"}, {"sample-rate": "pass", "bit-depth": "fail"}])
        self.assertEqual(said[1]["bit-depth"][1:], ("The order expects bit_depth=16.", "the order"))
        # Each set has a digest of its own, its name included: the same expected by an order that has no other is not this set.
        second = {one["name"]: one["digest"] for one in sheet["rules"]}["expected-2"]
        self.order(("main", "main.wav"), head=HEAD + 'expect = ["sample_rate=16000", "bit_depth=16"]\n')
        alone = {one["name"]: one["digest"] for one in self.json_of("deliver", "check", "set/order.toml", code=1)["rules"]}["expected"]
        self.assertNotEqual(second, alone)
        self.order(("main", "main.wav"), head=HEAD + 'expect = ["sample_rat=1"]\n')
        code, _, err = self.run_program("deliver", "check", "set/order.toml")
        self.assertEqual(code, 2)
        self.assertIn(b"set/order.toml:5:10", err)

    def test_a_warning_stops_only_where_that_is_asked_for(self):
        self.order(("main", "main.wav"))
        self.put("set/left.tmp", "x")
        self.assertEqual(self.run_program("deliver", "check", "set/order.toml")[0], 0)
        self.assertEqual(self.run_program("deliver", "check", "set/order.toml", "--fail-on", "warn")[0], 1)

    def test_a_file_without_sound_is_3_and_a_wrong_order_2(self):
        self.put("set/tv.wav", "no sound")
        self.order(("main", "main.wav"), ("tv mix", "tv.wav"))
        self.assertEqual(self.run_program("deliver", "check", "set/order.toml")[0], 3)
        for text, words in ((HEAD, b"at least one [[item]]"), (HEAD + 'name = "{title"\n[[item]]\nversion = "main"\nfile = "main.wav"\n', b"set/order.toml:5:8"),
                            ("[order]\ntitle = 3\n", b"set/order.toml:2:9"),
                            (HEAD.replace("loose", "lose") + '[[item]]\nversion = "main"\nfile = "main.wav"\n', b"lose.toml")):
            self.put("set/order.toml", text)
            code, out, err = self.run_program("deliver", "check", "set/order.toml")
            self.assertEqual((code, out), (2, b""), err)
            self.assertIn(words, err)
        self.assertEqual(self.run_program("deliver", "check", "nowhere.toml")[0], 2)

    def test_calls_that_say_too_little_or_too_much_are_refused(self):
        for arguments, words in (([], b"what to do"), (["chek", "x"], b'did you mean "check"?'), (["check"], b"one order"),
                                 (["new", "set", "set"], b"one folder"), (["new", "set", "--fail-on", "warn"], b"takes no --fail-on")):
            code, out, err = self.run_program("deliver", *arguments)
            self.assertEqual((code, out), (2, b""), arguments)
            self.assertIn(words, err)

    def test_a_starting_order_is_written_once_and_checks_out(self):
        self.put("set/Low instrumental.wav", self.wav(self.band))
        code, out, err = self.run_program("deliver", "new", "set")
        self.assertEqual((code, err), (0, b""))
        self.assertIn(b'version = "instrumental"\nfile = "Low instrumental.wav"', out)
        self.assertEqual(self.run_program("deliver", "new", "set", "-o", "set/order.toml")[0], 0)
        first = (self.room / "set/order.toml").read_bytes()
        # On standard output nobody knows where it will lie: the folder stands in it as given.
        self.assertEqual(first, out.replace(b'folder = "set"', b'folder = "."'))
        self.assertNotEqual(first, out)
        code, _, err = self.run_program("deliver", "new", "set", "-o", "set/order.toml")
        self.assertEqual(code, 2)
        self.assertIn(b"is there already", err)
        self.assertEqual(self.run_program("deliver", "new", "set", "-o", "set/order.wav")[0], 2)
        self.assertEqual((self.room / "set/order.toml").read_bytes(), first)
        sheet = self.json_of("deliver", "check", "set/order.toml")
        self.assertEqual([item["version"] for item in sheet["order"]["items"]], ["main", "instrumental"])
        self.assertEqual(self.run_program("deliver", "new", "nowhere")[0], 3)

    def test_the_same_set_is_the_same_bytes_whatever_the_threads(self):
        self.put("set/band.wav", self.wav(self.band))
        self.put("set/voice.wav", self.wav(self.voice))
        self.order(("main", "main.wav"), ("instrumental", "band.wav"), ("a cappella", "voice.wav"))
        for form in ("text", "json", "jsonl", "junit", "csv", "html", "markers"):
            runs = {self.run_program("deliver", "check", "set/order.toml", "--format", form, "--jobs", jobs, "--date", "2026-11-26")[:2]
                    for jobs in ("1", "3", "3")}
            self.assertEqual(len(runs), 1, form)
            self.assertGreater(len(runs.pop()[1]), 40, form)

    @unittest.skipIf(jsonschema is None, "python3-jsonschema is not installed")
    def test_the_schema_holds(self):
        schema = json.loads((lab.SOURCE / "docs" / "sheet.schema.json").read_text())
        validator = jsonschema.validators.validator_for(schema)(schema)
        self.put("set/band.wav", self.wav(self.band))
        self.order(("main", "main.wav"), ("instrumental", "band.wav"), ("tv mix", "tv.wav"))
        sheet = self.json_of("deliver", "check", "set/order.toml")
        self.assertEqual([e.message for e in validator.iter_errors(sheet)], [])

    def test_text_names_items_and_faults_in_80_columns_and_the_page_has_a_row_for_each(self):
        self.put("set/band.wav", self.wav(self.band[100:]))
        self.order(("main", "main.wav"), ("instrumental", "band.wav"), ("tv mix", "tv.wav"))
        code, out, _ = self.run_program("deliver", "check", "set/order.toml")
        self.assertEqual(code, 1)
        text = out.decode()
        for words in ("Low Water, Nobody Known", "missing: ", "Length alike: 100 frames shorter", "[item-missing]", "In line with the main mix: 100 frames early"):
            self.assertIn(words, text)
        self.assertLessEqual(max(len(line) for line in text.splitlines()), 80)
        _, page, _ = self.run_program("deliver", "check", "set/order.toml", "--format", "html")
        for words in (b"Items against findings", b'<th scope="row">instrumental', b"missing</td>", b'<a href="#set-'):
            self.assertIn(words, page)

    def test_the_page_counts_what_was_found_of_the_set_beside_its_files(self):
        self.order(("main", "main.wav"), ("tv mix", "tv.wav"))
        code, page, _ = self.run_program("deliver", "check", "set/order.toml", "--format", "html")
        self.assertEqual(code, 1)
        self.assertRegex(page, rb'<p>1 PASS; \d+ findings? about the whole set</p>')
        self.assertRegex(page, rb'<tr><td>[^<]*tv.wav</td><td class="fail">MISSING</td><td>tv mix</td>')
        _, text, _ = self.run_program("deliver", "check", "set/order.toml")
        said = re.search(rb"\d+ findings? about the whole set", b" ".join(text.split()))
        self.assertIn(said[0], page)
        self.order(("main", "main.wav"))
        _, page, _ = self.run_program("deliver", "check", "set/order.toml", "--format", "html")
        self.assertIn(b"<p>1 PASS</p>", page)
        self.assertNotIn(b"MISSING", page)

    def test_hostile_names_and_texts_stay_texts(self):
        name = 'so<script>alert(1)</script>\x1b[31m"\'&.wav'
        self.put(f"set/{name}", self.wav(self.band))
        self.order(("main", "main.wav"), head=HEAD.replace("Low Water", "<img src=x onerror=alert(1)>"))
        code, page, _ = self.run_program("deliver", "check", "set/order.toml", "--format", "html")
        self.assertEqual(code, 1)
        self.assertNotIn(b"<script>alert", page)
        self.assertNotIn(b"<img src=x", page)
        self.assertNotIn(b"\x1b", page)
        _, text, _ = self.run_program("deliver", "check", "set/order.toml")
        self.assertNotIn(b"\x1b", text)

    def test_no_file_of_the_set_is_ever_written_over(self):
        self.order(("main", "main.wav"))
        before = (self.room / "set/main.wav").read_bytes()
        for target in ("set/main.wav", "set/order.toml"):
            self.assertEqual(self.run_program("deliver", "check", "set/order.toml", "-o", target)[0], 2)
        self.assertEqual((self.room / "set/main.wav").read_bytes(), before)
        rules = (self.room / "set/loose.toml").read_text()
        self.put("set/house", rules)
        order = (self.room / "set/order.toml").read_text()
        self.put("set/order.toml", order.replace('"./loose.toml"', '"./house"'))
        self.assertIn("./house", (self.room / "set/order.toml").read_text())
        _, _, err = self.run_program("deliver", "check", "set/order.toml", "-o", "set/house")
        self.assertIn(b"is one of the files to be read", err)
        self.assertEqual((self.room / "set/house").read_text(), rules)
        os.symlink("nowhere", self.room / "link.toml")
        self.assertEqual(self.run_program("deliver", "new", "set", "-o", "link.toml")[0], 2)
        self.assertTrue((self.room / "link.toml").is_symlink())


if __name__ == "__main__":
    lab.main()
